"""A busy program is killed (kill -9) at random moments: the book opens, and nothing it acknowledged is lost.

By hand and in `make check` a few times, in a lap of `make soak` a few more at other moments, in `make campaign` 500 times.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

from evenburn.services.book.open_book import open_book_at
from evenburn.services.book.take_in import take_in_batch
from faults.looking import demand_sound
from service.book.conftest import NOW, small_batch
from soaking import seed, size

TRIALS = size(daily=15, lap=25, campaign=500)
TESTS = Path(__file__).parents[1]
LONGEST_s = 3600


def test_a_program_killed_at_any_moment_loses_nothing_acknowledged(tmp_path: Path) -> None:
    place = tmp_path / "book"
    book = open_book_at(place)
    take_in_batch(book, small_batch(tmp_path / "batch"), now=NOW)
    book.close()
    run = subprocess.run(  # our own nursery
        [sys.executable, str(TESTS / "faults" / "busy.py"), str(place), str(TRIALS), str(seed(2026))],
        env={**os.environ, "PYTHONPATH": str(TESTS), "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        timeout=LONGEST_s,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr[-3000:]
    told = json.loads(run.stdout.splitlines()[-1])
    print(f"kills: {told['killed']} cases, {told['in the middle']} in the middle of work")  # noqa: T201  # for a soak
    assert told["lost"] == ""
    assert told["killed"] == TRIALS
    assert told["in the middle"] >= TRIALS // 3  # else it was killed too early to show anything
    demand_sound(place)
