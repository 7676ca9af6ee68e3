"""Heavy work in another process: same answers, same errors, stopped when asked, and no page dies with it."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator

import pytest

from evenburn.core.errors import ChangedMeanwhile, InvalidInput, NotFound, OutOfRange, StorageError, UnreadableFile
from evenburn.services.book.aside import Aside, here, plainly
from evenburn.services.book.open_book import Book
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.take_in import TakenIn
from evenburn.services.progress import Progress
from service.book.conftest import NOW


class Enough(Exception):
    """A person pressed Stop."""


def counted(*, upto: int, progress: Progress) -> tuple[int, int]:
    for number in range(upto):
        progress("counting", number, upto)
    return upto, os.getpid()


def slow(*, progress: Progress) -> None:
    for number in range(2000):
        progress("waiting", number, 2000)
        time.sleep(0.01)


def raising(*, error: BaseException, progress: Progress) -> None:
    progress("about to fail", 0, 1)
    raise error


def killed(*, progress: Progress) -> None:
    progress("about to die", 0, 1)
    os.kill(os.getpid(), signal.SIGKILL)


@pytest.fixture(scope="module")
def aside() -> Iterator[Aside]:
    made = Aside(at_once=1)
    yield made
    made.close()


def test_it_answers_as_here_but_from_another_process(aside: Aside) -> None:
    told: list[int] = []
    upto, process = aside(counted, upto=3, progress=lambda _what, done, _of: told.append(done))
    assert (upto, told) == (3, [0, 1, 2])
    assert process != os.getpid()
    assert aside(counted, upto=0) == (0, process)  # kept warm
    assert here(counted, upto=1)[1] == os.getpid()
    assert aside(plainly, function=os.getpid, given={}) == process


@pytest.mark.parametrize(
    "error",
    [
        InvalidInput({"size_mm": "is 0", "wood": "is missing"}, source="batch.toml", hint="Write one."),
        OutOfRange("speed_mm_per_s", 900.0, low=1.0, high=600.0, unit="mm/s", hint="Slower."),
        UnreadableFile("art.svg", "is cut short", line=3, hint="Save it again."),
        NotFound("piece 3 is not in the book"),
        ChangedMeanwhile("changed", hint="Look again."),
        StorageError("the disk is full", hint="Make room."),
    ],
)
def test_errors_come_over_as_they_were(aside: Aside, error: Exception) -> None:
    with pytest.raises(type(error)) as seen:
        aside(raising, error=error)
    assert str(seen.value) == str(error)
    assert vars(seen.value) == vars(error)


def test_what_nobody_foresaw_comes_over_with_its_words(aside: Aside) -> None:
    with pytest.raises(RuntimeError, match="KeyError: 'beech'"):
        aside(raising, error=KeyError("beech"))


def test_stop_stops_it_there_and_it_works_on_for_others(aside: Aside) -> None:
    def stop(_what: str, done: int, _of: int) -> None:
        if done >= 3:
            raise Enough

    began = time.monotonic()
    with pytest.raises(Enough):
        aside(slow, progress=stop)
    assert time.monotonic() - began < 15.0  # it would take 20 s
    assert aside(counted, upto=2)[0] == 2


def test_a_process_that_the_computer_kills_is_told_and_replaced(aside: Aside) -> None:
    with pytest.raises(StorageError, match="ended the work"):
        aside(killed)
    assert aside(counted, upto=1)[0] == 1


def test_a_piece_planned_aside_is_planned_the_same(aside: Aside, book: Book, taken: TakenIn) -> None:
    steps: list[str] = []
    planned = plan_piece(
        book, taken.piece_ids[0], now=NOW, progress=lambda what, _done, _of: steps.append(what), run=aside
    )
    assert planned.fresh
    assert any("planned" in step for step in steps)
    assert (planned.folder / "plaque-front.ngc").is_file()


def test_nothing_begins_once_it_is_closed() -> None:
    made = Aside()
    made.close()
    with pytest.raises(StorageError, match="being closed"):
        made(counted, upto=1)
