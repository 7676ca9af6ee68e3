"""A new piece from few words: a blank, a wood, an artwork or a text; the mark is fitted on the blank and the blank put on the bed."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from hashlib import sha256
from pathlib import Path
from typing import Any, Literal

import sqlalchemy as sa

from evenburn.adapters.artwork.faces import list_faces
from evenburn.adapters.formats.batch_toml import BlankTable
from evenburn.adapters.formats.machine_toml import MachineTable, machine_from_table
from evenburn.adapters.formats.strict import checked
from evenburn.adapters.formats.wood_toml import shipped_ids, shipped_wood
from evenburn.adapters.storage.book.keeping import path_of
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, row_of
from evenburn.adapters.storage.book.tables import batch, blank, curve, machine, wood
from evenburn.core.errors import EvenburnError, InvalidInput, NotFound
from evenburn.core.nouns.blank import Blank
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.response.curve import tone_range_L
from evenburn.services.book.batches import batch_named
from evenburn.services.book.edit_piece import (
    NewFile,
    keep_document,
    last_position,
    new_slug,
    standing,
)
from evenburn.services.book.inputs import Sources, WoodSource
from evenburn.services.book.names import artwork_ending, new_id
from evenburn.services.book.piece_keys import at_fields
from evenburn.services.book.placing import Fitted, fitted, on_the_bed, text_proportion, turned_for_reach
from evenburn.services.book.reach_of import blank_of
from evenburn.services.book.read_artwork import ReadArtwork, read_artwork
from evenburn.services.book.saved import Saved
from evenburn.services.book.take_in import POSITION_STEP
from evenburn.services.book.wood_rows import wood_of_row

Treatment = Literal["solid", "photo", "line", "cut"]
OUTLINE_FILE, ART_FILE = "outline.svg", "artwork"
DARK = 0.25  # of the way from the darkest that the wood takes to the bare wood: dark, and away from the char limit
ALONGSIDE = 0.12  # of the shorter side: margin round a mark where none is wished


@dataclass(frozen=True, slots=True, kw_only=True)
class NewMark:
    """A mark as wished in few words: artwork or a text, how it is burnt, how dark, and how far from the edge.

    Attributes
    ----------
    artwork_name, artwork_data : what a person's file is called, and what is in it.
    text, face : lettering in its place, and the shipped face.
    treatment : None for what suits: a photograph where the file is one, else one even tone.
    tone_L : None for a dark tone that this wood takes well. [L*]
    margin_mm : to the blank's edge; None for an eighth of its shorter side. [mm]
    """

    artwork_name: str = ""
    artwork_data: bytes = b""
    text: str = ""
    face: str = ""
    treatment: Treatment | None = None
    tone_L: float | None = None
    margin_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPiece:
    """A piece as wished in few words.

    Attributes
    ----------
    wood_id : of the book, or of a wood that ships.
    blank : as in batch.toml; its `outline` is left out and given as `outline_name`, `outline_data`.
    blank_id : of the shelf; it says wood and blank where those are not given.
    batch_name : of a batch to be begun, where no batch is given.
    """

    name: str
    wood_id: str = ""
    blank: Mapping[str, Any] = field(default_factory=dict)
    outline_name: str = ""
    outline_data: bytes = b""
    blank_id: int | None = None
    batch_name: str = ""
    mark: NewMark = field(default_factory=NewMark)


def new_piece(
    book: Book, batch_id: str | None, wish: NewPiece, *, now: str, wrong_already: Mapping[str, str] | None = None
) -> Saved:
    """Add a piece to a batch, its mark in the middle of the blank and the blank where the head reaches it best.

    Parameters
    ----------
    batch_id : None to begin a batch of `wish.batch_name` on the first machine of the book.
    wrong_already : what a form saw to be wrong, to be told with all the rest.

    Raises
    ------
    InvalidInput
        With every fault at its field: name, batch, wood, blank.size_mm[1], artwork, text, face, tone_L, margin …
        Nothing is kept.
    """
    wrong: dict[str, str] = dict(wrong_already or {})
    name = wish.name.strip()
    if not name:
        wrong["name"] = "is missing; write what the piece is to be called"
    elif len(name) > 120:
        wrong["name"] = f"has {len(name)} characters; allowed are 120"
    wish = _from_shelf(book, wish, wrong)
    told_batch, machine_document, begun = _batch(book, batch_id, wish, wrong)
    known_wood = _wood(book, wish.wood_id, wrong)
    files: list[NewFile] = []
    table = None if any(where.startswith("blank.") for where in wrong) else _blank_table(wish, files, wrong)
    read = _read(wish.mark, wrong)
    if wrong or known_wood is None or machine_document is None or table is None:
        raise InvalidInput(wrong)
    sources = Sources(
        batch=told_batch,
        machine=machine_document,
        woods={wish.wood_id: known_wood.source},
        files={},
    )
    laid = _blank(book, table, files, sources=sources)
    machine_ = machine_from_table(checked(MachineTable, machine_document, name="the machine"), source="the machine")
    mark, box = _mark(wish.mark, read, curve=known_wood.curve, blank_=laid, wrong=wrong, files=files)
    if wrong:
        raise InvalidInput(wrong)
    document = _placed(name, wish, table, mark, box=box, machine_=machine_, blank_=laid)
    with book.reading() as connection:
        document["id"] = new_slug(connection, batch_id or "", name)
        position = last_position(connection, batch_id) if batch_id else POSITION_STEP
    row = {"batch_id": batch_id or begun, "position": position}
    before = [*known_wood.changes, *_batch_changes(book, begun, told_batch)]
    with _fields_of_the_form():
        return keep_document(
            book,
            row,
            document,
            sources=sources,
            what=f"“{name}” added",
            version=0,
            now=now,
            files=files,
            before=lambda _connection: before,
        )


def add_mark(
    book: Book,
    piece_id: int,
    wish: NewMark,
    *,
    version: int,
    now: str,
    wrong_already: Mapping[str, str] | None = None,
) -> Saved:
    """Add a mark to a piece, in the middle of its blank; takes and raises as `new_piece`, and ChangedMeanwhile."""
    row, sources = standing(book, piece_id, version=version)
    wrong: dict[str, str] = dict(wrong_already or {})
    read = _read(wish, wrong)
    if wrong:
        raise InvalidInput(wrong)
    document = dict(row["document"])
    laid = blank_of(book, document["blank"], sources=sources)
    source = sources.woods.get(document["wood"])
    if source is None:
        raise InvalidInput({"wood": "of this piece is no longer in the book; bring it back by undo, or choose another"})
    curve = _curve(document["wood"], source)
    files: list[NewFile] = []
    mark, box = _mark(wish, read, curve=curve, blank_=laid, wrong=wrong, files=files)
    if wrong:
        raise InvalidInput(wrong)
    taken = {one["id"] for one in document["mark"]}
    mark |= {"id": new_id(mark["id"], taken, otherwise="mark")}
    mark |= {"place_mm": list(box.place_mm), "size_mm": list(box.size_mm)}
    document["mark"] = [*document["mark"], mark]
    with _fields_of_the_form(mark_number=len(document["mark"])):
        return keep_document(
            book,
            row,
            document,
            sources=sources,
            what=f"{row['name']}: mark added",
            version=version,
            now=now,
            files=files,
        )


def replace_artwork(
    book: Book, piece_id: int, mark_id: str, *, name: str, data: bytes, version: int, now: str
) -> Saved:
    """Take other artwork for a mark, in the box that it has; raises as `add_mark`."""
    row, sources = standing(book, piece_id, version=version)
    read_artwork(data, name=name)
    file = NewFile(written=_written(name), data=data, endings=(artwork_ending(name),))
    document = dict(row["document"])
    marks = [dict(mark) for mark in document["mark"]]
    found = next((mark for mark in marks if mark["id"] == mark_id), None)
    if found is None:
        raise NotFound(f"this piece has no mark {mark_id[:64]}")
    for key in ("text", "face", "align", "letter_mm", "tracking_em", "leading_em", "wrap", "along", "column"):
        found.pop(key, None)
    found["art"] = file.written
    document["mark"] = marks
    number = marks.index(found) + 1
    with _fields_of_the_form(mark_number=number):
        return keep_document(
            book,
            row,
            document,
            sources=sources,
            what=f"{row['name']}: other artwork, {name[:60]}",
            version=version,
            now=now,
            files=[file],
        )


# ---- what is wished ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _KnownWood:
    """A wood to plan with: of the book, or one that ships and comes into the book with the piece."""

    source: WoodSource
    curve: CharacteristicCurve
    changes: tuple[Change, ...] = ()


def _from_shelf(book: Book, wish: NewPiece, wrong: dict[str, str]) -> NewPiece:
    """Return a wish with what the shelf knows of its blank; what the person wrote goes before it."""
    if wish.blank_id is None:
        return wish
    with book.reading() as connection:
        try:
            row = row_of(connection, blank, wish.blank_id)
        except NotFound:
            wrong["blank_id"] = "is no longer on the shelf; choose another, or write its size below"
            return wish
    stood = row["document"].get("blank") or {}
    return replace(wish, wood_id=row["wood_id"], blank={**stood, **{k: v for k, v in wish.blank.items() if not stood}})


def _batch(
    book: Book, batch_id: str | None, wish: NewPiece, wrong: dict[str, str]
) -> tuple[dict[str, Any], dict[str, Any] | None, str]:
    """Return a batch's document, its machine's, and the id of one that is to be begun."""
    with book.reading() as connection:
        if batch_id is not None:
            try:
                document = row_of(connection, batch, batch_id)["document"]
                return document, row_of(connection, machine, document["machine"])["document"], ""
            except NotFound:
                wrong["batch"] = "is no longer in the book, or its machine is not; choose another"
                return {}, None, ""
        first = connection.execute(
            sa.select(machine.c.id, machine.c.document).where(machine.c.removed_at.is_(None)).order_by(machine.c.id)
        ).first()
        taken = set(connection.execute(sa.select(batch.c.id)).scalars())
        name = wish.batch_name.strip()
        there = bool(name) and batch_named(connection, name)
    if first is None:
        wrong["batch"] = "needs a machine to be planned for, and this book has none yet; describe yours first"
        return {}, None, ""
    if not name or len(name) > 120:
        wrong["batch_name"] = "is missing; write what the new batch is called" if not name else "is longer than 120"
    elif there:
        wrong["batch_name"] = f"“{name}” is a batch already; choose it above, or call this one otherwise"
    lens = first.document["lens"][0]["name"]
    told = {"name": name or "Batch", "subtitle": "", "machine": first.id, "lens": lens}
    return told, first.document, new_id(name or "batch", taken, otherwise="batch")


def _batch_changes(book: Book, begun: str, document: Mapping[str, Any]) -> list[Change]:
    if not begun:
        return []
    with book.reading() as connection:
        last = int(connection.execute(sa.select(sa.func.max(batch.c.position))).scalar() or 0)
    return [Change(table=batch, key=begun, values={"position": last + POSITION_STEP, "document": dict(document)})]


def _wood(book: Book, wood_id: str, wrong: dict[str, str]) -> _KnownWood | None:
    if not wood_id:
        wrong["wood"] = "is missing; choose what the blank is made of"
        return None
    with book.reading() as connection:
        row = connection.execute(
            sa.select(wood.c.name, wood.c.document, curve.c.document)
            .select_from(wood.outerjoin(curve, wood.c.curve_id == curve.c.id))
            .where(wood.c.id == wood_id, wood.c.removed_at.is_(None))
        ).one_or_none()
    if row is not None:
        source = WoodSource(name=row[0], document=row[1], curve=row[2])
        try:
            return _KnownWood(source=source, curve=_curve(wood_id, source))
        except InvalidInput as error:
            wrong |= error.fields
            return None
    if wood_id not in shipped_ids():
        wrong["wood"] = f"is “{wood_id[:64]}”, which is not in the book; choose one of the list"
        return None
    shipped = shipped_wood(wood_id)
    document = {"name": shipped.name, "surface": "bare"}
    added = Change(table=wood, key=wood_id, values={"name": shipped.name, "document": document, "curve_id": None})
    source = WoodSource(name=shipped.name, document=document, curve=None)
    return _KnownWood(source=source, curve=shipped.curve, changes=(added,))


def _curve(wood_id: str, source: WoodSource) -> CharacteristicCurve:
    """Return the curve that planning works with; a wood that does not hold is told at the wood."""
    try:
        return wood_of_row(wood_id, source.document, source.curve).curve
    except EvenburnError as error:
        raise InvalidInput({"wood": f"cannot be planned with: {error.message}"}, hint=error.hint) from error


def _blank_table(wish: NewPiece, files: list[NewFile], wrong: dict[str, str]) -> dict[str, Any] | None:
    table = {key: value for key, value in wish.blank.items() if value is not None}
    if table.get("shape") == "outline":
        if not wish.outline_data:
            wrong["blank.outline"] = "is missing; an outline needs the SVG that draws it"
            return None
        try:
            read_artwork(wish.outline_data, name=wish.outline_name, field="blank.outline")
        except InvalidInput as error:
            wrong |= error.fields
            return None
        written = _written(wish.outline_name, beside=ART_FILE)
        if not written.endswith(".svg"):
            wrong["blank.outline"] = f"{wish.outline_name} is no SVG; an outline has to be one"
            return None
        table["outline"] = written
        files.append(NewFile(written=written, data=wish.outline_data, endings=(".svg",)))
    try:
        return checked(BlankTable, table, name="blank").model_dump(mode="json", exclude_unset=True, exclude_none=True)
    except InvalidInput as error:
        wrong |= at_fields({f"blank.{where}" if where else "blank": text for where, text in error.fields.items()})
        return None


def _blank(book: Book, table: dict[str, Any], files: list[NewFile], *, sources: Sources) -> Blank:
    """Return the blank; an outline that is not in the book yet is read from what was given."""
    if table.get("shape") != "outline":
        return blank_of(book, table, sources=sources)
    one = next(f for f in files if f.written == table["outline"])
    sha = sha256(one.data).hexdigest()
    with tempfile.TemporaryDirectory(prefix="evenburn-outline-") as folder:
        there = replace(book, files=Path(folder))
        target = path_of(there, sha)
        target.parent.mkdir(parents=True)
        target.write_bytes(one.data)
        try:
            return blank_of(there, table, sources=replace(sources, files={one.written: sha}))
        except InvalidInput as error:
            raise InvalidInput({"blank.outline": "; ".join(error.fields.values())}, hint=error.hint) from error
        except EvenburnError as error:
            raise InvalidInput({"blank.outline": error.message}, hint=error.hint) from error


def _read(wish: NewMark, wrong: dict[str, str]) -> ReadArtwork | None:
    """Return the artwork as read, None where it is a text."""
    if wish.artwork_name or wish.artwork_data:
        if wish.text.strip():
            wrong["text"] = "is given beside a file; a mark is one or the other"
        try:
            return read_artwork(wish.artwork_data, name=wish.artwork_name or "artwork")
        except InvalidInput as error:
            wrong |= error.fields
        return None
    if not wish.text.strip():
        wrong["artwork"] = "is missing; choose a file, or write a text instead"
    elif len(wish.text) > 2000:
        wrong["text"] = f"has {len(wish.text)} characters; allowed are 2000"
    if wish.text.strip() and wish.face not in {face.id for face in list_faces()}:
        wrong["face"] = "is missing; choose one for the text" if not wish.face else f"“{wish.face[:40]}” is not known"
    return None


def _mark(
    wish: NewMark,
    read: ReadArtwork | None,
    *,
    curve: CharacteristicCurve,
    blank_: Blank,
    wrong: dict[str, str],
    files: list[NewFile],
) -> tuple[dict[str, Any], Fitted]:
    """Return a mark's document and its box; its file is added to those that are given."""
    treatment = wish.treatment or ("photo" if read is not None and read.looks_like_photo else "solid")
    if treatment == "photo" and read is None:
        wrong["treatment"] = "is photo, but there is no picture; a text is burnt solid or as a line"
    mark: dict[str, Any] = {"id": "front", "treatment": treatment}
    if read is not None:
        one = NewFile(written=_written(wish.artwork_name), data=wish.artwork_data, endings=(read.ending,))
        files.append(one)
        mark["art"] = one.written
    else:
        mark |= {"text": wish.text.strip().replace("\r\n", "\n"), "face": wish.face}
    if treatment != "cut":
        mark["tone_L"] = dark_tone_L(curve) if wish.tone_L is None else wish.tone_L
    proportion = text_proportion(mark["text"]) if read is None else read.proportion
    margin = wish.margin_mm
    if margin is None:
        margin = max(round(ALONGSIDE * min(blank_.size_mm), 1), blank_.margin_mm)
    elif not 0.0 <= margin <= 1000.0:
        wrong["margin"] = f"is {margin:g} mm; allowed is 0 to 1000"
        return mark, Fitted(place_mm=(0.0, 0.0), size_mm=(1.0, 1.0))
    try:
        return mark, fitted(blank_, proportion=proportion, margin_mm=margin)
    except InvalidInput as error:
        wrong |= error.fields
        return mark, Fitted(place_mm=(0.0, 0.0), size_mm=(1.0, 1.0))


def dark_tone_L(curve: CharacteristicCurve) -> float:
    """Return a tone that stands out on a wood and lies away from its end: dark on wood, light on slate. [L*]"""
    low, high = sorted(tone_range_L(curve))
    far, bare = (low, high) if curve.full_L < curve.bare_L else (high, low)
    return float(round(far + DARK * (bare - far)))


def _placed(
    name: str,
    wish: NewPiece,
    table: dict[str, Any],
    mark: dict[str, Any],
    *,
    box: Fitted,
    machine_: Machine,
    blank_: Blank,
) -> dict[str, Any]:
    """Return a piece's document, the blank where the mark lies in the middle of the bed."""
    turn = turned_for_reach(box, machine=machine_)
    return {
        "name": name,
        "wood": wish.wood_id,
        "blank": table,
        "place_bed_mm": list(on_the_bed(blank_, box, machine=machine_, turn_deg=turn)),
        **({"turn_deg": turn} if turn else {}),
        "mark": [{**mark, "place_mm": list(box.place_mm), "size_mm": list(box.size_mm)}],
    }


def _written(name: str, *, beside: str = "") -> str:
    """Return what a person's file is called in a document until it is kept: plain, so that no name is taken for a path."""
    ending = artwork_ending(name)
    stem = "".join(c if c.isalnum() or c in "-_ " else "-" for c in name[: -len(ending)])[:60].strip() or "artwork"
    return f"{stem}{'-' + 'outline' if beside else ''}{ending}"


@contextmanager
def _fields_of_the_form(*, mark_number: int = 1) -> Iterator[None]:
    """Say at the fields of the form what is wrong with a document: mark[1].art is the artwork, mark[1].tone_L the tone."""
    try:
        yield
    except InvalidInput as error:
        lead = f"mark[{mark_number}]."
        fields = {
            {"art": "artwork"}.get(where.removeprefix(lead), where.removeprefix(lead)): text
            for where, text in error.fields.items()
        }
        raise InvalidInput(fields, hint=error.hint) from error
