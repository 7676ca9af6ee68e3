"""The timetable of a day: when each piece is burnt, what is set before it, and when it can be washed, dried, sealed, handed over.

What was burnt has its own times; what is left follows it one after another. Nothing here knows the book.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import NamedTuple

from evenburn.core.planning.batch import Setting

BENCH_DAY = timedelta(hours=10)  # from opening to closing; own choice: nobody hands a piece over at night
DAY_s = 86400.0
FINISHING = ("washed", "dry", "sealed", "handed over")


class Line(NamedTuple):
    """A piece as far as clock and order need it; there are thousands, and a tuple is quick to make. `burnt_at` is in UTC."""

    piece_id: int
    name: str
    time_s: float | None
    inputs_sha256: str | None
    stops: int
    set_ups: tuple[Setting, ...]
    change_overs: int
    burnt_at: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Focusing:
    """The focus as it has to be set before a piece, or within it.

    Attributes
    ----------
    stand_off_mm, thickness_mm : to set, and of the blank. [mm]
    bed_down_mm : how far the bed goes down from where it was, negative for up; None where nothing was set before. [mm]
    starts_at : local time; None within a piece.
    """

    stand_off_mm: float
    thickness_mm: float
    bed_down_mm: float | None
    starts_at: str | None

    @property
    def touches(self) -> bool:
        """Return whether the head runs into the blank where this is forgotten: the bed is too high by the whole stand-off."""
        return self.bed_down_mm is not None and self.bed_down_mm >= self.stand_off_mm


class When(NamedTuple):
    """When a piece begins and ends, local; None where it has no time. `before` is what was set before it, if it is not burnt."""

    starts: datetime | None
    ends: datetime | None
    before: Setting | None
    refocus: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Timetable:
    """The times of all pieces of a batch, as plain numbers from the day's midnight, for there are thousands. [s]

    Attributes
    ----------
    starts_s, ends_s : of each piece, None where it has no time.
    before : what was set before each piece that is not burnt; None where that is not known.
    first_s : when the first of today was or is begun with, change-over included; None where nothing has a time.
    last_s : when the last of today ends.
    """

    midnight: datetime
    starts_s: tuple[float | None, ...]
    ends_s: tuple[float | None, ...]
    before: tuple[Setting | None, ...]
    first_s: float | None
    last_s: float | None

    def when(self, place: int, line: Line) -> When:
        """Return when the piece at a place, from 0, begins and ends."""
        before = self.before[place]
        refocus = line.burnt_at is None and self.starts_s[place] is not None and line.set_ups[0] != before
        return When(self.at(self.starts_s[place]), self.at(self.ends_s[place]), before, refocus)

    def at(self, seconds: float | None) -> datetime | None:
        """Return a moment of the day."""
        return None if seconds is None else self.midnight + timedelta(seconds=seconds)


def timetable(
    lines: Sequence[Line], *, opens: datetime, change_over_s: float, now: datetime, before: Setting | None = None
) -> Timetable:
    """Return when each piece begins and ends.

    Before each piece comes a change-over: the last one out, the next one in, the focus set; as many more where it takes more.
    What is left follows the last burn of today, and begins neither before the bench opens nor before now.

    Parameters
    ----------
    opens : when the bench opens today; now : both local.
    before : as it is set at `now`, by what was burnt last whatever its place in the order; None where that is not known.
    """
    midnight = opens.replace(hour=0, minute=0, second=0, microsecond=0)
    burnt_s = [
        None if line.burnt_at is None else (on_this_clock(line.burnt_at) - midnight).total_seconds() for line in lines
    ]
    today_s = [at_s for at_s in burnt_s if at_s is not None and 0.0 <= at_s < DAY_s]
    opens_s, now_s = ((moment - midnight).total_seconds() for moment in (opens, now))
    at_s = 60.0 * -(-max([opens_s, now_s, *today_s]) // 60.0)
    begins_s = at_s
    starts: list[float | None] = []
    ends: list[float | None] = []
    befores: list[Setting | None] = []
    left = False
    for line, done_s in zip(lines, burnt_s, strict=True):
        befores.append(before if done_s is None else None)
        if done_s is not None:
            starts.append(done_s - (line.time_s or 0.0))
            ends.append(done_s)
        elif line.time_s is None or not line.set_ups:
            starts.append(None)
            ends.append(None)
            continue
        else:
            starts.append(at_s + change_over_s)
            at_s += line.change_overs * change_over_s + line.time_s
            ends.append(at_s)
            left = True
            before = line.set_ups[-1]
    begun = [
        at
        for at, done_s in zip(starts, burnt_s, strict=True)
        if at is not None and done_s is not None and 0.0 <= done_s < DAY_s
    ]
    return Timetable(
        midnight=midnight,
        starts_s=tuple(starts),
        ends_s=tuple(ends),
        before=tuple(befores),
        first_s=min([*begun, *([begins_s] if left else [])], default=None),
        last_s=at_s if left else max(today_s, default=None),
    )


def focusings(when: When, set_ups: Sequence[Setting], *, change_over_s: float) -> tuple[Focusing, ...]:
    """Return what is set before a piece and within it; nothing before it where the focus stays."""
    if when.starts is None:
        return ()
    found = []
    before = when.before
    for place, (thickness_mm, stand_off_mm) in enumerate(set_ups):
        if place or when.refocus:
            found.append(
                Focusing(
                    stand_off_mm=stand_off_mm,
                    thickness_mm=thickness_mm,
                    bed_down_mm=None if before is None else thickness_mm + stand_off_mm - before[0] - before[1],
                    starts_at=None if place else minute(when.starts - timedelta(seconds=change_over_s)),
                )
            )
        before = (thickness_mm, stand_off_mm)
    return tuple(found)


def finishing_times(
    ends: datetime | None, *, takes_s: Mapping[str, float], ticks: Mapping[str, datetime], opens: str
) -> dict[str, str]:
    """Return when the steps after burning will be done that are not done yet, local; while the bench is open, or next morning.

    Parameters
    ----------
    ends : when it is or was burnt; None where that is not known.
    takes_s : how long each step takes and rests; a step that is not in it is not done to this wood. [s]
    ticks : when steps were done.
    opens : when the bench opens, as "09:00".
    """
    if ends is None:
        return {}
    found: dict[str, str] = {}
    at = ends
    for name in FINISHING:
        if name in ticks:
            at = ticks[name]
        elif name in takes_s:
            at = _while_open(at + timedelta(seconds=takes_s[name]), opens=opens)
            found[name] = minute(at)
    return found


def _while_open(at: datetime, *, opens: str) -> datetime:
    """Return a moment, or the next opening of the bench where it is closed then."""
    opening = datetime.fromisoformat(f"{at.date().isoformat()}T{opens}") - timedelta(days=1)
    while at > opening + BENCH_DAY:
        opening += timedelta(days=1)
    return max(at, opening)


def minute(at: datetime) -> str:
    """Return a local time to the minute."""
    return at.isoformat(timespec="minutes")


@lru_cache(maxsize=16384)
def on_this_clock(moment: str) -> datetime:
    """Return an ISO moment as local time of this computer, without its zone."""
    return datetime.fromisoformat(moment).astimezone().replace(tzinfo=None)
