"""The order of a batch as rows: what is focused, what is burnt, what is stopped, and how long after the start."""

from __future__ import annotations

from dataclasses import dataclass

from evenburn.core.nouns.plan import BatchPlan, BurntPiece, MarkPlan, PiecePlan


@dataclass(frozen=True, slots=True, kw_only=True)
class FocusRow:
    """The lens, the thickness or the stand-off changes here; `bed_down_mm` is None where nothing is known to have been set.

    `takes_s` is the change-over in which it is set. [s]
    """

    mark: MarkPlan
    piece: PiecePlan
    bed_down_mm: float | None
    after_s: float
    takes_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceRow:
    """Name and blank of a piece with several marks, which follow as rows."""

    piece: PiecePlan


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkRow:
    """One mark to burn; `after_s` from the start of the batch to its first line."""

    piece: PiecePlan
    mark: MarkPlan
    index: int
    after_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StopRow:
    """One mark that has no program, or a whole piece of what must not be burnt, and why."""

    piece: PiecePlan
    index: int
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BurntRow:
    """One piece that is burnt already, on the day of the sheet or, with its date, before."""

    burnt: BurntPiece
    same_day: bool


Row = FocusRow | PieceRow | MarkRow | StopRow | BurntRow


def stop_reason(piece: PiecePlan, mark_id: str = "") -> str:
    """Return the sentences of the checks that stop a mark, or the whole piece."""
    found = [c.text for c in piece.checks if c.level == "stop" and c.mark_id in ("", mark_id)]
    return " ".join(found) or "It has no program; its piece’s checks say why."


def order_rows(plan: BatchPlan) -> tuple[Row, ...]:
    """Return the rows of the order table; what is stopped or burnt already neither asks for focusing nor takes time.

    A change-over comes before each piece and each time the focus is set within one, as `change_overs` counts them.
    """
    rows: list[Row] = []
    set_now = plan.day.before_mm
    change_over_s = plan.day.change_over_s
    after_s = 0.0
    listed: list[PiecePlan | BurntPiece] = [*plan.burnt, *plan.pieces]
    for piece in sorted(listed, key=lambda one: one.start_order):
        if isinstance(piece, BurntPiece):
            rows.append(BurntRow(burnt=piece, same_day=piece.burnt_at.startswith(plan.date)))
            continue
        lies = False  # whether its blank is under the head by now
        named = len(piece.marks) == 1
        if not piece.marks:
            rows.append(StopRow(piece=piece, index=0, reason=stop_reason(piece)))
        for index, mark in enumerate(piece.marks):
            stopped = mark.program_file is None
            wanted = (round(piece.piece.blank.thickness_mm, 2), round(mark.recipe.stand_off_mm, 2))
            if not stopped and wanted != set_now:
                down = None if set_now is None else sum(wanted) - sum(set_now)
                row = FocusRow(mark=mark, piece=piece, bed_down_mm=down, after_s=after_s, takes_s=change_over_s)
                rows.append(row)
            if not stopped and (wanted != set_now or not lies):
                after_s += change_over_s
                set_now, lies = wanted, True
            if not named:
                rows.append(PieceRow(piece=piece))
                named = True
            if stopped:
                rows.append(StopRow(piece=piece, index=index, reason=stop_reason(piece, mark.mark.id)))
            else:
                rows.append(MarkRow(piece=piece, mark=mark, index=index, after_s=after_s))
                after_s += mark.predicted.time_s
    return tuple(rows)


def focusings(rows: tuple[Row, ...]) -> int:
    """Return how often the focus is to be set."""
    return sum(isinstance(row, FocusRow) for row in rows)
