"""When each piece of a day is burnt, and how the bed moves before it, in whatever order they are really burnt."""

from __future__ import annotations

from datetime import datetime, timedelta

from evenburn.core.planning.batch import Setting
from evenburn.services.book.timetable import Line, Timetable, focusings, timetable

OPENS = datetime(2026, 6, 9, 9, 0)  # noqa: DTZ001  # local, as the timetable has it
PLAQUE, MUG, TAG = (12.1, 11.5), (18.0, 11.0), (4.0, 11.5)


def at(minutes: float) -> datetime:
    """Return so many minutes after opening."""
    return OPENS + timedelta(minutes=minutes)


def line(number: int, setting: Setting, *, burnt: datetime | None = None, change_overs: int = 1) -> Line:
    burnt_at = None if burnt is None else burnt.astimezone().isoformat()
    return Line(number, f"piece {number}", 300.0, "", 0, (setting,), change_overs, burnt_at)


def moves(lines: list[Line], seen: Timetable) -> list[float | None]:
    """Return how far the bed goes before each piece that is not burnt and is focused anew. [mm]"""
    whens = [(seen.when(place, one), one) for place, one in enumerate(lines)]
    return [
        None if told[0].bed_down_mm is None else round(told[0].bed_down_mm, 3)
        for when, one in whens
        if when.refocus and (told := focusings(when, one.set_ups, change_over_s=240.0))
    ]


def test_the_bed_moves_from_what_was_really_burnt_last() -> None:
    """Out of order: the second and third are burnt, the first waits; from it to the fourth the bed goes up 8.1 mm."""
    lines = [
        line(3, PLAQUE),
        line(4, MUG, burnt=at(10)),
        line(5, MUG, burnt=at(20)),
        line(6, TAG),
    ]
    seen = timetable(lines, opens=OPENS, change_over_s=240.0, now=at(21), before=MUG)
    # by hand: 12.1 + 11.5 - 18 - 11 = -5.4 mm; 4 + 11.5 - 12.1 - 11.5 = -8.1 mm
    assert moves(lines, seen) == [-5.4, -8.1]


def test_without_knowing_what_was_burnt_last_no_move_is_told() -> None:
    lines = [line(1, PLAQUE), line(2, MUG, burnt=at(10)), line(3, TAG)]
    seen = timetable(lines, opens=OPENS, change_over_s=240.0, now=at(11))
    assert moves(lines, seen) == [None, -8.1]


def test_where_the_last_burn_left_the_right_focus_it_is_not_set_anew() -> None:
    lines = [line(1, PLAQUE, burnt=at(10)), line(2, TAG, burnt=at(20)), line(3, TAG), line(4, PLAQUE)]
    seen = timetable(lines, opens=OPENS, change_over_s=240.0, now=at(21), before=TAG)
    assert [seen.when(place, one).refocus for place, one in enumerate(lines)] == [False, False, False, True]
    assert moves(lines, seen) == [8.1]


def test_a_start_that_has_passed_with_nothing_burnt_counts_from_now() -> None:
    lines = [line(1, PLAQUE), line(2, PLAQUE)]
    early = timetable(lines, opens=OPENS, change_over_s=240.0, now=at(-30))
    late = timetable(lines, opens=OPENS, change_over_s=240.0, now=at(18))
    assert early.at(early.first_s) == OPENS
    assert late.at(late.first_s) == at(18)
    assert early.at(early.last_s) == at(18)  # twice 4 + 5 min
    assert late.at(late.last_s) == at(36)


def test_a_piece_of_several_blanks_takes_as_many_change_overs() -> None:
    lines = [line(1, PLAQUE, change_overs=3), line(2, PLAQUE)]
    seen = timetable(lines, opens=OPENS, change_over_s=240.0, now=OPENS)
    assert seen.at(seen.ends_s[0]) == at(3 * 4 + 5)
    assert seen.at(seen.last_s) == at(4 * 4 + 2 * 5)
