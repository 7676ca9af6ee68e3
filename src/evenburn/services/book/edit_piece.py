"""Change a piece: its document edited by keys of batch.toml, read through as planning would, and kept with a line for undo."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.keeping import path_of
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change, row_of
from evenburn.adapters.storage.book.tables import piece
from evenburn.core.errors import ChangedMeanwhile, InvalidInput
from evenburn.services.book.inputs import Sources, sources_of
from evenburn.services.book.lay_out import lay_out
from evenburn.services.book.names import file_name, files_named, new_id, with_files_renamed
from evenburn.services.book.piece_keys import at_fields, fix_changes, in_words, with_changes
from evenburn.services.book.read_artwork import read_artwork
from evenburn.services.book.saved import Saved
from evenburn.services.book.take_in import POSITION_STEP, checked_piece, keep_artwork, piece_values

WHAT_LONGEST = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class NewFile:
    """A file that a person gives with a change: what it is called there, what is in it, and which endings may stand there."""

    written: str
    data: bytes
    endings: tuple[str, ...]


def change_piece(
    book: Book,
    piece_id: int,
    changes: Mapping[str, Any],
    *,
    version: int,
    now: str,
    what: str = "",
    wrong_already: Mapping[str, str] | None = None,
) -> Saved:
    """Change a piece by keys of batch.toml, as {"mark[1].tone_L": 38.0}; None takes a key away.

    Parameters
    ----------
    what : the change in words, for the line that offers undo; made from the keys without it.
    wrong_already : what a form saw to be wrong, to be told with all the rest.

    Raises
    ------
    InvalidInput
        With every fault at its key; nothing is changed.
    ChangedMeanwhile
        If the piece is not as the person saw it.
    NotFound
        If it is not in the book.
    """
    row, sources = standing(book, piece_id, version=version)
    document = with_changes(row["document"], changes)
    sources = _rests_on(book, row, document, sources=sources)
    if wrong_already:
        raise InvalidInput({**_faults(book, document, sources=sources), **wrong_already})
    what = f"{row['name']}: {what or in_words(row['document'], changes)}"
    return keep_document(book, row, document, sources=sources, what=what, version=version, now=now)


def _rests_on(book: Book, row: Mapping[str, Any], document: Mapping[str, Any], *, sources: Sources) -> Sources:
    """Return what a changed document rests on: it may name another wood, or other files of the book, than before."""
    try:
        kept = checked_piece(document)
    except InvalidInput:
        return sources  # it is told where the document is read through
    with book.reading() as connection:
        return sources_of(connection, row["batch_id"], [kept])


def _faults(book: Book, document: Mapping[str, Any], *, sources: Sources) -> dict[str, str]:
    try:
        read_through(book, document, sources=sources)
    except InvalidInput as error:
        return error.fields
    return {}


def apply_fix(book: Book, piece_id: int, fix: Mapping[str, Any], *, version: int, now: str) -> Saved:
    """Apply a remedy of plan.json, `{text, price, target, change}`, to a piece; raises as `change_piece`."""
    row, sources = standing(book, piece_id, version=version)
    changes = fix_changes(row["document"], fix)
    document = with_changes(row["document"], changes)
    sources = _rests_on(book, row, document, sources=sources)
    what = f"{row['name']}: {fix['text']!s}"
    return keep_document(book, row, document, sources=sources, what=what, version=version, now=now)


def centre_marks(book: Book, piece_id: int, *, version: int, now: str) -> Saved:
    """Move all marks of a piece together so that their common box lies in the middle of the blank; raises as `change_piece`."""
    row, sources = standing(book, piece_id, version=version)
    document = deepcopy(row["document"])
    from evenburn.services.book.reach_of import blank_of  # drawings are read for it

    width, height = blank_of(book, document["blank"], sources=sources).size_mm
    boxes = [(*mark["place_mm"], *mark["size_mm"]) for mark in document["mark"]]
    left, low = min(b[0] for b in boxes), min(b[1] for b in boxes)
    right, high = max(b[0] + b[2] for b in boxes), max(b[1] + b[3] for b in boxes)
    dx, dy = 0.5 * (width - left - right), 0.5 * (height - low - high)
    for mark in document["mark"]:
        mark["place_mm"] = [round(mark["place_mm"][0] + dx, 3), round(mark["place_mm"][1] + dy, 3)]
    if document["mark"] == row["document"]["mark"]:
        raise InvalidInput({"centre": "nothing to move: the middle of the marks is the middle of the blank already"})
    marks = "mark" if len(boxes) == 1 else "marks"
    what = f"{row['name']}: {marks} centred on the blank"
    return keep_document(book, row, document, sources=sources, what=what, version=version, now=now)


def remove_piece(book: Book, piece_id: int, *, version: int, now: str) -> Saved:
    """Take a piece out of its batch; undo brings it back. Raises ChangedMeanwhile and NotFound as `change_piece`."""
    with book.writing() as connection:
        row = row_of(connection, piece, piece_id)
        what = f"“{row['name']}” taken out"
        made = change(connection, [Change(table=piece, key=piece_id, values=None, version=version)], what=what, now=now)
    return Saved(edit_id=made.edit_id, what=what, key=piece_id, version=version + 1)


def copy_piece(book: Book, piece_id: int, *, now: str) -> Saved:
    """Put a copy of a piece behind it in its batch; NotFound if it is not in the book."""
    with book.writing() as connection:
        row = row_of(connection, piece, piece_id)
        document = deepcopy(row["document"])
        name = f"{row['name'][:110]}, copy"
        document |= {"id": new_slug(connection, row["batch_id"], document["id"]), "name": name}
        values = piece_values(document, row["batch_id"], _behind(connection, row))
        what = f"“{row['name']}” copied"
        made = change(connection, [Change(table=piece, key=None, values=values)], what=what, now=now)
    return Saved(edit_id=made.edit_id, what=what, key=int(made.keys[0]), version=1)


def add_artwork(book: Book, data: bytes, *, name: str, now: str) -> str:
    """Keep artwork that a mark may name, after the reader of artwork has read it, and return what it goes by in the book.

    Raises
    ------
    InvalidInput
        At "artwork": of no kind that can be burnt, broken, empty, or too large; nothing is kept.
    """
    read = read_artwork(data, name=name)
    with book.writing() as connection:
        return keep_artwork(book, connection, data, written=name, endings=(read.ending,), now=now)


# ---- what changes have in common ---------------------------------------------------------------------------------


def standing(book: Book, piece_id: int, *, version: int) -> tuple[dict[str, Any], Sources]:
    """Return a piece's row and what it rests on; ChangedMeanwhile with what was done since where it is not of that version."""
    with book.reading() as connection:
        row = row_of(connection, piece, piece_id)
        sources = sources_of(connection, row["batch_id"], [row["document"]])
    if row["version"] != version:
        raise ChangedMeanwhile(
            f"“{row['name']}” was changed in another window since you opened it; your change is not saved",
            hint="Look at it as it is now, then save yours again.",
            kind="piece",
            key=str(piece_id),
        )
    return row, sources


def keep_document(
    book: Book,
    row: Mapping[str, Any],
    document: Mapping[str, Any],
    *,
    sources: Sources,
    what: str,
    version: int,
    now: str,
    files: Sequence[NewFile] = (),
    before: Callable[[sa.Connection], Sequence[Change]] | None = None,
) -> Saved:
    """Keep a piece's document after it was read through as planning would; raises as `change_piece`.

    Parameters
    ----------
    files : that the document names by what they are called there, in place of a name of the book.
    before : gives changes that belong to it, as of a wood that comes with it.
    """
    checked = read_through(book, document, sources=sources, files=files)
    with book.writing() as connection:
        named = with_kept_files(book, connection, checked, files=files, now=now)
        values = piece_values(named, row["batch_id"], row["position"])
        first = [] if before is None else list(before(connection))
        key = row.get("id")
        made = change(
            connection,
            [*first, Change(table=piece, key=key, values=values, version=None if key is None else version)],
            what=what[:WHAT_LONGEST],
            now=now,
        )
    return Saved(
        edit_id=made.edit_id,
        what=what[:WHAT_LONGEST],
        key=int(made.keys[-1]),
        version=1 if key is None else version + 1,
    )


def with_kept_files(
    book: Book, connection: sa.Connection, document: Mapping[str, Any], *, files: Sequence[NewFile], now: str
) -> dict[str, Any]:
    """Return a document with the files given kept, and called as they are in the book."""
    names = {
        one.written: keep_artwork(book, connection, one.data, written=one.written, endings=one.endings, now=now)
        for one in files
    }
    return with_files_renamed(document, names)


def read_through(
    book: Book, document: Mapping[str, Any], *, sources: Sources, files: Sequence[NewFile] = ()
) -> dict[str, Any]:
    """Return a piece's document, checked by every reader that planning would use.

    Raises
    ------
    InvalidInput
        With every fault, at its key of the piece: `mark[1].art`, `blank.size_mm[1]`.
    """
    from evenburn.services.load_batch import load_batch

    try:
        stage_names = {one.written: f"new-{n}{_ending(one)}" for n, one in enumerate(files, start=1)}
        kept = checked_piece(with_files_renamed(document, stage_names), name="batch.toml")
    except InvalidInput as error:
        raise InvalidInput(at_fields(error.fields), hint=error.hint) from error
    with tempfile.TemporaryDirectory(prefix="evenburn-reading-") as name:
        stage = Path(name)
        there, merged = _with_files(book, kept, sources=sources, files=files, names=stage_names, stage=stage)
        lay_out(there, merged, [kept], to=stage / "batch")
        try:
            load_batch(stage / "batch")
        except InvalidInput as error:
            back = {new: old for old, new in stage_names.items()}
            raise InvalidInput(_said(at_fields(error.fields), back), hint=error.hint) from error
    return with_files_renamed(kept, {new: old for old, new in stage_names.items()})


def _ending(one: NewFile) -> str:
    name = file_name(one.written, (), endings=one.endings)
    return name[name.rindex(".") :]


def _with_files(
    book: Book,
    document: Mapping[str, Any],
    *,
    sources: Sources,
    files: Sequence[NewFile],
    names: Mapping[str, str],
    stage: Path,
) -> tuple[Book, Sources]:
    """Return the book and what the piece rests on with files that are not kept yet, in a folder that goes again."""
    if not files:
        return book, sources
    there = replace(book, files=stage / "files")
    shas = dict(sources.files)
    data = {names[one.written]: one.data for one in files}
    for name in files_named(document):
        if name in data:
            shas[name] = sha256(data[name]).hexdigest()
        elif name in shas:
            data[name] = path_of(book, shas[name]).read_bytes()
    for name, content in data.items():
        target = path_of(there, shas[name])
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    return there, replace(sources, files=shas)


def _said(fields: Mapping[str, str], names: Mapping[str, str]) -> dict[str, str]:
    """Return faults with files called as the person called them."""
    said = dict(fields)
    for new, old in names.items():
        said = {where: text.replace(new, old) for where, text in said.items()}
    return said


def new_slug(connection: sa.Connection, batch_id: str, text: str) -> str:
    """Return an id for a piece of a batch that no piece of it has, not even one that was taken out."""
    taken = set(connection.execute(sa.select(piece.c.slug).where(piece.c.batch_id == batch_id)).scalars())
    return new_id(text, taken, otherwise="piece")


def last_position(connection: sa.Connection, batch_id: str) -> int:
    """Return the place behind all pieces of a batch."""
    last = connection.execute(sa.select(sa.func.max(piece.c.position)).where(piece.c.batch_id == batch_id)).scalar()
    return int(last or 0) + POSITION_STEP


def _behind(connection: sa.Connection, row: Mapping[str, Any]) -> int:
    """Return a place just behind a piece; behind all of its batch where there is no room for one between."""
    following = connection.execute(
        sa.select(sa.func.min(piece.c.position)).where(
            piece.c.batch_id == row["batch_id"], piece.c.position > row["position"], piece.c.removed_at.is_(None)
        )
    ).scalar()
    here = int(row["position"])
    if following is None:
        return here + POSITION_STEP
    middle = (here + int(following)) // 2
    return middle if middle > here else last_position(connection, row["batch_id"])
