"""The order of the batch: as few set-up changes as there can be."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from evenburn.core.planning.batch import changes, set_up_order

A, B, C = (12.1, 9.5), (12.1, 11.0), (6.0, 9.5)


@pytest.mark.parametrize("seed", range(12))
def test_no_other_order_of_up_to_six_pieces_has_fewer_changes(seed: int) -> None:
    rng = np.random.default_rng(seed)
    pieces = [(float(rng.choice([6.0, 12.1, 18.0])), float(rng.choice([9.5, 11.0]))) for _ in range(1 + seed % 6)]
    order = set_up_order(pieces)
    assert sorted(order) == list(range(len(pieces)))
    least = min(changes(p) for p in itertools.permutations(pieces))
    assert changes([pieces[i] for i in order]) == least


def test_equal_set_ups_keep_the_order_in_which_they_were_listed() -> None:
    assert set_up_order([A, B, A, C, B, A]) == (0, 2, 5, 1, 4, 3)
    assert set_up_order([A, A, A]) == (0, 1, 2)


def test_pieces_of_one_thickness_come_together() -> None:
    order = set_up_order([A, C, B])
    assert [(A, C, B)[i][0] for i in order] == [12.1, 12.1, 6.0]


def test_none_and_one() -> None:
    assert set_up_order([]) == ()
    assert set_up_order([A]) == (0,)
    assert changes([]) == 0
    assert changes([A]) == 1
    assert changes([A, B, B, A]) == 3
