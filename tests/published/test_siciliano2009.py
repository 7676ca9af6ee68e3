"""[siciliano2009] B. Siciliano et al., Robotics, Springer 2009, sec. 4.2.1: a trapezoid of given time and acceleration.

- t_c = T/2 − ½ √((T² a − 4 L)/a). Example L = π, T = 1, a = 6π: t_c = 0.211325 s, v = 3.983380. MEM, recomputed.
Our function goes the other way, from speed to time, so the example's speed has to give back its time of 1 s.
Tolerance: the speed is printed to 5e-7, and dT/dv = 1/a − L/v² is under 0.15 s per unit, so 1e-7 s.
"""

from __future__ import annotations

import math
from functools import partial

import outside
from evenburn.core.motion.profile import move_time_s, time_to_speed_s
from outside import HALF_DIGIT

check = partial(outside.check, field="motion", source="siciliano2009", trust="from memory", unit="s")

WAY, ACCEL, SPEED = math.pi, 6.0 * math.pi, 3.983380


def test_the_speed_of_the_example_takes_one_second() -> None:
    time_s = float(move_time_s(WAY, speed_mm_per_s=SPEED, accel_mm_per_s2=ACCEL, jerk_mm_per_s3=None))
    why = "half of the last digit of the speed printed, through dT/dv under 0.15"
    check("π from rest to rest at 3.983380 and 6π", got=time_s, expected=1.0, tolerance=1e-7, why=why)


def test_its_ramp_takes_0_211325_s() -> None:
    ramp_s = float(time_to_speed_s(SPEED, accel_mm_per_s2=ACCEL, jerk_mm_per_s3=None))
    check("its ramp", got=ramp_s, expected=0.211325, tolerance=5e-7, why=HALF_DIGIT)
