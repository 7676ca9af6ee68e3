"""Every number of every file that holds numbers, changed alone for values that are nothing, tiny, huge or the wrong way round.

A random search seldom changes one number of a sound file and nothing else; most of what it does is refused for another reason.
Every day a few cases of each door are tried, always the same; `make campaign` tries all, several thousand.
"""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from random import Random
from typing import Any

import pytest

from hostile.campaign import Tally
from hostile.guarded import Guard, guard
from hostile.mutate import toml_text
from hostile.seeds import (
    FOLDER,
    RICH_BATCH,
    RICH_MACHINE,
    VERIFIED,
    Files,
    card_json,
    curve_json,
    outcome_json,
    pictures,
)

from hostile.seeds import plan_json, reading_json, small_photo  # isort: skip
from service.conftest import MACHINE
from soaking import CAMPAIGN, seed, size

ODD: tuple[float, ...] = (0, -0.0, -1, 1e-300, 1e-9, 0.001, 1, 50, 1000.0, 1e9, -1e9, 1e300, 2**63)
LONG = 6  # of a longer list only the first two members are changed: the others are like them
Trail = tuple[str | int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sound:
    """A file at whose numbers is turned, those that lie beside it, and how many cases are tried every day."""

    door: str
    name: str
    data: bytes
    beside: Files
    daily: int


def _sound() -> Iterator[Sound]:
    beech, cherry = outcome_json()
    whole = {**FOLDER, "maple.curve.json": curve_json(), "photo.png": pictures()[0]}
    rich = RICH_BATCH.replace('wood = "hard-maple"', 'wood = "club-maple"').encode()
    yield Sound(door="outcome", name="outcome.json", data=beech, beside={"other.json": cherry}, daily=40)
    yield Sound(door="reading", name="reading.json", data=reading_json(), beside={}, daily=4)
    yield Sound(door="plan-json", name="plan.json", data=plan_json(), beside={}, daily=40)
    yield Sound(door="card", name="card.json", data=card_json(), beside={"photo.jpg": small_photo()}, daily=4)
    yield Sound(door="machine", name="machine.toml", data=RICH_MACHINE.encode(), beside=VERIFIED, daily=20)
    yield Sound(door="curve", name="maple.curve.json", data=curve_json(), beside=whole, daily=6)
    yield Sound(door="batch", name="batch.toml", data=rich, beside=whole, daily=6)
    for machine in (MACHINE, RICH_MACHINE):
        yield Sound(door="plan", name="machine.toml", data=machine.encode(), beside=whole, daily=2)
    yield Sound(door="plan", name="maple.curve.json", data=curve_json(), beside=whole, daily=2)


def trails(node: Any, trail: Trail = ()) -> Iterator[Trail]:
    """Yield where the numbers of a tree lie."""
    if isinstance(node, dict):
        for key, value in node.items():
            yield from trails(value, (*trail, key))
    elif isinstance(node, list):
        for at, value in enumerate(node[:2] if len(node) > LONG else node):
            yield from trails(value, (*trail, at))
    elif isinstance(node, int | float) and not isinstance(node, bool):
        yield trail


def changed(tree: Any, trail: Trail, value: float) -> Any:
    """Return a copy of a tree with one number changed."""
    made = copy.deepcopy(tree)
    holder = made
    for key in trail[:-1]:
        holder = holder[key]
    holder[trail[-1]] = value
    return made


@pytest.fixture(scope="module", name="keeper")
def _keeper() -> Iterator[Guard]:
    with guard() as made:
        yield made


@pytest.mark.parametrize("sound", [pytest.param(n, id=name) for n, name in enumerate((
    "outcome", "reading", "plan.json", "card", "machine", "curve", "batch", "plan, machine", "plan, rich machine", "plan, curve",
))])  # fmt: skip
def test_whatever_one_number_is_the_file_is_taken_or_refused_in_words(sound: int, keeper: Guard) -> None:
    at = list(_sound())[sound]
    is_json = at.name.endswith(".json")
    tree = json.loads(at.data) if is_json else tomllib.loads(at.data.decode())
    cases = [(trail, value) for trail in trails(tree) for value in ODD]
    if not CAMPAIGN:
        rng = Random(f"{at.door} {at.name} {seed(1)}")  # noqa: S311  # cases are meant to come again, not to be secret
        cases = rng.sample(cases, size(daily=at.daily, lap=5 * at.daily, campaign=0))

    tally = Tally(door=at.door)
    tally.add("sound", {**at.beside, at.name: at.data}, keeper.attempt(at.door, {**at.beside, at.name: at.data}))
    assert tally.what["done"] == 1, "the sound file is taken"
    for trail, value in cases:
        spoilt = changed(tree, trail, value)
        files = {**at.beside, at.name: json.dumps(spoilt).encode() if is_json else toml_text(spoilt).encode()}
        tally.add(f"{'.'.join(map(str, trail))} = {value}", files, keeper.attempt(at.door, files))
    print(tally.line())  # noqa: T201  # the figures are what a campaign is for

    assert [f"{found.name}: {found.fault}" for found in tally.found] == []
