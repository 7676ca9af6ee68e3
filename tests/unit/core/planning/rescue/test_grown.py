"""Grown ink: a square grows to the rounded square of known area, its box by twice the length."""

from __future__ import annotations

import math

import numpy as np
import pytest

from evenburn.core.art.picture import Picture
from evenburn.core.nouns.path import Polyline
from evenburn.core.planning.rescue.grown import Grown, grown_mark
from unit.core.planning.rescue.test_register import MARK


class Square:
    """Ink in the middle half of its box, each way."""

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        ink = np.zeros((height_px, width_px), np.float32)
        ink[height_px // 4 : height_px - height_px // 4, width_px // 4 : width_px - width_px // 4] = 1.0
        return ink

    def light(self, *, width_px: int, height_px: int) -> Picture:
        return np.asarray(1.0 - self.ink(width_px=width_px, height_px=height_px), np.float32)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        del width_mm, height_mm
        return ()


def test_a_square_grows_by_its_edges_and_round_corners() -> None:
    grown = Grown(artwork=Square(), size_mm=(20.0, 20.0), by_mm=2.0)
    ink = grown.ink(width_px=960, height_px=960)  # 24 mm in pixels of 0.025 mm

    # Steiner's formula: A + U r + π r², a square of 10 mm
    assert float(ink.sum()) * 0.025**2 == pytest.approx(
        10.0**2 + 40.0 * 2.0 + math.pi * 4.0, rel=0.002
    )  # an edge pixel


def test_grown_by_nothing_it_is_the_same() -> None:
    same = Grown(artwork=Square(), size_mm=(20.0, 20.0), by_mm=0.0).ink(width_px=100, height_px=100)
    assert np.array_equal(same, Square().ink(width_px=100, height_px=100))


def test_its_light_is_the_reverse_and_it_has_no_outlines() -> None:
    grown = Grown(artwork=Square(), size_mm=(20.0, 20.0), by_mm=2.0)
    assert float(grown.light(width_px=60, height_px=60).min()) == 0.0
    assert grown.outlines(width_mm=24.0, height_mm=24.0) == ()


def test_the_box_grows_about_its_middle() -> None:
    mark = grown_mark(MARK, by_mm=1.5)
    assert mark.place_mm == (18.5, 26.0)
    assert mark.size_mm == (163.0, 98.0)
