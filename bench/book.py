"""The book of a busy bench, 5,000 pieces and 500 woods: how long each page takes over HTTP, how soon the app answers, what it holds.

Plans the demo once, copies its rows under other names until the book is full, starts `evenburn open` on it as a person would,
and asks for every page of every kind in turn. Prints a row for each kind of page; `bench/run.py` runs it and saves what it says.
`--demo BOOK` takes a demo book that is planned already, `--keep FOLDER` keeps the book that was made.
"""

from __future__ import annotations

import argparse
import csv
import http.client
import itertools
import os
import random
import re
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict, deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import sqlalchemy as sa

from evenburn.adapters.storage.book import tables
from evenburn.services.book.inputs import inputs_sha256, sources_of
from evenburn.services.book.mark_step import mark_step
from evenburn.services.book.open_book import Book, open_book_at
from evenburn.services.book.plan_piece import plan_all
from evenburn.services.book.take_in import take_in_demo

PIECES, WOODS, BATCH_OF = 5000, 500, 50
CARDS_OF_WOOD, BLANKS = 2, 500
REQUESTS, VARIANTS, WARM = 2000, 12, 2
STARTS = 5
PAGE_ASKED_ms, START_ASKED_s, MEMORY_ASKED_MB = 150.0, 2.0, 600.0
NOW, LATER = "2026-06-09T08:00:00+00:00", "2026-06-09T09:00:00+00:00"
DOORS = ("/", "/pieces", "/woods", "/machine", "/shelf", "/logbook", "/settings", "/changes", "/phone")
SEARCHES = ("/pieces?search=oar", "/pieces?page=40", "/woods?search=maple", "/logbook?text=plaque", "/logbook?page=50")
_NAMED = (  # parts of an address that name one of many
    (re.compile(r"(?<=/)(\d+|[0-9a-f]{16,64}|[a-z0-9-]+-\d+)(?=/|$)"), "…"),
    (re.compile(r"(?<=^/woods/)(?!new$)[a-z0-9-]+"), "…"),
    (re.compile(r"(?<=^/machine/)(?!new$)[a-z0-9-]+"), "…"),
    (re.compile(r"(?<=/files/)[^/]+(?=\.[a-z]+$)"), "…"),
    (re.compile(r"(?<=^/artwork/)[^/]+(?=\.[a-z]+$)"), "…"),
)
_HREF = re.compile(r'(?:href|src)="(/[^"#]*)')
_FILE = re.compile(r"\.[a-z]+($|\?)")
_NO_PAGE = re.compile(r"/(static|api|backup)/|\.(pdf|zip|ngc)$|/(run-sheet|for-the-machine|programs|backup)$")


# ---- a full book -------------------------------------------------------------------------------------------------


def make_book(home: Path, *, demo: Path | None) -> Book:
    """Return a full book: the demo's, planned and burnt, and copies of its rows."""
    if demo is not None:
        shutil.copytree(demo, home)
    book = open_book_at(home)
    if demo is None:
        taken = take_in_demo(book, now=NOW)
        plan_all(book, taken.batch_id, now=NOW)
    with book.reading() as connection:
        pieces = connection.execute(sa.select(tables.piece.c.id)).scalars().all()
    for piece_id in pieces:
        for name in ("proof agreed", "burnt"):
            mark_step(book, piece_id, name, done=True, now=LATER)
    with book.writing() as connection:
        _grow(connection, book)
    return book


def _rows(connection: sa.Connection, table: sa.Table) -> list[dict[str, Any]]:
    return [dict(row) for row in connection.execute(sa.select(table).order_by(*table.primary_key.columns)).mappings()]


def _add(connection: sa.Connection, table: sa.Table, rows: Sequence[dict[str, Any]]) -> None:
    if rows:
        connection.execute(sa.insert(table), list(rows))


def _grow(connection: sa.Connection, book: Book) -> None:
    woods = _grow_woods(connection)
    _add(
        connection,
        tables.blank,
        [
            {
                "wood_id": woods[i % len(woods)],
                "name": f"plaque blank {i}",
                "left_count": i % 7,
                "document": {"blank": {"size_mm": [200.0, 150.0], "thickness_mm": 12.0}, "put": 7},
                "changed_at": NOW,
            }
            for i in range(BLANKS)
        ],
    )
    _grow_pieces(connection, book, woods)


def _grow_woods(connection: sa.Connection) -> list[str]:
    """Copy the demo's woods, each with cards, readings and a curve of its own."""
    models, (curve,) = _rows(connection, tables.wood), _rows(connection, tables.curve)
    (card,), (reading,) = _rows(connection, tables.card), _rows(connection, tables.reading)
    photograph = _rows(connection, tables.photograph)[0]
    woods, cards, readings, photographs, curves = [], [], [], [], []
    card_id, curve_id = int(card["id"]), int(curve["id"])
    for i in range(WOODS - len(models)):
        model = models[i % len(models)]
        wood_id = f"{model['id']}-{i + 2}"
        curve_id += 1
        woods.append({**model, "id": wood_id, "name": f"{model['name']}, lot {i + 2}", "curve_id": curve_id})
        curves.append({**curve, "id": curve_id, "wood_id": wood_id})
        for _ in range(CARDS_OF_WOOD):
            card_id += 1
            cards.append({**card, "id": card_id, "wood_id": wood_id})
            readings.append({**reading, "id": card_id, "card_id": card_id})
            photographs.append({**photograph, "id": 10_000 + card_id, "card_id": card_id})
    for table, rows in (
        (tables.wood, woods),
        (tables.card, cards),
        (tables.reading, readings),
        (tables.photograph, photographs),
        (tables.curve, curves),
    ):
        _add(connection, table, rows)
    return [str(m["id"]) for m in models] + [str(w["id"]) for w in woods]


def _grow_pieces(connection: sa.Connection, book: Book, woods: Sequence[str]) -> None:
    """Copy the demo's pieces into batches; their plans are fresh, burnt are all but those of the last batch."""
    models, plans = _rows(connection, tables.piece), {p["piece_id"]: p for p in _rows(connection, tables.plan)}
    (batch,) = _rows(connection, tables.batch)
    burns, steps = defaultdict(list), defaultdict(list)
    for burn in _rows(connection, tables.burn):
        burns[burn["piece_id"]].append(burn)
    for step in _rows(connection, tables.step):
        steps[step["piece_id"]].append(step)
    of_kind = {m["wood_id"]: [w for w in woods if w.startswith(m["wood_id"])] for m in models}
    made: dict[tuple[sa.Table, int], dict[str, Any]] = {}
    batches, pieces, new_plans, new_burns, new_steps, edits = [], [], [], [], [], []
    for i in range(PIECES - len(models)):
        model = models[i % len(models)]
        key, number = 10_000 + i, i // BATCH_OF
        batch_id = f"regatta-{number + 2}"
        if i % BATCH_OF == 0:
            document = {**batch["document"], "name": f"Regatta prizes, day {number + 2}"}
            batches.append({**batch, "id": batch_id, "position": 1024 * (number + 2), "document": document})
        near = of_kind[model["wood_id"]]
        wood_id = near[i % len(near)]
        document = {**model["document"], "id": f"{model['slug']}-{i}", "wood": wood_id}
        pieces.append(
            {
                **model,
                "id": key,
                "batch_id": batch_id,
                "slug": f"{model['slug']}-{i}",
                "name": f"{model['name']}, no. {i}",
                "position": 1024 * (i % BATCH_OF + 1),
                "wood_id": wood_id,
                "document": document,
            }
        )
        new_plans.append({**plans[model["id"]], "piece_id": key})
        if number < (PIECES - 1) // BATCH_OF:
            new_steps += [{**s, "piece_id": key} for s in steps[model["id"]]]
            new_burns += [{**b, "id": None, "piece_id": key, "wood_id": wood_id} for b in burns[model["id"]]]
        edits.append({"made_at": NOW, "what": f"Piece {key} was added", "rows": [_edit_row(key, document)]})
    for burn in new_burns:
        del burn["id"]
    assert not made
    _add(connection, tables.batch, batches)
    _add(connection, tables.piece, pieces)
    for piece, plan in zip(pieces, new_plans, strict=True):
        _fresh(connection, book, piece, plan)
    _add(connection, tables.plan, new_plans)
    _add(connection, tables.step, new_steps)
    _add(connection, tables.burn, new_burns)
    _add(connection, tables.edit, edits)


def _edit_row(key: int, document: dict[str, Any]) -> dict[str, Any]:
    return {"table": "piece", "key": key, "before": None, "after": {"version": 1, "document": document}}


def _fresh(connection: sa.Connection, book: Book, piece: dict[str, Any], plan: dict[str, Any]) -> None:
    """Make a copied plan that of its piece as it stands: its number, and a folder by that number."""
    sha256 = inputs_sha256(sources_of(connection, piece["batch_id"], [piece["document"]]), [piece["document"]])
    home = book.files.parent / "plans"
    if not (home / sha256).exists():
        (home / sha256).symlink_to(Path(plan["folder"]).name, target_is_directory=True)
    plan["inputs_sha256"], plan["folder"] = sha256, f"plans/{sha256}"


# ---- the app -----------------------------------------------------------------------------------------------------


@dataclass
class App:
    """`evenburn open` on a book."""

    process: subprocess.Popen[str]
    port: int
    answered_s: float

    def resident_MB(self) -> float:
        """Return what it holds in memory now, in MB of 10⁶ bytes."""
        status = Path(f"/proc/{self.process.pid}/status").read_text(encoding="utf-8")
        return int(status.split("VmRSS:")[1].split()[0]) * 1024 / 1e6

    def worked_ms(self) -> float:
        """Return how long it worked so far, all threads together; on a busy machine that says more than the clock. [ms]"""
        tasks = Path(f"/proc/{self.process.pid}/task").glob("*/schedstat")
        return sum(int(task.read_text(encoding="utf-8").split()[0]) for task in tasks) / 1e6

    def close(self) -> None:
        """Close it as Ctrl-C does."""
        self.process.send_signal(signal.SIGINT)
        self.process.communicate(timeout=20)


def open_app(home: Path) -> App:
    """Start the app, and return it once its first page was answered."""
    start_s = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "evenburn", "open", "--no-browser", "--book", str(home)],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert process.stdout is not None
    line = process.stdout.readline()
    port = int(re.findall(r":(\d+)/", line)[-1])
    status, _, _ = ask(http.client.HTTPConnection("127.0.0.1", port), "/")
    assert status == 200, f"the first page answered {status}"
    return App(process=process, port=port, answered_s=time.perf_counter() - start_s)


def ask(connection: http.client.HTTPConnection, path: str) -> tuple[int, bytes, float]:
    """Return status, body and time of one request. [ms]"""
    start_s = time.perf_counter()
    connection.request("GET", path)
    answer = connection.getresponse()
    body = answer.read()
    return answer.status, body, 1000.0 * (time.perf_counter() - start_s)


def kind_of(address: str) -> str:
    """Return what kind of page an address leads to."""
    parts = urlsplit(address)
    kind = parts.path
    for pattern, instead in _NAMED:
        kind = pattern.sub(instead, kind)
    return kind + (f"?{'&'.join(sorted(q.split('=')[0] for q in parts.query.split('&')))}" if parts.query else "")


def find(app: App) -> tuple[dict[str, list[str]], dict[str, int]]:
    """Return kind → addresses, found by following what pages link to, of a kind no more than are asked for; and what failed."""
    connection = http.client.HTTPConnection("127.0.0.1", app.port)
    found: dict[str, list[str]] = defaultdict(list)
    failed: dict[str, int] = {}
    waiting = deque((*DOORS, *SEARCHES))
    random.seed(6)
    while waiting:
        path = waiting.popleft()
        kind = kind_of(path)
        if _NO_PAGE.search(urlsplit(path).path) or path in found[kind] or len(found[kind]) >= VARIANTS:
            continue
        status, body, _ = ask(connection, path)
        if status != 200:
            failed[kind] = status
            continue
        found[kind].append(path)
        links = [link.replace("&amp;", "&") for link in _HREF.findall(body.decode("utf-8", "replace"))]
        random.shuffle(links)
        waiting.extend(links)
    return {kind: paths for kind, paths in found.items() if paths}, failed


def measure(app: App, kinds: dict[str, list[str]]) -> dict[str, list[tuple[float, float]]]:
    """Ask for all kinds in turn until there were enough requests; return of each how long it took, and was worked on. [ms]"""
    connection = http.client.HTTPConnection("127.0.0.1", app.port)
    times: dict[str, list[tuple[float, float]]] = defaultdict(list)
    rounds = [itertools.cycle(paths) for paths in kinds.values()]
    asked = 0
    while asked < REQUESTS:
        for kind, paths in zip(kinds, rounds, strict=True):
            before_ms = app.worked_ms()
            status, _, took_ms = ask(connection, next(paths))
            assert status == 200, kind
            times[kind].append((took_ms, app.worked_ms() - before_ms))
            asked += 1
    return {kind: each[WARM:] for kind, each in times.items()}


def at(times_ms: Iterable[float], share: float) -> float:
    """Return a quantile. [ms]"""
    ordered = sorted(times_ms)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def main() -> None:
    """Make the book, open it, ask, and print."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--demo", type=Path, metavar="BOOK", help="a demo book that is planned already")
    arguments.add_argument(
        "--keep", type=Path, metavar="FOLDER", help="make the book here and keep it, or take it from here"
    )
    chosen = arguments.parse_args()
    out = csv.writer(sys.stdout, lineterminator="\n")
    with tempfile.TemporaryDirectory() as work:
        home = chosen.keep or Path(work) / "book"
        if not home.exists():
            make_book(home, demo=chosen.demo).close()
        starts_s = []
        for _ in range(STARTS):
            app = open_app(home)
            starts_s.append(app.answered_s)
            app.close()
        app = open_app(home)
        try:
            kinds, failed = find(app)
            times = measure(app, kinds)
            resident_MB = app.resident_MB()
        finally:
            app.close()
    out.writerow(["page", "requests", "p50_ms", "p95_ms", "worked_ms", "asked_ms"])
    for kind, each in sorted(times.items(), key=lambda kv: -at((took for took, _ in kv[1]), 0.95)):
        took, worked = [t for t, _ in each], statistics.median(w for _, w in each)
        quantiles = [f"{at(took, share):.0f}" for share in (0.5, 0.95)]
        asked = "" if _FILE.search(kind) else f"{PAGE_ASKED_ms:g}"  # a page is promised to be quick, a file is not
        out.writerow([kind, len(each), *quantiles, f"{worked:.0f}", asked])
    for kind, status in failed.items():
        out.writerow([f"{kind} answered {status}", 0, "", "", "", ""])
    out.writerow(
        ["start to the first page, s", STARTS, f"{statistics.median(starts_s):.2f}", "", "", f"{START_ASKED_s:g}"]
    )
    out.writerow([f"memory after {REQUESTS} requests, MB", 1, f"{resident_MB:.0f}", "", "", f"{MEMORY_ASKED_MB:g}"])


if __name__ == "__main__":
    main()
