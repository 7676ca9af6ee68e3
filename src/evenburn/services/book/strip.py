"""The strip of a piece: eleven steps from artwork to handing over, the first five told by its plan, the rest ticked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from evenburn.services.book.plan_piece import PlanSummary

DERIVED = ("artwork", "wood known", "placed", "recipe", "checks")
TICKED = ("proof agreed", "burnt", "washed", "dry", "sealed", "handed over")
STEPS = DERIVED + TICKED
State = Literal["done", "open", "stop", "spoiled"]
LEARNT = frozenset({"measured", "fitted"})


@dataclass(frozen=True, slots=True, kw_only=True)
class StripStep:
    """A step of a piece: `stop` where a check forbids to go on, `spoiled` where it was burnt and came out so.

    `done_at` is where a person ticked it, else `planned_at`, local.
    """

    name: str
    state: State
    done_at: str | None = None
    planned_at: str | None = None


def strip_of(
    summary: PlanSummary | None,
    *,
    fresh: bool,
    has_artwork: bool,
    curve_kind: str | None,
    ticks: Mapping[str, str],
    planned_at: Mapping[str, str] | None = None,
    spoiled: bool = False,
) -> tuple[StripStep, ...]:
    """Return the strip of a piece.

    Parameters
    ----------
    summary : of its plan; what a stale one told does not count.
    has_artwork : whether all it names is in the book.
    curve_kind : where its wood's curve comes from; None for the starting value.
    ticks : when each step was ticked.
    planned_at : local time at which others will be done, where the day has a place for them.
    spoiled : whether its burn was graded so.
    """
    told = summary if fresh else None
    steps = [
        _step("artwork", done=has_artwork, stops=0 if told is None else told.artwork_stops),
        _step("wood known", done=curve_kind in LEARNT, stops=0),
        _step("placed", done=told is not None, stops=0 if told is None else told.placing_stops),
        _step("recipe", done=told is not None and 0 < told.programs == told.marks, stops=0),
        _step("checks", done=told is not None, stops=0 if told is None else told.stops),
    ]
    steps += [
        StripStep(
            name=name,
            state="open" if name not in ticks else "spoiled" if spoiled and name == "burnt" else "done",
            done_at=ticks.get(name),
            planned_at=None if name in ticks else (planned_at or {}).get(name),
        )
        for name in TICKED
    ]
    return tuple(steps)


def _step(name: str, *, done: bool, stops: int) -> StripStep:
    return StripStep(name=name, state="stop" if stops else "done" if done else "open")
