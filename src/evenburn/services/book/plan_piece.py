"""Plan a piece of the book: recipe, program, proof and run sheet in a folder beside the book's files, made once for the same inputs.

A folder goes by the SHA-256 of all that was planned with; where that of the piece as it stands now is another, the plan is
stale. One rule holds for a piece and for a whole batch: programs are handed out of the folder of now alone (`planned_with`).
Folders are a cache: the oldest go when there are many, and are made again when they are asked for.
"""

from __future__ import annotations

import re
import shutil
import threading
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.formats.json_file import read_json
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import batch, piece, plan
from evenburn.core.errors import EvenburnError, NotFound
from evenburn.services.book.aside import Run, here
from evenburn.services.book.inputs import Sources, inputs_sha256, sources_of
from evenburn.services.book.lay_out import lay_out
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
    set_ups: tuple[tuple[float, float], ...]


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
    sha256 = inputs_sha256(sources, [row["document"]])
    folder = folder_of(book, sha256)
    if known is not None and (planned := _planned(book, known, sha256=sha256)).fresh:
        return planned
    _make(book, sources, [row["document"]], sha256=sha256, date=now[:10], progress=progress, run=run)
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
    """Plan a batch as one, for its run sheet and its runs, unless that is there; raises as `plan_piece`."""
    from evenburn.services.plan_batch import RUN_SHEET

    sources, documents = _whole(book, batch_id)
    if not documents:
        raise NotFound(f"the batch {batch_id} has no pieces", hint="Add one first.")
    sha256 = inputs_sha256(sources, documents)
    folder = folder_of(book, sha256)
    was_there = planned_with(book, sha256) is not None
    if not was_there:
        _make(book, sources, documents, sha256=sha256, date=now[:10], progress=progress, run=run)
        _thin_out(book, keep=sha256)
    return BatchPlannedWhole(batch_id=batch_id, folder=folder, run_sheet=folder / RUN_SHEET, was_there=was_there)


def whole_of(book: Book, batch_id: str) -> Path | None:
    """Return the folder of a batch as planned whole with all that it rests on now; None where it was not; NotFound without it."""
    with book.reading() as connection:
        row_of(connection, batch, batch_id)
    sources, documents = _whole(book, batch_id)
    return planned_with(book, inputs_sha256(sources, documents))


def _whole(book: Book, batch_id: str) -> tuple[Sources, list[dict[str, Any]]]:
    with book.reading() as connection:
        documents = list(
            connection.execute(
                sa.select(piece.c.document)
                .where(piece.c.batch_id == batch_id, piece.c.removed_at.is_(None))
                .order_by(piece.c.position, piece.c.id)
            ).scalars()
        )
        return sources_of(connection, batch_id, documents), documents


def plan_folder(*, folder: Path, date: str, progress: Progress = no_progress) -> None:
    """Plan what is laid out within a folder into that folder, sheet by sheet as it is listed; raises as `plan_batch`.

    So a piece has the same recipe on its own sheet and on the run sheet of its batch, and programs of one name are one.
    """
    from evenburn.services.plan_batch import plan_batch

    boards = folder / BOARDS
    boards.mkdir(exist_ok=True)
    plan_batch(folder / BATCH, to=folder, date=date, progress=progress, sheet_by_sheet=True, boards=boards)


def summary_from(document: Mapping[str, Any]) -> PlanSummary:
    """Return a summary as the book keeps it."""
    return PlanSummary(**{**document, "set_ups": tuple((a, b) for a, b in document["set_ups"])})


def summary_of(document: Mapping[str, Any]) -> PlanSummary:
    """Return what a list tells of a plan.json."""
    checks = [check for one in document["pieces"] for check in one["checks"]]
    marks = [(one["thickness_mm"], mark) for one in document["pieces"] for mark in one["marks"]]
    burnt = [(thickness, mark) for thickness, mark in marks if mark["files"]["program"] is not None]
    set_ups: list[tuple[float, float]] = []
    for thickness, mark in burnt:
        setting = (float(thickness), float(mark["recipe"]["stand_off_mm"]))
        if not set_ups or set_ups[-1] != setting:
            set_ups.append(setting)
    stops = [check for check in checks if check["level"] == "stop"]
    return PlanSummary(
        time_s=float(document["total_time_s"]),
        stops=len(stops),
        warns=sum(check["level"] == "warn" for check in checks),
        notes=sum(check["level"] == "note" for check in checks),
        placing_stops=sum(check["code"] in PLACING for check in stops),
        artwork_stops=sum(check["code"] in ARTWORK for check in stops),
        pieces=len(document["pieces"]),
        marks=len(marks),
        programs=len(burnt),
        set_ups=tuple(set_ups),
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
            run(plan_folder, folder=folder, date=date, progress=progress)
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
