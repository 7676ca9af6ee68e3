"""A form that came back because what it changes was changed elsewhere: what was typed stays, and what was done is told."""

from __future__ import annotations

from dataclasses import dataclass

from evenburn.core.errors import ChangedMeanwhile
from evenburn.services.book.piece_edits import changes_since
from evenburn.web.desk import Desk
from evenburn.web.forms import Sent


@dataclass(frozen=True, slots=True, kw_only=True)
class Meanwhile:
    """What to tell above such a form: that it is not saved, what was done since, and files that a browser does not keep."""

    message: str
    changes: tuple[str, ...]
    files: tuple[str, ...]


def meanwhile_of(desk: Desk, error: ChangedMeanwhile, *, key: int | str, version: int, sent: Sent) -> Meanwhile:
    """Return what to tell above a form that was made of an earlier version of a thing."""
    return Meanwhile(
        message=error.message,
        changes=changes_since(desk.book, key, version=version, kind=error.kind),
        files=tuple(one.name for each in sent.files.values() for one in each),
    )
