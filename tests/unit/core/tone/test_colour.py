"""Lightness and sRGB both ways; published points stand in tests/published."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from evenburn.core.tone.colour import lab_from_srgb, lightness_L, luminance, srgb_decode, srgb_encode, srgb_from_lab

ROUNDING = 1e-12


def test_lightness_and_luminance_are_each_others_inverse() -> None:
    tones = np.linspace(0.0, 100.0, 401)
    assert lightness_L(luminance(tones)) == pytest.approx(tones, abs=1e-10)


def test_srgb_codes_and_decodes_without_loss() -> None:
    levels = np.arange(256) / 255.0
    assert srgb_encode(srgb_decode(levels)) == pytest.approx(levels, abs=1e-7)  # the standard's two limits round


def test_white_and_black_are_the_ends() -> None:
    assert float(lightness_L(1.0)) == pytest.approx(100.0, abs=ROUNDING)
    assert float(lightness_L(0.0)) == 0.0
    assert srgb_from_lab([100.0, 0.0, 0.0]) == pytest.approx([1.0, 1.0, 1.0], abs=1e-4)  # the matrix has four digits
    assert srgb_from_lab([0.0, 0.0, 0.0]) == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)


def test_wood_colours_survive_the_round_trip() -> None:
    lab = np.array([[82.0, 4.0, 22.0], [50.0, 8.0, 18.0], [28.0, 5.0, 8.0], [65.0, -0.3, -1.0]])
    assert lab_from_srgb(srgb_from_lab(lab)) == pytest.approx(lab, abs=1e-3)  # 1e-7 of sRGB's limits, at slope 900


def test_colours_outside_srgb_are_cut_to_it() -> None:
    rgb = srgb_from_lab([[50.0, 120.0, -120.0], [90.0, -120.0, 100.0]])
    assert ((rgb >= 0.0) & (rgb <= 1.0)).all()


SINGLE = pytest.mark.parametrize("function", [lightness_L, luminance, srgb_decode, srgb_encode])
TRIPLE = pytest.mark.parametrize("function", [lab_from_srgb, srgb_from_lab])
SHAPES = pytest.mark.parametrize("shape", [(0,), (1,), (2, 3)])
Function = Callable[[NDArray[np.float64]], NDArray[np.float64]]


@SINGLE
@SHAPES
def test_shapes_are_kept(function: Function, shape: tuple[int, ...]) -> None:
    assert function(np.full(shape, 0.5)).shape == shape


@TRIPLE
@SHAPES
def test_shapes_of_colours_are_kept(function: Function, shape: tuple[int, ...]) -> None:
    assert function(np.full((*shape, 3), 0.5)).shape == (*shape, 3)


@SINGLE
def test_what_is_not_known_stays_unknown(function: Function) -> None:
    assert np.isnan(function(np.array([math.nan, 0.5]))).tolist() == [True, False]


@TRIPLE
def test_a_colour_that_is_not_known_stays_unknown(function: Function) -> None:
    assert np.isnan(function(np.array([[math.nan] * 3, [0.5] * 3]))).all(axis=1).tolist() == [True, False]
