"""The day as a line: burns to scale by the clock, the settings of the stand-off as triangles. Only drawing; times come from services."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from evenburn.web.figures import mm

WIDTH_px = 1190.0
STEPS_min = (5, 10, 15, 30, 60, 120, 240)
MOST_TICKS = 13
LABEL_px = 66.0  # of a stand-off; one that is followed closer than that wears no label
DIGIT_px = 8.0
Kind = Literal["burnt", "planned", "stopped"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Burn:
    """A burn to be drawn."""

    order: int
    name: str
    starts_at: str
    ends_at: str
    kind: Kind
    stand_off_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A burn as drawn; `middle` is where its number stands, and `numbered` whether there is room for it."""

    x: float
    width: float
    middle: float
    number: int
    numbered: bool
    kind: Kind
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A time on the axis; whole and half hours are bold."""

    x: float
    text: str
    bold: bool
    anchor: Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Focusing:
    """A setting of the stand-off; its text before or after it, or none where there is no room."""

    x: float
    text: str
    before: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class DayLine:
    """All of the line. `now` is where this moment stands, None where it lies outside."""

    bars: tuple[Bar, ...]
    ticks: tuple[Tick, ...]
    focusings: tuple[Focusing, ...]
    now: float | None
    now_text: str


def day_line(burns: Sequence[Burn], *, now: str) -> DayLine | None:
    """Return the line of a day, None where nothing is timed.

    Parameters
    ----------
    now : local time, as the burns have it.
    """
    if not burns:
        return None
    first = min(datetime.fromisoformat(b.starts_at) for b in burns)
    last = max(datetime.fromisoformat(b.ends_at) for b in burns)
    span_min = max((last - first).total_seconds() / 60.0, 5.0)
    step_min = next((s for s in STEPS_min if span_min / s <= MOST_TICKS - 2), STEPS_min[-1])
    start = _floor(first, step_min)
    count = 1
    while start + timedelta(minutes=count * step_min) < last:
        count += 1
    per_min = WIDTH_px / (count * step_min)

    def at(moment: str | datetime) -> float:
        when = datetime.fromisoformat(moment) if isinstance(moment, str) else moment
        return round((when - start).total_seconds() / 60.0 * per_min, 1)

    set_at = [(at(burn.starts_at), burn.stand_off_mm) for burn in burns if burn.stand_off_mm is not None]
    focusings = _labelled(set_at)
    here = datetime.fromisoformat(now)
    return DayLine(
        bars=tuple(_bar(b, x=at(b.starts_at), end=at(b.ends_at)) for b in burns),
        ticks=tuple(
            _tick(start + timedelta(minutes=i * step_min), i, count, x=i * step_min * per_min) for i in range(count + 1)
        ),
        focusings=focusings,
        now=at(here) if start <= here <= start + timedelta(minutes=count * step_min) else None,
        now_text=here.strftime("%H:%M"),
    )


def _labelled(set_at: Sequence[tuple[float, float]]) -> tuple[Focusing, ...]:
    """Return settings of the stand-off with their labels: after each up to the next; the last before it where the line ends."""
    ends = [*(x for x, _ in set_at[1:]), WIDTH_px]
    found: list[Focusing] = []
    taken = 0.0  # up to where labels stand
    for (x, value), end in zip(set_at, ends, strict=False):
        after = end - x >= LABEL_px
        before = not after and end == WIDTH_px and x - taken >= LABEL_px
        found.append(Focusing(x=x, text=mm(value) if after or before else "", before=before))
        taken = x + LABEL_px if after else x
    return tuple(found)


def _floor(moment: datetime, step_min: int) -> datetime:
    """Return the last whole step before a moment."""
    minutes = moment.hour * 60 + moment.minute
    return moment.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(minutes=minutes - minutes % step_min)


def _bar(burn: Burn, *, x: float, end: float) -> Bar:
    width = max(end - x, 2.0)
    return Bar(
        x=x,
        width=round(width, 1),
        middle=round(x + width / 2.0, 1),
        number=burn.order,
        numbered=width >= 4.0 + DIGIT_px * len(str(burn.order)),
        kind=burn.kind,
        said=f"{burn.name}: {burn.starts_at[11:16]} to {burn.ends_at[11:16]}",
    )


def _tick(moment: datetime, number: int, count: int, *, x: float) -> Tick:
    return Tick(
        x=round(x, 1),
        text=moment.strftime("%H:%M"),
        bold=moment.minute % 30 == 0,
        anchor="start" if number == 0 else "end" if number == count else "middle",
    )
