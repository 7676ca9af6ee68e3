"""Turning pictures back, and finding a place of the bed on the upright board."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely import affinity, box

from evenburn.core.proof.turning import middle_of, place_on_board, turned_back, turned_size_px
from unit.core.proof.bench import on_bed_mm


def test_a_quarter_turn_is_taken_back_clockwise() -> None:
    # the blank was turned counter-clockwise: what is now at its top left was at its top right
    picture = np.array([[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]], np.float32)
    assert turned_back(picture, turn_deg=90.0).tolist() == [[4.0, 1.0], [5.0, 2.0], [6.0, 3.0]]
    assert turned_back(picture, turn_deg=180.0).tolist() == [[6.0, 5.0, 4.0], [3.0, 2.0, 1.0]]
    assert turned_back(picture, turn_deg=-90.0).tolist() == [[3.0, 6.0], [2.0, 5.0], [1.0, 4.0]]
    assert turned_back(picture, turn_deg=360.0).tolist() == picture.tolist()


def test_thirty_degrees_are_taken_back_clockwise() -> None:
    picture = np.zeros((201, 201), np.float32)
    picture[99:102, 179:182] = 1.0  # 80 pixels to the right of the middle
    turned = turned_back(picture, turn_deg=30.0)
    middle = (np.array(turned.shape) - 1.0) / 2.0
    rows, columns = np.indices(turned.shape)
    down = (turned * rows).sum() / turned.sum() - middle[0]
    right = (turned * columns).sum() / turned.sum() - middle[1]
    assert right == pytest.approx(80.0 * math.cos(math.radians(30.0)), abs=0.3)  # a third of a pixel: interpolation
    assert down == pytest.approx(80.0 * math.sin(math.radians(30.0)), abs=0.3)


def test_the_box_round_a_turned_picture() -> None:
    assert turned_size_px((400, 300), turn_deg=90.0) == (300, 400)
    assert turned_size_px((400, 300), turn_deg=180.0) == (400, 300)
    # 400 cos 30° + 300 sin 30° = 496.4, 400 sin 30° + 300 cos 30° = 459.8
    assert turned_size_px((400, 300), turn_deg=30.0) == (497, 460)


def test_the_middle_of_a_picture() -> None:
    picture = np.arange(20, dtype=np.float32).reshape(4, 5)
    assert middle_of(picture, size_px=(3, 2)).tolist() == [[6.0, 7.0, 8.0], [11.0, 12.0, 13.0]]


@pytest.mark.parametrize("turn_deg", [0.0, 90.0, 180.0, 30.0, -77.0])
def test_a_place_on_the_bed_is_found_on_the_upright_board(turn_deg: float) -> None:
    # the bench's blank is 40 × 30 mm; 10 mm from its left and 24 mm from its lower edge is a quarter and four fifths
    corner = np.array(on_bed_mm((0.0, 0.0), turn_deg=turn_deg))
    turned = affinity.rotate(box(0.0, 0.0, 40.0, 30.0), turn_deg, origin=(0.0, 0.0))
    outline = affinity.translate(turned, *corner)
    share = place_on_board(outline, on_bed_mm((10.0, 24.0), turn_deg=turn_deg), turn_deg=turn_deg)
    assert share == pytest.approx((0.25, 0.8))
