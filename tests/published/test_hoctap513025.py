"""[hoctap513025] A school task with its solution: how long a beam takes to go through a steel plate, by energy balance.

- P = 10 W, beam 1 mm wide, plate 2 mm thick at 30 °C, steel 7800 kg/m³, 448 J/(kg K), melts at 1535 °C with 270 kJ/kg;
  losses left out. Printed answer 1.16 s: SEEN with its solution, and once more in another collection.
- From the second collection, SEEN: 10 W boil 3.963 mm³ of tissue water a second, 37 °C, 4.18 kJ/(kg K), 2260 kJ/kg.
Mapping: dose = P t / area, energy per volume = ρ (c ΔT + L); the depth has to be the plate's.
Tolerance: half of the last digit printed, 0.005 s of 1.16 s and 0.0005 mm³ of 3.963 mm³.
"""

from __future__ import annotations

import math
from functools import partial

import outside
from evenburn.core.planning.rescue.burn_depth import taken_depth_mm
from outside import HALF_DIGIT

STEEL_J_per_mm3 = 7800e-9 * (448.0 * (1535.0 - 30.0) + 270e3)
WATER_J_per_mm3 = 1000e-9 * (4180.0 * (100.0 - 37.0) + 2260e3)
BEAM_mm2 = math.pi / 4.0 * 1.0**2


check = partial(outside.check, field="wood and heat", source="hoctap513025", trust="seen", why=HALF_DIGIT)


def test_the_plate_is_through_after_the_printed_time() -> None:
    dose = 10.0 * 1.16 / BEAM_mm2

    got, within = taken_depth_mm(dose, cut_J_per_mm3=STEEL_J_per_mm3), 2.0 * 0.005 / 1.16
    check("steel through which 10 W, 1 mm wide, goes in 1.16 s", got=got, expected=2.0, tolerance=within, unit="mm")


def test_water_boils_away_at_the_printed_rate() -> None:
    got = taken_depth_mm(10.0, cut_J_per_mm3=WATER_J_per_mm3)  # 10 J on 1 mm²
    check("tissue water that 10 W boil in a second", got=got, expected=3.963, tolerance=5e-4, unit="mm³")
