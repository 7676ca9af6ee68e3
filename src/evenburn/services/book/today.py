"""Today: the pieces of a batch in their order, how far each is, when each begins and ends, and what must be set before it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import batch, piece
from evenburn.core.errors import InvalidInput
from evenburn.core.planning.batch import changes, least_changes
from evenburn.services.book.at_a_glance import Glance, glances, stopped_glance
from evenburn.services.book.bed_now import set_last
from evenburn.services.book.finishing import afterwards
from evenburn.services.book.forbidden import forbidding
from evenburn.services.book.inputs import Sources, inputs_sha256, known_wood, sources_of
from evenburn.services.book.names import files_named
from evenburn.services.book.plan_piece import PlanSummary
from evenburn.services.book.settings import Settings, settings_in
from evenburn.services.book.spoiled import spoiled_in
from evenburn.services.book.strip import STEPS, StripStep, strip_of
from evenburn.services.book.timetable import (
    Focusing,
    Line,
    When,
    finishing_times,
    focusings,
    minute,
    on_this_clock,
    timetable,
)
from evenburn.services.book.today_rows import lines_of, pieces_of, summaries_of, ticks_of, woods_on_shelf
from evenburn.services.book.wanted import Short, wants_in

__all__ = ["PER_PAGE", "STEPS", "BatchLine", "StripStep", "Today", "TodayRow", "today"]

PER_PAGE = 60
WHOLE_MOST = 1500  # pieces of which the least number of settings is reckoned; of more it would take too long


@dataclass(frozen=True, slots=True, kw_only=True)
class TodayRow:
    """A piece of today.

    Attributes
    ----------
    size_text : of the blank, as "200 × 150 × 12.1 mm".
    size_mm : box and thickness; the box is None where only its outline knows.
    time_s : machine time; None where it was not planned yet. [s]
    fresh : whether the plan is of the piece as it stands.
    inputs_sha256 : what it was planned with; None where it was not.
    order : place in the batch, from 1.
    set_ups : thickness and stand-off to set, in order. [mm]
    focusings : what is set before it, and within it.
    refocus : whether the stand-off has to be set anew before it.
    starts_at, ends_at : local time as "2026-06-09T09:00"; of a piece that is burnt, when it was; None where it has none.
    burnt_today : whether it was burnt on the day shown.
    spoiled_burn_id : the burn that spoiled it, as it was graded; None where none did. Nothing is planned after it.
    blanks_left : whether the shelf has blanks of its wood.
    lightens : whether its wood turns lighter where it is burnt, as slate does.
    glance : recipe and checks of its plan; None where it was not planned, or its files are gone.
    """

    piece_id: int
    slug: str
    name: str
    wood_id: str
    wood_name: str
    size_text: str
    size_mm: tuple[float | None, float | None, float]
    time_s: float | None
    stops: int
    warns: int
    fresh: bool
    inputs_sha256: str | None
    strip: tuple[StripStep, ...]
    order: int
    set_ups: tuple[tuple[float, float], ...]
    focusings: tuple[Focusing, ...]
    refocus: bool
    burnt: bool
    burnt_today: bool
    spoiled_burn_id: int | None
    blanks_left: bool
    lightens: bool
    glance: Glance | None
    starts_at: str | None
    ends_at: str | None
    version: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchLine:
    """A batch of the book: its id and name, and how many pieces it has."""

    batch_id: str
    name: str
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Today:
    """A page of today's pieces, and what is told of all of them.

    Attributes
    ----------
    count, page, pages : pieces in all, and the page shown, from 1.
    total_time_s : machine time of all pieces that are planned. [s]
    left_time_s : of those not burnt yet. [s]
    day : local date that is shown, as "2026-06-09"; `now_at` the local time.
    opens_at : when the bench opens, as "09:00".
    change_over_s : before each piece. [s]
    starts_at, ends_at : local time at which the first piece was or is begun with, change-over included, and of the last end;
        None where nothing has a time.
    burnt, spoiled : pieces of all that are burnt and hold, and that are burnt and spoiled.
    set_up_changes : how often the stand-off is set for what is left, in this order, from how the last burn left it.
    least_set_up_changes : in the best order; None where there are too many pieces to reckon it.
    stops : pieces with a stop, those on other pages too: id and name.
    unplanned : pieces of all that have no plan.
    short : blanks of the shelf that its pieces want and of which there are not enough.
    batches : all batches of the book, in their order.
    following_id : the piece that follows the last one shown, on the next page; None where none does.
    """

    batch_id: str | None
    name: str
    subtitle: str
    rows: tuple[TodayRow, ...]
    count: int
    burnt: int
    spoiled: int
    page: int
    pages: int
    total_time_s: float
    left_time_s: float
    day: str
    now_at: str
    opens_at: str
    change_over_s: float
    starts_at: str | None
    ends_at: str | None
    set_up_changes: int
    least_set_up_changes: int | None
    stops: tuple[tuple[int, str], ...]
    unplanned: int
    short: tuple[Short, ...]
    batches: tuple[BatchLine, ...]
    following_id: int | None


def today(book: Book, *, now: str, batch_id: str | None = None, page: int = 1) -> Today:
    """Return a page of today's pieces.

    Parameters
    ----------
    now : its date is the day; the time of day comes from the settings.
    batch_id : None for the one that the settings name, else the first.
    page : from 1, `PER_PAGE` pieces each; past the last it is the last.

    Raises
    ------
    NotFound
        If that batch is not in the book.
    InvalidInput
        If the page is none.
    """
    if page < 1:
        raise InvalidInput({"page": f"is {page}; allowed is 1 or more"})
    with book.reading() as connection:
        settings = settings_in(connection)
        batches = _batches(connection)
        wanted = batch_id or _wanted(settings, batches)
        if wanted is None:
            return _nothing(batches, now=now, settings=settings)
        about = row_of(connection, batch, wanted)["document"]
        lines = lines_of(connection, wanted)
        pages = max(1, -(-len(lines) // PER_PAGE))
        page = min(page, pages)
        first = (page - 1) * PER_PAGE
        shown = lines[first : first + PER_PAGE]
        ids = [line.piece_id for line in shown]
        found = pieces_of(connection, ids)
        sources = sources_of(connection, wanted, [row["document"] for row in found.values()])
        ticks = ticks_of(connection, ids)
        summaries = summaries_of(connection, ids)
        spoiled = spoiled_in(connection, wanted)
        before = set_last(connection, machine_id=about["machine"], lens=about["lens"])
        on_shelf = woods_on_shelf(connection)
        short = wants_in(connection).short_in(wanted)
    here = on_this_clock(now)
    opens = datetime.fromisoformat(f"{here.date().isoformat()}T{settings.starts_at}")
    clock = timetable(lines, opens=opens, change_over_s=settings.change_over_s, now=here, before=before)
    day = _Day(
        opens=opens,
        change_over_s=settings.change_over_s,
        sources=sources,
        on_shelf=on_shelf,
        glances=glances(book, ids),
        spoiled=spoiled,
    )
    rows = tuple(
        _row(
            line,
            found[line.piece_id],
            summary=summaries.get(line.piece_id),
            ticks=ticks.get(line.piece_id, {}),
            order=order,
            when=clock.when(order - 1, line),
            day=day,
        )
        for order, line in enumerate(shown, start=first + 1)
    )
    left = [line for line in lines if line.burnt_at is None]
    spoiled_count = sum(line.piece_id in spoiled for line in lines)
    set_ups_left = [line.set_ups for line in left]
    starts, ends = clock.at(clock.first_s), clock.at(clock.last_s)
    return Today(
        batch_id=wanted,
        name=about["name"],
        subtitle=about.get("subtitle", ""),
        rows=rows,
        count=len(lines),
        burnt=len(lines) - len(left) - spoiled_count,
        spoiled=spoiled_count,
        page=page,
        pages=pages,
        total_time_s=sum(line.time_s or 0.0 for line in lines),
        left_time_s=sum(line.time_s or 0.0 for line in left),
        day=here.date().isoformat(),
        now_at=minute(here),
        opens_at=settings.starts_at,
        change_over_s=settings.change_over_s,
        starts_at=None if starts is None else minute(starts),
        ends_at=None if ends is None else minute(ends),
        set_up_changes=changes(set_ups_left, before=before),
        least_set_up_changes=least_changes(set_ups_left, before=before) if len(left) <= WHOLE_MOST else None,
        stops=tuple((line.piece_id, line.name) for line in left if line.stops),
        unplanned=sum(line.time_s is None for line in lines),
        short=short,
        batches=batches,
        following_id=next((line.piece_id for line in lines[first + PER_PAGE : first + PER_PAGE + 1]), None),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Day:
    """What all rows of a page are told with."""

    opens: datetime
    change_over_s: float
    sources: Sources
    on_shelf: frozenset[str]
    glances: Mapping[int, Glance]
    spoiled: Mapping[int, int]


# ---- what the book tells -----------------------------------------------------------------------------------------


def _batches(connection: sa.Connection) -> tuple[BatchLine, ...]:
    counted = connection.execute(
        sa.select(piece.c.batch_id, sa.func.count()).where(piece.c.removed_at.is_(None)).group_by(piece.c.batch_id)
    )
    counts = {str(id_): int(count) for id_, count in counted}
    rows = connection.execute(
        sa.select(batch.c.id, batch.c.document).where(batch.c.removed_at.is_(None)).order_by(batch.c.position)
    )
    return tuple(BatchLine(batch_id=id_, name=document["name"], count=counts.get(id_, 0)) for id_, document in rows)


def _wanted(settings: Settings, batches: Sequence[BatchLine]) -> str | None:
    there = [line.batch_id for line in batches]
    if settings.batch_id in there:
        return settings.batch_id
    return there[0] if there else None


def _nothing(batches: tuple[BatchLine, ...], *, now: str, settings: Settings) -> Today:
    here = on_this_clock(now)
    return Today(
        batch_id=None,
        name="",
        subtitle="",
        rows=(),
        count=0,
        burnt=0,
        spoiled=0,
        page=1,
        pages=1,
        total_time_s=0.0,
        left_time_s=0.0,
        day=here.date().isoformat(),
        now_at=minute(here),
        opens_at=settings.starts_at,
        change_over_s=settings.change_over_s,
        starts_at=None,
        ends_at=None,
        set_up_changes=0,
        least_set_up_changes=0,
        stops=(),
        unplanned=0,
        short=(),
        batches=batches,
        following_id=None,
    )


# ---- what is told of it ------------------------------------------------------------------------------------------


def _row(
    line: Line,
    row: Mapping[str, Any],
    *,
    summary: PlanSummary | None,
    ticks: Mapping[str, str],
    order: int,
    when: When,
    day: _Day,
) -> TodayRow:
    document = row["document"]
    known = day.sources.woods.get(row["wood_id"])
    fresh = line.inputs_sha256 is not None and line.inputs_sha256 == inputs_sha256(day.sources, [document])
    size = size_mm(document["blank"])
    burnt = line.burnt_at is not None
    stop = None if known is None else forbidding(row["wood_id"], known.document, called=known.name)
    glance = day.glances.get(line.piece_id)
    if stop is not None:  # no setting is told, also none of a plan from before
        summary = None if summary is None else replace(summary, set_ups=())
        glance = None if glance is None else stopped_glance(glance, stop)
    wood = known_wood(row["wood_id"], known)
    planned_at = finishing_times(
        when.ends,
        takes_s={one.step: one.takes_s for one in afterwards(() if wood is None else wood.finishing, ticks={})},
        ticks={name: on_this_clock(at) for name, at in ticks.items()},
        opens=day.opens.time().isoformat(timespec="minutes"),
    )
    spoiled_burn_id = day.spoiled.get(line.piece_id)
    if spoiled_burn_id is not None:
        planned_at = {}
    if when.ends is not None and not burnt:
        planned_at["burnt"] = minute(when.ends)
    return TodayRow(
        piece_id=line.piece_id,
        slug=row["slug"],
        name=row["name"],
        wood_id=row["wood_id"],
        wood_name=row["wood_id"] if known is None else known.name,
        size_text=size_text(size),
        size_mm=size,
        time_s=line.time_s,
        stops=0 if summary is None else summary.stops,
        warns=0 if summary is None else summary.warns,
        fresh=fresh,
        inputs_sha256=line.inputs_sha256,
        strip=strip_of(
            summary,
            fresh=fresh,
            has_artwork=all(name in day.sources.files for name in files_named(document)),
            curve_kind=None if known is None or known.curve is None else known.curve["provenance"]["kind"],
            ticks=ticks,
            planned_at=planned_at,
            spoiled=spoiled_burn_id is not None,
        ),
        order=order,
        set_ups=() if summary is None else summary.set_ups,
        focusings=() if summary is None or burnt else focusings(when, summary.set_ups, change_over_s=day.change_over_s),
        refocus=when.refocus,
        burnt=burnt,
        burnt_today=burnt and when.ends is not None and when.ends.date() == day.opens.date(),
        spoiled_burn_id=spoiled_burn_id,
        blanks_left=row["wood_id"] in day.on_shelf,
        lightens=wood is not None and wood.curve.full_L > wood.curve.bare_L,
        glance=glance,
        starts_at=None if when.starts is None else minute(when.starts),
        ends_at=None if when.ends is None else minute(when.ends),
        version=row["version"],
    )


def size_mm(blank: Mapping[str, Any]) -> tuple[float | None, float | None, float]:
    """Return a blank's box and thickness; a box that only its outline knows is None. [mm]"""
    if blank.get("diameter_mm") is not None:
        return blank["diameter_mm"], blank["diameter_mm"], blank["thickness_mm"]
    wide, high = blank.get("size_mm") or (None, None)
    return wide, high, blank["thickness_mm"]


def size_text(size: tuple[float | None, float | None, float]) -> str:
    """Return a size as people read it: "200 × 150 × 12.1 mm", or only the thickness where the box is not known."""
    wide, high, thick = size
    return f"{thick:g} mm thick" if wide is None or high is None else f"{wide:g} × {high:g} × {thick:g} mm"
