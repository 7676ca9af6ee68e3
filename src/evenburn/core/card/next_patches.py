"""What to burn next: the few patches that would narrow a fitted curve most, and by how much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.card.informing import Candidate, Informed
from evenburn.core.nouns.card import Reading
from evenburn.core.nouns.wood import CharacteristicCurve

FloatArray = NDArray[np.float64]

POWERS, SPEEDS = 24, 5
LEAST_mm_per_s = 0.1  # speeds are offered in tenths
COUNT = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class NextPatch:
    """A patch worth burning, and what the tones would be known to once it and those before it are read. [L*]"""

    power_W: float
    power_fraction: float
    speed_mm_per_s: float
    line_spacing_mm: float
    focus_offset_mm: float
    passes: int
    tone_L_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NextPatches:
    """Patches in the order of what they tell, and the standard deviation of tones, meant over the range, before them. [L*]"""

    patches: tuple[NextPatch, ...]
    now_L_sd: float


def next_patches(
    curve: CharacteristicCurve,
    readings: Sequence[Reading],
    *,
    covariance: FloatArray,
    generator: np.random.Generator,
    count: int = COUNT,
) -> NextPatches:
    """Return the patches, within the powers and speeds of the cards that were read, that narrow a curve most.

    Parameters
    ----------
    covariance : (9, 9) of the curve's parameters without what all patches share, which no patch more narrows.
    generator : draws the curves of which one may be true; seeded alike, the answer is the same.

    Powers and fractions are those between the cards' least and greatest: what this machine is known to do.

    Source
    ------
    Greedy choice for the least mean variance of the tone (I-optimality), [atkinson2007], chapter 10.
    """
    burnt = [p.patch for r in readings for p in r.patches]
    pairs = sorted({(p.power_W, p.power_fraction) for p in burnt})
    watts, fractions = (np.array(v) for v in zip(*pairs, strict=True))
    speeds = np.array([p.speed_mm_per_s for p in burnt])
    offered = np.unique(np.maximum(np.round(np.geomspace(speeds.min(), speeds.max(), SPEEDS), 1), LEAST_mm_per_s))
    last = readings[-1].card
    twice = bool(max(p.passes for p in burnt) > 1)
    powers = np.geomspace(watts[0], watts[-1], POWERS)
    candidates = [
        Candidate(power_W=float(w), power_fraction=float(f), speed_mm_per_s=float(v), passes=n)
        for v in offered
        for n in ((1, 2) if twice else (1,))
        for w, f in zip(powers, np.interp(powers, watts, fractions), strict=True)
    ]
    informed = Informed(
        curve,
        covariance,
        candidates=candidates,
        beam_radius_mm=last.beam_radius_mm,
        line_spacing_mm=burnt[-1].line_spacing_mm,
        twice=twice,
        generator=generator,
    )
    now = informed.mean_sd_L()
    chosen: list[NextPatch] = []
    taken = np.zeros(len(candidates), np.bool_)
    for _ in range(count):
        best = int(np.argmax(np.where(taken, -np.inf, informed.gains())))  # each once: its like is nearly as good
        informed.add(best)
        taken[best] = True
        each = candidates[best]
        chosen.append(
            NextPatch(
                power_W=each.power_W,
                power_fraction=each.power_fraction,
                speed_mm_per_s=each.speed_mm_per_s,
                line_spacing_mm=burnt[-1].line_spacing_mm,
                focus_offset_mm=last.focus_offset_mm,
                passes=each.passes,
                tone_L_sd=informed.mean_sd_L(),
            )
        )
    return NextPatches(patches=tuple(chosen), now_L_sd=now)
