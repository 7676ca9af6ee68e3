"""The wood's own texture keeps to the evenness of its curve, runs along x, and is the same however it is looked at."""

from __future__ import annotations

import numpy as np
import pytest

from evenburn.core.proof.grain import grain_L, grain_of
from evenburn.core.proof.look import wood_colours
from unit.core.proof.bench import light_of, wood

BOARD_mm = (120.0, 90.0)


def _grain(seed: int = 3, *, pixel_mm: float = 0.1, left_mm: float = 20.0, **kind: bool) -> np.ndarray:
    board = grain_of(wood(**kind), size_mm=BOARD_mm, generator=np.random.default_rng(seed))
    return grain_L(board, left_mm=left_mm, top_mm=15.0, pixel_mm=pixel_mm, rows=300, columns=400)


@pytest.mark.parametrize("kind", [{}, {"grain": False}, {"unevenly": True}])
def test_its_spread_over_the_board_is_the_evenness(kind: dict[str, bool]) -> None:
    board = grain_of(wood(**kind), size_mm=BOARD_mm, generator=np.random.default_rng(3))
    field = grain_L(board, left_mm=0.0, top_mm=0.0, pixel_mm=0.1, rows=900, columns=1200)
    # mean and spread are taken from 25 patches, whose own mean strays by a fifth of the spread
    assert float(field.mean()) == pytest.approx(0.0, abs=0.5)
    assert float(field.std()) == pytest.approx(2.4, rel=0.15)  # the evenness of the test wood


@pytest.mark.parametrize("kind", [{}, {"grain": False}, {"unevenly": True}])
@pytest.mark.parametrize("pixel_mm", [0.003, 0.05, 0.4])
def test_a_coarser_look_is_the_mean_of_a_finer_one(pixel_mm: float, kind: dict[str, bool]) -> None:
    board = grain_of(wood(**kind), size_mm=BOARD_mm, generator=np.random.default_rng(3))
    fine = grain_L(board, left_mm=11.0, top_mm=7.0, pixel_mm=pixel_mm, rows=120, columns=160)
    coarse = grain_L(board, left_mm=11.0, top_mm=7.0, pixel_mm=2.0 * pixel_mm, rows=60, columns=80)
    means = fine.reshape(60, 2, 80, 2).mean(axis=(1, 3))
    # fibres and pores are exact; a ring's sharp edge is averaged along the radius alone
    assert float(np.abs(means - coarse).mean()) < 0.1
    assert float(np.abs(means - coarse).max()) < 1.5


@pytest.mark.parametrize("pixel_mm", [0.004, 0.1, 0.7])
@pytest.mark.parametrize("grain", [True, False])
def test_windows_that_are_neighbours_meet(pixel_mm: float, *, grain: bool) -> None:
    board = grain_of(wood(grain=grain), size_mm=BOARD_mm, generator=np.random.default_rng(3))
    wide = grain_L(board, left_mm=3.0, top_mm=4.0, pixel_mm=pixel_mm, rows=40, columns=100)
    right = grain_L(board, left_mm=3.0 + 60 * pixel_mm, top_mm=4.0, pixel_mm=pixel_mm, rows=40, columns=40)
    np.testing.assert_allclose(wide[:, 60:], right, atol=2e-3)  # float32, and a rounded place


def _run(field: np.ndarray, *, axis: int) -> float:
    """Return the mean step between neighbours: small along the grain."""
    return float(np.abs(np.diff(field, axis=axis)).mean())


@pytest.mark.parametrize("pixel_mm", [0.006, 0.1])
def test_it_runs_along_x_in_wood_and_hardly_in_slate(pixel_mm: float) -> None:
    field = _grain(pixel_mm=pixel_mm)
    assert _run(field, axis=0) > 4.0 * _run(field, axis=1)
    stone = _grain(pixel_mm=pixel_mm, grain=False)
    assert _run(stone, axis=0) < 2.0 * _run(stone, axis=1)


def test_the_same_generator_gives_the_same_board_and_another_another() -> None:
    assert np.array_equal(_grain(3), _grain(3))
    assert np.abs(_grain(3) - _grain(4)).mean() > 0.5
    assert np.abs(_grain(3) - _grain(3, left_mm=60.0)).mean() > 0.5  # nor does it repeat


@pytest.mark.parametrize("size_mm", [(0.5, 0.5), (400.0, 1.0), (1.0, 300.0)])
@pytest.mark.parametrize("shape", [(1, 1), (1, 7), (90, 1)])
def test_the_smallest_boards_and_windows_have_a_texture_too(
    shape: tuple[int, int], size_mm: tuple[float, float]
) -> None:
    board = grain_of(wood(), size_mm=size_mm, generator=np.random.default_rng(1))
    field = grain_L(board, left_mm=-1.0, top_mm=0.2, pixel_mm=0.1, rows=shape[0], columns=shape[1])
    assert field.shape == shape
    assert np.isfinite(field).all()


@pytest.mark.parametrize("lightens", [False, True])
def test_colours_are_true_in_lightness_whatever_the_grain(*, lightens: bool) -> None:
    tone = np.linspace(20.0, 85.0, 200, dtype=np.float32)[None, :]
    grain = np.float32(3.0) * np.sin(np.arange(200, dtype=np.float32))[None, :]
    seen = light_of(wood_colours(wood(lightens=lightens), tone, grain=grain))
    # half a step of the table, a step of 8-bit colour
    np.testing.assert_allclose(seen, tone + grain, atol=0.5)


def test_burnt_wood_is_warm_and_slate_stays_grey() -> None:
    tone = np.full((1, 1), 50.0, np.float32)
    red, green, blue = (int(v) for v in wood_colours(wood(), tone, grain=np.zeros_like(tone))[0, 0])
    assert red > green + 15 > blue + 30
    grey = wood_colours(wood(lightens=True), tone, grain=np.zeros_like(tone))[0, 0]
    assert int(grey.max()) - int(grey.min()) < 10
