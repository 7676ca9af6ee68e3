"""The ladder's design: what its set-ups are, that lines do not meet, and what no machine can burn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.core.card.beam_card import (
    Believed,
    INSIDE_mm,
    axis_of,
    ladder_lines,
    ladder_offsets_mm,
    lines_in_block,
    pitch_mm,
    rungs,
)
from evenburn.core.card.line_profiles import line_pitch_mm
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.card import CardLine
from evenburn.core.optics.beam import Beam

BEAM = Beam(waist_radius_mm=0.074, rayleigh_length_mm=1.25)
BELIEVED = Believed(
    beam=BEAM, curve=shipped_wood("hard-maple").curve, power_least_W=4.0, power_most_W=48.4, speed_most_mm_per_s=300.0
)


def made() -> tuple[CardLine, ...]:
    offsets = ladder_offsets_mm(BEAM, focus_stand_off_mm=9.5)
    apart = pitch_mm(BEAM, offsets_mm=offsets)
    steps = rungs(BELIEVED, offsets_mm=offsets, lines=2 * sum(lines_in_block(apart)))
    return ladder_lines(steps, apart_mm=apart, power_fractions=[[0.5] * len(s.powers_W) for s in steps])


def test_offsets_are_even_and_reach_beyond_three_millimetres() -> None:
    offsets = ladder_offsets_mm(BEAM, focus_stand_off_mm=9.5)
    assert len(offsets) == 9
    assert offsets == tuple(-z for z in reversed(offsets))
    assert offsets[-1] >= 3.0 + BEAM.rayleigh_length_mm


def test_the_nozzle_stays_off_the_work() -> None:
    long = Beam(waist_radius_mm=0.15, rayleigh_length_mm=8.0)
    offsets = ladder_offsets_mm(long, focus_stand_off_mm=9.5)
    assert 9.5 + offsets[0] >= 2.0
    assert len(offsets) == 9
    with pytest.raises(InvalidInput, match="focus_stand_off_mm"):
        ladder_offsets_mm(long, focus_stand_off_mm=3.0)


def test_lines_lie_inside_and_apart_each_block_has_both_axes_and_four_lines_or_more() -> None:
    lines = made()
    x0, y0, x1, y1 = INSIDE_mm
    assert all(x0 <= x <= x1 and y0 <= y <= y1 for k in lines for x, y in (k.from_mm, k.to_mm))
    assert len({k.id for k in lines}) == len(lines)
    assert line_pitch_mm(lines) >= 1.25 - 1e-9
    for offset in {k.focus_offset_mm for k in lines}:
        for axis in ("x", "y"):
            mine = [k for k in lines if k.focus_offset_mm == offset and axis_of(k) == axis]
            assert len(mine) >= 8
            assert max(k.power_W for k in mine) > 1.8 * min(k.power_W for k in mine)
            assert len({k.speed_mm_per_s for k in mine}) == 1


def test_a_set_up_stands_at_two_far_places() -> None:
    lines = made()
    for offset in {k.focus_offset_mm for k in lines}:
        middles = np.array([0.5 * (k.from_mm[1] + k.to_mm[1]) for k in lines if k.focus_offset_mm == offset])
        assert np.ptp(middles) > 20.0


def test_a_machine_too_weak_is_refused() -> None:
    offsets = ladder_offsets_mm(BEAM, focus_stand_off_mm=9.5)
    with pytest.raises(InvalidInput, match="too little"):
        rungs(replace(BELIEVED, power_most_W=0.3, power_least_W=0.1), offsets_mm=offsets, lines=22)
    with pytest.raises(InvalidInput, match="do not reach"):
        rungs(replace(BELIEVED, power_least_W=40.0), offsets_mm=offsets, lines=22)
