"""The focus ladder: Liu's relation by hand, a known beam found again from noisy widths, and what is refused."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from evenburn.core.errors import InvalidInput
from evenburn.core.optics.beam import Beam
from evenburn.core.optics.ladder import LineWidths, fit_ladder, line_width_mm

START = Beam(waist_radius_mm=0.075, rayleigh_length_mm=1.2)


def ladder(*, sd_mm: float = 0.01) -> LineWidths:
    offset, power = (a.ravel() for a in np.meshgrid(np.arange(-3.0, 3.1, 1.0), [5.0, 10.0, 20.0, 40.0]))
    none = np.zeros(offset.size)
    return LineWidths(
        offset_mm=offset, power_W=power, speed_mm_per_s=none + 100.0, width_mm=none, width_sd_mm=none + sd_mm
    )


def test_width_of_a_line_by_hand() -> None:
    """[liu1982], from memory, for a line: at w = 0.1 mm and e times the threshold on the axis b = √2 w.

    √(2/π) P / (v w) = 0.7979 · 20 W / (100 mm/s · 0.1 mm) = 1.596 J/mm².
    """
    one = LineWidths(
        offset_mm=np.zeros(1),
        power_W=np.array([20.0]),
        speed_mm_per_s=np.array([100.0]),
        width_mm=np.zeros(1),
        width_sd_mm=np.ones(1),
    )
    threshold = 0.79788 * 20.0 / (100.0 * 0.1) / math.e
    beam = Beam(waist_radius_mm=0.1, rayleigh_length_mm=1.0)
    width = line_width_mm(one, beam=beam, waist_offset_mm=0.0, threshold_J_per_mm2=threshold)
    assert width[0] == pytest.approx(math.sqrt(2.0) * 0.1, rel=1e-4)
    # one Rayleigh length off, w = √2 · 0.1: half the log less ln √2
    off = line_width_mm(one, beam=beam, waist_offset_mm=1.0, threshold_J_per_mm2=threshold)
    assert off[0] == pytest.approx(0.1 * math.sqrt(2.0) * math.sqrt(2.0 * (1.0 - 0.5 * math.log(2.0))), rel=1e-4)


def test_a_beam_comes_back_from_exact_widths() -> None:
    lines = ladder()
    beam = Beam(waist_radius_mm=0.09, rayleigh_length_mm=1.7)
    seen = replace(lines, width_mm=line_width_mm(lines, beam=beam, waist_offset_mm=0.6, threshold_J_per_mm2=0.2))
    found = fit_ladder(seen, start=START)
    assert found.beam.waist_radius_mm == pytest.approx(0.09, rel=1e-4)
    assert found.beam.rayleigh_length_mm == pytest.approx(1.7, rel=1e-3)
    assert found.waist_offset_mm == pytest.approx(0.6, abs=1e-3)
    assert found.threshold_J_per_mm2 == pytest.approx(0.2, rel=1e-3)


def test_noisy_widths_keep_the_issue_s_figures_and_tell_their_uncertainty() -> None:
    """Widths read to 0.01 mm: waist within 7 %, its place within 0.2 mm, nearly always; two sd hold about 95 %."""
    generator = np.random.default_rng(0)
    waist, place, within = [], [], []
    for _ in range(40):
        beam = Beam(waist_radius_mm=generator.uniform(0.05, 0.12), rayleigh_length_mm=generator.uniform(0.7, 2.5))
        z0, threshold = 0.5 * generator.normal(), generator.uniform(0.1, 0.4)
        lines = ladder()
        width = line_width_mm(lines, beam=beam, waist_offset_mm=z0, threshold_J_per_mm2=threshold)
        width = np.where(width > 0.02, width + 0.01 * generator.normal(size=width.size), 0.0)
        found = fit_ladder(replace(lines, width_mm=width), start=START)
        waist.append(abs(found.beam.waist_radius_mm / beam.waist_radius_mm - 1.0))
        place.append(abs(found.waist_offset_mm - z0))
        within.append(abs(found.beam.waist_radius_mm - beam.waist_radius_mm) < 2.0 * found.waist_radius_sd_mm)
    assert np.quantile(waist, 0.95) < 0.07
    assert np.quantile(place, 0.95) < 0.2
    assert np.mean(within) > 0.85


def test_too_few_lines_or_offsets_are_refused() -> None:
    lines = ladder()
    with pytest.raises(InvalidInput, match="0 were seen"):
        fit_ladder(lines, start=START)
    with pytest.raises(InvalidInput, match="focus offsets"):
        fit_ladder(
            replace(lines, width_mm=np.where(np.abs(lines.offset_mm) < 1.5, 0.2, 0.0) * (lines.offset_mm >= 0)),
            start=START,
        )
    with pytest.raises(InvalidInput, match="width_mm"):
        fit_ladder(replace(lines, width_mm=lines.width_mm + np.nan), start=START)
