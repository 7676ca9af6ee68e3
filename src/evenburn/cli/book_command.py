"""`evenburn backup` and `evenburn restore`: the book as one file, and a book made again from it."""

from __future__ import annotations

import json as json_module
import os
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenburn.cli.options import JsonOption
from evenburn.core.errors import StorageError

if TYPE_CHECKING:
    from evenburn.services.book.back_up_book import InTheBook

BookOption = Annotated[
    str | None,
    typer.Option(
        "--book",
        metavar="PATH|URL",
        help="Folder of the book, or URL of a PostgreSQL database. Default: EVENBURN_BOOK, else your data folder.",
    ),
]


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="ZIP to write the backup into; written anew if there.")],
    *,
    book: BookOption = None,
    json: JsonOption = False,
) -> None:
    """Back the book up into one file; it may be open and in use meanwhile."""
    from evenburn.services.book.back_up_book import back_up_book, in_the_book
    from evenburn.services.book.open_book import open_book_at

    opened = open_book_at(_there(book))
    try:
        back_up_book(opened, file, now=datetime.now(tz=UTC).isoformat(timespec="seconds"))
        held = in_the_book(opened)
    finally:
        opened.close()
    if json:
        _show_json({"file": file.name, "bytes": file.stat().st_size}, held)
        return
    print(f"{file.name} holds {opened.name}: {_in_words(held)}")
    print(f"{file.stat().st_size / 1e6:.1f} MB; `evenburn restore {file.name} --to PATH` makes a book of it again")


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Backup, as `evenburn backup` or the app wrote it.")],
    to: Annotated[
        str,
        typer.Option("--to", metavar="PATH|URL", help="New or empty folder for the book, or URL of an empty database."),
    ],
    *,
    json: JsonOption = False,
) -> None:
    """Make a book from a backup, in a new place; no book that is there is touched."""
    from evenburn.services.book.back_up_book import in_the_book
    from evenburn.services.book.restore_book import restore_book

    made = restore_book(file, to if to.startswith("postgresql") else Path(to))
    try:
        held = in_the_book(made)
    finally:
        made.close()
    if json:
        _show_json({"book": made.name}, held)
        return
    print(f"{made.name} is made: {_in_words(held)}")
    print(f"`evenburn open --book {to}` opens it")


def _there(book: str | None) -> str | None:
    """Return the place of a book that is there; backing up makes none."""
    from evenburn.services.book.open_book import VARIABLE, default_place

    named = book or os.environ.get(VARIABLE)
    if named and named.startswith("postgresql"):
        return book
    place = Path(named) if named else default_place(os.environ, home=Path.home(), platform=sys.platform)
    if not (place / "book.sqlite").is_file():
        raise StorageError(f"there is no book in {place.name}", hint="Name its folder with --book.")
    return book


def _show_json(document: dict[str, Any], held: InTheBook) -> None:
    told = {**document, "pieces": held.pieces, "woods": held.woods, "burns": held.burns, "files": held.files}
    sys.stdout.write(json_module.dumps(told, ensure_ascii=False, indent=2) + "\n")


def _in_words(held: InTheBook) -> str:
    return f"{held.pieces} pieces, {held.woods} woods, {held.burns} burns, {held.files} files"
