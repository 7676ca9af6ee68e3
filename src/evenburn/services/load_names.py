"""A list of names makes many pieces of one: each row set, and the odd one out told rather than squeezed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from evenburn.adapters.formats.batch_toml import MarkTable, PieceTable
from evenburn.adapters.formats.names_csv import NamesList, NamesRow, read_names
from evenburn.adapters.formats.strict import without_controls
from evenburn.core.art.picture import Artwork
from evenburn.core.errors import EvenburnError, InvalidInput, UnreadableFile
from evenburn.core.nouns.check import Check
from evenburn.services.load_artwork import NoArt, common_letter_mm, inside, largest_that_fits, text_artwork


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedPiece:
    """One row of a list: its piece's id and name, the texts and artworks of its marks, and what is wrong with them."""

    id: str
    name: str
    texts: dict[str, str]
    artworks: dict[str, Artwork]
    faults: tuple[Check, ...]


def named_pieces(folder: Path, table: PieceTable) -> tuple[tuple[NamedPiece, ...], PieceTable]:
    """Return a piece for each row of a piece's list of names, and the piece with the letter heights that were chosen.

    Raises
    ------
    InvalidInput, UnreadableFile
        If the list cannot be read, or lacks a column that a mark names.
    """
    assert table.names is not None  # noqa: S101  # asked only for such pieces
    source = table.names.file
    listed = read_names(inside(folder, source, field="names.file"), name=source)
    wanted = [mark.column for mark in table.mark if mark.column is not None]
    if table.names.label is not None:
        wanted.append(table.names.label)
    missing = sorted({column for column in wanted if column not in listed.columns})
    if missing:
        raise InvalidInput(
            {"names.file": f'is "{source}", which has no column "{missing[0]}"; it has {", ".join(listed.columns)}'}
        )
    marks = [_with_letter(folder, mark, listed) for mark in table.mark]
    digits = max(2, len(str(len(listed.rows))))
    label = table.names.label or wanted[0]
    pieces = tuple(
        _piece(folder, marks, row, number, digits=digits, label=label, table=table, source=source)
        for number, row in enumerate(listed.rows, start=1)
    )
    return pieces, table.model_copy(update={"mark": marks})


def _with_letter(folder: Path, mark: MarkTable, listed: NamesList) -> MarkTable:
    """Return a mark with one letter height for the whole list, where none was given."""
    if mark.column is None or mark.letter_mm is not None or mark.wrap:
        return mark
    texts = [row.cells[mark.column] for row in listed.rows if row.cells[mark.column]]
    return mark.model_copy(update={"letter_mm": common_letter_mm(folder, mark, texts)})


def _piece(
    folder: Path,
    marks: Sequence[MarkTable],
    row: NamesRow,
    number: int,
    *,
    digits: int,
    label: str,
    table: PieceTable,
    source: str,
) -> NamedPiece:
    texts: dict[str, str] = {}
    artworks: dict[str, Artwork] = {}
    faults: list[Check] = []
    for mark in marks:
        if mark.column is None:
            continue
        text = row.cells[mark.column]
        texts[mark.id] = text
        artwork, fault = _set(folder, mark, text, where=f"{source}, line {row.line}")
        artworks[mark.id] = artwork
        faults += [fault] if fault is not None else []
    name = without_controls(" ".join(row.cells[label].split())) or f"line {row.line}"
    return NamedPiece(
        id=f"{table.id}-{number:0{digits}d}",
        name=f"{table.name or table.id.replace('-', ' ')}, {name}"[:120],
        texts=texts,
        artworks=artworks,
        faults=tuple(faults),
    )


def _set(folder: Path, mark: MarkTable, text: str, *, where: str) -> tuple[Artwork, Check | None]:
    """Return the artwork of a cell, and what is wrong with it."""
    if not text:
        fault = Check(
            level="stop",
            code="name-missing",
            mark_id=mark.id,
            text=f'{where} has nothing in column "{mark.column}".',
            remedy="Fill it in, or take the row out.",
        )
        return NoArt(), fault
    try:
        return text_artwork(folder, mark, text), None
    except InvalidInput as error:
        said = "; ".join(error.fields.values())
        too_long = "letter_mm" in error.fields
        fault = Check(
            level="stop",
            code="text-too-long" if too_long else "text-cannot-be-set",
            mark_id=mark.id,
            text=f"{where}: “{text[:60]}” {'does not fit: ' if too_long else 'cannot be set: '}{said}.",
            remedy="Lower letter_mm for the whole list, widen the mark's box, or shorten this one."
            if too_long
            else "Take a face that has it, or write it with other characters.",
        )
        return (largest_that_fits(folder, mark, text) if too_long else NoArt()), fault
    except UnreadableFile:
        raise
    except EvenburnError as error:
        raise InvalidInput({f"mark {mark.id}": error.message}) from error
