"""How deep: ranges that hold what they should, and settings as they really were."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.recipe import Recipe
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.planning.rescue.burn_depth import BurnDepth, Happened, burn_depth, burnt_with
from unit.core.examples import LENS

BEAM = beam_of_lens(LENS)
MAPLE = shipped_wood("hard-maple")
SLATE = shipped_wood("slate")
PLANNED = Happened()
RECIPE = Recipe(
    power_W=30.0,
    power_fraction=0.5,
    speed_mm_per_s=300.0,
    line_spacing_mm=0.1,
    focus_offset_mm=0.0,
    stand_off_mm=9.5,
    passes=1,
    scan_axis="x",
    air_kPa=None,
)


def depth_with(happened: Happened = PLANNED, *, wood: str = "hard-maple") -> BurnDepth:
    return burn_depth(burnt_with(RECIPE, beam=BEAM, happened=happened), wood=shipped_wood(wood), happened=happened)


def test_as_planned_the_dose_is_power_over_speed_and_spacing() -> None:
    # [kudela2019] row: dose = P / (v p); 30 W, 300 mm/s, 0.1 mm -> 1 J/mm²
    assert burnt_with(RECIPE, beam=BEAM, happened=PLANNED).dose_J_per_mm2 == pytest.approx(1.0)


def test_half_the_speed_doubles_dose_and_dwell() -> None:
    # reciprocity: energy per area is power times time over area
    slow = burnt_with(RECIPE, beam=BEAM, happened=Happened(speed_mm_per_s=150.0))
    planned = burnt_with(RECIPE, beam=BEAM, happened=PLANNED)

    assert slow.dose_J_per_mm2 == pytest.approx(2.0 * planned.dose_J_per_mm2)
    assert slow.dwell_ms == pytest.approx(2.0 * planned.dwell_ms)


def test_a_dose_that_is_stated_replaces_power_and_passes() -> None:
    burnt = burnt_with(RECIPE, beam=BEAM, happened=Happened(dose_J_per_mm2=2.5))

    assert burnt.dose_J_per_mm2 == 2.5
    assert burnt.recipe.power_W == pytest.approx(75.0)


def test_out_of_focus_the_stand_off_moves_with_the_offset() -> None:
    burnt = burnt_with(RECIPE, beam=BEAM, happened=Happened(focus_offset_mm=3.0))

    assert burnt.recipe.stand_off_mm == pytest.approx(12.5)
    assert burnt.beam_radius_mm > BEAM.waist_radius_mm


def test_the_most_that_is_gone_is_all_of_the_crest_with_the_easier_wood() -> None:
    burnt = burnt_with(RECIPE, beam=BEAM, happened=PLANNED)
    depth = depth_with()

    # 0.63 g/cm³ [wood-handbook2010] × 6 kJ/g, 30 % easier, by hand: 2.646 J/mm³
    assert depth.gone_high_mm == pytest.approx(burnt.peak_dose_J_per_mm2 / 2.646)


def test_below_the_char_dose_nothing_need_be_gone_and_above_it_something_is() -> None:
    assert depth_with(Happened(dose_J_per_mm2=0.5)).gone_low_mm == 0.0
    deep = depth_with(Happened(dose_J_per_mm2=6.0))
    assert deep.chars
    # (6 − char dose) over 3.78 × 1.3, by hand
    assert deep.gone_low_mm == pytest.approx((6.0 - deep.char_dose_J_per_mm2) / (3.78 * 1.3))


def test_ranges_are_ranges() -> None:
    for dose in (0.05, 1.0, 20.0):
        depth = depth_with(Happened(dose_J_per_mm2=dose))
        assert 0.0 < depth.low_mm < depth.high_mm


def test_a_gauge_replaces_the_balance() -> None:
    depth = depth_with(Happened(depth_mm=0.4))

    assert depth.gone_low_mm == depth.gone_high_mm == 0.4
    assert depth.low_mm > 0.4


def test_stone_has_no_balance_and_conducts_better() -> None:
    stone, wood = depth_with(wood="slate"), depth_with()

    assert stone.gone_high_mm is None
    # √(1.5 / 0.2) by the upper ends of both ranges
    assert stone.browned_high_mm / wood.browned_high_mm == pytest.approx(math.sqrt(7.5))


def test_a_line_is_judged_by_the_dose_on_its_axis() -> None:
    line = replace(RECIPE, way="line", line_spacing_mm=0.2)
    burnt = burnt_with(line, beam=BEAM, happened=PLANNED)

    # √(2/π) P / (v w), the line integral of a Gaussian
    assert burnt.dose_J_per_mm2 == pytest.approx(math.sqrt(2.0 / math.pi) * 0.1 / BEAM.waist_radius_mm)
    assert burnt.peak_dose_J_per_mm2 == burnt.dose_J_per_mm2


@pytest.mark.parametrize("bad", [math.nan, math.inf, 0.0, -1.0])
@pytest.mark.parametrize("field", ["power_W", "speed_mm_per_s", "line_spacing_mm", "dose_J_per_mm2", "depth_mm"])
def test_what_cannot_have_been_set_is_refused_by_name(field: str, bad: float) -> None:
    said: dict[str, Any] = {field: bad}
    with pytest.raises(InvalidInput, match=field):
        Happened(**said)


def test_all_that_is_wrong_is_told_at_once() -> None:
    with pytest.raises(InvalidInput) as caught:
        Happened(power_W=-1.0, focus_offset_mm=math.nan, passes=0)
    assert set(caught.value.fields) == {"power_W", "focus_offset_mm", "passes"}
