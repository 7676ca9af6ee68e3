"""A planned batch with its set-ups: tolerances, where the stand-off is set, and what it is to forget it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from evenburn.core.nouns.check import worst_first
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.plan import BatchPlan, FocusTolerance, MarkPlan, PiecePlan, SetUp
from evenburn.core.planning.batch import Setting, change_overs
from evenburn.core.planning.forgotten import refocus_checks, settings_of, worst_forgotten
from evenburn.core.planning.lens_table import focus_tolerance, narrowest
from evenburn.core.planning.off_focus import SetMark


def set_mark(piece: PiecePlan, mark: MarkPlan, *, machine: Machine, lens: Lens) -> SetMark:
    """Return what decides how a planned mark looks at another stand-off. Definition."""
    own = [w for w in (mark.stroke_mm, mark.gap_mm) if w is not None]
    return SetMark(
        machine=machine,
        lens=lens,
        piece=piece.piece,
        wood=piece.wood,
        mark=mark.mark,
        recipe=mark.recipe,
        finest_mm=min([mark.mark.sharpness_mm, *own]),
    )


def settings_to_make(piece: PiecePlan) -> tuple[Setting, ...]:
    """Return thickness and stand-off of a piece's marks that may be burnt, in their order. [mm] Definition."""
    thick = round(piece.piece.blank.thickness_mm, 2)
    return tuple((thick, round(m.recipe.stand_off_mm, 2)) for m in piece.marks if m.program_file is not None)


def batch_change_overs(plan: BatchPlan) -> int:
    """Return how many change-overs what is planned of a batch takes. Source: as `change_overs`."""
    return change_overs([settings_to_make(piece) for piece in plan.pieces])


def batch_time_s(plan: BatchPlan) -> float:
    """Return how long what is planned of a batch takes, from the start to the end of its last piece. [s] Definition."""
    return plan.total_time_s() + batch_change_overs(plan) * plan.day.change_over_s


def with_set_ups(
    pieces: Sequence[PiecePlan], *, machine: Machine, lens: Lens, before: Setting | None = None
) -> tuple[PiecePlan, ...]:
    """Return pieces in the order of burning with tolerances, set-ups and the checks on forgetting them.

    Marks without a program ask for no setting and have no tolerance.

    Parameters
    ----------
    before : thickness and stand-off of what was burnt before the first; None where nothing was. [mm]
    """
    at = [
        (p, m) for p, piece in enumerate(pieces) for m, mark in enumerate(piece.marks) if mark.program_file is not None
    ]
    marks = [set_mark(pieces[p], pieces[p].marks[m], machine=machine, lens=lens) for p, m in at]
    tolerances = _tolerances(marks)
    set_ups: dict[str, list[SetUp]] = {}
    for setting in settings_of(marks, before_mm=before):
        first = marks[setting.first]
        served = tolerances[setting.first : setting.last + 1]
        worst = None
        if setting.bed_down_mm is not None:
            worst = worst_forgotten([marks[i] for i in setting.marks], bed_down_mm=setting.bed_down_mm)
        set_ups.setdefault(first.piece.id, []).append(
            SetUp(
                mark_id=first.mark.id,
                thickness_mm=first.piece.blank.thickness_mm,
                stand_off_mm=first.recipe.stand_off_mm,
                bed_down_mm=setting.bed_down_mm,
                tolerance=narrowest(served),
                forgotten=None if worst is None else worst[1],
            )
        )
    told = refocus_checks(marks, before_mm=before)
    known = dict(zip(at, tolerances, strict=True))
    return tuple(
        replace(
            piece,
            marks=tuple(replace(mark, tolerance=known.get((p, m))) for m, mark in enumerate(piece.marks)),
            set_ups=tuple(set_ups.get(piece.piece.id, ())),
            checks=worst_first((*piece.checks, *told.get(piece.piece.id, ()))),
        )
        for p, piece in enumerate(pieces)
    )


def _tolerances(marks: Sequence[SetMark]) -> list[FocusTolerance]:
    """Return the tolerance of each mark; marks that differ in nothing but their place and name are asked once."""
    known: dict[tuple[object, ...], FocusTolerance] = {}
    found = []
    for mark in marks:
        blank = mark.piece.blank
        key = (
            mark.recipe,
            mark.finest_mm,
            mark.mark.sharpness_mm,
            mark.mark.reading_distance_mm,
            mark.wood.id,
            blank.thickness_mm,
            blank.unevenness_mm,
        )
        if key not in known:
            known[key] = focus_tolerance(mark)
        found.append(known[key])
    return found
