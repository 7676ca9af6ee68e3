"""Plan a piece of the book: recipe, program, proof and run sheet in a folder beside the book's files, made once for the same inputs.

A folder goes by the SHA-256 of all that was planned with; where that of the piece as it stands now is another, the plan is
stale. One rule holds for a piece and for a whole batch: programs are handed out of the folder of now alone (`planned_with`).
Folders are a cache: the oldest go when there are many, and are made again when they are asked for.
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from itertools import groupby
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.formats.json_file import read_json
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import batch, piece, plan, step
from evenburn.core.errors import EvenburnError, NotFound
from evenburn.core.nouns.plan import BenchDay
from evenburn.core.planning.batch import Setting, change_overs
from evenburn.services.book.aside import Run, here
from evenburn.services.book.bed_now import SET_DECIMALS, set_last
from evenburn.services.book.inputs import Sources, inputs_sha256, sources_of
from evenburn.services.book.lay_out import lay_out
from evenburn.services.book.settings import settings_in
from evenburn.services.book.spoiled import spoiled_in
from evenburn.services.book.timetable import minute, on_this_clock
from evenburn.services.progress import Progress, no_progress

PLANS, BATCH, INDEX = "plans", "batch", "plan.json"
BOARDS = f"{BATCH}/boards"  # small pictures; they come before plan.json, which tells that all is there
MOST_FOLDERS = 600  # some megabytes each
AT_ONCE = 2  # pieces planned beside each other
PLACING = frozenset({"outside-travel", "larger-than-bed", "run-up-does-not-fit", "margin-small", "crosses-hole"})
ARTWORK = frozenset({"nothing-to-burn", "name-missing", "text-too-long", "text-cannot-be-set"})
_SHA256 = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanSummary:
    """What a list tells of a plan.

    Attributes
    ----------
    time_s : machine time of what may be burnt. [s]
    stops, warns, notes : checks of each level.
    placing_stops, artwork_stops : of the stops, those about where it lies, and those about what is drawn.
    pieces, marks, programs : how many there are; more than one piece where a list of names makes them.
    set_ups : thickness and stand-off of each setting, in order, neighbours that are the same as one. [mm]
    change_overs : how many it takes, one for each of its pieces that burns and for each setting within one; None in a plan
        from before they were counted, which takes one for each setting.
    """

    time_s: float
    stops: int
    warns: int
    notes: int
    placing_stops: int
    artwork_stops: int
    pieces: int
    marks: int
    programs: int
    set_ups: tuple[Setting, ...]
    change_overs: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PiecePlanned:
    """A plan of a piece. `fresh` tells that nothing it rests on has changed, and that its files are there."""

    piece_id: int
    inputs_sha256: str
    planned_at: str
    fresh: bool
    folder: Path
    summary: PlanSummary

    @property
    def batch_folder(self) -> Path:
        """Return the batch folder that it was planned from."""
        return self.folder / BATCH

    def document(self) -> dict[str, Any]:
        """Return its plan.json; UnreadableFile where its files are gone."""
        return read_json(self.folder / INDEX, name=INDEX, hint="Plan it again.")


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchPlannedWhole:
    """A whole batch as planned for one run: its folder, its run sheet, and whether it was there already."""

    batch_id: str
    folder: Path
    run_sheet: Path
    was_there: bool

    def document(self) -> dict[str, Any]:
        """Return its plan.json."""
        return read_json(self.folder / INDEX, name=INDEX, hint="Plan it again.")


@dataclass(frozen=True, slots=True, kw_only=True)
class AllPlanned:
    """What came of planning all pieces of a batch: how many were planned anew, and the faults of those that could not be."""

    planned: int
    faults: dict[int, EvenburnError] = field(default_factory=dict)


def plan_piece(
    book: Book, piece_id: int, *, now: str, progress: Progress = no_progress, run: Run = here
) -> PiecePlanned:
    """Plan a piece, unless the plan that is there is fresh.

    Parameters
    ----------
    progress : told what is being done; what it raises stops the work, and nothing of it is kept.
    run : where the planning itself runs, in this process or in one of its own.

    Raises
    ------
    InvalidInput, UnreadableFile, NotFound
        If the piece does not hold.
    StorageError
        If its files cannot be written.
    """
    with book.reading() as connection:
        row = row_of(connection, piece, piece_id)
        sources = sources_of(connection, row["batch_id"], [row["document"]])
        known = _stored(connection, piece_id)
        day = BenchDay(change_over_s=settings_in(connection).change_over_s, of_settings=True)
    sha256 = inputs_sha256(sources, [row["document"]])
    folder = folder_of(book, sha256)
    if known is not None and (planned := _planned(book, known, sha256=sha256)).fresh:
        return planned
    _make(book, sources, [row["document"]], sha256=sha256, date=now[:10], day=day, progress=progress, run=run)
    summary = summary_of(read_json(folder / INDEX, name=INDEX))
    values = {
        "inputs_sha256": sha256,
        "planned_at": now,
        "time_s": summary.time_s,
        "document": {**asdict(summary)},
        "folder": f"{PLANS}/{sha256}",
    }
    with book.writing() as connection:
        kept = connection.execute(sa.update(plan).where(plan.c.piece_id == piece_id).values(**values))
        if kept.rowcount == 0:
            connection.execute(sa.insert(plan).values(piece_id=piece_id, **values))
    _thin_out(book, keep=sha256)
    return PiecePlanned(
        piece_id=piece_id, inputs_sha256=sha256, planned_at=now, fresh=True, folder=folder, summary=summary
    )


def plan_of(book: Book, piece_id: int) -> PiecePlanned | None:
    """Return the plan of a piece as it stands, fresh or stale; None where it was never planned; NotFound without the piece."""
    with book.reading() as connection:
        row = row_of(connection, piece, piece_id)
        known = _stored(connection, piece_id)
        if known is None:
            return None
        sources = sources_of(connection, row["batch_id"], [row["document"]])
    return _planned(book, known, sha256=inputs_sha256(sources, [row["document"]]))


def plan_all(book: Book, batch_id: str, *, now: str, progress: Progress = no_progress, run: Run = here) -> AllPlanned:
    """Plan every piece of a batch whose plan is missing or stale, two at a time; a fault of one stops no other.

    Raises
    ------
    NotFound
        If the batch is not in the book.
    """
    with book.reading() as connection:
        row_of(connection, batch, batch_id)
        rows = connection.execute(
            sa.select(piece.c.id, piece.c.name)
            .where(piece.c.batch_id == batch_id, piece.c.removed_at.is_(None))
            .order_by(piece.c.position, piece.c.id)
        ).all()
    stale = [(int(id_), str(name)) for id_, name in rows if (known := plan_of(book, id_)) is None or not known.fresh]
    faults: dict[int, EvenburnError] = {}
    progress("planning", 0, len(stale))
    with ThreadPoolExecutor(max_workers=AT_ONCE) as workers:
        tasks = {workers.submit(plan_piece, book, id_, now=now, run=run): (id_, name) for id_, name in stale}
        try:
            for done, task in enumerate(as_completed(tasks), start=1):
                id_, name = tasks[task]
                try:
                    task.result()
                except EvenburnError as error:
                    faults[id_] = error
                progress(f"{name} planned", done, len(stale))
        except BaseException:
            workers.shutdown(wait=True, cancel_futures=True)
            raise
    return AllPlanned(planned=len(stale) - len(faults), faults=faults)


def plan_whole(
    book: Book, batch_id: str, *, now: str, progress: Progress = no_progress, run: Run = here
) -> BatchPlannedWhole:
    """Plan what is left of a batch as one, for its run sheet and its runs, unless that is there; raises as `plan_piece`.

    What is burnt already is only told on the run sheet, which begins with the focus as the last burn left it.
    """
    from evenburn.services.plan_batch import RUN_SHEET

    whole = _whole(book, batch_id)
    if not whole.documents:
        raise NotFound(f"the batch {batch_id} has no pieces", hint="Add one first.")
    if len(whole.day.burnt) == len(whole.documents):
        raise NotFound("every piece of this batch is burnt", hint="What was burnt stands in the logbook.")
    sha256 = whole.sha256()
    folder = folder_of(book, sha256)
    was_there = planned_with(book, sha256) is not None
    if not was_there:
        date = now[:10]
        _make(
            book,
            whole.sources,
            whole.documents,
            sha256=sha256,
            date=date,
            day=whole.day,
            progress=progress,
            run=run,
        )
        _thin_out(book, keep=sha256)
    return BatchPlannedWhole(batch_id=batch_id, folder=folder, run_sheet=folder / RUN_SHEET, was_there=was_there)


def whole_of(book: Book, batch_id: str) -> Path | None:
    """Return the folder of a batch as planned whole with all that it rests on now; None where it was not; NotFound without it."""
    return planned_with(book, _whole(book, batch_id).sha256())


def burnt_of(book: Book, batch_id: str) -> tuple[str, ...]:
    """Return the names of the pieces of a batch that are burnt already, in their order; NotFound without it."""
    whole = _whole(book, batch_id)
    burnt = [whole.documents[number - 1] for number, _ in whole.day.burnt]
    return tuple(str(document.get("name") or document["id"].replace("-", " ")) for document in burnt)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Whole:
    """What a batch planned whole rests on: its pieces, and what the bench knows of the day."""

    sources: Sources
    documents: list[dict[str, Any]]
    day: BenchDay

    def sha256(self) -> str:
        """Return the number its folder goes by; never that of one of its pieces alone."""
        told = [inputs_sha256(self.sources, self.documents), asdict(self.day)]
        return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()


def _whole(book: Book, batch_id: str) -> _Whole:
    with book.reading() as connection:
        about = row_of(connection, batch, batch_id)["document"]
        rows = connection.execute(
            sa.select(piece.c.document, piece.c.id, step.c.done_at)
            .select_from(piece.outerjoin(step, sa.and_(step.c.piece_id == piece.c.id, step.c.name == "burnt")))
            .where(piece.c.batch_id == batch_id, piece.c.removed_at.is_(None))
            .order_by(piece.c.position, piece.c.id)
        ).all()
        documents = [document for document, *_ in rows]
        spoiled = spoiled_in(connection, batch_id)
        day = BenchDay(
            change_over_s=settings_in(connection).change_over_s,
            of_settings=True,
            before_mm=set_last(connection, machine_id=about["machine"], lens=about["lens"]),
            burnt=tuple(
                (number, minute(on_this_clock(at))) for number, (*_, at) in enumerate(rows, start=1) if at is not None
            ),
            spoiled=tuple(number for number, (_, id_, _) in enumerate(rows, start=1) if id_ in spoiled),
        )
        return _Whole(sources=sources_of(connection, batch_id, documents), documents=documents, day=day)


def plan_folder(*, folder: Path, date: str, day: BenchDay, progress: Progress = no_progress) -> None:
    """Plan what is laid out within a folder into that folder, sheet by sheet as it is listed; raises as `plan_batch`.

    So a piece has the same recipe on its own sheet and on the run sheet of its batch, and programs of one name are one.
    """
    from evenburn.services.plan_batch import plan_batch

    boards = folder / BOARDS
    boards.mkdir(exist_ok=True)
    plan_batch(folder / BATCH, to=folder, date=date, progress=progress, sheet_by_sheet=True, boards=boards, day=day)


def summary_from(document: Mapping[str, Any]) -> PlanSummary:
    """Return a summary as the book keeps it."""
    return PlanSummary(**{**document, "set_ups": set_ups_from(document["set_ups"])})


def set_ups_from(pairs: Iterable[Sequence[float]]) -> tuple[Setting, ...]:
    """Return settings as the book keeps them, rounded to what is set apart. [mm]"""
    return tuple(
        (round(float(thick), SET_DECIMALS), round(float(stand_off), SET_DECIMALS)) for thick, stand_off in pairs
    )


def summary_of(document: Mapping[str, Any]) -> PlanSummary:
    """Return what a list tells of a plan.json."""
    checks = [check for one in document["pieces"] for check in one["checks"]]
    burnt = [
        set_ups_from(
            (one["thickness_mm"], mark["recipe"]["stand_off_mm"])
            for mark in one["marks"]
            if mark["files"]["program"] is not None
        )
        for one in document["pieces"]
    ]
    stops = [check for check in checks if check["level"] == "stop"]
    return PlanSummary(
        time_s=float(document["total_time_s"]),
        stops=len(stops),
        warns=sum(check["level"] == "warn" for check in checks),
        notes=sum(check["level"] == "note" for check in checks),
        placing_stops=sum(check["code"] in PLACING for check in stops),
        artwork_stops=sum(check["code"] in ARTWORK for check in stops),
        pieces=len(document["pieces"]),
        marks=sum(len(one["marks"]) for one in document["pieces"]),
        programs=sum(map(len, burnt)),
        set_ups=tuple(setting for setting, _ in groupby(setting for one in burnt for setting in one)),
        change_overs=change_overs(burnt),
    )


# ---- folders -----------------------------------------------------------------------------------------------------


def folder_of(book: Book, sha256: str) -> Path:
    """Return where a plan lies, whether it does or not; NotFound where that is no SHA-256, as in a row from elsewhere."""
    if _SHA256.fullmatch(sha256) is None:
        raise NotFound("that is no plan of the book")
    return book.files.parent / PLANS / sha256


def planned_with(book: Book, sha256: str) -> Path | None:
    """Return the folder of what was planned with just these inputs, None where there is none or it is not whole."""
    folder = folder_of(book, sha256)
    return folder if (folder / INDEX).is_file() else None


def _stored(connection: sa.Connection, piece_id: int) -> dict[str, Any] | None:
    """Return the row of a piece's plan; one that names no folder of this book counts as none."""
    row = connection.execute(sa.select(plan).where(plan.c.piece_id == piece_id)).mappings().one_or_none()
    return None if row is None or _SHA256.fullmatch(row["inputs_sha256"]) is None else dict(row)


def _planned(book: Book, known: Mapping[str, Any], *, sha256: str) -> PiecePlanned:
    return PiecePlanned(
        piece_id=known["piece_id"],
        inputs_sha256=known["inputs_sha256"],
        planned_at=known["planned_at"],
        fresh=known["inputs_sha256"] == sha256 and planned_with(book, sha256) is not None,
        folder=folder_of(book, known["inputs_sha256"]),
        summary=summary_from(known["document"]),
    )


def _make(
    book: Book,
    sources: Sources,
    documents: Sequence[Mapping[str, Any]],
    *,
    sha256: str,
    date: str,
    day: BenchDay,
    progress: Progress,
    run: Run,
) -> None:
    """Lay pieces out and plan them; plan.json comes last, so that it tells that the folder is whole."""
    folder = folder_of(book, sha256)
    with _ALONE.at(sha256):
        if planned_with(book, sha256) is not None:
            return  # made meanwhile
        there = folder.exists()
        try:
            lay_out(book, sources, documents, to=folder / BATCH)
            run(plan_folder, folder=folder, date=date, day=day, progress=progress)
        except BaseException:
            if not there:
                shutil.rmtree(folder, ignore_errors=True)
            raise


def _thin_out(book: Book, *, keep: str) -> None:
    """Take the oldest folders away where there are more than a bench looks at."""
    root = book.files.parent / PLANS
    try:
        folders = sorted((p for p in root.iterdir() if p.is_dir() and p.name != keep), key=lambda p: p.stat().st_mtime)
    except OSError:
        return
    for folder in folders[: max(0, len(folders) + 1 - MOST_FOLDERS)]:
        (folder / INDEX).unlink(missing_ok=True)
        shutil.rmtree(folder, ignore_errors=True)


class _Alone:
    """Lets one thread at a time make a folder; others that want the same wait for it, and find it made."""

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._locks: dict[str, tuple[threading.Lock, int]] = {}

    @contextmanager
    def at(self, name: str) -> Iterator[None]:
        with self._guard:
            lock, waiting = self._locks.get(name, (threading.Lock(), 0))
            self._locks[name] = (lock, waiting + 1)
        try:
            with lock:
                yield
        finally:
            with self._guard:
                lock, waiting = self._locks[name]
                if waiting == 1:
                    del self._locks[name]
                else:
                    self._locks[name] = (lock, waiting - 1)


_ALONE = _Alone()
