"""A nursery of busy programs: each works on the book until it is killed, then the book is looked at.

    python busy.py PLACE TRIALS SEED        prints one JSON line: how many were killed at what, or the first thing lost

It runs beside the tests as a process of its own, and does no work itself: the drawing engine and the planning start threads,
and a program forked from one that has them waits for ever at its first drawing instead of being busy.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import signal
import sys
import time
from collections import Counter, deque
from itertools import chain, count, islice
from pathlib import Path

import cv2

from evenburn.adapters.artwork.svg import parse_svg
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import piece
from evenburn.services.book.back_up_book import back_up_book
from evenburn.services.book.edit_piece import add_artwork, change_piece, copy_piece, remove_piece
from evenburn.services.book.mark_step import mark_step
from evenburn.services.book.open_book import open_book_at
from evenburn.services.book.plan_piece import plan_piece
from faults.looking import Acknowledged, demand_sound, lost_from, sum_of

NOW = "2026-06-09T10:00:00+00:00"
STEP, KEPT = "proof agreed", "kept.zip"
LONGEST_s, LONGEST_PLANNING_s = 0.35, 2.5  # until a program is killed
LEAST_s = 0.005
PATIENCE_s = 60.0  # for a program to be ready
LOOK_WHOLE_EVERY = 25  # trials, for what takes longer to look at; it looks back as far


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
            mark_step(book, int(made.key), STEP, done=True, now=NOW)
            done("tick", key=made.key, name=STEP, at=NOW)
            remove_piece(book, int(made.key), version=made.version, now=NOW)
            done("remove", key=made.key)
            if plans:
                planned = plan_piece(book, 1, now=NOW)
                done("plan", sha256=planned.inputs_sha256, sum=sum_of(planned.folder))
                back_up_book(book, beside / KEPT, now=NOW)
                done("backup")
    book.close()


def said_in(log: Path) -> list[Acknowledged]:
    """Return what was written down, but for a line that was cut short by the end."""
    return [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines() if line.endswith("}")]


def forked(place: Path, beside: Path, log: Path, *, plans: bool, turns: int | None = None) -> int:
    """Start a busy program and return its number when it is ready: what is loaded late and takes its time is loaded."""
    log.write_text("", encoding="utf-8")
    child = os.fork()
    if child == 0:
        try:
            parse_svg(svg(0), name="warm").ink(width_px=8, height_px=8)
            log.write_text('{"ready": true}\n', encoding="utf-8")
            work(place, beside, log, plans=plans, turns=turns)
            os._exit(0)
        finally:
            os._exit(3)  # only an error ends it by itself
    for _ in range(round(PATIENCE_s / 0.01)):
        if log.stat().st_size > 0 or os.waitid(os.P_PID, child, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None:
            break
        time.sleep(0.01)
    return child


def main(place: Path, trials: int, seed: int) -> int:
    """Kill so many busy programs at random moments, and say what was lost."""
    import evenburn.services.plan_batch  # noqa: F401  # all that is forked from here need not load it

    chance = random.Random(seed)  # noqa: S311  # moments, no secrets
    beside = place.parent
    log = beside / "acknowledged.jsonl"
    cv2.setNumThreads(0)  # threads of its own would not come along when this forks
    lately: deque[list[Acknowledged]] = deque(maxlen=LOOK_WHOLE_EVERY)
    acknowledged: Counter[str] = Counter()  # by those that were killed
    busy = 0
    for trial in range(-1, trials):  # the first ends by itself, so that there is a plan and a backup to lose
        plans = trial % 5 == 4 or trial < 0
        child = forked(place, beside, log, plans=plans, turns=None if trial >= 0 else 1)
        if trial >= 0:
            time.sleep(chance.uniform(LEAST_s, LONGEST_PLANNING_s if plans else LONGEST_s))
            os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        now = said_in(log)
        lately.append(now)
        whole = plans or trial % LOOK_WHOLE_EVERY == 0
        if (
            lost := "" if status == (signal.SIGKILL if trial >= 0 else 0) else "the busy program failed by itself"
        ) == "":
            lost = lost_from(place, list(chain(*lately)) if whole else now, kept_in=beside / KEPT)
        if lost:
            print(json.dumps({"lost": f"trial {trial}: {lost}"}))  # noqa: T201  # what it says is for its test
            return 1
        if whole:
            demand_sound(place)
        if trial >= 0:
            done = [str(line["done"]) for line in now if "done" in line]
            acknowledged.update(done)
            busy += bool(done)
    print(json.dumps({"lost": "", "killed": trials, "in the middle": busy, "acknowledged": acknowledged}))  # noqa: T201  # what it says is for its test
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])))
