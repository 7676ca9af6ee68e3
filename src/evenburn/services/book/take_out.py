"""What goes to the machine: the printed run sheet of a batch as planned whole, and its programs as one ZIP."""

from __future__ import annotations

import os
import tempfile
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from evenburn.adapters.formats.json_file import read_json
from evenburn.adapters.storage.book.opening import Book, told
from evenburn.core.errors import NotFound
from evenburn.services.book.plan_piece import INDEX, burnt_of, whole_of

PROGRAMS, ORDER = "programs.zip", "order.txt"
_FIXED_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest a ZIP can hold, so that the same programs give the same bytes


def run_sheet_of(book: Book, batch_id: str) -> Path:
    """Return the run sheet of a batch as it stands; NotFound where it was not planned whole since the last change."""
    from evenburn.services.plan_batch import RUN_SHEET

    return _planned_whole(book, batch_id) / RUN_SHEET


def programs_of(book: Book, batch_id: str) -> Path:
    """Return a ZIP of the programs of what is left of a batch, each with its dry trace, and its run sheet.

    Raises
    ------
    NotFound
        If the batch was not planned whole since its last change, or a stop holds every program back.
    StorageError
        If the ZIP cannot be written.
    """
    from evenburn.services.plan_batch import RUN_SHEET

    folder = _planned_whole(book, batch_id)
    plan = read_json(folder / INDEX, name=INDEX)
    programs = _programs_in(plan)
    if not programs:
        raise NotFound("there is no program to take along: every piece has a stop", hint="Apply a remedy on Today.")
    target = folder / PROGRAMS
    if target.is_file():
        return target
    burnt = burnt_of(book, batch_id)
    with told(book.name):
        handle, name = tempfile.mkstemp(prefix=".packing-", dir=folder)
        try:
            with os.fdopen(handle, "wb") as stage, zipfile.ZipFile(stage, "w", zipfile.ZIP_DEFLATED) as packed:
                packed.writestr(_entry(ORDER), _order_text(plan, burnt=burnt))
                for path in [*(folder / name for name in programs), folder / RUN_SHEET]:
                    with packed.open(_entry(path.name), "w") as member, path.open("rb") as source:
                        while chunk := source.read(1 << 20):
                            member.write(chunk)
            Path(name).replace(target)
        except OSError:
            Path(name).unlink(missing_ok=True)
            raise
    return target


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, date_time=_FIXED_DATE)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.external_attr = 0o644 << 16
    return entry


def _order_text(plan: Mapping[str, Any], *, burnt: Sequence[str]) -> str:
    """Return the programs in the order in which they are burnt, each with what has to be set before it.

    Parameters
    ----------
    burnt : names of the pieces that are burnt already, of which there are no programs.
    """
    rows = [
        (mark["files"]["program"], f"{one['name']}, {mark['id']}", one["thickness_mm"], mark["recipe"]["stand_off_mm"])
        for one in plan["pieces"]
        for mark in one["marks"]
        if mark["files"]["program"] is not None
    ]
    widest = max(len(name) for name, *_ in rows)
    lines = [
        f"{number:>3}  {name:<{widest}}  blank {thickness:g} mm, stand-off {stand_off:.1f} mm  {what}"
        for number, (name, what, thickness, stand_off) in enumerate(rows, start=1)
    ]
    head = f"{plan['name']}: in this order. The run sheet says what to set, and what to mind, before each."
    left_out = [f"Burnt already, and left out: {', '.join(burnt)}.", ""] if burnt else []
    return "\n".join([head, "", *left_out, *lines, ""])


def _programs_in(plan: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what may be burnt as planned, one by one and several in a run, and the dry trace of each that may."""
    marks = [mark["files"] for one in plan["pieces"] for mark in one["marks"] if mark["files"]["program"] is not None]
    names = {one[key] for one in marks for key in ("program", "trace")} | {run["file"] for run in plan["runs"]}
    return tuple(sorted(names - {None}))


def _planned_whole(book: Book, batch_id: str) -> Path:
    folder = whole_of(book, batch_id)
    if folder is None:
        raise NotFound("the run sheet of this batch is not made, or no longer holds", hint="Print it anew from Today.")
    return folder
