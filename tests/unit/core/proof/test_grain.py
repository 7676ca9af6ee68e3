"""The wood's own texture keeps to the evenness of its curve, and runs along x."""

from __future__ import annotations

import numpy as np
import pytest

from evenburn.core.proof.grain import grain_L
from evenburn.core.proof.look import wood_colours
from unit.core.proof.bench import light_of, wood


def _grain(seed: int = 3, *, pixel_mm: float = 0.1, **kind: bool) -> np.ndarray:
    return grain_L(wood(**kind), rows=300, columns=400, pixel_mm=pixel_mm, generator=np.random.default_rng(seed))


@pytest.mark.parametrize("pixel_mm", [0.004, 0.1, 0.4])
@pytest.mark.parametrize("kind", [{}, {"grain": False}, {"unevenly": True}])
def test_its_spread_is_the_evenness_at_every_scale(pixel_mm: float, kind: dict[str, bool]) -> None:
    field = _grain(pixel_mm=pixel_mm, **kind)
    assert field.shape == (300, 400)
    assert float(field.mean()) == pytest.approx(0.0, abs=1e-3)  # float32 sums
    assert float(field.std()) == pytest.approx(2.4, rel=1e-3)  # the evenness of the test wood
    assert np.isfinite(field).all()


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


@pytest.mark.parametrize("shape", [(1, 1), (1, 7), (2, 300), (90, 1)])
def test_the_smallest_boards_have_a_texture_too(shape: tuple[int, int]) -> None:
    field = grain_L(wood(), rows=shape[0], columns=shape[1], pixel_mm=0.1, generator=np.random.default_rng(1))
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
