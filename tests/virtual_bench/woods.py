"""The virtual woods. Their physics is not the one that evenburn computes with: what a pulse of the beam does depends on its
own temperature, on what earlier pulses left behind, and on the grain.

One pulse with fluence F lasting τ heats a layer (its depth grows with heat conduction) up to a temperature that vapour
cooling holds down. The hotter the plume, the less of the beam gets through. First the water has to go. Two reactions in a
row, with Arrhenius rates: wood to brown matter, brown matter to char. The yield of char follows the scheme of Chan, Kelbon
and Krieger (1985): A 1.08e7 /s, E 121 kJ/mol for char; 2.0e8, 133 for tar; 1.3e8, 140 for gas, and falls with temperature.
Char shields what lies below; much of it burns to ash, which is lighter. What the eye sees follows Kubelka and Munk from the
absorption of wood, brown matter and char. Slate instead frosts over (more scattering) and melts to darker glass later.
All numbers of single woods are made up, so that bare tones and doses are of an ordinary size.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

GAS_J_PER_mol_K = 8.314


@dataclass(frozen=True, slots=True, kw_only=True)
class Wood:
    """One wood or lot: what it is like on average. `spread` says by how much lots differ; boards differ by `board_*`."""

    name: str
    bare_L: float
    warmth_nm: float  # absorption of the bare wood falls by e over so many nm: small is warm
    absorbed: float = 0.90  # of the beam
    heat_depth_mm: float = 0.010
    heat_J_per_mm3_K: float = 1.15e-3
    diffusivity_mm2_per_s: float = 0.15
    plume_W_per_mm2: float = 5000.0  # intensity at which the plume takes half
    water_J_per_mm2: float = 0.008
    vapour_K: float = 1900.0  # how far vapour cooling lets the temperature rise
    brown_per_s: float = 1.6e8
    brown_J_per_mol: float = 84.0e3
    char_per_s: float = 2.0e7
    char_J_per_mol: float = 90.0e3
    brown_J_per_mm2: float = 0.30  # converted energy that makes most of the brown matter
    brown_darkness: float = 0.42
    brown_order: float = 2.1  # above 1: what is browned browns faster, as cellulose does (Avrami's exponent)
    ripe_J_per_mm2: float = 0.60  # brown matter that chars half as readily as much of it would
    brown_nm: float = 68.0
    char_darkness: float = 40.0
    shield: float = 1.2  # char that halves further charring
    ash_at: float = 0.35  # char beyond which it burns away
    ash_share: float = 0.16
    ash_L: float = 58.0
    gloss: float = 0.012  # reflected at the surface whatever is below
    ring_mm: float = 2.4
    ring_bare: float = 0.12  # late wood against early wood: absorption of light
    ring_beam: float = 0.05  # … and of the beam
    fibre_bare: float = 0.10
    pores: float = 0.0
    blotch_beam: float = 0.03
    blotch_mm: float = 5.0
    board_beam: float = 0.025
    board_bare_L: float = 1.2
    spread: float = 1.0
    stone: bool = False


WOODS: dict[str, Wood] = {
    w.name: w
    for w in (
        Wood(name="hard-maple", bare_L=83.0, warmth_nm=95.0, ring_bare=0.08, ring_beam=0.03, blotch_beam=0.035),
        Wood(name="beech", bare_L=73.0, warmth_nm=120.0, pores=0.25, fibre_bare=0.14, brown_J_per_mm2=0.27),
        Wood(name="oak", bare_L=67.0, warmth_nm=115.0, pores=1.0, ring_bare=0.25, ring_beam=0.10, ring_mm=3.0, blotch_beam=0.05),
        Wood(name="walnut", bare_L=45.0, warmth_nm=190.0, char_darkness=46.0, pores=0.6, ring_bare=0.2, absorbed=0.92),
        Wood(name="cherry", bare_L=65.0, warmth_nm=95.0, absorbed=0.95, brown_darkness=0.55, blotch_beam=0.05, blotch_mm=8.0),
        Wood(
            name="birch-plywood", bare_L=81.0, warmth_nm=105.0, absorbed=0.96, char_darkness=35.0, ring_bare=0.1,
            ring_mm=6.0, blotch_beam=0.05, board_beam=0.04,
        ),
        Wood(
            name="bamboo", bare_L=76.0, warmth_nm=85.0, char_darkness=29.0, ring_mm=1.6, ring_bare=0.22, ring_beam=0.12,
            blotch_beam=0.06, board_beam=0.04, ash_L=64.0,
        ),
        Wood(name="acacia", bare_L=55.0, warmth_nm=140.0, ring_bare=0.35, ring_beam=0.10, pores=0.5, board_bare_L=2.0),
        Wood(name="teak", bare_L=54.0, warmth_nm=135.0, water_J_per_mm2=0.006, absorbed=0.86, pores=0.5, ring_bare=0.22),
        Wood(
            name="slate", bare_L=35.0, warmth_nm=-1500.0, stone=True, absorbed=0.85, heat_depth_mm=0.012, gloss=0.02,
            heat_J_per_mm3_K=2.1e-3, diffusivity_mm2_per_s=0.5, plume_W_per_mm2=50000.0, water_J_per_mm2=0.002,
            vapour_K=2500.0, brown_per_s=4.0e6, brown_J_per_mol=42.0e3, brown_J_per_mm2=0.55, brown_darkness=14.0,
            char_per_s=2.0e6, char_J_per_mol=95.0e3, char_darkness=0.35, ash_share=0.0, ring_bare=0.0, ring_beam=0.0,
            fibre_bare=0.03, blotch_beam=0.05, shield=6.0,
        ),
    )
}  # fmt: skip


def lot_of(wood: Wood, rng: np.random.Generator) -> Wood:
    """A lot of a wood: its own parameters a little off those of its kind."""
    s = wood.spread

    def off(value: float, share: float) -> float:
        return float(value * np.exp(s * share * rng.normal()))

    return replace(
        wood,
        bare_L=float(wood.bare_L + s * rng.normal(0.0, 2.0)),
        absorbed=min(0.99, off(wood.absorbed, 0.04)),
        heat_depth_mm=off(wood.heat_depth_mm, 0.12),
        plume_W_per_mm2=off(wood.plume_W_per_mm2, 0.3),
        water_J_per_mm2=off(wood.water_J_per_mm2, 0.4),
        brown_per_s=off(wood.brown_per_s, 0.25),
        char_per_s=off(wood.char_per_s, 0.25),
        brown_J_per_mm2=off(wood.brown_J_per_mm2, 0.12),
        brown_darkness=off(wood.brown_darkness, 0.12),
        char_darkness=off(wood.char_darkness, 0.12),
        ash_at=off(wood.ash_at, 0.15),
        ring_mm=off(wood.ring_mm, 0.25),
        ring_bare=off(wood.ring_bare, 0.3),
        blotch_beam=off(wood.blotch_beam, 0.25),
        blotch_mm=off(wood.blotch_mm, 0.2),
    )
