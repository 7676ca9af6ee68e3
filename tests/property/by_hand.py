"""What a recipe does to the wood, computed once more from the design's formulas (section 4), sharing no code with evenburn.

Sources: [siegman1986] for the beam, [liu1982] and [dlmf] for sums of Gaussian lines, [mannos1974] and [cie15] for the eye.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.recipe import Recipe
from evenburn.core.nouns.wood import CharacteristicCurve

ABERRATION = {"meniscus": 0.0187, "plano-convex": 0.0286}  # [iiviinfrared], from memory
NEIGHBOURS = 40
PLACES = 400  # across half a line spacing


def waist_mm(lens: Lens) -> tuple[float, float]:
    """Waist radius and Rayleigh length; an aberrated spot keeps the cone of its lens."""
    f, d = lens.focal_length_mm, lens.beam_diameter_mm
    diffraction = 4.0 * lens.beam_quality_m2 * lens.wavelength_um * 1e-3 * f / (math.pi * d)
    waist = 0.5 * (diffraction + ABERRATION[lens.shape] * d**3 / f**2)
    return waist, waist / (0.5 * d / f)


def radius_mm(lens: Lens, offset_mm: float) -> float:
    waist, rayleigh = waist_mm(lens)
    return waist * math.sqrt(1.0 + (offset_mm / rayleigh) ** 2)


def tone_of(c: CharacteristicCurve, x: float) -> float:
    k, nu = c.steepness_per_decade, c.asymmetry
    rise = (1.0 + (2.0**nu - 1.0) * math.exp(min(700.0, -k * (x - c.x_mid)))) ** (-1.0 / nu)
    turn = 1.0 / (1.0 + math.exp(min(700.0, -k * (x - c.x_reversal))))
    return c.bare_L + (c.full_L - c.bare_L) * rise + c.reversal_L * turn


def exposure_of(c: CharacteristicCurve, tone: float) -> float:
    """Exposure of a tone by halving, between the low end and the char limit or the turn; the end where there is none."""
    way = -1.0 if c.full_L < c.bare_L else 1.0
    low, high = c.x_low, min(c.x_high, c.x_char)
    high = max((low + (high - low) * i / 4000 for i in range(4001)), key=lambda x: way * tone_of(c, x))
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if way * (tone_of(c, middle) - tone) < 0.0 else (low, middle)
    return low


def lines_sum(w: float, p: float, place: float) -> float:
    """Dose over mean dose at a place between lines, 0 on a line: one Gaussian after the other."""
    reach = max(NEIGHBOURS, math.ceil(4.0 * w / p))
    gaussians = (math.exp(-2.0 * ((place - k) * p / w) ** 2) for k in range(-reach, reach + 1))
    return math.sqrt(2.0 / math.pi) * p / w * sum(gaussians)


def lightness(y: float) -> float:
    return 116.0 * y ** (1.0 / 3.0) - 16.0 if y > 216.0 / 24389.0 else 24389.0 / 27.0 * y


def luminance(tone: float) -> float:
    return ((tone + 16.0) / 116.0) ** 3 if tone > 8.0 else tone * 27.0 / 24389.0


def unseen_L(tone: float, p: float, distance_mm: float) -> float:
    """Banding that is not seen: the eye's contrast sensitivity, 200 at its best, and 1 L* at most."""
    cpd = 2.0 * distance_mm * math.tan(math.radians(0.5)) / p
    relative = 2.6 * (0.0192 + 0.114 * cpd) * math.exp(-((0.114 * cpd) ** 1.1))
    contrast = min(0.5, 1.0 / (200.0 * max(relative, 1e-6)))
    y = luminance(tone)
    return min(1.0, lightness(y * (1.0 + contrast)) - lightness(y * (1.0 - contrast)))


def inverse_erf(share: float) -> float:
    low, high = 0.0, 6.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if math.erf(middle) < share else (low, middle)
    return low


def kept_mm(*, w: float, smear: float, p: float, share: float) -> float:
    """Narrowest stroke and gap kept: docs/how-it-works/detail.md."""
    share = min(max(share, 1e-6), 1.0 - 1e-6)
    reach = math.sqrt(2.0) * max(inverse_erf(share), inverse_erf(1.0 - share))
    return reach * math.hypot(w, 2.0 * smear) + 0.5 * p


def run_up_mm(v: float, a: float, j: float | None) -> float:
    """v²/2a; with limited jerk the mean of speed on the way is half, and the way there takes v/a + a/j or 2 √(v/j)."""
    if j is None:
        return 0.5 * v * v / a
    return 0.5 * v * (v / a + a / j if v >= a * a / j else 2.0 * math.sqrt(v / j))


def watts(machine: Machine, fraction: float) -> float:
    for (f0, w0), (f1, w1) in pairwise(machine.power_curve):
        if f0 <= fraction <= f1 + 1e-12:
            return w0 + (w1 - w0) * (fraction - f0) / (f1 - f0)
    raise AssertionError(f"a power fraction of {fraction}")


@dataclass(frozen=True, kw_only=True)
class Burnt:
    """What a recipe does on one wood through one lens, the board uneven by ±."""

    machine: Machine
    lens: Lens
    curve: CharacteristicCurve
    recipe: Recipe
    unevenness_mm: float

    def exposure(self, *, power_W: float | None = None) -> float:
        """Effective exposure of an even area at the planned focus."""
        r, c = self.recipe, self.curve
        w, v = radius_mm(self.lens, r.focus_offset_mm), r.speed_mm_per_s
        dose = r.passes * (r.power_W if power_W is None else power_W) / (v * r.line_spacing_mm)
        # like lines at a place, (Σ H)² / Σ H² = √π w / p of Gaussian ones, beside those three quarters of a radius apart
        over = r.passes * max(math.sqrt(math.pi) * w / r.line_spacing_mm, 1.0) * 0.75 / math.sqrt(math.pi)
        return math.log10(dose) + c.kappa * math.log10(2e3 * w / v) + (c.pass_exponent - 1.0) * math.log10(over)

    def radii_mm(self) -> tuple[float, float, float]:
        """Beam at the planned focus, where the board comes nearest to the waist, and where it lies farthest off."""
        z, u = abs(self.recipe.focus_offset_mm), self.unevenness_mm
        return radius_mm(self.lens, z), radius_mm(self.lens, max(z - u, 0.0)), radius_mm(self.lens, z + u)

    def sharp_exposures(self, *, power_W: float | None = None) -> tuple[float, float]:
        """Exposure on a line and midway between two, where the board comes nearest to the waist."""
        w, sharp, _ = self.radii_mm()
        here = self.exposure(power_W=power_W) + self.curve.kappa * math.log10(sharp / w)
        p = self.recipe.line_spacing_mm
        return tuple(here + math.log10(max(lines_sum(sharp, p, u), 1e-300)) for u in (0.0, 0.5))  # type: ignore[return-value]

    def banding_L(self, *, power_W: float | None = None) -> float:
        on, between = self.sharp_exposures(power_W=power_W)
        return abs(tone_of(self.curve, on) - tone_of(self.curve, between))

    def warp_L(self) -> float:
        """Farthest that the tone of an even dose moves over the board's unevenness."""
        w, sharp, soft = self.radii_mm()
        x, k = self.exposure(), self.curve.kappa
        tones = [tone_of(self.curve, x + k * math.log10(other / w)) for other in (sharp, soft)]
        return max(abs(tone - tone_of(self.curve, x)) for tone in tones)

    def tone_L(self) -> float:
        """Tone seen from afar: mean reflectance from a line to midway between two."""
        w, p, x = self.radii_mm()[0], self.recipe.line_spacing_mm, self.exposure()
        places = [0.5 * (i + 0.5) / PLACES for i in range(PLACES)]
        tones = [tone_of(self.curve, x + math.log10(max(lines_sum(w, p, u), 1e-300))) for u in places]
        return lightness(sum(luminance(tone) for tone in tones) / PLACES)

    def kept_mm(self, tone: float) -> float:
        """Narrowest stroke and gap kept, the board where it lies farthest off."""
        c = self.curve
        share = 10.0 ** (exposure_of(c, 0.5 * (c.bare_L + tone)) - self.exposure())
        r = self.recipe
        smear = r.speed_mm_per_s * self.machine.rise_time_s
        return kept_mm(w=self.radii_mm()[2], smear=smear, p=r.line_spacing_mm, share=min(share, 10.0**-1e-3))
