"""A list of names is read as spreadsheets write it, and what is wrong is said with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenburn.adapters.formats.names_csv import MOST_ROWS, read_names
from evenburn.core.errors import InvalidInput, UnreadableFile


def _file(folder: Path, data: bytes | str) -> Path:
    path = folder / "crew.csv"
    path.write_bytes(data if isinstance(data, bytes) else data.encode("utf-8"))
    return path


# RFC 4180, section 2: quotes round fields with commas, quotes doubled inside, line breaks inside quotes
@pytest.mark.parametrize(
    ("text", "cells"),
    [
        ("name,seat\r\nAda Wren,bow\r\n", {"name": "Ada Wren", "seat": "bow"}),
        ('name,seat\n"Wren, Ada","the ""bow"""\n', {"name": "Wren, Ada", "seat": 'the "bow"'}),
        ('name,seat\n"Ada\nWren",bow', {"name": "Ada\nWren", "seat": "bow"}),
        ("name;seat\nAda Wren;bow\n", {"name": "Ada Wren", "seat": "bow"}),
        ("name\tseat\nAda Wren\tbow\n", {"name": "Ada Wren", "seat": "bow"}),
        ("\ufeffname,seat\nÉowyn Ø,  bow \n", {"name": "Éowyn Ø", "seat": "bow"}),
        ("name,seat\nAda Wren\n", {"name": "Ada Wren", "seat": ""}),
        ("name,seat,\nAda Wren,bow,\n", {"name": "Ada Wren", "seat": "bow"}),
    ],
)
def test_cells_are_read_as_rfc_4180_has_them(tmp_path: Path, text: str, cells: dict[str, str]) -> None:
    listed = read_names(_file(tmp_path, text), name="crew.csv")
    assert [row.cells for row in listed.rows] == [cells]


def test_empty_rows_are_left_out_and_lines_stay_true(tmp_path: Path) -> None:
    listed = read_names(_file(tmp_path, "name\n\nAda\n,\n\nBea\n"), name="crew.csv")
    assert [(row.line, row.cells["name"]) for row in listed.rows] == [(3, "Ada"), (6, "Bea")]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("name,seat\n", "no row"),
        ("name,name\nAda,Bea\n", "twice"),
        ("name,,seat\nAda,x,bow\n", "no name for column 2"),
        ("name\nAda,Bea,Cleo\n", "3 cells"),
        ("name\n" + "x" * 2001 + "\n", "2000 characters"),
    ],
)
def test_what_is_wrong_is_said(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        read_names(_file(tmp_path, text), name="crew.csv")
    assert any(words in said for said in caught.value.fields.values())


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"name\n\xff\xfe\n", "UTF-8"),
        (b"name\nA\0da\n", "zero bytes"),
        (b'name\n"Ada\n', "no CSV"),
        (("name\n" + "Ada\n" * (MOST_ROWS + 1)).encode(), "rows"),
        (b"name\n" + b"x" * (5 * 1024 * 1024), "bytes"),
    ],
)
def test_what_is_no_list_is_refused(tmp_path: Path, data: bytes, words: str) -> None:
    with pytest.raises(UnreadableFile) as caught:
        read_names(_file(tmp_path, data), name="crew.csv")
    assert words in caught.value.message


def test_a_list_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile):
        read_names(tmp_path / "none.csv", name="none.csv")
