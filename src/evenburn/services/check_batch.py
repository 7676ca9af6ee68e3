"""Check a batch: artwork fitted, recipes found, checks made; nothing drawn as a proof and nothing written."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2

from evenburn.core.nouns.check import Check
from evenburn.core.nouns.mark import Piece
from evenburn.services.load_batch import Batch, load_batch
from evenburn.services.plan_batch import Progress, no_progress
from evenburn.services.work_through import work_through

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

    def one(piece: Piece) -> CheckedPiece:
        nonlocal done
        found = _checked(batch, piece)
        done += 1
        progress(f"{piece.name} checked", done, len(batch.pieces))
        return found

    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)  # the pieces are many and small: a thread for each serves better than threads within each
    try:
        with ThreadPoolExecutor(max_workers=CHECKERS) as workers:
            return Checked(name=batch.name, pieces=tuple(workers.map(one, batch.pieces)))
    finally:
        cv2.setNumThreads(threads)


def _checked(batch: Batch, piece: Piece) -> CheckedPiece:
    work = work_through(batch, piece)
    time_s = sum(m.predicted.time_s for m in work.marks if work.may_burn(m.mark.id))
    return CheckedPiece(piece=piece, checks=work.checks, time_s=time_s)
