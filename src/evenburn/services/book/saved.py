"""What came of a change: the number to undo it by, what it was in words, and where the thing stands now."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """A change that is kept.

    Attributes
    ----------
    edit_id : for `undo_edit`.
    what : in words, for the line that offers undo.
    key : of the row that was changed or made: a piece's number, a wood's id.
    version : that the row has now; the next save names it.
    notes : what a person should know beside, say which blank was used up.
    """

    edit_id: int
    what: str
    key: int | str
    version: int
    notes: tuple[str, ...] = ()
