"""Lists of names: CSV as spreadsheets write it, its first row the names of the columns."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

from evenburn.core.errors import InvalidInput, UnreadableFile

LARGEST_FILE_bytes = 4 * 1024 * 1024
MOST_ROWS = 2000
MOST_COLUMNS = 100
LONGEST_CELL = 2000
SEPARATORS = ",;\t"


@dataclass(frozen=True, slots=True, kw_only=True)
class NamesRow:
    """One row: the line of the file it stands on, and its cells by column."""

    line: int
    cells: dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class NamesList:
    """A list of names with its columns in the order of the file."""

    columns: tuple[str, ...]
    rows: tuple[NamesRow, ...]


def read_names(path: Path, *, name: str) -> NamesList:
    """Return a list of names, empty rows left out, spaces around cells cut off.

    UTF-8 with or without a byte order mark. Cells are parted by commas, semicolons or tabs, whichever the first row
    has most of; quotes as in RFC 4180.

    Raises
    ------
    UnreadableFile
        If it cannot be read, is too large, is not UTF-8 or holds a quote that does not end.
    InvalidInput
        If a column's name is missing or stands twice, or a row has more cells than there are columns; all at once.
    """
    text = _text(path, name=name)
    head = text.lstrip("\n").split("\n", 1)[0]
    separator = max(SEPARATORS, key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    wrong: dict[str, str] = {}
    columns: tuple[str, ...] = ()
    rows: list[NamesRow] = []
    try:
        for cells in reader:
            stripped = [cell.strip() for cell in cells]
            if not any(stripped):
                continue
            if not columns:
                columns = _columns(stripped, wrong, name=name)
                continue
            while len(stripped) > len(columns) and not stripped[-1]:
                stripped.pop()  # a separator at the end of each row
            where = f"{name}, line {reader.line_num}"
            if len(stripped) > len(columns):
                wrong[where] = f"has {len(stripped)} cells; there are {len(columns)} columns: {', '.join(columns)}"
                continue
            long = [c for c, v in zip(columns, stripped, strict=False) if len(v) > LONGEST_CELL]
            if long:
                wrong[where] = f'has more than {LONGEST_CELL} characters in column "{long[0]}"'
                continue
            padded = stripped + [""] * (len(columns) - len(stripped))
            rows.append(NamesRow(line=reader.line_num, cells=dict(zip(columns, padded, strict=True))))
            if len(rows) > MOST_ROWS:
                raise UnreadableFile(name, f"has more than {MOST_ROWS} rows", hint="Part it into several lists.")
    except csv.Error as error:
        raise UnreadableFile(name, f"is no CSV: {error}", line=reader.line_num) from error
    if not columns:
        wrong[name] = "is empty; its first row names the columns"
    elif not rows and not wrong:
        wrong[name] = "holds the names of columns, but no row"
    if wrong:
        raise InvalidInput(wrong)
    return NamesList(columns=columns, rows=tuple(rows))


def _text(path: Path, *, name: str) -> str:
    try:
        if path.stat().st_size > LARGEST_FILE_bytes:
            raise UnreadableFile(name, f"has {path.stat().st_size} bytes; allowed are {LARGEST_FILE_bytes}")
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise UnreadableFile(name, f"cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise UnreadableFile(
            name, "is not UTF-8 text", hint="Save it again as CSV in UTF-8; the spreadsheet's export asks for it."
        ) from error
    if "\0" in text:
        raise UnreadableFile(name, "holds zero bytes, so it is no text")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _columns(cells: list[str], wrong: dict[str, str], *, name: str) -> tuple[str, ...]:
    while cells and not cells[-1]:
        cells.pop()
    if len(cells) > MOST_COLUMNS:
        raise UnreadableFile(name, f"has {len(cells)} columns; allowed are {MOST_COLUMNS}")
    for number, cell in enumerate(cells, start=1):
        if not cell:
            wrong[f"{name}, first row"] = f"has no name for column {number}"
        elif cells.count(cell) > 1:
            wrong[f"{name}, first row"] = f'names column "{cell}" twice'
    return tuple(cells)
