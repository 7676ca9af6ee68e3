"""Options that several verbs have, and the only clock evenburn reads."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

import typer

DateOption = Annotated[
    str | None,
    typer.Option(
        "--date",
        metavar="YYYY-MM-DD",
        help="Date that is printed and written; the same input and date give the same bytes. Default: today.",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the result as JSON on standard output, nothing else.")]


def date_of(text: str | None) -> str:
    """Return an ISO date, today where none is given.

    Raises
    ------
    typer.BadParameter
        If it is no date.
    """
    if text is None:
        return dt.date.today().isoformat()  # noqa: DTZ011  # the date on the wall where the bench stands
    try:
        return dt.date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise typer.BadParameter(f"{text!r} is no date; write it as 2026-06-09", param_hint="--date") from error
