"""[carslaw1959] Carslaw and Jaeger, 2.4: a half-space whose surface is held hot is at erfc(z/√(4 a t)) of it in the depth z.

- erfc(1) = 0.1573, [dlmf] 7.1 by way of any table: MEM. The form MEM.
Mapping: our diffusion length is √(4 a t), where therefore 0.1573 of the surface's temperature has come.
The heat equation itself is stepped forward here in small steps (explicit differences), which knows nothing of erfc.
Tolerance 0.001: cells of 1/50 of the length, read between two of them.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

import outside
from evenburn.core.planning.rescue.burn_depth import diffusion_length_mm

ERFC_1 = 0.1573
WITHIN = 0.001


check = partial(outside.check, field="wood and heat", source="carslaw1959", trust="from memory")


@pytest.mark.parametrize(("diffusivity", "time_s"), [(0.15, 1e-3), (1.0, 2e-2)])
def test_at_the_diffusion_length_the_heat_equation_gives_erfc_of_one(diffusivity: float, time_s: float) -> None:
    length = diffusion_length_mm(diffusivity, time_s=time_s)
    cell = length / 50.0
    step_s = 0.4 * cell**2 / diffusivity
    steps = round(time_s / step_s)
    number = diffusivity * (time_s / steps) / cell**2
    hot = np.zeros(400)  # 8 lengths: the far end stays cold
    hot[0] = 1.0
    for _ in range(steps):
        hot[1:-1] += number * (hot[2:] - 2.0 * hot[1:-1] + hot[:-2])

    name = f"share of the surface's heat at the diffusion length, {diffusivity:g} mm²/s after {1e3 * time_s:g} ms"
    why = "the heat equation is stepped in cells of 1/50 of the length"
    check(name, got=hot[50], expected=ERFC_1, tolerance=WITHIN, why=why)
