"""Every door for files, tried by the hundred with cases of fixed numbers; in `make soak` and `make campaign` a guided search goes on.

A case may end in work done or in an error of ours that says what is wrong. It may not end in a traceback, last longer than
10 s of the computer's work, take more memory than the tests allow, write or read beside its folder, ask for a connection, or end
the program.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from hostile.campaign import by_number, guided, keep
from hostile.doors import DOORS
from hostile.guarded import Guard, guard
from hostile.seeds import MAKERS
from soaking import CAMPAIGN, LAP, LAP_SECONDS, seed

ROOT = Path(__file__).resolve().parents[2]
SEARCH_s = 120.0 if CAMPAIGN else LAP_SECONDS  # for each door
CASES = {
    "svg": 60, "dxf": 40, "pdf": 8, "image": 80, "font": 40, "photograph": 80, "machine": 25, "program": 60, "wood": 8,
    "curve": 8, "batch": 8, "names": 10, "plan": 3, "card": 8, "reading": 5, "outcome": 10, "plan-json": 10, "backup": 20,
}  # fmt: skip  # so many that all doors together take some 15 s

ENOUGH = 40  # of which, at one in five refused, fewer than one search in seven thousand refuses none


@pytest.fixture(scope="module", name="keeper")
def _keeper() -> Iterator[Guard]:
    with guard() as made:
        yield made


def test_every_door_has_cases() -> None:
    assert set(MAKERS) == set(DOORS) == set(CASES)


@pytest.mark.parametrize("door", list(DOORS))
def test_whatever_comes_through_a_door_is_taken_or_refused_in_words(door: str, keeper: Guard, tmp_path: Path) -> None:
    if CAMPAIGN or LAP:
        tally = guided(door, seconds=SEARCH_s, seed=seed(int.from_bytes(os.urandom(2), "big")))
        print(tally.line())  # noqa: T201  # the figures are what a soak is for
    else:
        tally = by_number(door, range(CASES[door]), keeper=keeper)

    place = ROOT / "out" / "hostile" if CAMPAIGN or LAP else tmp_path  # of a soak the temporary folders are gone soon
    told = [f"{found.name}: {found.fault} (kept in {keep(found, place)})" for found in tally.found]
    assert told == [], tally.line()
    tried = tally.what.total()
    few = LAP and 0 < tried < ENOUGH  # of a busy machine's search; of the fixed numbers some are refused at every door
    assert few or tally.what["refused"] > 0, "nothing was refused: are the cases still hostile?"
