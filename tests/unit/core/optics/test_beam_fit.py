"""The beam from widths along both axes: Liu's relation by hand, a known astigmatic beam found again, what is refused."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from evenburn.core.errors import InvalidInput
from evenburn.core.optics.beam import Beam
from evenburn.core.optics.beam_fit import fit_beam
from evenburn.core.optics.ladder import LineWidths

START = Beam(waist_radius_mm=0.075, rayleigh_length_mm=1.2)


def ladder(
    *, waist_mm: float = 0.0687, rayleigh_mm: float = 1.161, place_mm: float = 0.0, apart_mm: float = 0.0
) -> tuple[LineWidths, np.ndarray]:
    """Exact widths by Liu's relation [liu1982], written out anew here; the waists of x and y lie `apart_mm` apart.

    The default beam is row 3 of table 1a of the project's check values: f 50.8 mm, D 6 mm, M² 1.2, d0 137.12 µm, zR 1.161 mm.
    """
    grid = np.meshgrid(np.arange(-4.8, 4.9, 1.2), [6.0, 9.0, 14.0, 21.0, 32.0, 48.0], [1.0, 0.0])
    offset, power, axis = (a.ravel() for a in grid)
    along_x = axis > 0.5
    z0 = place_mm + np.where(along_x, -0.5, 0.5) * apart_mm
    w = waist_mm * np.sqrt(1.0 + ((offset - z0) / rayleigh_mm) ** 2)
    dose = math.sqrt(2.0 / math.pi) * power / (100.0 * w)
    threshold = 0.25 * (2e3 * w / 100.0) ** -0.12
    width = np.sqrt(2.0 * w**2 * np.maximum(np.log(dose / threshold), 0.0))
    return LineWidths(
        offset_mm=offset,
        power_W=power,
        speed_mm_per_s=np.full(offset.size, 100.0),
        width_mm=width,
        width_sd_mm=np.full(offset.size, 0.004),
    ), along_x


def test_the_beam_of_the_check_values_comes_back() -> None:
    widths, along_x = ladder(place_mm=0.4, apart_mm=0.3)
    found = fit_beam(widths, along_x=along_x, start=START)
    # beliefs about set-ups and κ pull exact widths by a few parts in a thousand
    assert found.beam.waist_radius_mm == pytest.approx(0.0687, rel=0.01)
    assert found.beam.rayleigh_length_mm == pytest.approx(1.161, rel=0.015)
    assert found.waist_offset_mm == pytest.approx(0.4, abs=0.02)
    assert found.astigmatism_mm == pytest.approx(0.3, abs=0.04)
    # w(1 mm) of M² 1.2 is 90.49 µm by the same table: each set-up by itself agrees, the one 0.8 mm below the waist nearby
    near = np.flatnonzero(found.along_x & np.isclose(found.offset_mm, 1.2))
    expected = 0.0687 * math.hypot(1.0, (1.2 - 0.25) / 1.161)
    assert found.radius_mm[near] == pytest.approx(expected, rel=0.01)


def test_noisy_widths_are_told_with_their_doubt() -> None:
    generator = np.random.default_rng(5)
    off = []
    for _ in range(12):
        place = float(generator.normal(0.0, 0.6))
        widths, along_x = ladder(place_mm=place)
        noisy = np.where(widths.width_mm > 0.03, widths.width_mm + generator.normal(0.0, 0.008, along_x.size), 0.0)
        found = fit_beam(
            replace(widths, width_mm=noisy, width_sd_mm=np.full(along_x.size, 0.008)), along_x=along_x, start=START
        )
        off.append((found.waist_offset_mm - place, found.waist_offset_sd_mm))
    assert max(abs(d) for d, _ in off) < 0.2  # the figure
    assert sum(abs(d) < 2.0 * sd for d, sd in off) >= 10


@pytest.mark.parametrize(("place_mm", "word"), [(-6.5, "down to"), (6.5, "away from")])
def test_a_waist_outside_says_which_way_to_extend(place_mm: float, word: str) -> None:
    widths, along_x = ladder(place_mm=place_mm, rayleigh_mm=2.5)
    with pytest.raises(InvalidInput, match="waist") as caught:
        fit_beam(widths, along_x=along_x, start=START)
    assert word in caught.value.hint


def test_nothing_seen_and_too_few_offsets_are_refused() -> None:
    widths, along_x = ladder()
    with pytest.raises(InvalidInput, match="0 of 108 were seen"):
        fit_beam(replace(widths, width_mm=0.0 * widths.width_mm), along_x=along_x, start=START)
    two = np.abs(widths.offset_mm) < 0.1
    with pytest.raises(InvalidInput, match="focus offsets"):
        fit_beam(replace(widths, width_mm=np.where(two, 0.2, 0.0)), along_x=along_x, start=START)
    with pytest.raises(InvalidInput, match="width_mm"):
        fit_beam(replace(widths, width_mm=widths.width_mm + np.nan), along_x=along_x, start=START)
