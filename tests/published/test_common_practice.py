"""Rules of thumb of the trade: common practice, no source.

- Lines 0.1 mm apart show in focus, begin to blend about 1 mm out of it, blend well at about 2 mm; many millimetres out of focus
  the wood chars instead.
- Lines 1 mm apart are jagged, 0.05 mm apart smooth.
- The faster the scan, the smaller the area that can be engraved, on both sides of the mark.
- The nozzle stands around 9.5 mm off for a common lens. Air for engraving is low, about 5 psi = 34 kPa.
- Bamboo burns unevenly. Residue washes off with water; board oil stays on overnight.
"Show" is read here as above 5 L*, two colours to anybody, "begin to blend" as below the just noticeable 2.3 but still above 1,
"blend well" as below 1, which nobody sees: the bands of [mokrzycki2011] and [mahy1994]. The rules carry no numbers of their
own beyond the distances, so the bands are the tolerance. They are tried on the demo's bench and its "2 inch" lens, on the shipped
starting value of hard maple, which is from memory itself: this shows that the parts agree with practice, not that they are true.
Left out: air for cutting (nothing is cut).
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import outside
from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.wood_toml import shipped_ids, shipped_wood
from evenburn.core.art.detail import Widths
from evenburn.core.art.ink import InkProfile
from evenburn.core.motion.bounds import boxes_mm
from evenburn.core.motion.raster import raster_events, room_needed_mm
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Hold, Mark
from evenburn.core.optics.beam import beam_of_lens, beam_radius_mm
from evenburn.core.optics.lines import dwell_ms, mean_dose_J_per_mm2, ripple_factor
from evenburn.core.planning.candidates import AXES
from evenburn.core.planning.checks import AIR_STRONG_FACTOR, wood_checks
from evenburn.core.planning.mark_plan import AIR_COMMON_kPa, air_kPa
from evenburn.core.planning.raster_time import speed_limit_mm_per_s
from evenburn.core.planning.recipe import search
from evenburn.core.planning.wide_area import banding_L
from evenburn.core.planning.wish import Wish
from evenburn.core.response.curve import effective_exposure
from evenburn.core.units import psi
from outside import PRACTICE

SHOWS_L, NOTICED_L, UNSEEN_L = 5.0, 2.3, 1.0
MACHINE = read_machine(Path(str(files("evenburn") / "assets" / "demo" / "machine.toml")), name="machine.toml")
LENS = next(lens for lens in MACHINE.lenses if lens.name == "2 inch")
BEAM = beam_of_lens(LENS)
MAPLE = shipped_wood("hard-maple")
IN_FOCUS, BEGINS, BLENDED, FAR = 0.0, 1.0, 2.0, 10.0


BANDS = "the rule has no number: the bands of [mokrzycki2011] and [mahy1994] are put on its words"
check = partial(outside.check, field="practice of the trade", source=PRACTICE, trust="from memory")
BANDED: dict[str, Any] = {"tolerance": 0.0, "unit": "L*", "why": BANDS}


def wish(tone_L: float, hold: Hold) -> Wish:
    """An even square of 50 mm in the middle of the bed, on a flat board."""
    square = {axis: InkProfile(axis=axis, hull_mm2=2500.0, rows_mm=50.0, wander_mm=0.0) for axis in AXES}
    return Wish(
        machine=MACHINE,
        lens=LENS,
        beam=BEAM,
        curve=MAPLE.curve,
        tone_L=tone_L,
        faint_L=None,
        profiles=square,
        room_mm={"x": (275.0, 275.0), "y": (175.0, 175.0)},
        widths=Widths(stroke_mm=None, gap_mm=None),
        unevenness_mm=0.0,
        sharpness_mm=1.0,
        reading_distance_mm=300.0,
        hold=hold,
    )


@pytest.mark.parametrize("tone_L", [38.0, 45.0])
class TestFocus:
    """Lines 0.1 mm apart, at the demo's tone for maple and a lighter one."""

    def banding_L(self, tone_L: float, offset_mm: float) -> float:
        held = wish(tone_L, Hold(line_spacing_mm=0.1, focus_offset_mm=offset_mm))
        found = search(held)
        assert found.ripple_L == pytest.approx(banding_L(held, focus_offset_mm=offset_mm, line_spacing_mm=0.1))
        return found.ripple_L

    def test_lines_show_in_focus(self, tone_L: float) -> None:
        got = self.banding_L(tone_L, IN_FOCUS)
        name = f"lines 0.1 mm apart show in focus, L* {tone_L:g}"
        check(name, got=got, expected=SHOWS_L, bound="at least", **BANDED)

    def test_lines_begin_to_blend_a_millimetre_off(self, tone_L: float) -> None:
        got = self.banding_L(tone_L, BEGINS)
        name = f"they begin to blend 1 mm off, L* {tone_L:g}"
        check(name, got=got, expected=NOTICED_L, bound="at most", **BANDED)
        check(f"… but are not gone, L* {tone_L:g}", got=got, expected=UNSEEN_L, bound="at least", **BANDED)

    def test_lines_blend_well_two_millimetres_off(self, tone_L: float) -> None:
        got = self.banding_L(tone_L, BLENDED)
        name = f"they blend well 2 mm off, L* {tone_L:g}"
        check(name, got=got, expected=UNSEEN_L, bound="at most", **BANDED)

    def test_towards_the_lens_as_well_as_away_from_it(self, tone_L: float) -> None:
        assert self.banding_L(tone_L, -BEGINS) == self.banding_L(tone_L, BEGINS)


def test_many_millimetres_off_a_dark_tone_chars_that_burns_well_at_two() -> None:
    held = wish(34.0, Hold(line_spacing_mm=0.1, focus_offset_mm=BLENDED))
    found = search(held)
    assert found.gave_way == ()
    dose = mean_dose_J_per_mm2(
        power_W=found.power_W,
        speed_mm_per_s=found.speed_mm_per_s,
        line_spacing_mm=found.line_spacing_mm,
        passes=found.passes,
    )

    def exposure(offset_mm: float) -> float:
        radius = beam_radius_mm(BEAM, offset_mm=offset_mm)
        dwell = dwell_ms(beam_radius_mm=radius, speed_mm_per_s=found.speed_mm_per_s)
        return float(effective_exposure(MAPLE.curve, dose_J_per_mm2=dose, dwell_ms=dwell, passes=found.passes))

    assert exposure(BLENDED) < MAPLE.curve.x_char < exposure(FAR)


class TestSpacing:
    """In focus, where the spot is 0.15 mm wide."""

    def between(self, spacing_mm: float) -> float:
        """Dose midway between two lines over the mean."""
        return float(ripple_factor(beam_radius_mm=BEAM.waist_radius_mm, line_spacing_mm=spacing_mm, phase=0.5))

    def test_lines_a_millimetre_apart_stand_alone(self) -> None:
        why = "jagged: nothing at all between the lines"
        name = "dose midway between lines 1 mm apart over the mean"
        check(name, got=self.between(1.0), expected=0.0, tolerance=1e-9, why=why)

    def test_lines_a_twentieth_apart_leave_nothing_to_see(self) -> None:
        why = "smooth: nothing that a byte of grey would tell"
        name = "dose midway between lines 0.05 mm apart over the mean"
        check(name, got=self.between(0.05), expected=1.0, tolerance=1e-4, why=why)
        assert banding_L(wish(38.0, Hold()), focus_offset_mm=IN_FOCUS, line_spacing_mm=0.05) < 0.01

    def test_lines_a_millimetre_apart_run_from_bare_to_full(self) -> None:
        jagged = banding_L(wish(38.0, Hold()), focus_offset_mm=IN_FOCUS, line_spacing_mm=1.0)
        assert jagged > 0.9 * (MAPLE.curve.bare_L - 38.0)


SPEEDS_mm_per_s = (100.0, 200.0, 300.0, 400.0, 500.0, 600.0)


class TestReach:
    """The faster the scan, the smaller the area, on both sides."""

    @pytest.mark.parametrize("jerk", [MACHINE.jerk_mm_per_s3, None])
    def test_what_is_left_of_the_bed_shrinks_with_speed(self, jerk: float | None) -> None:
        machine = replace(MACHINE, jerk_mm_per_s3=jerk)
        rooms = np.array([room_needed_mm(machine, axis="x", speed_mm_per_s=v) for v in SPEEDS_mm_per_s])
        assert (np.diff(machine.bed_x_mm - 2.0 * rooms) < 0.0).all()

    @pytest.mark.parametrize("speed", SPEEDS_mm_per_s)
    def test_a_mark_that_just_fits_keeps_its_speed_and_a_millimetre_nearer_to_either_edge_does_not(
        self, speed: float
    ) -> None:
        room = room_needed_mm(MACHINE, axis="x", speed_mm_per_s=speed)
        assert speed_limit_mm_per_s(MACHINE, axis="x", room_mm=room) == pytest.approx(speed)
        held = wish(38.0, Hold(speed_mm_per_s=speed, scan_axis="x"))
        for rooms in ((room + 1e-6, 200.0), (200.0, room + 1e-6)):
            assert "run-up" not in search(replace(held, room_mm={"x": rooms, "y": (9.0, 9.0)})).gave_way
        for rooms in ((room - 1.0, 200.0), (200.0, room - 1.0)):
            assert "run-up" in search(replace(held, room_mm={"x": rooms, "y": (9.0, 9.0)})).gave_way

    def test_the_head_runs_further_past_the_mark_on_both_sides(self) -> None:
        machine: Machine = replace(MACHINE, rise_time_s=0.0)
        past = []
        for speed in SPEEDS_mm_per_s:
            moved, burnt = boxes_mm(
                raster_events(
                    machine,
                    np.full((4, 300), 20.0, np.float32),
                    axis="x",
                    along_origin_mm=200.0,
                    cross_origin_mm=100.0,
                    line_spacing_mm=0.1,
                    speed_mm_per_s=speed,
                    passes=1,
                )
            )
            assert moved is not None
            assert burnt is not None
            past.append((burnt[0] - moved[0], moved[2] - burnt[2]))
        left, right = np.array(past).T
        assert (np.diff(left) > 0.0).all()
        np.testing.assert_allclose(left, right, rtol=0, atol=1e-9)


def test_the_nozzle_stands_around_9_5_mm_off() -> None:
    got, why = LENS.focus_stand_off_mm, "“around”, so half a millimetre"
    check("stand-off of a common lens and nozzle", got=got, expected=9.5, tolerance=0.5, unit="mm", why=why)


class TestAir:
    def test_about_5_psi(self) -> None:
        got, why = psi(AIR_COMMON_kPa), "“about 5”, and 34 kPa is 34.5 cut"
        check("air for engraving", got=got, expected=5.0, tolerance=0.1, unit="psi", why=why)

    def test_set_where_the_machine_can(self) -> None:
        assert air_kPa(MACHINE, self.mark()) == 34.0

    def test_as_low_as_the_machine_allows_where_it_cannot(self) -> None:
        strong = replace(MACHINE, air_kPa=(60.0, 200.0))
        assert air_kPa(strong, self.mark()) == 60.0

    def test_the_air_of_cutting_is_called_too_strong(self) -> None:
        assert max(MACHINE.air_kPa) > AIR_COMMON_kPa * AIR_STRONG_FACTOR

    def mark(self) -> Mark:
        return Mark(
            id="a",
            art_label="a square",
            treatment="solid",
            tone_L=38.0,
            place_mm=(0.0, 0.0),
            size_mm=(50.0, 50.0),
            hold=Hold(),
        )


def test_bamboo_burns_unevenly_and_is_said_to() -> None:
    bamboo = shipped_wood("bamboo")
    found = {check.code for check in wood_checks(bamboo, material=None, confirmed=False)}
    assert "burns-unevenly" in found
    assert bamboo.curve.evenness_L == max(shipped_wood(name).curve.evenness_L for name in shipped_ids())
    assert "burns-unevenly" not in {c.code for c in wood_checks(MAPLE, material=None, confirmed=False)}


@pytest.mark.parametrize("name", [name for name in shipped_ids() if name != "slate"])
def test_wood_is_washed_with_water_first_and_oiled_overnight(name: str) -> None:
    steps = {step.name: step for step in shipped_wood(name).finishing}
    order = list(steps)
    assert "water" in steps["wash"].how
    assert order.index("wash") < order.index("dry") < order.index("oil")
    assert "overnight" in steps["oil"].time_text
