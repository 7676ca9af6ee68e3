"""Check a batch: artwork fitted, recipes found, checks made; nothing drawn as a proof and nothing written."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import cv2

from evenburn.core.nouns.check import Check, worst_first
from evenburn.core.nouns.mark import Piece
from evenburn.core.planning.batch import set_up_order
from evenburn.core.planning.forgotten import refocus_checks
from evenburn.core.planning.off_focus import SetMark
from evenburn.core.planning.piece_plan import PieceSurvey
from evenburn.services.load_batch import Batch, load_batch
from evenburn.services.progress import Progress, no_progress
from evenburn.services.work_through import surveyed_pieces, work_through

__all__ = ["Checked", "CheckedPiece", "check_batch"]


CHECKERS = 3  # pieces at a time: one more than the two that plan, since half of the work waits for the interpreter


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedPiece:
    """One piece, what was found about it, and how long its burnable marks take. [s]"""

    piece: Piece
    checks: tuple[Check, ...]
    time_s: float

    def stopped(self) -> bool:
        """Return whether any check forbids burning this piece or one of its marks."""
        return any(check.level == "stop" for check in self.checks)


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """A batch as checked, its pieces as they are listed."""

    name: str
    pieces: tuple[CheckedPiece, ...]


def check_batch(folder: Path, *, progress: Progress = no_progress) -> Checked:
    """Return a batch folder checked through, every piece of every list of names.

    Raises
    ------
    InvalidInput, UnreadableFile, NotFound
        If the folder's files do not hold.
    """
    batch = load_batch(folder)
    done = 0

    def one(piece: Piece) -> tuple[CheckedPiece, tuple[SetMark, ...]]:
        nonlocal done
        found = _checked(batch, piece, surveyed[piece.id])
        done += 1
        progress(f"{piece.name} checked", done, len(batch.pieces))
        return found

    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)  # the pieces are many and small: a thread for each serves better than threads within each
    try:
        surveyed = surveyed_pieces(batch, workers=CHECKERS)
        with ThreadPoolExecutor(max_workers=CHECKERS) as workers:
            checked = list(workers.map(one, batch.pieces))
        return Checked(name=batch.name, pieces=_with_refocus(checked))
    finally:
        cv2.setNumThreads(threads)


def _checked(batch: Batch, piece: Piece, surveyed: PieceSurvey) -> tuple[CheckedPiece, tuple[SetMark, ...]]:
    """Return a piece as checked, and its marks that may be burnt."""
    work = work_through(batch, piece, surveyed=surveyed)
    burnt = [mark for mark in work.marks if work.may_burn(mark.mark.id)]
    time_s = sum(mark.predicted.time_s for mark in burnt)
    return CheckedPiece(piece=piece, checks=work.checks, time_s=time_s), tuple(
        SetMark(
            machine=batch.machine,
            lens=batch.lens,
            piece=piece,
            wood=work.wood,
            mark=mark.mark,
            recipe=mark.recipe,
            finest_mm=mark.wish.finest_mm(),
        )
        for mark in burnt
    )


def _with_refocus(checked: Sequence[tuple[CheckedPiece, tuple[SetMark, ...]]]) -> tuple[CheckedPiece, ...]:
    """Return the pieces with what it is to forget the focus, in the order they would be burnt in."""
    order = set_up_order([[mark.setting() for mark in marks] for _, marks in checked])
    told = refocus_checks([mark for index in order for mark in checked[index][1]])
    return tuple(
        replace(piece, checks=worst_first((*piece.checks, *told.get(piece.piece.id, ())))) for piece, _ in checked
    )
