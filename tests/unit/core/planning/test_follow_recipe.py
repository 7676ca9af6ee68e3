"""Lines and cuts: widths by Liu's law, energies by balance, and limits that hold."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Hold, Mark
from evenburn.core.optics.beam import beam_of_lens, beam_radius_mm
from evenburn.core.planning.follow_recipe import (
    CUT_LEAST_mm_per_s,
    FollowFound,
    cut_energy_J_per_mm,
    cut_recipe,
    kerf_mm,
    line_recipe,
    peak_dose_J_per_mm2,
    thickest_cut_mm,
    width_above_mm,
)
from evenburn.core.planning.power import power_window_W
from evenburn.core.response.curve import exposures_for_tones, tone_L
from unit.core.examples import LENS, MACHINE

MARK = Mark(id="a", art_label="", treatment="line", tone_L=38.0, place_mm=(0.0, 0.0), size_mm=(50.0, 50.0), hold=Hold())
MAPLE = shipped_wood("hard-maple")


def test_the_dose_on_the_axis_of_a_line_is_the_published_row() -> None:
    # check value "Peak dose of one line": 60 W, 300 mm/s, w = 57.13 µm -> 2.793 J/mm², derived from the Gaussian
    assert peak_dose_J_per_mm2(line_energy_J_per_mm=60.0 / 300.0, beam_radius_mm=0.05713) == pytest.approx(
        2.793, abs=5e-4
    )


@pytest.mark.parametrize("ratio", [1.2, math.e, 10.0])
def test_widths_obey_lius_law(ratio: float) -> None:
    # [liu1982] D² = 2 w² ln(F0/Fth); from memory
    width = width_above_mm(peak_over_threshold=ratio, beam_radius_mm=0.1)
    assert width**2 == pytest.approx(2.0 * 0.1**2 * math.log(ratio))


def test_below_its_threshold_a_line_has_no_width() -> None:
    assert width_above_mm(peak_over_threshold=0.99, beam_radius_mm=0.1) == 0.0


def test_a_line_is_as_wide_as_a_gaussian_profile_put_through_the_curve() -> None:
    # outside way: sample the Gaussian across the line, look each dose up in the curve, take the width at half the tone
    found = line_recipe(MACHINE, beam=beam_of_lens(LENS), curve=MAPLE.curve, mark=MARK, unevenness_mm=0.3)
    radius = float(beam_radius_mm(beam_of_lens(LENS), offset_mm=found.focus_offset_mm))
    across = np.linspace(-1.0, 1.0, 200_001)
    middle = float(exposures_for_tones(MAPLE.curve, 38.0))
    tones = tone_L(MAPLE.curve, middle - 2.0 * (across / radius) ** 2 / math.log(10.0))
    half = 0.5 * (MAPLE.curve.bare_L + 38.0)
    assert found.width_mm == pytest.approx(float((tones < half).mean()) * 2.0, abs=2e-4)


@pytest.mark.parametrize("tone", [34.0, 45.0, 65.0])
@pytest.mark.parametrize("unevenness_mm", [0.0, 0.6])
def test_the_power_of_a_line_can_be_set(tone: float, unevenness_mm: float) -> None:
    found = line_recipe(
        MACHINE,
        beam=beam_of_lens(LENS),
        curve=MAPLE.curve,
        mark=replace(MARK, tone_L=tone),
        unevenness_mm=unevenness_mm,
    )
    least_W, most_W = power_window_W(MACHINE)
    assert found.faults == ()
    assert least_W <= found.power_W <= most_W
    assert found.speed_mm_per_s <= MACHINE.speed_max_mm_per_s


def test_a_wished_width_is_met_by_the_focus() -> None:
    beam = beam_of_lens(LENS)
    fine = line_recipe(MACHINE, beam=beam, curve=MAPLE.curve, mark=MARK, unevenness_mm=0.0)
    wide = line_recipe(MACHINE, beam=beam, curve=MAPLE.curve, mark=replace(MARK, line_mm=0.4), unevenness_mm=0.0)
    assert wide.focus_offset_mm > fine.focus_offset_mm
    assert wide.width_mm == pytest.approx(0.4, rel=0.2)  # stand-offs go in steps of half a millimetre


def test_a_tone_the_wood_cannot_take_is_told() -> None:
    found = line_recipe(
        MACHINE, beam=beam_of_lens(LENS), curve=MAPLE.curve, mark=replace(MARK, tone_L=5.0), unevenness_mm=0.0
    )
    assert "tone" in found.faults


def _cut(
    machine: Machine = MACHINE, lens: Lens = LENS, *, wood: str = "hard-maple", thickness_mm: float = 3.0
) -> FollowFound:
    mark = replace(MARK, treatment="cut")
    return cut_recipe(
        machine, lens=lens, beam=beam_of_lens(lens), wood=shipped_wood(wood), mark=mark, thickness_mm=thickness_mm
    )


def test_a_cut_pays_for_the_volume_it_takes_away() -> None:
    # energy balance as [yuan2007] reports it for grooves: energy per length = energy per volume × width × depth
    beam = beam_of_lens(LENS)
    energy, width = cut_energy_J_per_mm(MAPLE.curve, beam=beam, cut_J_per_mm3=4.0, thickness_mm=3.0, offset_mm=-1.5)
    assert energy == pytest.approx(4.0 * 3.0 * width)
    depths = -1.5 + 3.0 * (np.arange(25) + 0.5) / 25
    assert width == pytest.approx(
        float(kerf_mm(MAPLE.curve, beam=beam, line_energy_J_per_mm=energy, offsets_mm=depths).mean()), rel=1e-4
    )


def test_common_benches_cut_thin_plywood_at_common_speeds() -> None:
    # common practice, no source: some 40 to 50 W go through 3 mm of plywood at 8 to 20 mm/s in one pass
    found = _cut(wood="birch-plywood")
    assert found.passes == 1
    assert found.faults == ()
    assert 8.0 <= found.speed_mm_per_s <= 20.0


def test_thicker_wood_is_cut_more_slowly() -> None:
    speeds = [_cut(thickness_mm=t).speed_mm_per_s / _cut(thickness_mm=t).passes for t in (2.0, 3.0, 5.0, 8.0)]
    assert speeds == sorted(speeds, reverse=True)
    assert min(speeds) > 0.0


def test_the_waist_lies_in_the_wood_and_the_nozzle_keeps_clear() -> None:
    found = _cut(thickness_mm=3.0)
    assert -3.0 <= found.focus_offset_mm < 0.0
    near = replace(LENS, focus_stand_off_mm=3.2)
    assert near.focus_stand_off_mm + _cut(lens=near, thickness_mm=6.0).focus_offset_mm >= 3.0


@pytest.mark.parametrize(
    ("wood", "thickness_mm", "fault"),
    [("slate", 5.0, "material"), ("hard-maple", 25.0, "thickness")],
)
def test_what_cannot_be_cut_says_so(wood: str, thickness_mm: float, fault: str) -> None:
    assert fault in _cut(wood=wood, thickness_mm=thickness_mm).faults


def test_a_weak_tube_takes_passes_and_then_gives_up() -> None:
    weak = replace(MACHINE, power_max_W=8.0, power_curve=((0.0, 0.0), (1.0, 8.0)), power_cap_fraction=0.8)
    found = _cut(weak, thickness_mm=3.0)
    assert found.passes > 1
    assert found.speed_mm_per_s >= CUT_LEAST_mm_per_s
    assert "speed" in _cut(weak, thickness_mm=9.0).faults


def test_the_thickest_cut_is_eight_rayleigh_lengths() -> None:
    # at four Rayleigh lengths the spot is √17 times the waist [siegman1986]
    beam = beam_of_lens(LENS)
    edge = float(beam_radius_mm(beam, offset_mm=0.5 * thickest_cut_mm(beam)))
    assert edge / beam.waist_radius_mm == pytest.approx(math.sqrt(17.0))
