"""The keys of a piece's document, as batch.toml has them: set, taken away, said in words, and told where a fault stands."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from copy import deepcopy
from typing import Any

from evenburn.core.errors import InvalidInput

_STEP = re.compile(r"([A-Za-z_]+)(?:\[([1-9][0-9]{0,3})\])?")
_OF_THE_PIECE = re.compile(r"^piece\[1\]\.?")
_FIRST_WORD = re.compile(r"^(?:hold\.)?([a-z_]+(?:_mm|_L|_deg|_W)?)\b")
_TABLE = re.compile(r"mark\[\d+\](\.(hold|photo|along|bridges))?")
KEYS = frozenset({"outline", "face", "text", "art", "wrap", "names", "photo", "reproduction", "keeps", "bridges"})
WORDS = {
    "place_bed_mm[1]": "from the left",
    "place_bed_mm[2]": "from below",
    "place_mm[1]": "from the blank’s left",
    "place_mm[2]": "from its lower edge",
    "size_mm[1]": "width",
    "size_mm[2]": "height",
    "diameter_mm": "diameter",
    "radius_mm": "radius of the corners",
    "treatment": "treatment",
    "face": "face",
    "speed_mm_per_s": "speed held",
    "power_W": "power held",
    "line_spacing_mm": "line spacing held",
    "focus_offset_mm": "focus offset held",
    "passes": "passes held",
    "place_bed_mm": "place on the bed",
    "turn_deg": "turn",
    "wood": "wood",
    "name": "name",
    "tone_L": "wished tone",
    "place_mm": "place on the blank",
    "size_mm": "size",
    "sharpness_mm": "sharpness",
    "unevenness_mm": "warp",
    "thickness_mm": "thickness",
    "margin_mm": "margin",
    "art": "artwork",
    "hold": "held settings",
    "reading_distance_mm": "reading distance",
}


def with_changes(document: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return a document with keys set, or taken away where the value is None.

    Raises
    ------
    InvalidInput
        If a key names no place of the document.
    """
    copy = deepcopy(dict(document))
    wrong: dict[str, str] = {}
    for key, value in changes.items():
        try:
            _set(copy, key.split("."), value)
        except (KeyError, IndexError, TypeError, ValueError):
            wrong[key] = "is no place of a piece"
    if wrong:
        raise InvalidInput(wrong, hint="docs/reference/batch.md lists every key.")
    return copy


def _set(table: dict[str, Any], steps: Sequence[str], value: Any) -> None:
    here: Any = table
    for step in steps[:-1]:
        name, number = _step(step)
        here = here.setdefault(name, {}) if number is None else here[name][number - 1]
    name, number = _step(steps[-1])
    if number is not None:
        if value is None:
            del here[name][number - 1]
        else:
            here[name][number - 1] = value
    elif value is None:
        here.pop(name, None)
    else:
        here[name] = list(value) if isinstance(value, tuple) else value
    _drop_empty(table)


def _step(step: str) -> tuple[str, int | None]:
    found = _STEP.fullmatch(step)
    if found is None:
        raise ValueError(step)
    return found[1], None if found[2] is None else int(found[2])


def _drop_empty(table: dict[str, Any]) -> None:
    """Take away tables of a mark with nothing left in them."""
    for mark in table.get("mark") or []:
        for key in [k for k in ("hold", "photo", "bridges", "along") if mark.get(k) == {}]:
            del mark[key]


def fix_changes(document: Mapping[str, Any], fix: Mapping[str, Any]) -> dict[str, Any]:
    """Return a remedy as changes of a piece's document.

    Raises
    ------
    InvalidInput
        If it is no remedy of this piece, as after its mark was taken away.
    """
    target, change_of, text = fix.get("target"), fix.get("change"), fix.get("text")
    if not isinstance(change_of, Mapping) or not change_of or not isinstance(text, str):
        raise InvalidInput({"fix": "is no remedy of a plan; it needs text, target and change"})
    if target == "piece":
        return dict(change_of)
    ids = [mark["id"] for mark in document["mark"]]
    if target not in ids:
        raise InvalidInput(
            {"fix": f"is for the mark “{str(target)[:64]}”, which this piece does not have"}, hint="Plan it anew first."
        )
    lead = f"mark[{ids.index(target) + 1}]"
    return {f"{lead}.{key}": value for key, value in change_of.items()}


def at_fields(fields: Mapping[str, str]) -> dict[str, str]:
    """Return faults at the fields of a piece: those of a table that begin with one of its keys are said there."""
    found: dict[str, str] = {}
    for where, text in fields.items():
        place = _OF_THE_PIECE.sub("", where)
        word = _FIRST_WORD.match(text)
        in_table = place in ("", "blank") or _TABLE.fullmatch(place)
        if word is not None and in_table and ("_" in word[1] or word[1] in KEYS):
            lead = f"{place}.{'hold.' if text.startswith('hold.') else ''}" if place else ""
            found[f"{lead}{word[1]}"] = text[word.end() :].strip()
        else:
            found[place] = text
    return found


def in_words(document: Mapping[str, Any], changes: Mapping[str, Any]) -> str:
    """Return what changes were, in words: "wished tone 40 → 38"."""
    told: list[str] = []
    for key, value in changes.items():
        steps = key.split(".")
        name = _STEP.fullmatch(steps[-1])
        word = WORDS.get(steps[-1]) or WORDS.get(name[1] if name else "", steps[-1].split("_")[0])
        old = _standing(document, steps)
        if old == value or (isinstance(value, tuple) and old == list(value)):
            continue
        if isinstance(value, str | float | int) and isinstance(old, str | float | int):
            told.append(f"{word} {_short(old)} → {_short(value)}")
        elif word not in told:
            told.append(word)
    shown = ", ".join(told[:3]) + (" and more" if len(told) > 3 else "")
    return shown or "as it was"


def _short(value: str | float) -> str:
    return f"“{value[:24]}”" if isinstance(value, str) else f"{value:g}"


def _standing(document: Mapping[str, Any], steps: Sequence[str]) -> Any:
    here: Any = document
    for step in steps:
        try:
            name, number = _step(step)
            here = here[name] if number is None else here[name][number - 1]
        except (KeyError, IndexError, TypeError, ValueError):
            return None
    return here
