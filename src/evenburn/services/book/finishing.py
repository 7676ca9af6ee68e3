"""Afterwards: what is done to a piece once it is burnt, when each step began, and until when it takes."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from evenburn.core.nouns.wood import FinishingStep

STEPS = ("washed", "dry", "sealed", "handed over")
_STEP_OF = {"wash": "washed", "rinse": "washed", "dry": "dry", "oil": "sealed", "wipe": "sealed", "wax": "sealed"}
_TIME = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*(min|h|s)\b")
_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Afterwards:
    """A finishing step of a piece.

    Attributes
    ----------
    step : as the strip names it.
    name, how : in words; more than one thing to do where a step has several.
    takes_s : how long it takes and then rests; 0 for handing over. [s]
    takes_text : the same as people say it, as "overnight, 16 h".
    done_at : when it was ticked, None where it was not.
    begun_at : when the step before it was ticked, from when its time runs; None where that was not.
    until : when it will have taken its time; None where it was not begun, or takes none.
    """

    step: str
    name: str
    how: str
    takes_s: float
    takes_text: str
    done_at: str | None
    begun_at: str | None
    until: str | None


def afterwards(steps: Sequence[FinishingStep], *, ticks: Mapping[str, str]) -> tuple[Afterwards, ...]:
    """Return the finishing steps of a piece, each timer begun by the tick of the step before.

    Parameters
    ----------
    steps : of its wood, as is common.
    ticks : when each step of the strip was ticked.
    """
    told: list[Afterwards] = []
    before = ticks.get("burnt")
    for step in STEPS:
        own = [one for one in steps if _STEP_OF.get(one.name) == step]
        if not own and step != "handed over" and step not in ticks:
            continue  # stone is not sealed
        takes_s = sum(seconds_in(one.time_text) for one in own)
        told.append(
            Afterwards(
                step=step,
                name=own[0].name if own else step,
                how="; ".join(_said(one, first=one is own[0]) for one in own),
                takes_s=takes_s,
                takes_text=own[0].time_text if own else "",
                done_at=ticks.get(step),
                begun_at=before,
                until=None if before is None or not takes_s else _later(before, takes_s),
            )
        )
        before = ticks.get(step)
    return tuple(told)


def steps_before(name: str, steps: Sequence[FinishingStep]) -> tuple[str, ...]:
    """Return the steps of the strip that come before one of those after burning; none before any other.

    Parameters
    ----------
    steps : of the piece's wood, as is common; what is not done to it does not come before.
    """
    if name not in STEPS:
        return ()
    done = {_STEP_OF.get(one.name) for one in steps}
    return ("burnt", *(step for step in STEPS[: STEPS.index(name)] if step in done))


def seconds_in(text: str) -> float:
    """Return the time that a text such as "overnight, 16 h" tells; 0 where it tells none. [s]"""
    return sum(float(number) * _SECONDS[unit] for number, unit in _TIME.findall(text))


def _said(one: FinishingStep, *, first: bool) -> str:
    return one.how if first else f"{one.name}: {one.how}"


def _later(moment: str, seconds: float) -> str:
    return (datetime.fromisoformat(moment) + timedelta(seconds=seconds)).isoformat(timespec="seconds")
