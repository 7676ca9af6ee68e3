"""The virtual machine: what it truly is. Its owner's machine file says something near it, or less."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator


@lru_cache(maxsize=64)
def _curve(points: tuple[tuple[float, float], ...]) -> PchipInterpolator:
    f, watts = zip((0.0, 0.0), *(p for p in points if p[0] > 0.0), strict=True)
    return PchipInterpolator(f, watts)


@lru_cache(maxsize=64)
def _words(machine: Machine) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    words = np.linspace(machine.power_least_fraction, 1.0, 1001) * machine.word_max
    return words, np.array([machine.power_W(w) for w in words])


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """True values of a bench. `drawn` gives one that differs from what its owner believes as benches do.

    Attributes
    ----------
    power_curve : (fraction, W) on the work, gone through smoothly.
    power_wave : the tube's curve waves by so much of the power between the points that were measured.
    power_least_fraction : below it the tube does not fire at all.
    waist_mm : 1/e² radius at the waist. [mm]
    waist_at_mm : focus offset at which the waist truly lies on the surface. [mm]
    astigmatism_mm : the waists of x and y lie so far apart. [mm]
    tail_share, tail_width : part of the power in a pedestal, and its radius over that of the beam.
    reversal_offset_mm : a line burnt towards + lands so far towards + from one burnt towards −. [mm]
    jitter_s : standard deviation of when a line's switching is answered. [s]
    corner_mm : the controller may cut a corner by so much instead of stopping. [mm]
    line_overhead_s : what it adds for each stretch that burns. [s]
    tilt_mm_per_m : slope of the bed in x and in y.
    """

    bed_mm: tuple[float, float] = (600.0, 400.0)
    word_max: float = 1000.0
    power_curve: tuple[tuple[float, float], ...] = ((0.1, 4.0), (0.5, 31.0), (1.0, 60.0))
    power_wave: float = 0.0
    power_gain: float = 1.0
    power_least_fraction: float = 0.10
    rise_s: float = 0.0002
    fall_s: float = 0.0002
    rapid_mm_per_s: float = 600.0
    accel_x_mm_per_s2: float = 5000.0
    accel_y_mm_per_s2: float = 3000.0
    jerk_mm_per_s3: float = 100000.0
    corner_mm: float = 0.0
    line_overhead_s: float = 0.0
    jitter_s: float = 0.0
    reversal_offset_mm: float = 0.0
    waist_mm: float = 0.075
    waist_at_mm: float = 0.0
    astigmatism_mm: float = 0.0
    beam_quality: float = 1.3
    wavelength_mm: float = 0.0106
    tail_share: float = 0.0
    tail_width: float = 3.0
    tilt_mm_per_m: tuple[float, float] = (0.0, 0.0)

    @property
    def rayleigh_mm(self) -> float:
        """Distance from the waist at which the radius has grown by √2. Siegman (1986)."""
        return math.pi * self.waist_mm**2 / (self.beam_quality * self.wavelength_mm)

    def radius_mm(self, focus_offset_mm: float) -> float:
        """Mean 1/e² radius on a surface at a focus offset."""
        x, y = self.radii_mm(focus_offset_mm)
        return math.sqrt(x * y)

    def radii_mm(self, focus_offset_mm: float) -> tuple[float, float]:
        """1/e² radii along x and along y."""
        z = focus_offset_mm - self.waist_at_mm
        half = 0.5 * self.astigmatism_mm
        return tuple(self.waist_mm * math.hypot(1.0, (z + d) / self.rayleigh_mm) for d in (half, -half))  # type: ignore[return-value]

    def power_W(self, word: float) -> float:
        """Power on the work that an S word gives in the long run."""
        fraction = min(1.0, word / self.word_max)
        if fraction < self.power_least_fraction - 1e-9:
            return 0.0
        wave = 1.0 + self.power_wave * math.sin(9.0 * fraction + 1.0)
        return max(0.0, float(_curve(self.power_curve)(fraction))) * wave * self.power_gain

    def word_for_W(self, power_W: float) -> float:
        """S word that gives a power in the long run; for tests that want to ask for one."""
        words, watts = _words(self)
        return float(np.interp(power_W, watts, words))

    @classmethod
    def ideal(cls, **known: Any) -> Machine:
        """A machine without any fault, for closed forms."""
        return replace(cls(jerk_mm_per_s3=0.0, rise_s=0.0, fall_s=0.0), **known)

    @classmethod
    def drawn(cls, rng: np.random.Generator, **known: Any) -> Machine:
        """A bench at random, its faults of ordinary size; what is given is kept."""
        believed = replace(cls(), **{k: v for k, v in known.items() if k in {"power_curve", "accel_x_mm_per_s2"}})
        accel = believed.accel_x_mm_per_s2 * rng.uniform(0.7, 1.25)
        drawn: dict[str, Any] = {
            "power_wave": rng.normal(0.0, 0.012),
            "power_gain": rng.normal(1.0, 0.03),
            "rise_s": rng.uniform(0.0001, 0.0004),
            "fall_s": rng.uniform(0.00008, 0.0003),
            "accel_x_mm_per_s2": accel,
            "accel_y_mm_per_s2": accel * rng.uniform(0.5, 0.8),
            "jerk_mm_per_s3": accel * rng.uniform(18.0, 40.0),
            "corner_mm": rng.uniform(0.0, 0.01),
            "line_overhead_s": rng.uniform(0.002, 0.02),
            "jitter_s": rng.uniform(5e-6, 3e-5),
            "reversal_offset_mm": rng.normal(0.0, 0.06),
            "waist_mm": rng.uniform(0.068, 0.105),
            "waist_at_mm": rng.normal(0.0, 0.5),
            "astigmatism_mm": rng.normal(0.0, 0.15),
            "beam_quality": rng.uniform(1.2, 1.7),
            "tail_share": rng.uniform(0.02, 0.08),
            "tail_width": rng.uniform(2.2, 3.2),
            "tilt_mm_per_m": (rng.normal(0.0, 0.8), rng.normal(0.0, 0.8)),
        }
        return replace(cls(), **{**drawn, **known})
