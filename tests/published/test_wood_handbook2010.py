"""[wood-handbook2010] Wood Handbook ch. 4: conductivity and heat capacity of wood, and so how fast heat goes through it.

- Eq. 4-7, 4-16 to 4-19 as implemented, with worked examples, in the documentation of the Python library chemics, SEEN:
  k = 0.1567 W/(m K) at basic gravity 0.54, shrinkage 12.3 %, moisture 10 %; cp = 1.9146 kJ/(kg K) at 12 % and 340 K.
- A table of material properties, SEEN (repository amarschn/tools): pine k 0.12 to 0.15 W/(m K), 550 kg/m³, 1760 J/(kg K);
  oak 0.16 to 0.19, 750, 1700.
- [barcikowski2006], abstract SEEN: heat under a CO2 laser reaches 14 to 70 µm into pine.
Definition: a = k / (ρ cp). 1 W/(m K) / (kg/m³ · J/(kg K)) = 1e6 mm²/s.
Tolerance: none; published values have to lie inside our range, which is wide on purpose.
"""

from __future__ import annotations

from functools import partial

import pytest

import outside
from evenburn.core.planning.rescue.burn_depth import (
    HEATED_LENGTHS,
    WOOD_DIFFUSIVITY_mm2_per_s,
    diffusion_length_mm,
)

GRAVITY_10 = 0.54 / (1.0 - 0.123 * (1.0 - 10.0 / 30.0))  # eq. 4-7, fibre saturation at 30 %
DENSITY_10 = 1000.0 * GRAVITY_10 * 1.10  # kg/m³ with its 10 % of water
PUBLISHED = [  # W/(m K), kg/m³, J/(kg K)
    pytest.param(0.1567, DENSITY_10, 1914.6, id="handbook, 0.54"),
    pytest.param(0.12, 550.0, 1760.0, id="pine, least"),
    pytest.param(0.15, 550.0, 1760.0, id="pine, most"),
    pytest.param(0.16, 750.0, 1700.0, id="oak, least"),
    pytest.param(0.19, 750.0, 1700.0, id="oak, most"),
]
REACH_um = (14.0, 70.0)  # [barcikowski2006]


check = partial(outside.check, field="wood and heat", tolerance=0.0)


@pytest.mark.parametrize(("conductivity", "density", "capacity"), PUBLISHED)
def test_published_diffusivities_lie_inside_the_range_used(
    conductivity: float, density: float, capacity: float
) -> None:
    low, high = WOOD_DIFFUSIVITY_mm2_per_s

    published, name = (
        1e6 * conductivity / (density * capacity),
        f"k {conductivity:g} W/(m K), {density:.0f} kg/m³, {capacity:g} J/(kg K)",
    )
    told = partial(
        check, source="wood-handbook2010", trust="seen", unit="mm²/s", why="the range used is wide on purpose"
    )
    told(f"least diffusivity reckoned with, {name}", got=low, expected=published, bound="at most")
    told(f"greatest, {name}", got=high, expected=published, bound="at least")


@pytest.mark.parametrize("dwell_ms", [0.4, 1.0, 5.0])  # a spot of 0.1 to 0.5 mm at 400 to 60 mm/s
def test_the_browned_layer_is_of_the_published_size(dwell_ms: float) -> None:
    low, high = (
        1e3 * lengths * diffusion_length_mm(a, time_s=1e-3 * dwell_ms)
        for lengths, a in zip(HEATED_LENGTHS, WOOD_DIFFUSIVITY_mm2_per_s, strict=True)
    )

    name, why = f"browned layer after {dwell_ms:g} ms", "published as a range; ours has to meet it"
    told = partial(check, source="barcikowski2006", trust="seen", unit="µm", why=why)
    told(f"least {name}", got=low, expected=REACH_um[1], bound="at most")
    told(f"greatest {name}", got=high, expected=REACH_um[0], bound="at least")
