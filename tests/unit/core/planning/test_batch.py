"""The order of the batch: as few settings of the stand-off as there can be."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from evenburn.core.planning.batch import Setting, change_overs, changes, least_changes, set_up_order

A, B, C = (12.1, 9.5), (12.1, 11.0), (6.0, 9.5)


def some_pieces(seed: int, *, longest: int) -> list[list[Setting]]:
    """Return one to six pieces of two thicknesses with none to so many marks at three stand-offs."""
    rng = np.random.default_rng(seed)
    return [
        [(thickness, float(rng.choice([9.5, 11.0, 12.0]))) for _ in range(rng.integers(0, longest + 1))]
        for thickness in rng.choice([6.0, 12.1], size=1 + seed % 6)
    ]


@pytest.mark.parametrize("seed", range(60))
def test_no_other_order_of_up_to_six_pieces_has_fewer_changes(seed: int) -> None:
    """Against every one of up to 720 orders; with one mark a piece, and with up to three."""
    pieces = some_pieces(seed, longest=1 + 2 * (seed % 2))
    order = set_up_order(pieces)
    assert sorted(order) == list(range(len(pieces)))
    least = min(changes(p) for p in itertools.permutations(pieces))
    assert changes([pieces[i] for i in order]) == least
    assert least_changes(pieces) == least


def test_equal_set_ups_keep_the_order_in_which_they_were_listed() -> None:
    assert set_up_order([[A], [B], [A], [C], [B], [A]]) == (0, 2, 5, 1, 4, 3)
    assert set_up_order([[A], [A], [A]]) == (0, 1, 2)


def test_pieces_of_one_thickness_come_together() -> None:
    order = set_up_order([[A], [C], [B]])
    assert [(A, C, B)[i][0] for i in order] == [12.1, 12.1, 6.0]


def test_a_piece_that_changes_over_comes_between_those_it_joins() -> None:
    order = set_up_order([[B], [A], [A, B]])
    assert order == (1, 2, 0)
    assert changes([[A], [A, B], [B]]) == 2


def test_pieces_with_nothing_to_burn_come_last_as_listed() -> None:
    assert set_up_order([[], [C], [], [A]]) == (1, 3, 0, 2)


def test_none_and_one() -> None:
    assert set_up_order([]) == ()
    assert set_up_order([[A]]) == (0,)
    assert changes([]) == least_changes([]) == 0
    assert changes([[A]]) == 1
    assert changes([[A], [B], [B], [A]]) == 3


@pytest.mark.parametrize("seed", range(60))
@pytest.mark.parametrize("before", [(6.0, 11.0), (12.1, 9.5), (25.0, 9.5)])
def test_from_where_the_last_burn_left_it_no_other_order_has_fewer_changes(seed: int, before: Setting) -> None:
    pieces = some_pieces(seed, longest=1 + 2 * (seed % 2))
    order = set_up_order(pieces, before=before)
    assert sorted(order) == list(range(len(pieces)))
    least = min(changes(p, before=before) for p in itertools.permutations(pieces))
    assert changes([pieces[i] for i in order], before=before) == least
    assert least_changes(pieces, before=before) == least


def test_what_finds_the_focus_as_it_stands_comes_first() -> None:
    assert set_up_order([[A], [C], [B], [A]], before=B) == (2, 0, 3, 1)
    assert changes([[B], [A]], before=B) == least_changes([[A], [B]], before=B) == 1
    assert least_changes([], before=A) == changes([], before=A) == 0


def test_a_change_over_comes_before_each_piece_and_each_setting_within_one() -> None:
    assert change_overs([]) == change_overs([[]]) == 0
    assert change_overs([[A], [A], [B], []]) == 3  # the second finds its focus, and is swapped in all the same
    assert change_overs([[A, A, B, A]]) == 3
