"""Today tells of every piece how far it is, in which order and when; quickly, whatever the book holds."""

from __future__ import annotations

import time
from datetime import datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import piece, plan, step, wood
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.services.book.plan_piece import PlanSummary, plan_all
from evenburn.services.book.settings import change_settings
from evenburn.services.book.strip import STEPS, strip_of
from evenburn.services.book.take_in import TakenIn, take_in_batch
from evenburn.services.book.timetable import Focusing
from evenburn.services.book.today import PER_PAGE, today
from service.book.conftest import LATER, NOW

SLOWEST_s = (
    0.1  # of the 150 ms that a page may take with 5,000 pieces and 500 woods; of this thread, the best of some tries
)


def _states(row: Any) -> dict[str, str]:
    return {one.name: one.state for one in row.strip}


def test_an_empty_book_has_nothing_today(book: Book) -> None:
    seen = today(book, now=NOW)
    assert (seen.batch_id, seen.rows, seen.count, seen.pages, seen.ends_at) == (None, (), 0, 1, None)


@pytest.mark.usefixtures("taken")
def test_before_planning_only_what_is_there_is_ticked(book: Book) -> None:
    seen = today(book, now=NOW)
    assert [row.slug for row in seen.rows] == ["plaque", "tag"]
    assert tuple(one.name for one in seen.rows[0].strip) == STEPS
    assert len(STEPS) == 11
    assert [name for name, state in _states(seen.rows[0]).items() if state == "done"] == ["artwork", "wood known"]
    assert _states(seen.rows[1])["wood known"] == "open"  # a starting value
    assert (seen.rows[0].time_s, seen.rows[0].fresh, seen.unplanned) == (None, False, 2)
    assert (seen.rows[0].size_text, seen.rows[1].size_text) == ("60 × 40 × 12 mm", "5 mm thick")
    assert seen.rows[0].wood_name == "hard maple"


def test_planned_pieces_follow_one_another_on_the_clock(book: Book, taken: TakenIn) -> None:
    plan_all(book, taken.batch_id, now=NOW)
    change_settings(book, {"starts_at": "13:30", "change_over_s": 600})
    seen = today(book, now=NOW)
    first, second = seen.rows
    assert (seen.starts_at, first.starts_at) == ("2026-06-09T13:30", "2026-06-09T13:40")  # ten minutes of change-over
    assert second.starts_at == "2026-06-09T13:50"  # half a minute of burning and ten of change-over
    assert seen.ends_at == second.ends_at
    assert first.time_s is not None
    assert second.time_s is not None
    assert seen.total_time_s == first.time_s + second.time_s
    assert (first.refocus, second.refocus, seen.set_up_changes, seen.least_set_up_changes) == (True, True, 2, 2)
    assert first.focusings[0].starts_at == "2026-06-09T13:30"
    assert first.focusings[0].bed_down_mm is None
    assert not first.focusings[0].touches
    thicker = first.set_ups[-1][0] - second.set_ups[0][0] + first.set_ups[-1][1] - second.set_ups[0][1]
    assert second.focusings[0].bed_down_mm == pytest.approx(-thicker)
    assert [name for name, state in _states(first).items() if state == "done"] == list(STEPS[:5])
    planned = {one.name: one.planned_at for one in first.strip}
    assert planned["burnt"] == first.ends_at == "2026-06-09T13:40"
    assert planned["washed"] == "2026-06-09T13:45"  # woods.toml: 5 min, then 2 h to dry, then oil overnight
    assert planned["dry"] == "2026-06-09T15:45"
    assert planned["sealed"] == "2026-06-10T13:30"  # it would be done at eight, before the bench opens
    assert planned["artwork"] is None


def test_what_is_burnt_keeps_its_time_and_the_rest_follows_it(book: Book, taken: TakenIn) -> None:
    plan_all(book, taken.batch_id, now=NOW)
    here = datetime.fromisoformat(NOW).astimezone().strftime("%H:%M")  # of the computer that runs this
    change_settings(book, {"starts_at": "00:00", "change_over_s": 600})
    before = today(book, now=NOW)
    with book.writing() as connection:
        connection.execute(sa.insert(step).values(piece_id=before.rows[0].piece_id, name="burnt", done_at=NOW))
    after = today(book, now=NOW)
    first, second = after.rows
    assert (first.burnt, first.burnt_today, after.burnt) == (True, True, 1)
    assert first.ends_at == f"2026-06-09T{here}"
    assert second.starts_at is not None
    assert second.starts_at == (datetime.fromisoformat(f"2026-06-09T{here}") + timedelta(minutes=10)).isoformat(
        timespec="minutes"
    )
    assert after.left_time_s == second.time_s
    assert after.total_time_s == before.total_time_s
    next_day = today(book, now="2026-06-10T08:00:00+00:00")
    assert not next_day.rows[0].burnt_today
    assert second.starts_at is not None
    assert next_day.rows[1].starts_at == second.starts_at.replace(
        "06-09", "06-10"
    )  # it is that late, and nothing is burnt


def test_a_stop_is_told_in_the_strip_and_above_all_pages() -> None:
    summary = PlanSummary(
        time_s=0.0, stops=2, warns=0, notes=0, placing_stops=1, artwork_stops=0, pieces=1, marks=2, programs=1, set_ups=()
    )  # fmt: skip
    strip = {
        one.name: one.state
        for one in strip_of(summary, fresh=True, has_artwork=True, curve_kind=None, ticks={"washed": NOW})
    }
    assert strip["placed"] == strip["checks"] == "stop"
    assert (strip["artwork"], strip["recipe"], strip["washed"]) == ("done", "open", "done")
    stale = strip_of(summary, fresh=False, has_artwork=False, curve_kind="fitted", ticks={})
    assert {one.state for one in stale if one.name != "wood known"} == {"open"}


def test_the_batch_is_the_one_asked_for_then_the_settings_then_the_first(
    book: Book, taken: TakenIn, batch_folder: Any
) -> None:
    second = take_in_batch(book, batch_folder, now=LATER)
    assert today(book, now=NOW).batch_id == taken.batch_id
    change_settings(book, {"batch_id": second.batch_id})
    assert today(book, now=NOW).batch_id == second.batch_id
    assert today(book, now=NOW, batch_id=taken.batch_id).batch_id == taken.batch_id
    assert [(line.name, line.count) for line in today(book, now=NOW).batches] == [("Two for the regatta", 2)] * 2
    with pytest.raises(NotFound):
        today(book, now=NOW, batch_id="no-such-batch")
    with pytest.raises(InvalidInput, match="page"):
        today(book, now=NOW, page=0)


def test_five_thousand_pieces_are_told_in_time(book: Book, taken: TakenIn) -> None:
    plan_all(book, taken.batch_id, now=NOW)
    with book.writing() as connection:
        one = dict(connection.execute(sa.select(piece).where(piece.c.id == taken.piece_ids[0])).mappings().one())
        planned = dict(connection.execute(sa.select(plan).where(plan.c.piece_id == one["id"])).mappings().one())
        woods = [{"id": f"w{i}", "name": f"wood {i}", "document": {"name": "oak"}, "changed_at": NOW} for i in range(500)]  # fmt: skip
        connection.execute(sa.insert(wood), woods)
        many = [
            {**one, "id": 100 + i, "slug": f"p{i}", "position": 9000 + i, "wood_id": f"w{i % 500}", "document": {**one["document"], "id": f"p{i}", "wood": f"w{i % 500}"}}
            for i in range(5000)
        ]  # fmt: skip
        connection.execute(sa.insert(piece), many)
        connection.execute(
            sa.insert(plan),
            [
                {**planned, "piece_id": p["id"], "document": {**planned["document"], "stops": int(p["id"] == 5000), "set_ups": [[12.0, 10.0 + p["id"] % 7]]}}
                for p in many
            ],
        )  # fmt: skip
    took = []
    for page in (1, 40, 84, 1, 40, 84, 1, 1, 1):
        start = time.thread_time()
        seen = today(book, now=NOW, page=page)
        took.append(time.thread_time() - start)
        assert len(seen.rows) <= PER_PAGE
    assert seen.count == 5002
    assert seen.pages == 84
    assert seen.stops == ((5000, one["name"]),)
    assert today(book, now=NOW, page=999).page == 84
    assert min(took) < SLOWEST_s, took


@pytest.mark.parametrize(
    ("bed_down_mm", "touches"), [(None, False), (-4.0, False), (12.4, False), (12.5, True), (13.0, True)]
)
def test_a_bed_that_stays_too_high_by_the_stand_off_lets_the_head_run_into_the_blank(
    bed_down_mm: float | None,
    touches: bool,  # noqa: FBT001  # as listed above
) -> None:
    one = Focusing(stand_off_mm=12.5, thickness_mm=25.0, bed_down_mm=bed_down_mm, starts_at=None)

    assert one.touches == touches
