"""Change a machine, add one, take one away. Keys are those of machine.toml; a lens's as `lens[1].focus_stand_off_mm`."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from copy import deepcopy
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.formats.machine_toml import MachineTable, machine_from_table
from evenburn.adapters.formats.strict import checked
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change, row_of
from evenburn.adapters.storage.book.tables import batch, machine
from evenburn.core.errors import InvalidInput, UnreadableFile
from evenburn.services.book.names import new_id
from evenburn.services.book.saved import Saved

_PATH = re.compile(
    r"(?:lens\[(?P<lens>[1-9][0-9]?)\](?:\.(?P<lens_key>\w+))?|(?:(?P<table>post_processor)\.)?(?P<key>\w+))"
)
_KEY = re.compile(r"\b[a-z0-9]+(?:_[A-Za-z0-9]+)+\b")
_WORDS = {  # how the form calls keys of machine.toml that are told of together
    "power_curve": "the power curve",
    "power_max_W": "“Power on the work at 100 %”",
    "power_least_fraction": "“Nothing fires below”",
    "power_cap_fraction": "“No recipe goes above”",
    "focal_length_mm": "the focal length",
    "beam_diameter_mm": "the beam at the lens",
    "waist_radius_mm": "the waist radius",
    "rayleigh_length_mm": "the Rayleigh length",
}
LARGEST_bytes = 1024 * 1024
PAGE = "machine"


def new_machine(book: Book, document: Mapping[str, Any], *, now: str) -> Saved:
    """Add a machine to the book; InvalidInput with every field that does not hold, keys as in machine.toml."""
    wished = _without_none(document)
    _check(wished)
    with book.writing() as connection:
        _demand_own_name(connection, str(wished["name"]), apart_from=None)
        taken = set(connection.execute(sa.select(machine.c.id)).scalars())
        machine_id = new_id(str(wished["name"]), taken, otherwise="machine")
        what = f"Machine “{wished['name']}” added"
        made = change(
            connection, [Change(table=machine, key=machine_id, values={"document": wished})], what=what, now=now
        )
    return Saved(edit_id=made.edit_id, what=what, key=machine_id, version=1)


def new_machine_from_file(book: Book, data: bytes, *, name: str, now: str) -> Saved:
    """Add the machine of a machine.toml; raises as `new_machine`, and UnreadableFile where it is no TOML."""
    if len(data) > LARGEST_bytes:
        raise UnreadableFile(name, "is larger than 1 MiB, which no machine.toml is")
    try:
        document = tomllib.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise UnreadableFile(name, f"is not TOML: {error}", hint="docs/reference/machine.md shows one.") from error
    return new_machine(book, document, now=now)


def change_machine(
    book: Book, machine_id: str, changes: Mapping[str, Any], *, version: int, now: str, what: str = ""
) -> Saved:
    """Change figures of a machine, all or nothing.

    Parameters
    ----------
    changes : key to new value; None takes the key away, of `lens[2]` the whole lens. `lens[3].name` where there are two adds one.
    what : in words, for the line that offers undo; made from the changes where empty.

    Raises
    ------
    InvalidInput
        With every field that does not hold, at its key; "" for what lies between two.
    ChangedMeanwhile
        If it is not the version that the person saw.
    """
    with book.writing() as connection:
        row = row_of(connection, machine, machine_id)
        wished = _changed(row["document"], changes)
        _check(wished)
        _demand_own_name(connection, str(wished["name"]), apart_from=machine_id)
        said = what or f"Machine “{wished['name']}” changed"
        made = change(
            connection,
            [Change(table=machine, key=machine_id, values={"document": wished}, version=version)],
            what=said,
            now=now,
        )
    return Saved(edit_id=made.edit_id, what=said, key=machine_id, version=version + 1)


def remove_machine(book: Book, machine_id: str, *, version: int, now: str) -> Saved:
    """Take a machine out of the book; InvalidInput where batches are planned with it."""
    with book.writing() as connection:
        row = row_of(connection, machine, machine_id)
        users = [
            d["name"]
            for d in connection.execute(sa.select(batch.c.document).where(batch.c.removed_at.is_(None))).scalars()
            if d["machine"] == machine_id
        ]
        if users:
            raise InvalidInput(
                {
                    "machine": f"“{users[0]}” is planned with it{f', and {len(users) - 1} more' if len(users) > 1 else ''}"
                },
                hint="Plan those batches with another machine first.",
            )
        what = f"Machine “{row['document']['name']}” taken out of the book"
        made = change(
            connection, [Change(table=machine, key=machine_id, values=None, version=version)], what=what, now=now
        )
    return Saved(edit_id=made.edit_id, what=what, key=machine_id, version=version + 1)


def _check(document: Mapping[str, Any]) -> None:
    """Refuse a machine that does not hold, and lines of its own that no program could be written with."""
    from evenburn.services.prove import demand_sound_own_lines

    try:
        table = checked(MachineTable, dict(document), name=PAGE)
        demand_sound_own_lines(machine_from_table(table, source=PAGE), source=PAGE)
    except InvalidInput as error:
        told = {_home(where, text): _in_words(text) for where, text in error.fields.items()}
        raise InvalidInput(told, hint=error.hint) from error


def _in_words(text: str) -> str:
    """Return a fault without keys of machine.toml in it, as far as the form has words for them."""
    return _KEY.sub(lambda found: _WORDS.get(found[0], found[0]), text)


def _home(where: str, text: str) -> str:
    """Return the field to say it at; what is wrong between fields names the one that is to be changed."""
    if where in {"", "lens"} or re.fullmatch(r"lens\[\d+\]", where):
        named = re.match(r"(power_curve|power_least_fraction|lens names)", text)
        if named and named.group(1) != "lens names":
            return named.group(1)
        if "power_cap_fraction" in text:
            return "power_cap_fraction"
        if where.startswith("lens["):
            return f"{where}.waist_radius_mm" if "Rayleigh" in text else f"{where}.focal_length_mm"
    return where


def _changed(document: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    wished: dict[str, Any] = deepcopy(dict(document))
    gone: set[int] = set()
    for path, value in changes.items():
        found = _PATH.fullmatch(path)
        if found is None:
            raise InvalidInput({path: "is no key of a machine"})
        if found["lens"] is None:
            holder = wished.setdefault("post_processor", {}) if found["table"] else wished
            _put(holder, found["key"], value)
            continue
        at = int(found["lens"]) - 1
        if found["lens_key"] is None:
            if value is None:
                gone.add(at)
            continue
        lenses = wished["lens"]
        if at == len(lenses):
            lenses.append({})
        if at >= len(lenses):
            raise InvalidInput({path: f"there are {len(lenses)} lenses"})
        _put(lenses[at], found["lens_key"], value)
    wished["lens"] = [lens for number, lens in enumerate(wished["lens"]) if number not in gone]
    if not wished.get("post_processor", True):
        del wished["post_processor"]
    return wished


def _put(holder: dict[str, Any], key: str, value: Any) -> None:
    if value is None or value == []:
        holder.pop(key, None)
    else:
        holder[key] = value


def _without_none(document: Mapping[str, Any]) -> dict[str, Any]:
    kept = {key: value for key, value in document.items() if value is not None}
    if isinstance(kept.get("lens"), list):
        kept["lens"] = [
            {k: v for k, v in lens.items() if v is not None} if isinstance(lens, Mapping) else lens
            for lens in kept["lens"]
        ]
    return kept


def _demand_own_name(connection: sa.Connection, name: str, *, apart_from: str | None) -> None:
    rows = connection.execute(sa.select(machine.c.id, machine.c.document).where(machine.c.removed_at.is_(None)))
    if any(document["name"].casefold() == name.casefold() for id_, document in rows if id_ != apart_from):
        raise InvalidInput({"name": f"is “{name}”, which another machine of the book is called"})
