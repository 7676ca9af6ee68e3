"""Random jobs for the property tests: a bench, a lens, a lot, and a piece with its marks somewhere on the bed."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from hypothesis import strategies as st
from shapely import affinity

from evenburn.core.art.picture import Artwork
from evenburn.core.layout.place import ellipse_outline, rectangle_outline
from evenburn.core.nouns.machine import Lens, Machine, PostProcessor
from evenburn.core.nouns.mark import Bridges, Hold, Mark, Piece, Preparation, Treatment
from evenburn.core.nouns.wood import Wood
from evenburn.core.planning.piece_plan import PieceWork, work_piece
from evenburn.core.response.curve import tone_range_L
from property.drawn import drawings, photographs, texts_in
from soaking import large
from strategies import benches, between, lenses, over_decades, woods
from unit.core.examples import blank

LARGEST_mm2 = 900.0  # of a mark in the short profile
TREATMENTS: tuple[Treatment, ...] = ("solid", "solid", "solid", "photo", "photo", "line", "cut")
MOST_DOTS = 6.0e6  # of one burn image in the long one


@dataclass(frozen=True, kw_only=True)
class Job:
    """One piece to be planned, with all it needs."""

    machine: Machine
    lens: Lens
    wood: Wood
    piece: Piece
    artworks: dict[str, Artwork]

    def work(self) -> PieceWork:
        """Return the piece worked through."""
        return work_piece(
            self.machine,
            lens=self.lens,
            wood=self.wood,
            piece=self.piece,
            artworks=self.artworks,
            material=None,
            confirmed=True,
        )


def rarely(values: st.SearchStrategy[float]) -> st.SearchStrategy[float | None]:
    """Return a strategy that mostly leaves a setting free."""
    return st.one_of(st.none(), st.none(), st.none(), st.none(), st.none(), values)


@st.composite
def holds(draw: st.DrawFn, bench: Machine, size_mm: tuple[float, float]) -> Hold:
    """Draw settings that somebody insists on, mostly none: each that a batch file may say, sensible or not."""
    dots = 4.0e5 if short() else MOST_DOTS
    finest = max(0.03, math.sqrt(size_mm[0] * size_mm[1] / dots))
    return Hold(
        speed_mm_per_s=draw(rarely(between(1.0, bench.speed_max_mm_per_s))),
        power_W=draw(rarely(between(0.02 * bench.power_max_W, 1.1 * bench.power_max_W))),
        line_spacing_mm=draw(rarely(between(finest, max(0.5, 2.0 * finest)))),
        focus_offset_mm=draw(rarely(between(-2.0, 12.0))),
        passes=draw(st.sampled_from([None, None, None, None, 1, 2, 4])),
        scan_axis=draw(st.sampled_from([None, None, None, "x", "y"])),
        direction=draw(st.sampled_from([None, None, None, "both ways", "one way"])),
    )


def short() -> bool:
    """Return whether marks are kept small, as every day."""
    return not large()


@st.composite
def sizes(draw: st.DrawFn) -> tuple[float, float]:
    """Draw a mark's box: 2 to 250 mm a side, all decades of area alike, large ones left out in the short profile."""
    width = draw(over_decades(2.0, 250.0))
    most = LARGEST_mm2 if short() else 250.0 * 250.0
    return width, draw(over_decades(2.0, min(250.0, max(2.0, most / width))))


@st.composite
def marks(draw: st.DrawFn, job: tuple[Machine, Wood], *, number: int, likely: bool) -> tuple[Mark, Artwork]:
    """Draw a mark and its artwork, at the lower left corner of the blank."""
    bench, wood = job
    size = draw(sizes())
    treatment = draw(st.sampled_from(TREATMENTS))
    artwork: Artwork = draw(photographs()) if treatment == "photo" else draw(drawings())
    if likely and treatment != "photo" and draw(st.integers(0, 3)) == 0:
        artwork = draw(texts_in(size)) or artwork
    faint, full = tone_range_L(wood.curve)
    return (
        Mark(
            id=f"mark-{number}",
            art_label="some drawing",
            treatment=treatment,
            tone_L=min(
                max(faint + draw(between(0.1, 0.9) if likely else between(-0.02, 1.02)) * (full - faint), 0.0), 100.0
            ),
            place_mm=(0.0, 0.0),
            size_mm=size,
            hold=draw(holds(bench, size)),
            reproduction=draw(st.sampled_from(["auto", "auto", "continuous", "halftone", "clustered"])),
            sharpness_mm=draw(over_decades(0.05, 2.0)),
            reading_distance_mm=draw(over_decades(100.0, 3000.0)),
            preparation=Preparation(
                local_contrast=draw(between(0.0, 1.0)),
                sharpen=draw(between(0.0, 1.0)),
                fade_mm=draw(st.sampled_from([0.0, 0.0, 3.0])),
                background_L=draw(st.sampled_from([None, None, 80.0])),
            ),
            line_mm=draw(rarely(between(0.05, 2.0))) if treatment == "line" else None,
            keeps=draw(st.sampled_from(["part", "opening", "line"])),
            bridges=Bridges(count=2, width_mm=0.6) if treatment == "cut" and draw(st.booleans()) else None,
        ),
        artwork,
    )


@st.composite
def jobs(draw: st.DrawFn, *, likely: bool = False) -> Job:
    """Draw a job: blanks are turned any way and lie anywhere, also in the bed's corners.

    `likely` draws jobs of which most can be burnt, lettering among them, on controllers with either on word.
    """
    bench, wood = draw(benches()), draw(woods())
    if likely:
        bench, wood = draw(likely_benches(bench)), replace(wood, cut_J_per_mm3=draw(between(1.0, 6.0)))
    count = draw(st.sampled_from([1, 1, 1, 2]))
    drawn = [draw(marks((bench, wood), number=i, likely=likely)) for i in range(count)]
    widest, highest = (max(mark.size_mm[k] for mark, _ in drawn) for k in (0, 1))
    around = draw(over_decades(0.5, 60.0))
    oval = draw(st.sampled_from([False, False, False, True]))
    wider = 1.45 if oval else 1.0  # √2 and a little holds the box of the marks
    size = (wider * widest + 2.0 * around, wider * highest + 2.0 * around)
    outline = ellipse_outline(size) if oval else rectangle_outline(size)
    turn = draw(st.one_of(st.sampled_from([0.0, 0.0, 90.0, 180.0, -90.0]), between(-180.0, 180.0)))
    x0, y0, x1, y1 = affinity.rotate(outline, turn, origin=(0.0, 0.0)).bounds
    corner = between(0.3, 0.7) if likely else st.one_of(st.sampled_from([0.0, 0.5, 1.0]), between(-0.02, 1.02))
    return Job(
        machine=bench,
        lens=draw(lenses()),
        wood=wood,
        piece=Piece(
            id="some-piece",
            name="Some piece",
            wood_id=wood.id,
            blank=blank(
                shape="ellipse" if oval else "rectangle",
                size_mm=size,
                outline=outline,
                unevenness_mm=draw(st.one_of(st.just(0.0), between(0.0, 2.0))),
                thickness_mm=draw(between(0.5, 4.0) if likely else between(1.0, 25.0)),
                margin_mm=draw(st.sampled_from([0.0, 2.0])),
            ),
            place_bed_mm=(
                draw(corner) * (bench.bed_x_mm - (x1 - x0)),
                draw(corner) * (bench.bed_y_mm - (y1 - y0)),
            ),
            turn_deg=turn,
            marks=tuple(place_on(mark, size, shares=(draw(corner), draw(corner)), wider=wider) for mark, _ in drawn),
        ),
        artworks={mark.id: artwork for mark, artwork in drawn},
    )


@st.composite
def likely_benches(draw: st.DrawFn, bench: Machine) -> Machine:
    """Draw what makes a bench one that burns most of what it is asked for."""
    least = draw(between(0.0, 0.05))
    return replace(
        bench,
        bed_x_mm=max(bench.bed_x_mm, 500.0),
        bed_y_mm=max(bench.bed_y_mm, 500.0),
        power_least_fraction=least,
        power_cap_fraction=draw(between(0.6, 1.0)),
        speed_max_mm_per_s=max(bench.speed_max_mm_per_s, 200.0),
        accel_x_mm_per_s2=max(bench.accel_x_mm_per_s2, 1000.0),
        accel_y_mm_per_s2=max(bench.accel_y_mm_per_s2, 1000.0),
        post_processor=PostProcessor(on_word=draw(st.sampled_from(["M3", "M4"]))),
    )


def place_on(mark: Mark, blank_mm: tuple[float, float], *, shares: tuple[float, float], wider: float) -> Mark:
    """Return the mark where it lies on its blank, in the box that the blank's form leaves."""
    edge = [0.5 * whole * (1.0 - 1.0 / wider) for whole in blank_mm]
    place = tuple(
        e + share * (whole - 2.0 * e - own)
        for e, share, whole, own in zip(edge, shares, blank_mm, mark.size_mm, strict=True)
    )
    return replace(mark, place_mm=(place[0], place[1]))
