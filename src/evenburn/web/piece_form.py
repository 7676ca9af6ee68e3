"""The forms of a piece's sheet: fields named by the keys of batch.toml, turned into changes of its document."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Literal

from evenburn.core.errors import InvalidInput
from evenburn.web.figures import entry, speed_entry, trimmed
from evenburn.web.forms import Sent, gathering

Kind = Literal["length", "speed", "number", "whole", "text", "choice"]
WARP_mm = 0.5  # taken where nobody measured it, as batch.toml has it
SHAPES = (
    ("rectangle", "rectangle"),
    ("rounded", "rectangle, round corners"),
    ("circle", "round"),
    ("ellipse", "oval"),
    ("outline", "outline from a drawing"),
)
TREATMENTS = (
    ("solid", "solid: one even tone"),
    ("photo", "photo: all tones of a picture"),
    ("line", "line: the stroke is followed"),
    ("cut", "cut: right through"),
)
REPRODUCTIONS = (
    ("auto", "what suits the recipe"),
    ("continuous", "power follows the tone"),
    ("halftone", "dots, the kind that suits"),
    ("floyd-steinberg", "dots: Floyd and Steinberg"),
    ("jarvis", "dots: Jarvis, Judice and Ninke"),
    ("stucki", "dots: Stucki"),
    ("ordered", "dots: ordered"),
    ("blue-noise", "dots: blue noise"),
    ("clustered", "dots: clustered"),
)
KEEPS = (("part", "the part"), ("opening", "the opening"), ("line", "neither"))
ALIGNS = (("left", "left"), ("centre", "centred"), ("right", "right"))
AXES = (("", "free"), ("x", "along x"), ("y", "along y"))
DIRECTIONS = (("", "free"), ("both ways", "both ways"), ("one way", "one way"))

PLACE: tuple[tuple[str, Kind], ...] = (
    ("place_bed_mm[1]", "length"),
    ("place_bed_mm[2]", "length"),
    ("turn_deg", "number"),
)
OF_ALL: tuple[tuple[str, Kind], ...] = (
    ("treatment", "choice"),
    ("place_mm[1]", "length"),
    ("place_mm[2]", "length"),
    ("size_mm[1]", "length"),
    ("size_mm[2]", "length"),
    ("sharpness_mm", "length"),
    ("reading_distance_mm", "length"),
    ("air_kPa", "number"),
    ("hold.speed_mm_per_s", "speed"),
    ("hold.power_W", "number"),
    ("hold.focus_offset_mm", "length"),
    ("hold.passes", "whole"),
)
OF_SCANNED: tuple[tuple[str, Kind], ...] = (
    ("hold.line_spacing_mm", "length"),
    ("hold.scan_axis", "choice"),
    ("hold.direction", "choice"),
)
OF_TEXT: tuple[tuple[str, Kind], ...] = (
    ("face", "choice"),
    ("align", "choice"),
    ("letter_mm", "length"),
)
OF_TREATMENT: Mapping[str, tuple[tuple[str, Kind], ...]] = {
    "solid": (("tone_L", "number"), *OF_SCANNED),
    "photo": (
        ("tone_L", "number"),
        ("reproduction", "choice"),
        ("photo.local_contrast", "number"),
        ("photo.sharpen", "number"),
        ("photo.fade_mm", "length"),
        ("photo.background_L", "number"),
        *OF_SCANNED,
    ),
    "line": (("tone_L", "number"), ("line_mm", "length")),
    "cut": (("keeps", "choice"), ("bridges.count", "whole"), ("bridges.width_mm", "length")),
}
NEEDED = frozenset(
    {"treatment", "place_mm[1]", "place_mm[2]", "size_mm[1]", "size_mm[2]", "face", *(k for k, _ in PLACE)}
)
DEFAULTS: Mapping[str, Any] = {
    "treatment": "solid",
    "align": "centre",
    "reproduction": "auto",
    "keeps": "part",
    "turn_deg": 0.0,
}


def shown(value: Any, kind: Kind) -> str:
    """Return a value as its field shows it; empty where there is none."""
    if value is None:
        return ""
    match kind:
        case "length":
            return entry(float(value))
        case "speed":
            return speed_entry(float(value))
        case "number":
            return trimmed(float(value), 4)
        case _:
            return str(value)


def value_at(table: Mapping[str, Any], key: str) -> Any:
    """Return what stands at a key of a mark or a piece, as `size_mm[1]` or `hold.passes`; its default or None without it."""
    here: Any = table
    for step in key.split("."):
        name, _, number = step.partition("[")
        here = here.get(name) if isinstance(here, Mapping) else None
        if number and isinstance(here, list | tuple):
            here = here[int(number.rstrip("]")) - 1]
    return DEFAULTS.get(key) if here is None else here


Changes = tuple[dict[str, Any], dict[str, str]]  # what changes, and what is wrong in the form itself


def place_changes(sent: Sent, document: Mapping[str, Any]) -> Changes:
    """Return the changes of the form that places a piece, and what is no number in it."""
    return _changed(sent, PLACE, document, lead="")


def mark_changes(sent: Sent, document: Mapping[str, Any], number: int) -> Changes:
    """Return the changes of a mark's form, and what is no number in it; what the treatment chosen does not have is taken away."""
    mark = document["mark"][number - 1]
    lead = f"mark[{number}]."
    treatment = sent.text(f"{lead}treatment") or mark.get("treatment", "solid")
    own = OF_TREATMENT.get(treatment, ())
    fields = [*OF_ALL, *own, *(OF_TEXT if mark.get("art") is None else ())]
    changes, wrong = _changed(sent, tuple(fields), mark, lead=lead)
    if mark.get("text") is not None:
        text = sent.text(f"{lead}text").replace("\r\n", "\n")
        if text != mark["text"]:
            changes[f"{lead}text"] = text or None
    here = {key for key, _ in own}
    others = {key for each in OF_TREATMENT.values() for key, _ in each} - here
    changes |= {f"{lead}{key}": None for key in others if _stands(mark, key)}
    if treatment != "photo" and mark.get("photo") is not None:
        changes[f"{lead}photo"] = None
    return changes, wrong


def _stands(mark: Mapping[str, Any], key: str) -> bool:
    here: Any = mark
    for step in key.split("."):
        here = here.get(step) if isinstance(here, Mapping) else None
    return here is not None


def _changed(sent: Sent, fields: tuple[tuple[str, Kind], ...], table: Mapping[str, Any], *, lead: str) -> Changes:
    """Return what differs from what stands; a field that a form does not have, and one left as it was shown, changes nothing."""
    changes: dict[str, Any] = {}
    wrong: dict[str, str] = {}
    for key, kind in fields:
        name = f"{lead}{key}"
        if name not in sent.values:
            continue
        text = sent.text(name)
        if text == shown(value_at(table, key), kind):
            continue
        with gathering(wrong):
            if not text and key in NEEDED:
                raise InvalidInput({name: "is missing"})
            changes[name] = _read(sent, name, kind) if text else None
    return changes, wrong


def _read(sent: Sent, name: str, kind: Kind) -> Any:
    match kind:
        case "length":
            return round(sent.length_mm(name), 6)
        case "speed":
            return round(sent.speed_mm_per_s(name), 6)
        case "number":
            return sent.number(name)
        case "whole":
            return sent.whole(name)
        case _:
            return sent.text(name)


def blank_table(sent: Sent, standing: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Return a blank as batch.toml has it, from the fields `blank.…` of a form.

    Parameters
    ----------
    standing : the blank as it is, whose outline is kept.

    Raises
    ------
    InvalidInput
        With every field that is no number, or missing.
    """
    known = standing or {}
    shape = sent.text("blank.shape") or "rectangle"
    table: dict[str, Any] = {"shape": shape}
    wrong: dict[str, str] = {}

    def read(name: str, old: Any = None) -> float | None:
        if old is not None and sent.text(name) == entry(float(old)):
            return float(old)
        value: float | None = None
        with gathering(wrong):
            value = _rounded(sent.optional_length_mm(name))
        return value  # noqa: RET504  # what is gathered leaves it as it was

    size = known.get("size_mm") or (None, None)
    if shape == "circle":
        table["diameter_mm"] = read("blank.diameter_mm", known.get("diameter_mm"))
        if table["diameter_mm"] is None and "blank.diameter_mm" not in wrong:
            wrong["blank.diameter_mm"] = "is missing"
    else:
        pair = [read("blank.size_mm[1]", size[0]), read("blank.size_mm[2]", size[1])]
        if None not in pair:
            table["size_mm"] = pair
        elif shape != "outline" or any(value is not None for value in pair):
            for number, value in enumerate(pair, start=1):
                if value is None:
                    wrong.setdefault(f"blank.size_mm[{number}]", "is missing")
    if shape == "rounded":
        table["radius_mm"] = read("blank.radius_mm", known.get("radius_mm"))
        if table["radius_mm"] is None:
            wrong.setdefault("blank.radius_mm", "is missing; write the radius of the corners")
    if shape == "outline" and known.get("outline"):
        table["outline"] = known["outline"]
    for key in ("thickness_mm", "unevenness_mm", "margin_mm"):
        value = read(f"blank.{key}", known.get(key))
        if value is not None:
            table[key] = value
    if "thickness_mm" not in table:
        wrong.setdefault("blank.thickness_mm", "is missing; measure it with a calliper")
    if wrong:
        raise InvalidInput(wrong)
    return {key: value for key, value in table.items() if value is not None}


def blank_changes(sent: Sent, document: Mapping[str, Any]) -> Changes:
    """Return the changes of the form for name, wood and blank, and what is wrong in it."""
    old = document["blank"]
    wrong: dict[str, str] = {}
    new: dict[str, Any] = dict(old)
    with gathering(wrong):
        new = blank_table(sent, old)
    if new.get("shape", "rectangle") == old.get("shape", "rectangle"):
        keys = sorted({*old, *new} - {"shape"})
        changes = {f"blank.{key}": new.get(key) for key in keys if new.get(key) != old.get(key)}
    else:
        changes = {"blank": new}
    name, wood = sent.text("name"), sent.text("wood")
    if not name:
        wrong["name"] = "is missing; write what the piece is to be called"
    elif name != document.get("name", document["id"].replace("-", " ")):
        changes["name"] = name
    if wood and wood != document["wood"]:
        changes["wood"] = wood
    return changes, wrong


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 6)


def json_table(sent: Sent, name: str) -> dict[str, Any]:
    """Return a table that a button carries as JSON.

    Raises
    ------
    InvalidInput
        If it is none; only a button of an old page, or somebody else's, sends such.
    """
    try:
        table = json.loads(sent.text(name))
    except (ValueError, RecursionError):
        table = None
    if not isinstance(table, dict) or not table:
        raise InvalidInput({name: "is no table; reload the page and press the button again"})
    return table
