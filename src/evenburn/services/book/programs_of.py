"""What goes to the machine for a piece: its files, and what is set and ticked there, in order."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from evenburn.adapters.storage.book.opening import Book, told
from evenburn.core.errors import NotFound
from evenburn.core.units import psi
from evenburn.services.book.hand_out import NotHandedOut, is_program
from evenburn.services.book.plan_piece import INDEX, PiecePlanned, plan_of

Kind = Literal["program", "dry trace", "burn image", "place on the bed", "proof", "run sheet"]
MEDIA_TYPES = {
    ".ngc": "text/plain; charset=us-ascii",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".pdf": "application/pdf",
}
_KEYS: tuple[tuple[str, Kind], ...] = (
    ("program", "program"),
    ("trace", "dry trace"),
    ("image", "burn image"),
    ("drawing", "place on the bed"),
)
_PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,199}")  # no path: a plan's files lie in its own folder


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceFile:
    """A file of a plan: its name, what it is, the mark it is of (none for the whole piece), and its size in bytes."""

    name: str
    kind: Kind
    mark_id: str
    media_type: str
    size_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FileData:
    """A file of a plan with what is in it."""

    name: str
    media_type: str
    data: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUpRow:
    """A thing to set or do at the machine; the number, if any, with which unit is told by its name, the words beside it.

    Attributes
    ----------
    what : in words.
    kind : of value: a length, a place on the bed, a pressure, a time, or words.
    value : its numbers, in mm, kPa or s.
    text : value in words.
    small : what else is to be known.
    """

    what: str
    kind: Literal["length", "place", "air", "time", "words"]
    value: tuple[float, ...] = ()
    text: str = ""
    small: str = ""


def files_of(planned: PiecePlanned, document: Mapping[str, Any]) -> tuple[PieceFile, ...]:
    """Return the files of a plan that are there, the programs first; of a plan that is stale, no program and no dry trace."""
    found: list[PieceFile] = []

    def add(name: str | None, kind: Kind, mark_id: str = "") -> None:
        if name is None or _PLAIN.fullmatch(name) is None or (is_program(name) and not planned.fresh):
            return
        path = planned.folder / name
        if path.is_file() and all(one.name != name for one in found):
            media = MEDIA_TYPES.get(path.suffix, "application/octet-stream")
            size = path.stat().st_size
            found.append(PieceFile(name=name, kind=kind, mark_id=mark_id, media_type=media, size_bytes=size))

    several = len(document["pieces"]) > 1
    for key, kind in _KEYS:
        for one in document["pieces"]:
            for mark in one["marks"]:
                add(mark["files"][key], kind, f"{one['name']}, {mark['id']}" if several else mark["id"])
    for one in document["pieces"]:
        if one["marks"]:
            add(one["marks"][0]["files"]["proof"], "proof", one["name"] if several else "")
    add(document["run_sheet"], "run sheet")
    return tuple(found)


def file_of(book: Book, piece_id: int, name: str) -> FileData:
    """Return a file of a piece's last plan.

    Raises
    ------
    NotFound
        If the plan has no file of that name, or is gone.
    NotHandedOut
        If it is a program, and what the plan rests on was changed since.
    """
    planned = plan_of(book, piece_id)
    if planned is None or not (planned.folder / INDEX).is_file():
        raise NotFound("this piece has no files yet", hint="Plan it; its files come with the plan.")
    if is_program(name) and not planned.fresh:
        raise NotHandedOut(
            "the plan is older than the piece or its machine as they stand now, and so are its programs",
            hint="Plan it anew on the piece's sheet; its programs come with the plan.",
        )
    known = next((one for one in files_of(planned, planned.document()) if one.name == name), None)
    if known is None:
        raise NotFound("this plan has no such file", hint="The piece's sheet lists those there are.")
    with told(book.name):
        return FileData(name=name, media_type=known.media_type, data=Path(planned.folder / name).read_bytes())


def set_up_of(document: Mapping[str, Any]) -> tuple[SetUpRow, ...]:
    """Return what is set and done at the machine for the first piece of a plan, in order; none where nothing may burn."""
    one = document["pieces"][0]
    live = [mark for mark in one["marks"] if mark["files"]["program"] is not None]
    if not live:
        return ()
    lens = document["lens"]
    rows = [
        SetUpRow(what=f"Lens {lens['name']}, seated and clean", kind="length", value=(lens["focal_length_mm"],)),
        SetUpRow(what=_blank_words(one), kind="place", value=tuple(one["outline_box_bed_mm"][:2])),
        SetUpRow(what="Thickness as measured", kind="length", value=(one["thickness_mm"],)),
    ]
    set_ups = {s["mark"]: s for s in one["set_ups"]}
    air: float | Literal[False] | None = False
    for mark in live:
        recipe = mark["recipe"]
        named = f" for {mark['id']}" if len(live) > 1 else ""
        if mark["id"] in set_ups:
            rows.append(_stand_off(set_ups[mark["id"]], named=named if mark is not live[0] else ""))
        elif mark is live[0]:
            rows.append(
                SetUpRow(what="Stand-off as it stands: try the gauge", kind="length", value=(recipe["stand_off_mm"],))
            )
        if recipe["air_kPa"] != air:
            air = recipe["air_kPa"]
            rows.append(_air(air))
        pointer = SetUpRow(
            what=f"Pointer on the lower left corner of the mark{named}",
            kind="place",
            value=tuple(mark["box_bed_mm"][:2]),
            small=f"Walk round it first, laser off: {mark['files']['trace']}" if mark["files"]["trace"] else "",
        )
        program = SetUpRow(
            what=f"{mark['files']['program']}: extraction on, extinguisher in reach, stay beside it",
            kind="time",
            value=(mark["predicted"]["time_s"],),
        )
        rows += [pointer, program]
    return tuple(rows)


def _blank_words(one: Mapping[str, Any]) -> str:
    turned = f", turned {one['turn_deg']:g}°" if one["turn_deg"] else ""
    flat = f", flat to ±{one['unevenness_mm']:g}\u00a0mm" if one["unevenness_mm"] else ", flat"
    return f"Blank, lower left corner of its box{turned}{flat}"


def _stand_off(one: Mapping[str, Any], *, named: str) -> SetUpRow:
    moved = one["bed_down_mm"]
    bed = f", bed {abs(moved):.1f}\u00a0mm {'down' if moved > 0 else 'up'}" if moved and abs(moved) >= 0.05 else ""
    holds = "" if one["tolerance"] is None else f"Holds for {one['tolerance']['text']}."
    return SetUpRow(
        what=f"Gauge block between nozzle and board{named}{bed}",
        kind="length",
        value=(one["stand_off_mm"],),
        small=holds,
    )


def _air(air_kPa: float | None) -> SetUpRow:
    if air_kPa is None:
        return SetUpRow(what="Air, as low as it will go and still keep the lens clean", kind="words", text="lowest")
    return SetUpRow(what="Air, held through the burn", kind="air", value=(air_kPa, psi(air_kPa)))
