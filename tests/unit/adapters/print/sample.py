"""A batch plan as planning might hand it to the printer; all of it invented, sums that stand twice agree."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw
from shapely import MultiPolygon, Point, Polygon, box
from shapely.affinity import scale as stretched

from evenburn.core.nouns.blank import Blank
from evenburn.core.nouns.check import Check, Fix
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Axis, Hold, Mark, Piece, Treatment
from evenburn.core.nouns.plan import BatchPlan, MarkPlan, PiecePlan
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.recipe import Binding, Predicted, Recipe
from evenburn.core.nouns.wood import CharacteristicCurve, FinishingStep, Wood

LENS = Lens(
    name="2 inch",
    focal_length_mm=50.8,
    beam_diameter_mm=6.0,
    beam_quality_m2=1.3,
    wavelength_um=10.6,
    focus_stand_off_mm=9.5,
)
MACHINE = Machine(
    name="Boathouse bench",
    bed_x_mm=600.0,
    bed_y_mm=400.0,
    power_max_W=60.0,
    power_curve=((0.1, 6.0), (0.5, 30.0), (1.0, 60.0)),
    power_least_fraction=0.08,
    power_cap_fraction=0.80,
    power_word_max=1000.0,
    speed_max_mm_per_s=600.0,
    rapid_mm_per_s=600.0,
    accel_x_mm_per_s2=5000.0,
    accel_y_mm_per_s2=3000.0,
    jerk_mm_per_s3=100000.0,
    line_overhead_s=0.0,
    rise_time_s=0.0002,
    reversal_offset_mm=0.0,
    air_kPa=(20.0, 34.0, 200.0),
    lenses=(LENS,),
)

WASH = FinishingStep(name="wash", how="Lukewarm water, soft brush, along the grain.", time_text="5 min")
DRY = FinishingStep(name="dry", how="On edge, both faces free.", time_text="2 h")
OIL = FinishingStep(name="oil", how="Thin coat of mineral oil of food grade.", time_text="overnight, 16 h")
WIPE = FinishingStep(name="wipe", how="Clean cloth, until it stays dry.", time_text="5 min")
REST = FinishingStep(name="rest", how="Flat, before it is wrapped.", time_text="1 day")

STARTING = Provenance(kind="starting value", detail="from memory; no card of this lot yet")
FITTED = Provenance(kind="fitted", detail="from card HM-2/1 of 2 June 2026")


def wood(name: str, *, provenance: Provenance = STARTING, cautions: tuple[str, ...] = ()) -> Wood:
    """Return a wood of that name; only what is printed of it matters here."""
    curve = CharacteristicCurve(
        bare_L=80.0,
        full_L=28.0,
        x_mid=-0.1,
        steepness_per_decade=3.0,
        asymmetry=1.0,
        reversal_L=0.0,
        x_reversal=1.0,
        kappa=0.1,
        pass_exponent=1.0,
        x_low=-1.0,
        x_high=0.6,
        x_char=0.7,
        covariance=np.eye(9),
        evenness_L=2.6,
        board_L=1.2,
        reading_L=0.5,
        provenance=provenance,
    )
    steps = (WASH, DRY) if name == "slate" else (WASH, DRY, OIL, WIPE, REST)
    return Wood(
        id=name.replace(" ", "-"),
        name=name,
        surface="sanded" if name == "hard maple" else "bare",
        curve=curve,
        bare_ab=(6.0, 20.0),
        full_ab=(6.0, 12.0),
        grain=name != "slate",
        burns_unevenly=name == "bamboo",
        finishing=steps,
        cautions=cautions,
    )


def rectangle(wide: float, high: float, thick: float, *, uneven: float = 0.3) -> Blank:
    """Return a rectangular blank."""
    return Blank(
        shape="rectangle",
        size_mm=(wide, high),
        thickness_mm=thick,
        unevenness_mm=uneven,
        outline=box(0.0, 0.0, wide, high),
        margin_mm=3.0,
    )


def ellipse(wide: float, high: float, thick: float) -> Blank:
    """Return an oval or round blank."""
    outline = stretched(Point(0.0, 0.0).buffer(0.5, quad_segs=24), wide, high, origin=(0.0, 0.0))
    outline = Polygon([(x + wide / 2, y + high / 2) for x, y in outline.exterior.coords])
    return Blank(
        shape="ellipse",
        size_mm=(wide, high),
        thickness_mm=thick,
        unevenness_mm=0.2,
        outline=outline,
        margin_mm=3.0,
    )


def tray(wide: float, high: float, thick: float) -> Blank:
    """Return a tray with two handle holes."""
    holes = [stretched(Point(x, high / 2).buffer(11.0), 1.0, 3.2) for x in (26.0, wide - 26.0)]
    outline = box(14.0, 14.0, wide - 14.0, high - 14.0).buffer(14.0)
    for hole in holes:
        outline = outline.difference(hole)
    return Blank(
        shape="outline",
        size_mm=(wide, high),
        thickness_mm=thick,
        unevenness_mm=0.6,
        outline=outline,
        margin_mm=4.0,
    )


def mark_plan(
    piece_id: str,
    mark_id: str,
    *,
    art: str,
    place: tuple[float, float],
    size: tuple[float, float],
    at: tuple[float, float],
    power_W: float,
    speed: float,
    time_s: float,
    spacing: float = 0.10,
    offset: float = 1.5,
    tone: float = 38.0,
    found: float = 38.4,
    sd: float = 1.9,
    treatment: Treatment = "solid",
    low_W: float | None = None,
    axis: Axis = "x",
    passes: int = 1,
    air: float | None = 34.0,
    stopped: bool = False,
) -> MarkPlan:
    """Return one mark, planned, at a place on a blank that lies unturned at `at`."""
    mark = Mark(
        id=mark_id,
        art_label=art,
        treatment=treatment,
        tone_L=tone,
        place_mm=place,
        size_mm=size,
        hold=Hold(),
        air_kPa=air,
    )
    x0, y0 = at[0] + place[0], at[1] + place[1]
    accel = MACHINE.accel_x_mm_per_s2 if axis == "x" else MACHINE.accel_y_mm_per_s2
    radius = 0.16 + 0.02 * offset
    return MarkPlan(
        mark=mark,
        box_bed_mm=(x0, y0, x0 + size[0], y0 + size[1]),
        recipe=Recipe(
            power_W=power_W,
            power_fraction=power_W / MACHINE.power_max_W,
            speed_mm_per_s=speed,
            line_spacing_mm=spacing,
            focus_offset_mm=offset,
            stand_off_mm=LENS.focus_stand_off_mm + offset,
            passes=passes,
            scan_axis=axis,
            air_kPa=air,
            power_low_W=low_W,
        ),
        predicted=Predicted(
            tone_L=found,
            tone_L_sd=sd,
            ripple_L=0.2,
            ripple_limit_L=0.5,
            detail_mm=0.28,
            dose_J_per_mm2=passes * power_W / (speed * spacing),
            dwell_ms=2e3 * radius / speed,
            beam_radius_mm=radius,
            run_up_mm=speed**2 / (2 * accel),
            time_s=time_s,
            time_lower_bound_s=0.94 * time_s,
        ),
        binding=(Binding(constraint="run-up", text="Speed is held by the room on the left."),),
        stroke_mm=0.33,
        gap_mm=0.41,
        program_file=None if stopped else f"{piece_id}-{mark_id}.ngc",
        image_file=f"{piece_id}-{mark_id}.png",
        drawing_file=f"{piece_id}-{mark_id}.svg",
        proof_file=f"{piece_id}-proof.png",
    )


def piece_plan(
    order: int,
    piece_id: str,
    name: str,
    *,
    of: Wood,
    blank: Blank,
    at: tuple[float, float],
    marks: tuple[MarkPlan, ...],
    checks: tuple[Check, ...] = (),
    turn_deg: float = 0.0,
) -> PiecePlan:
    """Return one piece, planned."""
    piece = Piece(
        id=piece_id,
        name=name,
        wood_id=of.id,
        blank=blank,
        place_bed_mm=at,
        turn_deg=turn_deg,
        marks=tuple(mark.mark for mark in marks),
    )
    return PiecePlan(piece=piece, wood=of, start_order=order, marks=marks, checks=checks)


CURVE_NOTE = Check(
    level="note",
    code="starting-value",
    text="The curve is a starting value, never measured on this lot: the tone is known to ± 5.2 L* only.",
    remedy="Burn a card of this lot, 6 min, and plan again.",
)


def _novice() -> PiecePlan:
    at = (40.0, 60.0)
    front = mark_plan(
        "novice-fours",
        "front",
        art="crew.svg",
        place=(20.0, 30.0),
        size=(160.0, 95.0),
        at=at,
        power_W=31.0,
        speed=310.0,
        time_s=608.0,
    )
    check = Check(
        level="warn",
        code="detail",
        text="The border’s inner line, 0.33 mm, is near the 0.28 mm that this recipe keeps.",
        remedy="Look at it first; thickened to 0.40 mm it is safe.",
        mark_id="front",
    )
    blank = rectangle(200.0, 150.0, 12.1, uneven=0.6)
    maple = wood("hard maple", provenance=FITTED)
    return piece_plan(
        1, "novice-fours", "Novice fours plaque", of=maple, blank=blank, at=at, marks=(front,), checks=(check,)
    )


def _mixed() -> PiecePlan:
    at = (2.0, 150.0)
    front = mark_plan(
        "mixed-eights",
        "front",
        art="Mixed Eights",
        place=(6.0, 30.0),
        size=(180.0, 95.0),
        at=at,
        power_W=42.0,
        speed=420.0,
        time_s=521.0,
        stopped=True,
    )
    stop = Check(
        level="stop",
        code="run-up",
        text="At 420 mm/s the head needs 17.6 mm to reach its speed; left of the mark there are 8.0 mm.",
        remedy="Move the blank 9.6 mm to the right: same time.",
        mark_id="front",
        fixes=(
            Fix(
                text="Move the blank 9.6 mm to the right",
                price="same time",
                target="piece",
                change=(("place_bed_mm", (11.6, 150.0)),),
            ),
            Fix(
                text="Slow it to 280 mm/s at 28.0 W",
                price="+ 2 min 27 s",
                target="front",
                change=(("speed_mm_per_s", 280.0), ("power_W", 28.0)),
            ),
            Fix(text="Scan along y", price="+ 1 min 04 s", target="front", change=(("scan_axis", "y"),)),
        ),
    )
    maple = wood("hard maple", provenance=FITTED)
    blank = rectangle(200.0, 150.0, 12.1, uneven=0.6)
    return piece_plan(
        2, "mixed-eights", "Mixed eights plaque", of=maple, blank=blank, at=at, marks=(front,), checks=(stop,)
    )


def _oar() -> PiecePlan:
    at = (30.0, 40.0)
    blade = mark_plan(
        "oar-blade",
        "blade",
        art="Captain 2026",
        place=(60.0, 40.0),
        size=(400.0, 80.0),
        at=at,
        power_W=31.5,
        speed=420.0,
        time_s=618.0,
        tone=30.0,
        found=30.6,
        sd=5.2,
    )
    blank = rectangle(520.0, 160.0, 12.1)
    return piece_plan(
        3,
        "oar-blade",
        "Captain’s oar blade",
        of=wood("walnut"),
        blank=blank,
        at=at,
        marks=(blade,),
        checks=(CURVE_NOTE,),
    )


def _cup() -> PiecePlan:
    at = (225.0, 125.0)
    ring = mark_plan(
        "ferry-cup",
        "ring",
        art="Ferry Cup",
        place=(30.0, 50.0),
        size=(90.0, 50.0),
        at=at,
        power_W=34.0,
        speed=400.0,
        time_s=478.0,
        axis="y",
        sd=5.6,
    )
    blank = ellipse(150.0, 150.0, 25.0)
    return piece_plan(4, "ferry-cup", "Ferry Cup base", of=wood("oak"), blank=blank, at=at, marks=(ring,))


def _tray() -> PiecePlan:
    at = (110.0, 70.0)
    heron = mark_plan(
        "tea-tray",
        "heron",
        art="heron.svg",
        place=(90.0, 55.0),
        size=(200.0, 150.0),
        at=at,
        power_W=36.0,
        speed=400.0,
        time_s=610.0,
        spacing=0.12,
        offset=2.0,
        tone=40.0,
        found=40.3,
        sd=6.4,
    )
    checks = (
        Check(
            level="warn",
            code="uneven-wood",
            text="Bamboo burns unevenly: strips differ by up to 6.1 L*, and no setting mends that.",
            remedy="Choose tone L* 34 or darker, where the strips differ by 3.9 L*.",
        ),
        CURVE_NOTE,
    )
    bamboo = wood(
        "bamboo", cautions=("The glue between the strips smokes; give the extraction two minutes after the end.",)
    )
    return piece_plan(
        5,
        "tea-tray",
        "Tea tray with heron",
        of=bamboo,
        blank=tray(380.0, 260.0, 15.0),
        at=at,
        marks=(heron,),
        checks=checks,
    )


def _photo() -> PiecePlan:
    at = (180.0, 110.0)
    picture = mark_plan(
        "boathouse",
        "photo",
        art="boathouse-1911.png",
        place=(20.0, 20.0),
        size=(200.0, 140.0),
        at=at,
        power_W=30.0,
        low_W=5.0,
        speed=300.0,
        time_s=918.0,
        spacing=0.12,
        offset=1.0,
        treatment="photo",
        tone=34.0,
        found=34.9,
        sd=5.0,
    )
    blank = rectangle(240.0, 180.0, 12.1)
    return piece_plan(
        6,
        "boathouse",
        "The boathouse in 1911",
        of=wood("cherry"),
        blank=blank,
        at=at,
        marks=(picture,),
        checks=(CURVE_NOTE,),
    )


def _slate() -> PiecePlan:
    at = (120.0, 60.0)
    marks = tuple(
        mark_plan(
            "slate-coasters",
            name,
            art=f"{name}.svg",
            place=place,
            size=(80.0, 80.0),
            at=at,
            power_W=24.0,
            speed=400.0,
            time_s=938.0 / 4,
            offset=0.0,
            tone=62.0,
            found=61.8,
            sd=4.4,
        )
        for name, place in (
            ("bow", (10.0, 10.0)),
            ("two", (130.0, 10.0)),
            ("three", (10.0, 130.0)),
            ("stroke", (130.0, 130.0)),
        )
    )
    four = MultiPolygon([box(x, y, x + 100.0, y + 100.0) for x in (0.0, 120.0) for y in (0.0, 120.0)])
    blank = replace(rectangle(220.0, 220.0, 5.0, uneven=0.8), shape="outline", outline=four)
    return piece_plan(
        7,
        "slate-coasters",
        "Slate coasters, four",
        of=wood("slate"),
        blank=blank,
        at=at,
        marks=marks,
        checks=(CURVE_NOTE,),
    )


def _oval() -> PiecePlan:
    at = (190.0, 100.0)
    rim = mark_plan(
        "cheese-board",
        "rim",
        art="Sedgeholm Rowing Club",
        place=(40.0, 90.0),
        size=(160.0, 22.0),
        at=at,
        power_W=29.5,
        speed=390.0,
        time_s=204.0,
        sd=5.1,
    )
    crest = mark_plan(
        "cheese-board",
        "crest",
        art="crest.svg",
        place=(85.0, 30.0),
        size=(70.0, 50.0),
        at=at,
        power_W=27.0,
        speed=250.0,
        time_s=331.0,
        spacing=0.08,
        offset=-0.5,
        passes=2,
        tone=33.0,
        found=33.2,
        sd=5.4,
        air=20.0,
    )
    check = Check(
        level="note",
        code="near-char",
        text="The crest’s dose of 2.70 J/mm² is 12 % below the char limit.",
        remedy="Nothing to do while the lens is clean.",
        mark_id="crest",
    )
    return piece_plan(
        8,
        "cheese-board",
        "Cheese board, oval",
        of=wood("beech"),
        blank=ellipse(240.0, 140.0, 18.0),
        at=at,
        marks=(rim, crest),
        checks=(check, CURVE_NOTE),
    )


def sample_plan() -> BatchPlan:
    """Return a batch of eight: one stopped, one photo, a slate with four marks, round and oval blanks, holes."""
    return BatchPlan(
        name="Regatta prizes",
        subtitle="Sedgeholm Rowing Club",
        date="2026-06-09",
        machine=MACHINE,
        lens=LENS,
        pieces=(_novice(), _mixed(), _oar(), _cup(), _tray(), _photo(), _slate(), _oval()),
    )


def many_pieces(number: int) -> BatchPlan:
    """Return a batch of so many pieces, the sample's again and again."""
    plan = sample_plan()
    pieces = []
    for index in range(number):
        one = plan.pieces[index % len(plan.pieces)]
        piece = replace(one.piece, id=f"{one.piece.id}-{index}", name=f"{one.piece.name}, {index + 1}")
        pieces.append(replace(one, piece=piece, start_order=index + 1))
    return replace(plan, pieces=tuple(pieces))


def sample_pictures(plan: BatchPlan, folder: Path) -> dict[str, Path]:
    """Draw a small stand-in for each piece's predicted look and return the files by piece id."""
    files = {}
    for number, piece in enumerate(plan.pieces):
        if number == 3:
            continue  # one piece has no picture
        wide, high = piece.piece.blank.size_mm
        share = 600.0 / max(wide, high)
        image = Image.new("RGB", (math.ceil(wide * share), math.ceil(high * share)), (234, 211, 169))
        pen = ImageDraw.Draw(image)
        at = piece.piece.place_bed_mm
        for mark in piece.marks:
            x0, y0, x1, y1 = mark.box_bed_mm
            left, right = (x0 - at[0]) * share, (x1 - at[0]) * share
            top, bottom = image.height - (y1 - at[1]) * share, image.height - (y0 - at[1]) * share
            pen.rectangle((left, top, right, bottom), outline=(74, 45, 24), width=6)
            pen.ellipse((left + 20, top + 12, right - 20, bottom - 12), outline=(74, 45, 24), width=10)
        target = folder / f"{piece.piece.id}.png"
        image.save(target)
        files[piece.piece.id] = target
    return files
