"""What is handed out of programs: those alone that hold against the machine as it is at that moment.

A piece's programs are those of its fresh plan (`plan_piece`). A card's stand in the book, where the machine may change under
them and a backup may bring them in: each is read and verified anew whenever it is asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import PurePath

import sqlalchemy as sa

from evenburn.adapters.formats.machine_toml import MachineTable, machine_from_table, read_machine
from evenburn.adapters.formats.ngc_reader import read_program
from evenburn.adapters.formats.strict import checked
from evenburn.adapters.storage.book.keeping import path_of
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import machine
from evenburn.core.errors import EvenburnError, InvalidInput, NotFound, UnreadableFile
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.services.book.machine_figures import BY_KEY, LENS_BY_KEY
from evenburn.services.verify_program import limits_of

PROGRAM = ".ngc"
# no stop to the reader, for what it costs is the tube; here it is one: a card is made within these limits
POWER_WINDOW = frozenset({"power-above-cap", "power-below-least"})
# what the words of a program come to; where it may go is judged by reading it
WORDS = ("power_max_W", "power_curve", "power_word_max", "post_processor")
# what patches are even by, beside it
EVENNESS = ("accel_x_mm_per_s2", "accel_y_mm_per_s2", "jerk_mm_per_s3", "rise_time_s", "reversal_offset_mm")
LENS = ("focal_length_mm", "wavelength_um")  # of a card that measures the rest
WHOLE_LENS = (
    *LENS, "beam_diameter_mm", "beam_quality_m2", "focus_stand_off_mm", "shape", "waist_radius_mm", "rayleigh_length_mm"
)  # fmt: skip
UNKNOWN = "the book does not know which figures of the machine it was made for"
_NAMES = {"power_curve": "power at each fraction", "post_processor": "words and lines for the controller"}


class NotHandedOut(EvenburnError):
    """A program is not handed out: it does not hold against the machine as it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeFor:
    """What a card was made for: the machine as it was then, its lens, and which of both count for the card to hold."""

    machine: Machine
    lens_name: str
    keys: tuple[str, ...]
    lens_keys: tuple[str, ...]


def is_program(name: str) -> bool:
    """Return whether a file of this name is a program."""
    return PurePath(name).suffix.lower() == PROGRAM


def machine_now(connection: sa.Connection, machine_id: str) -> Machine | None:
    """Return a machine as the book has it now, None where it is gone."""
    try:
        document = row_of(connection, machine, machine_id)["document"]
    except NotFound:
        return None
    return machine_from_table(checked(MachineTable, document, name="the machine"), source="the machine")


def made_for(
    book: Book, sha256: str | None, *, lens_name: str, keys: tuple[str, ...], lens_keys: tuple[str, ...]
) -> MadeFor | None:
    """Return what a card was made for, from the machine.toml that is kept with it; None where that is not there or does not hold."""
    try:
        then = None if sha256 is None else read_machine(path_of(book, sha256), name="machine.toml")
    except (UnreadableFile, InvalidInput, NotFound):
        return None
    return None if then is None else MadeFor(machine=then, lens_name=lens_name, keys=keys, lens_keys=lens_keys)


def fault_of_card(programs: Mapping[str, bytes], made_for: MadeFor | None, now: Machine | None) -> str:
    """Return why the programs of a card are not handed out, "" where they may be.

    Parameters
    ----------
    programs : name → bytes.
    made_for : None where the book does not know; then nothing tells what the words of the program come to.
    now : the machine as it is, None where it is gone.
    """
    if now is None:
        return "the machine that it was made for is not in the book any more"
    if made_for is None:
        return UNKNOWN
    changed = _changed(made_for, now)
    if changed:
        return f"since it was made, the machine changed in {', '.join(changed)}"
    for name, data in programs.items():
        found = _fault(data, now)
        if found:
            return f"{name} does not pass on the machine as it is now: {found}"
    return ""


def _changed(made_for: MadeFor, now: Machine) -> list[str]:
    """Return what counts and is not as it was, in words."""
    then = made_for.machine
    keys = [key for key in made_for.keys if getattr(then, key) != getattr(now, key)]
    told = [_named(key) for key in keys if key != "power_curve" or "power_max_W" not in keys]  # its end moves with it
    lens, lens_now = (_lens(one, made_for.lens_name) for one in (then, now))
    if lens is None or lens_now is None:
        return [*told, f"the lens {made_for.lens_name} is gone"]
    return told + [
        f"{LENS_BY_KEY[key].name} of the lens"
        for key in made_for.lens_keys
        if getattr(lens, key) != getattr(lens_now, key)
    ]


def _lens(one: Machine, name: str) -> Lens | None:
    return next((lens for lens in one.lenses if lens.name == name), None)


def _named(key: str) -> str:
    return _NAMES[key] if key in _NAMES else BY_KEY[key].name


def _fault(data: bytes, now: Machine) -> str:
    """Return what is wrong with a program, with its line, or ""."""
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        return "it is no text"
    for finding in read_program(text, limits_of(now)).findings:
        if finding.level == "stop" or finding.code in POWER_WINDOW:
            return finding.text if finding.line is None else f"line {finding.line}, {finding.text}"
    return ""
