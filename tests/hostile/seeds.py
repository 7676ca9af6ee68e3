"""Sound files to start from, and how the case of a number is made for each door: the same number, the same case."""

from __future__ import annotations

import io
import json
import tempfile
import tomllib
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
from PIL import Image

from hostile import grammar
from hostile.mutate import Spoil, spoil_bytes, spoil_groups, spoil_json, spoil_text, spoil_tree, spoil_zip, toml_text
from service.conftest import ART, BATCH, DATE, MACHINE

Files = dict[str, bytes]
ROOT = Path(__file__).resolve().parents[2]
CARDS = ROOT / "src" / "evenburn" / "assets" / "demo" / "cards" / "hard-maple"
FACES = ROOT / "src" / "evenburn" / "assets" / "faces"
PROGRAM = b"""(a small sound program)
G21 G90 G94 G17
M5
G0 X20 Y20
M3 S0
G1 X22 F6000
G1 X40 S500
G1 X42 S0
G0 X42 Y20.1
G2 X52 Y30.1 I0 J10 S300 F3000
M5
M2
"""
NAMES = "name,seat\nInes Hale,bow\nTom Reed,2\n“Ada” Øst,3\n".encode()
NAMES_BATCH = BATCH.replace(
    'id = "front"\nart = "art.svg"', 'id = "front"\ncolumn = "name"\nface = "zilla-slab"'
).replace("[[piece.mark]]", 'names = { file = "names.csv" }\n[[piece.mark]]')


# ---- sound files -------------------------------------------------------------------------------------------------


@cache
def pictures() -> tuple[bytes, ...]:
    """Return small pictures of every kind that is read."""
    rng = np.random.default_rng(3)
    grey = Image.fromarray(rng.integers(0, 256, (20, 30), dtype=np.uint8))
    colour = Image.fromarray(rng.integers(0, 256, (20, 30, 3), dtype=np.uint8))
    deep = Image.fromarray(rng.integers(0, 65536, (12, 9), dtype=np.uint16))
    exif = Image.Exif()
    exif[0x0112] = 6
    made = []
    for picture, kinds in (
        (grey, ("PNG", "JPEG", "TIFF", "WEBP", "GIF", "BMP")),
        (colour, ("PNG", "JPEG", "TIFF", "WEBP", "BMP")),
        (colour.convert("CMYK"), ("JPEG", "TIFF")),
        (colour.convert("P"), ("PNG", "GIF", "TIFF")),
        (colour.convert("RGBA"), ("PNG", "WEBP", "TIFF")),
        (grey.convert("1"), ("PNG", "TIFF")),
        (deep, ("PNG", "TIFF")),
    ):
        for kind in kinds:
            out = io.BytesIO()
            more: dict[str, Any] = {"exif": exif} if kind == "JPEG" else {}
            more |= {"compression": "tiff_lzw"} if kind == "TIFF" else {}
            picture.save(out, kind, **more)
            made.append(out.getvalue())
    return tuple(made)


@cache
def pages() -> tuple[bytes, ...]:
    """Return pages of a PDF."""
    from reportlab.lib.colors import black, white
    from reportlab.pdfgen.canvas import Canvas

    made = []
    for number in range(2):
        out = io.BytesIO()
        canvas = Canvas(out, pagesize=(170, 85), pageCompression=number)
        canvas.rect(10, 10, 50, 30, fill=1)
        canvas.circle(100, 40, 20, stroke=1, fill=0)
        canvas.drawString(20, 60, "Sedgeholm")
        canvas.linearGradient(0, 0, 100, 0, (black, white))
        canvas.drawInlineImage(Image.open(io.BytesIO(pictures()[0])), 120, 5, 30, 20)
        canvas.save()
        made.append(out.getvalue())
    return tuple(made)


@cache
def dxf_drawings() -> tuple[bytes, ...]:
    """Return a DXF of many entities, of two versions."""
    from ezdxf.document import Drawing

    made = []
    for version in ("R12", "R2010"):
        document = Drawing.new(version)
        if version != "R12":  # which knows no units
            document.units = 4
        space = document.modelspace()
        space.add_line((1, 2), (40, 6))
        space.add_circle((20, 10), 8)
        space.add_arc((30, 12), 9, 10, 200)
        space.add_point((3, 3))
        block = document.blocks.new("OAR")
        block.add_line((0, 0), (3, 4))
        space.add_blockref("OAR", (5, 5))
        if version != "R12":
            space.add_lwpolyline([(0, 0), (10, 0), (10, 10, 0, 0, 0.5)], close=True)
            space.add_spline([(0, 0), (5, 5), (9, 1), (12, 8)])
            space.add_ellipse((20, 20), (8, 0), 0.4)
            hatch = space.add_hatch()
            hatch.paths.add_polyline_path([(30, 0), (40, 0), (40, 9), (30, 9)], is_closed=True)
        out = io.StringIO()
        document.write(out)
        made.append(out.getvalue().encode())
    return tuple(made)


def _made(*words: str, folder: Path) -> None:
    from evenburn.cli.main import main

    code = main(list(words))
    assert code == 0, f"{words} in {folder.name} ended with {code}"


@cache
def card_json() -> bytes:
    """Return the card that the demo photograph shows."""
    return (CARDS / "card.json").read_bytes()


@cache
def small_photo() -> bytes:
    """Return the demo's photograph of its card, small: it is looked for, and found too small or read poorly."""
    with Image.open(CARDS / "photo.jpg") as photo:
        out = io.BytesIO()
        photo.resize((photo.width // 5, photo.height // 5)).save(out, "JPEG", quality=80)
    return out.getvalue()


@cache
def reading_json() -> bytes:
    """Return a reading of a wood card."""
    from service.burnt_cards import card, reading_of, write_reading

    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        (place / "card.json").write_bytes(card_json())
        write_reading(place / "reading.json", reading_of(card(place)))
        return (place / "reading.json").read_bytes()


@cache
def curve_json() -> bytes:
    """Return a curve as `fit` writes it."""
    from evenburn.adapters.formats.curve_json import curve_document
    from evenburn.adapters.formats.wood_toml import shipped_wood

    return json.dumps(curve_document(shipped_wood("hard-maple").curve, wood_name="hard maple")).encode()


@cache
def outcome_json() -> tuple[bytes, bytes]:
    """Return what came of two finished pieces."""
    from service.test_drift import outcome_file

    with tempfile.TemporaryDirectory() as folder:
        files = [outcome_file(Path(folder), wood, gain=0.9, board=1) for wood in ("beech", "cherry")]
        return files[0].read_bytes(), files[1].read_bytes()


@cache
def plan_json() -> bytes:
    """Return a plan as it is written."""
    from evenburn.services.plan_batch import plan_batch

    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        for name, data in (("batch.toml", BATCH), ("machine.toml", MACHINE), ("art.svg", ART)):
            (place / name).write_text(data, encoding="utf-8")
        plan_batch(place, to=place / "out", date=DATE)
        return (place / "out" / "plan.json").read_bytes()


@cache
def backup_zip() -> bytes:
    """Return a backup of a small book."""
    from evenburn.adapters.storage.book.backing_up import back_up
    from evenburn.adapters.storage.book.keeping import keep
    from evenburn.adapters.storage.book.opening import open_book
    from evenburn.adapters.storage.book.rows import Change, change
    from evenburn.adapters.storage.book.tables import wood

    now = "2026-06-09T08:00:00+00:00"
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        book = open_book(place / "book")
        with book.writing() as connection:
            keep(book, connection, ART.encode(), media_type="image/svg+xml", now=now)
            maple = {"name": "hard maple", "document": {"name": "hard maple", "surface": "bare"}}
            change(connection, [Change(table=wood, key="hard-maple", values=maple)], what="a wood", now=now)
        back_up(book, place / "book.zip", now=now)
        book.close()
        return (place / "book.zip").read_bytes()


# ---- cases -------------------------------------------------------------------------------------------------------

Make = Callable[[Random], Files]


def _spoilt(name: str, seeds: Sequence[bytes], *, spoils: Sequence[Spoil], others: Files | None = None,
            grammars: Sequence[Callable[[Random], bytes]] = ()) -> Make:  # fmt: skip
    """Return how a case is made: a sound file spoilt, or one made from rules, those too sometimes spoilt."""

    def make(rng: Random) -> Files:
        if grammars and rng.random() < 0.5:
            data = rng.choice(grammars)(rng)
            if rng.random() < 0.3:
                data = rng.choice(spoils)(rng, data)
        else:
            data = rng.choice(spoils)(rng, rng.choice(seeds))
        return {**(others or {}), name: data}

    return make


def spoil_toml(rng: Random, data: bytes) -> bytes:
    """Return a TOML file with its tables spoilt, or its text."""
    if rng.random() < 0.4:
        return spoil_text(rng, data)
    try:
        return toml_text(spoil_tree(rng, tomllib.loads(data.decode()))).encode("utf-8", "replace")
    except (ValueError, RecursionError, OverflowError):
        return spoil_text(rng, data)


def spoil_list(rng: Random, data: bytes) -> bytes:
    """Return a list of names spoilt and kept short: each row is a piece that is worked through, which takes its time."""
    return b"\n".join(spoil_text(rng, data).split(b"\n")[:30])


WOOD = b'name = "hard maple"\nsurface = "sanded"\ncurve = "maple.curve.json"\ncut_J_per_mm3 = 4.2\n'
FOLDER: Files = {
    "batch.toml": BATCH.replace('wood = "hard-maple"', 'wood = "club-maple"').encode(),
    "machine.toml": MACHINE.encode(),
    "art.svg": ART.encode(),
    "woods/club-maple.toml": WOOD,
}
RICH_MACHINE = (
    MACHINE.replace(
        "[[lens]]", "jerk_mm_per_s3 = 100000.0\ncorner_tolerance_mm = 0.02\nreversal_sd_mm = 0.01\n\n[[lens]]", 1
    )
    + 'waist_radius_mm = 0.1\nrayleigh_length_mm = 2.1\n[[lens]]\nname = "4 inch"\nfocal_length_mm = 101.6\n'
    + "beam_diameter_mm = 6.0\nfocus_stand_off_mm = 60.0\n"
)
RICH_BATCH = (
    BATCH
    + """[[piece.mark]]
id = "rim"
text = "Swan 2026"
face = "zilla-slab"
treatment = "line"
line_mm = 0.3
tone_L = 35.0
place_mm = [5.0, 60.0]
size_mm = [50.0, 10.0]
hold = { passes = 1, speed_mm_per_s = 40.0 }
[[piece]]
id = "tag"
wood = "beech"
blank = { shape = "rounded", size_mm = [50.0, 30.0], radius_mm = 4.0, thickness_mm = 5.0 }
place_bed_mm = [20.0, 20.0]
turn_deg = 30.0
[[piece.mark]]
id = "cut"
art = "art.svg"
treatment = "cut"
bridges = { count = 3, width_mm = 0.8 }
place_mm = [5.0, 5.0]
size_mm = [20.0, 15.0]
[[piece.mark]]
id = "photo"
art = "photo.png"
treatment = "photo"
reproduction = "floyd-steinberg"
photo = { local_contrast = 0.5, sharpen = 0.4, fade_mm = 1.0, crop = [0.0, 0.0, 1.0, 1.0] }
tone_L = 35.0
place_mm = [26.0, 5.0]
size_mm = [18.0, 12.0]
air_kPa = 30.0
"""
)


def _batch(rng: Random) -> Files:
    whole = {**FOLDER, "maple.curve.json": curve_json(), "photo.png": pictures()[0]}
    whole["batch.toml"] = RICH_BATCH.replace('wood = "hard-maple"', 'wood = "club-maple"').encode()
    return {**whole, "batch.toml": spoil_toml(rng, whole["batch.toml"])}


def _plan(rng: Random) -> Files:
    """Spoil any one file of a folder that is planned for good."""
    machine = rng.choice((MACHINE, RICH_MACHINE)).encode()  # without a measured waist, and with
    whole = {**FOLDER, "maple.curve.json": curve_json(), "machine.toml": machine}
    name = rng.choice(
        ("batch.toml", "machine.toml", "machine.toml", "woods/club-maple.toml", "maple.curve.json", "art.svg")
    )
    spoil = spoil_json if name.endswith(".json") else spoil_toml if name.endswith(".toml") else spoil_text
    return {**whole, name: spoil(rng, whole[name])}


def _outcomes(rng: Random) -> Files:
    beech, cherry = outcome_json()
    return {"outcome.json": spoil_json(rng, beech), "other.json": cherry}


def _folder_with(name: str, data: bytes, spoils: Sequence[Spoil]) -> Make:
    return lambda rng: {**FOLDER, "maple.curve.json": curve_json(), name: rng.choice(spoils)(rng, data)}


TEXT, RAW = spoil_text, spoil_bytes
VERIFIED: Files = {"machine.toml": MACHINE.encode(), "mark.ngc": PROGRAM}
NAMED: Files = {"batch.toml": NAMES_BATCH.encode(), "machine.toml": MACHINE.encode()}
OWN_FACES = ("bebas-neue.ttf", "pirata-one.ttf")

# For each door how its cases are made; seeds are made when a door is tried first.
MAKERS: dict[str, Callable[[], Make]] = {
    "svg": lambda: _spoilt("art.svg", [ART.encode()], spoils=(TEXT,), grammars=(grammar.svg,)),
    "dxf": lambda: _spoilt(
        "art.dxf", dxf_drawings(), spoils=(spoil_groups, spoil_groups, spoil_groups, TEXT, RAW), grammars=(grammar.dxf,)
    ),
    "pdf": lambda: _spoilt("art.pdf", pages(), spoils=(TEXT, RAW), grammars=(grammar.pdf,)),
    "image": lambda: _spoilt("art.png", pictures(), spoils=(RAW,)),
    "font": lambda: _spoilt("own.ttf", [(FACES / name).read_bytes() for name in OWN_FACES], spoils=(RAW,)),
    "photograph": lambda: _spoilt("photo.jpg", [*pictures(), small_photo()], spoils=(RAW,)),
    "machine": lambda: _spoilt(
        "machine.toml", [MACHINE.encode(), RICH_MACHINE.encode()], spoils=(spoil_toml,), others=VERIFIED
    ),
    "program": lambda: _spoilt("mark.ngc", [PROGRAM], spoils=(TEXT, RAW), others=VERIFIED, grammars=(grammar.program,)),
    "wood": lambda: _folder_with("woods/club-maple.toml", WOOD, (spoil_toml,)),
    "curve": lambda: _folder_with("maple.curve.json", curve_json(), (spoil_json,)),
    "batch": lambda: _batch,
    "names": lambda: _spoilt(
        "names.csv", [NAMES], spoils=(spoil_list, RAW), others=NAMED, grammars=(grammar.names, grammar.spreadsheet)
    ),
    "plan": lambda: _plan,
    "card": lambda: _spoilt("card.json", [card_json()], spoils=(spoil_json,), others={"photo.jpg": small_photo()}),
    "reading": lambda: _spoilt("reading.json", [reading_json()], spoils=(spoil_json,)),
    "outcome": lambda: _outcomes,
    "plan-json": lambda: lambda rng: {"plan.json": spoil_json(rng, plan_json())},
    "backup": lambda: _spoilt("book.zip", [backup_zip()], spoils=(spoil_zip,)),
}


@cache
def maker(door: str) -> Make:
    """Return how the cases of a door are made."""
    return MAKERS[door]()


def case(door: str, number: int) -> Files:
    """Return the files of a case, the same for the same number."""
    return maker(door)(Random(f"{door} {number}"))  # noqa: S311  # cases are meant to come again, not to be secret


# ---- cases made from cases ---------------------------------------------------------------------------------------

SPOILS: dict[str, Spoil] = {
    ".json": spoil_json, ".toml": spoil_toml, ".zip": spoil_zip, ".svg": spoil_text, ".ngc": spoil_text,
    ".csv": spoil_list, ".dxf": spoil_groups, ".pdf": spoil_bytes,
}  # fmt: skip
CHIEF = {
    "svg": "art.svg", "dxf": "art.dxf", "pdf": "art.pdf", "image": "art.png", "font": "own.ttf", "photograph": "photo.jpg",
    "machine": "machine.toml", "program": "mark.ngc", "wood": "woods/club-maple.toml", "curve": "maple.curve.json",
    "batch": "batch.toml", "names": "names.csv", "card": "card.json", "reading": "reading.json", "outcome": "outcome.json",
    "plan-json": "plan.json", "backup": "book.zip",
}  # fmt: skip


def spoilt_again(door: str, files: Files, rng: Random) -> Files:
    """Return a case with its chief file spoilt once more, or any file where a door takes a whole folder."""
    name = CHIEF.get(door) or rng.choice([n for n in files if n != "photo.png"])
    spoil = SPOILS.get(Path(name).suffix, spoil_bytes)
    if spoil in (spoil_groups, spoil_text) and rng.random() < 0.2:
        spoil = spoil_bytes
    return {**files, name: spoil(rng, files[name])}
