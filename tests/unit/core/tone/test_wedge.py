"""The promise of the whole chain: an eleven-step grey wedge comes out as an even wedge, by dots and by power alike.

Photo preparation → wished tones → coverage or power → motion events → dose map → curve → mean reflectance → L*. Judged by
the dose map of the events, which shares no code with the reckoning of dot gain.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.core.motion.raster import raster_events
from evenburn.core.nouns.mark import Halftone, Preparation
from evenburn.core.optics.lines import dwell_ms
from evenburn.core.proof.dose import DoseGrid, collect, dose_map_J_per_mm2
from evenburn.core.response.curve import exposure_shift, tone_L, tone_range_L
from evenburn.core.tone.colour import lightness_L, luminance
from evenburn.core.tone.halftone import (
    HALFTONES,
    Burning,
    averaged_exposures_for_tones,
    clustered_cell_px,
    coverages_for_tones,
    screened,
    tones_of_coverages_L,
)
from evenburn.core.tone.prepare import prepare_light
from evenburn.core.tone.reproduce import wished_tones_L
from unit.core.examples import machine

STEPS = 11
SIDE_px = 88
LOOKED_AT_px = 64  # in the middle of a patch, or as many whole periods of a screen as fit in there
WITHIN_L = 1.5  # what is promised of every step inside the wood's range
FOUND_L = 0.35  # what it comes to: a step of an 8-bit mask is 0.25 L* here, error diffusion scatters as much
FINE = 5  # an odd number: the line then lies in the middle of a row of the dose map, not shared between two

RISE_s = 0.0002
RECIPES = [(150.0, 0.10, 0.10), (400.0, 0.07, 0.15)]  # speed, line spacing, beam radius

WOODS = pytest.mark.parametrize("wood_id", ["hard-maple", "slate"])
EVERY_RECIPE = pytest.mark.parametrize("recipe", RECIPES, ids=["slow", "fast"])
Recipe = tuple[float, float, float]


def _grey_wedge() -> np.ndarray:
    """Return linear light of eleven patches side by side, L* 0 to 100 in even steps."""
    levels = np.repeat(np.linspace(0.0, 100.0, STEPS), SIDE_px)
    return np.tile(luminance(levels).astype(np.float32), (SIDE_px, 1))


def _full_L(wood_id: str) -> float:
    faint, full = tone_range_L(shipped_wood(wood_id).curve)
    return full + 0.03 * (faint - full)


@cache
def _wished(wood_id: str, recipe: Recipe) -> np.ndarray:
    """Return the tones wished of the wedge, prepared as a photograph is."""
    curve, (_, spacing, radius) = shipped_wood(wood_id).curve, recipe
    prepared = prepare_light(
        _grey_wedge(),
        coverage=None,
        pixel_mm=spacing,
        preparation=Preparation(),
        resolvable_mm=radius + 0.5 * spacing,
        darkens=curve.full_L < curve.bare_L,
    )
    return wished_tones_L(prepared, bare_L=curve.bare_L, full_L=_full_L(wood_id))


def _asked(wood_id: str) -> np.ndarray:
    """Return the eleven tones that an even wedge would have on the wood, not prepared."""
    return wished_tones_L(_grey_wedge(), bare_L=shipped_wood(wood_id).curve.bare_L, full_L=_full_L(wood_id))[
        0, SIDE_px // 2 :: SIDE_px
    ]


def _burnt(power_W: np.ndarray, wood_id: str, recipe: Recipe, *, axis: str = "x", period: int = 1) -> np.ndarray:
    """Return the L* of the middle of each patch, a whole number of a screen's periods, as the exposure model burns it."""
    curve, bench = shipped_wood(wood_id).curve, machine(rise_time_s=RISE_s)
    speed, spacing, radius = recipe
    picture = power_W.astype(np.float32)
    events = list(
        raster_events(
            bench, picture if axis == "x" else np.ascontiguousarray(picture.T), axis="x" if axis == "x" else "y",
            along_origin_mm=60.0, cross_origin_mm=60.0, line_spacing_mm=spacing, speed_mm_per_s=speed, passes=1,
        )
    )  # fmt: skip
    rows, columns = power_W.shape
    fine = spacing / FINE
    grid = DoseGrid(x0_mm=60.0, y0_mm=60.0, pixel_x_mm=fine, pixel_y_mm=fine, rows=rows * FINE, columns=columns * FINE)
    dose = dose_map_J_per_mm2(collect(events, grid), beam_radius_mm=radius, rise_time_s=bench.rise_time_s)
    shift = float(exposure_shift(curve, dwell_ms=dwell_ms(beam_radius_mm=radius, speed_mm_per_s=speed)))
    looked_at = LOOKED_AT_px // period * period * FINE
    first = (SIDE_px - LOOKED_AT_px) // 2 * FINE
    came_out = []
    for left in range(first, columns * FINE, SIDE_px * FINE):
        patch = dose[first : first + looked_at, left : left + looked_at].astype(np.float64)
        with np.errstate(divide="ignore"):
            came_out.append(float(lightness_L(luminance(tone_L(curve, np.log10(patch) + shift)).mean())))
    return np.array(came_out)


def _setting(wood_id: str, recipe: Recipe) -> tuple[Burning, float]:
    """Return what the halftone is told, and the power of the full tone."""
    curve, (speed, spacing, radius) = shipped_wood(wood_id).curve, recipe
    full = np.array([_full_L(wood_id)])
    exposure = float(averaged_exposures_for_tones(curve, full, beam_radius_mm=radius, line_spacing_mm=spacing)[0])
    shift = float(exposure_shift(curve, dwell_ms=dwell_ms(beam_radius_mm=radius, speed_mm_per_s=speed)))
    power = 10.0 ** (exposure - shift) * speed * spacing
    burning = Burning(
        curve=curve, full_exposure=exposure, beam_radius_mm=radius, smear_mm=speed * RISE_s, pixel_mm=spacing
    )
    return burning, power


def _by_dots(name: Halftone, wood_id: str, recipe: Recipe, *, axis: str = "x") -> np.ndarray:
    burning, power = _setting(wood_id, recipe)
    burning = replace(burning, scan_axis="x" if axis == "x" else "y")
    shares, tones = tones_of_coverages_L(burning, name=name)
    coverage = coverages_for_tones(_wished(wood_id, recipe), coverages=shares, tone_of_coverage=tones)
    cell = clustered_cell_px(burning)
    dots = screened(coverage, name=name, cell_px=cell)
    period = 2 * cell if name == "clustered" else 1
    return _burnt(np.where(dots, power, 0.0), wood_id, recipe, axis=axis, period=period)


@pytest.mark.parametrize("name", HALFTONES)
@WOODS
@EVERY_RECIPE
def test_a_grey_wedge_comes_out_even_by_dots(name: Halftone, wood_id: str, recipe: Recipe) -> None:
    off = np.abs(_by_dots(name, wood_id, recipe) - _asked(wood_id)).max()
    assert off <= FOUND_L < WITHIN_L
    assert abs(_asked(wood_id)[0] - _asked(wood_id)[-1]) > 25.0  # it was a wedge


@pytest.mark.parametrize("name", ["floyd-steinberg", "clustered"])
def test_scanned_along_y_it_comes_out_even_too(name: Halftone) -> None:
    recipe = RECIPES[0]
    assert np.abs(_by_dots(name, "hard-maple", recipe, axis="y") - _asked("hard-maple")).max() <= FOUND_L


@WOODS
@EVERY_RECIPE
def test_a_grey_wedge_comes_out_even_by_power(wood_id: str, recipe: Recipe) -> None:
    """Lines wider apart as well, where the mean dose alone would put the middle tones off: the ripple is averaged."""
    burning, _ = _setting(wood_id, recipe)
    for wider in (1.0, 1.8):
        speed, spacing, radius = recipe[0], recipe[1] * wider, recipe[2]
        wished = _wished(wood_id, recipe)
        exposures = averaged_exposures_for_tones(
            burning.curve, wished.ravel(), beam_radius_mm=radius, line_spacing_mm=spacing
        ).reshape(wished.shape)
        shift = float(exposure_shift(burning.curve, dwell_ms=dwell_ms(beam_radius_mm=radius, speed_mm_per_s=speed)))
        powers = np.where(
            np.abs(wished - burning.curve.bare_L) > 0.5, 10.0 ** (exposures - shift) * speed * spacing, 0.0
        )
        came_out = _burnt(powers, wood_id, (speed, spacing, radius))
        # between wide lines the wood stays lighter (slate darker) than the full tone; that one step is out of reach
        in_reach = np.abs(_asked(wood_id) - _full_L(wood_id)) > (1.0 if wider > 1.0 else -1.0)
        assert np.abs(came_out - _asked(wood_id))[in_reach].max() <= FOUND_L


def test_without_compensation_the_wedge_is_lost() -> None:
    burning, power = _setting("hard-maple", RECIPES[0])
    wished = _wished("hard-maple", RECIPES[0])
    share = (wished - burning.curve.bare_L) / (_full_L("hard-maple") - burning.curve.bare_L)
    dots = screened(share.astype(np.float32), name="blue-noise", cell_px=4)
    came_out = _burnt(np.where(dots, power, 0.0), "hard-maple", RECIPES[0])
    assert np.abs(came_out - _asked("hard-maple")).max() > 3.0 * WITHIN_L


def test_without_the_late_answer_in_the_reckoning_the_wedge_is_off() -> None:
    """Where a dot is shorter than the laser's answer, it counts."""
    recipe = (400.0, 0.07, 0.05)
    burning, power = _setting("hard-maple", recipe)
    found = []
    for smear_mm in (burning.smear_mm, 0.0):
        shares, tones = tones_of_coverages_L(replace(burning, smear_mm=smear_mm), name="ordered")
        coverage = coverages_for_tones(_wished("hard-maple", recipe), coverages=shares, tone_of_coverage=tones)
        dots = screened(coverage, name="ordered", cell_px=4)
        came_out = _burnt(np.where(dots, power, 0.0), "hard-maple", recipe)
        found.append(np.abs(came_out - _asked("hard-maple")).max())
    assert found[0] <= WITHIN_L < found[1]
