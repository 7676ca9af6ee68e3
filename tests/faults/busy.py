"""A nursery of busy programs: each works on the book until it is killed, then the book is looked at.

    python busy.py PLACE TRIALS SEED        prints one JSON line: how many were killed at what, or the first thing lost

It runs beside the tests as a process of its own without threads, so that forking it copies no lock.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import signal
import sys
import time
from itertools import count, islice
from pathlib import Path

import cv2
import sqlalchemy as sa

from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import artwork, piece
from evenburn.services.book.back_up_book import back_up_book
from evenburn.services.book.edit_piece import add_artwork, change_piece, copy_piece, remove_piece
from evenburn.services.book.mark_step import mark_step
from evenburn.services.book.open_book import Book, open_book_at
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.restore_book import restore_book
from faults.looking import demand_sound, pieces_in

NOW = "2026-06-09T10:00:00+00:00"
LONGEST_s, LONGEST_PLANNING_s = 0.35, 2.5  # until a program is killed
LEAST_s = 0.005
LOOK_WHOLE_EVERY = 25  # trials, for what takes longer to look at


def svg(number: int) -> bytes:
    """Return a drawing that no other number has."""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="20mm" height="20mm" viewBox="0 0 20 20">'
        f'<circle cx="9" cy="9" r="{1 + number % 7}"/><desc>{number}</desc></svg>'
    ).encode()


def work(place: Path, beside: Path, log: Path, *, plans: bool, turns: int | None = None) -> None:
    """Work until killed, or so many turns; each thing is written down as begun, and as done once the book said so."""
    book = open_book_at(place)
    with log.open("a", buffering=1, encoding="utf-8") as said:

        def done(what: str, **more: object) -> None:
            said.write(json.dumps({"done": what, **more}) + "\n")

        for turn in islice(count(time.time_ns() // 1_000_000), turns):
            said.write(json.dumps({"begun": turn}) + "\n")
            with book.reading() as connection:
                row = row_of(connection, piece, 1)
            change_piece(book, 1, {"name": f"n {turn}"}, version=row["version"], now=NOW)
            done("rename", name=f"n {turn}")
            name = add_artwork(book, svg(turn), name=f"a-{turn}.svg", now=NOW)
            done("artwork", name=name, sha256=hashlib.sha256(svg(turn)).hexdigest())
            made = copy_piece(book, 2, now=NOW)
            done("copy", key=made.key)
            mark_step(book, int(made.key), "proof agreed", done=True, now=NOW)
            done("tick", key=made.key)
            remove_piece(book, int(made.key), version=made.version, now=NOW)
            done("remove", key=made.key)
            if plans:
                plan_piece(book, 1, now=NOW)
                done("plan")
                back_up_book(book, beside / "kept.zip", now=NOW)
                done("backup")
    book.close()


def look(place: Path, beside: Path, log: Path, *, whole: bool) -> str:
    """Return what was lost since the log began; empty where nothing was."""
    lines = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines() if line.endswith("}")]
    kept = [line for line in lines if "done" in line]
    begun = [line["begun"] for line in lines if "begun" in line]
    book: Book = open_book_at(place)
    try:
        with book.reading() as connection:
            name = row_of(connection, piece, 1)["name"]
            rows = {r[0]: r[1] for r in connection.execute(sa.select(piece.c.id, piece.c.removed_at))}
            arts = {str(n): str(s) for n, s in connection.execute(sa.select(artwork.c.name, artwork.c.sha256))}
    finally:
        book.close()
    names = [line["name"] for line in kept if line["done"] == "rename"]
    if names and name not in {names[-1], *(f"n {turn}" for turn in begun[-1:])}:
        return f"piece 1 is called {name}, and {names[-1]} was acknowledged"
    for line in kept:
        if line["done"] == "artwork" and arts.get(line["name"]) != line["sha256"]:
            return f"artwork {line['name']} was acknowledged and is not there"
        if line["done"] == "copy" and line["key"] not in rows:
            return f"piece {line['key']} was acknowledged and is not there"
        if line["done"] == "remove" and rows.get(line["key"]) is None:
            return f"piece {line['key']} was taken away and is there"
    if whole:
        demand_sound(place)
        if (beside / "kept.zip").exists():
            restored = beside / f"restored-{time.time_ns()}"
            restore_book(beside / "kept.zip", restored).close()
            pieces_in(restored)
    return ""


def main(place: Path, trials: int, seed: int) -> int:
    """Kill so many busy programs at random moments, and say what was lost."""
    chance = random.Random(seed)  # noqa: S311  # moments, no secrets
    beside = place.parent
    log = beside / "acknowledged.jsonl"
    cv2.setNumThreads(0)  # threads of its own would not come along when this forks
    work(place, beside, log, plans=True, turns=1)  # what is loaded late is loaded now
    at = {"nothing done yet": 0, "in the middle": 0}
    for trial in range(trials):
        log.write_text("", encoding="utf-8")
        plans = trial % 5 == 4
        child = os.fork()
        if child == 0:
            try:
                work(place, beside, log, plans=plans)
            finally:
                os._exit(3)  # only an error ends it by itself
        time.sleep(chance.uniform(LEAST_s, LONGEST_PLANNING_s if plans else LONGEST_s))
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        if not os.WIFSIGNALED(status):
            print(json.dumps({"lost": f"trial {trial}: the busy program failed by itself"}))  # noqa: T201  # what it says is for its test
            return 1
        at["in the middle" if '"done"' in log.read_text(encoding="utf-8") else "nothing done yet"] += 1
        lost = look(place, beside, log, whole=plans or trial % LOOK_WHOLE_EVERY == 0)
        if lost:
            print(json.dumps({"lost": f"trial {trial}: {lost}"}))  # noqa: T201  # what it says is for its test
            return 1
    print(json.dumps({"lost": "", "killed": trials, **at}))  # noqa: T201  # what it says is for its test
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])))
