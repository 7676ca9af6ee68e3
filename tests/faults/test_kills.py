"""A busy program is killed (kill -9) at random moments: the book opens, and nothing it acknowledged is lost.

By hand and in `make check` a few times, in a lap of `make soak` a few more at other moments, in `make campaign` 500 times.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.keeping import path_of
from evenburn.adapters.storage.book.tables import BOOK
from evenburn.services.book.back_up_book import back_up_book
from evenburn.services.book.open_book import Book, open_book_at
from evenburn.services.book.take_in import take_in_batch
from faults.busy import KEPT, STEP, said_in, work
from faults.looking import Acknowledged, demand_sound, lost_from
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
    assert told["lost"] == ""
    assert told["killed"] == TRIALS
    kept = ", ".join(f"{count} × {what}" for what, count in told["acknowledged"].items())
    print(f"kills: {told['killed']} cases, {told['in the middle']} in the middle of work; acknowledged {kept}")  # noqa: T201  # for a soak
    assert told["in the middle"] >= TRIALS // 3  # else it was killed too early to show anything
    assert {"rename", "artwork", "copy", "tick", "remove"} <= set(told["acknowledged"]), (
        "killed before it came to some of its work"
    )
    demand_sound(place)


# ---- a loss that is planted is noticed ---------------------------------------------------------------------------

BEFORE = "before.zip"


@pytest.fixture(scope="module", name="worked")
def _worked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a book that was worked on and backed up, what it acknowledged, and a backup from before."""
    folder = tmp_path_factory.mktemp("worked")
    book = open_book_at(folder / "book")
    take_in_batch(book, small_batch(folder / "batch"), now=NOW)
    back_up_book(book, folder / BEFORE, now=NOW)
    book.close()
    work(folder / "book", folder, folder / "log", plans=True, turns=1)
    return folder


def told_of(folder: Path, what: str) -> Acknowledged:
    return next(line for line in said_in(folder / "log") if line.get("done") == what)


def spoilt(statement: str) -> Callable[[Path, Book], None]:
    def spoil(_folder: Path, book: Book) -> None:
        with book.engine.begin() as connection:
            assert connection.execute(sa.text(statement)).rowcount > 0

    return spoil


def artwork_emptied(folder: Path, book: Book) -> None:
    path_of(book, told_of(folder, "artwork")["sha256"]).write_bytes(b"")


def artwork_gone(folder: Path, book: Book) -> None:
    path_of(book, told_of(folder, "artwork")["sha256"]).unlink()


def plan_without_index(folder: Path, book: Book) -> None:
    (book.files.parent / "plans" / told_of(folder, "plan")["sha256"] / "plan.json").unlink()


def program_cut_short(folder: Path, book: Book) -> None:
    program = next((book.files.parent / "plans" / told_of(folder, "plan")["sha256"]).glob("*.ngc"))
    lines = program.read_text().splitlines()
    program.write_text("\n".join([*lines[: len(lines) // 2], "M2", ""]))  # which still ends as one


def backup_from_before(folder: Path, _book: Book) -> None:
    shutil.copyfile(folder / BEFORE, folder / KEPT)


def backup_cut_short(folder: Path, _book: Book) -> None:
    (folder / KEPT).write_bytes((folder / KEPT).read_bytes()[:-200])


def backup_gone(folder: Path, _book: Book) -> None:
    (folder / KEPT).unlink()


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (spoilt("DELETE FROM step"), f"the tick “{STEP}”"),
        (spoilt("UPDATE step SET done_at = '2026-06-08T10:00:00+00:00'"), f"the tick “{STEP}”"),
        (spoilt("UPDATE piece SET name = 'n 0' WHERE id = 1"), "piece 1 is called n 0"),
        (spoilt("UPDATE piece SET removed_at = NULL"), "was taken away and is there"),
        (spoilt("DELETE FROM artwork WHERE name LIKE 'a-%'"), "is not there"),
        (artwork_emptied, "is not what it was: the book in book: a file is damaged"),
        (artwork_gone, "is not what it was: that file is not in the book"),
        (spoilt("DELETE FROM plan"), "the book tells of none"),
        (spoilt("UPDATE plan SET inputs_sha256 = 'another'"), "the book tells of the plan another"),
        (plan_without_index, "its folder is not what it was"),
        (program_cut_short, "its folder is not what it was"),
        (backup_from_before, "in the backup "),
        (backup_cut_short, "cannot be restored"),
        (backup_gone, "cannot be restored"),
    ],
)
def test_a_planted_loss_is_noticed(
    spoil: Callable[[Path, Book], None], said: str, worked: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "worked"
    shutil.copytree(worked, folder)
    lines = said_in(folder / "log")
    assert lost_from(folder / "book", lines, kept_in=folder / KEPT) == ""

    book = open_book_at(folder / "book")
    spoil(folder, book)
    book.close()

    assert said in lost_from(folder / "book", lines, kept_in=folder / KEPT)


@pytest.mark.parametrize("table", ["step", "artwork"])
def test_a_backup_that_leaves_something_out_is_noticed(
    table: str, worked: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "worked"
    shutil.copytree(worked, folder)
    hidden = BOOK.tables[table]
    select = sa.select
    monkeypatch.setattr(
        sa, "select", lambda *of: select(*of).where(sa.false()) if of and of[0] is hidden else select(*of)
    )
    book = open_book_at(folder / "book")
    back_up_book(book, folder / KEPT, now=NOW)
    book.close()
    monkeypatch.undo()

    assert lost_from(folder / "book", said_in(folder / "log"), kept_in=folder / KEPT).startswith("in the backup ")
