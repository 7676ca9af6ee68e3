"""How much a patch would tell of a wood's curve, whatever the wood turns out to be like within what is believed of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve
from evenburn.core.optics.lines import dwell_ms, effective_passes
from evenburn.core.response.curve import exposure_shift, tone_L, usable_range
from evenburn.core.response.fitting import Observed, tone_jacobian, with_parameters

FloatArray = NDArray[np.float64]

BELIEFS = 24  # curves drawn from what is believed, for which the card has to serve; an even number
PATCH_SD_L = 1.0  # what reading and wood leave of a patch: starting value
TONES = 9  # places along the curve, and dwells, at which the tone is to be known
FAINTEST = 0.03  # the lightest tone of interest, as a share of the way from bare to full
LEAST = {"asymmetry": 0.3}
LEAST_STEEPNESS = 0.4  # of the steepness believed
TOE_DECADES = 1.6  # below the curve's middle, where its toe is looked for

# How far a wood nobody has measured may lie from its starting value. From memory: lots of one wood, its surface and
# moisture, a tube that gives a fifth more or less than its owner believes, and that all starting values are guesses.
FIRST_SD = {
    "bare_L": 10.0,
    "full_L": 10.0,
    "x_mid": 0.3,
    "steepness_per_decade": 4.0,
    "asymmetry": 0.6,
    "reversal_L": 6.0,
    "x_reversal": 0.3,  # beside what x_mid moves it
    "kappa": 0.12,
    "pass_exponent": 0.12,
}
# How far another lot lies from one that was measured: from memory.
LOT_SD = {
    "bare_L": 4.0,
    "full_L": 5.0,
    "x_mid": 0.12,
    "steepness_per_decade": 1.5,
    "asymmetry": 0.3,
    "reversal_L": 3.0,
    "x_reversal": 0.15,
    "kappa": 0.05,
    "pass_exponent": 0.05,
}
LIKENESS = 1.3  # a wood known only by what it is like may lie so much further off


def believed_covariance(curve: CharacteristicCurve, *, likeness: bool = False) -> FloatArray:
    """Return what is believed before a card is burnt, (9, 9) in the order of CURVE_PARAMETERS.

    Wide about a starting value, more so about that of another wood; about a measured curve its own covariance and what
    lots differ by.

    Source
    ------
    Own choice: FIRST_SD, LOT_SD and LIKENESS.
    """
    if curve.provenance.kind == "starting value":
        factor = LIKENESS if likeness else 1.0
        return _moving_together({name: factor * sd for name, sd in FIRST_SD.items()})
    return np.asarray(curve.covariance + _moving_together(LOT_SD), np.float64)


def _moving_together(sd: dict[str, float]) -> FloatArray:
    """Return a covariance in which a wood that takes more to darken takes as much more to turn back."""
    matrix = np.diag(np.square([sd[name] for name in CURVE_PARAMETERS]))
    mid, turn = (CURVE_PARAMETERS.index(name) for name in ("x_mid", "x_reversal"))
    matrix[mid, turn] = matrix[turn, mid] = sd["x_mid"] ** 2
    matrix[turn, turn] += sd["x_mid"] ** 2
    return matrix


def beliefs(
    curve: CharacteristicCurve, covariance: FloatArray, *, generator: np.random.Generator
) -> list[CharacteristicCurve]:
    """Return curves drawn from what is believed of a wood: BELIEFS of them, in pairs that lie opposite each other.

    The char limit moves with the middle of the curve.

    Source
    ------
    Own choice: antithetic draws, so that so few of them are balanced about the middle.
    """
    half = generator.multivariate_normal(np.zeros(len(CURVE_PARAMETERS)), covariance, size=BELIEFS // 2, method="eigh")
    draws = curve.parameters() + np.concatenate((half, -half))
    for name, least in {"steepness_per_decade": LEAST_STEEPNESS * curve.steepness_per_decade, **LEAST}.items():
        column = CURVE_PARAMETERS.index(name)
        draws[:, column] = np.maximum(draws[:, column], least)
    drawn = [with_parameters(curve, d) for d in draws]
    return [replace(b, x_char=curve.x_char + b.x_mid - curve.x_mid) for b in drawn]


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A patch that could be burnt."""

    power_W: float
    power_fraction: float
    speed_mm_per_s: float
    passes: int


def observed(candidates: Sequence[Candidate], *, beam_radius_mm: float, line_spacing_mm: float) -> Observed:
    """Return what burning candidates would be observed at; their tones are not known yet and stand at 0. Definition."""
    power = np.array([c.power_W for c in candidates])
    speed = np.array([c.speed_mm_per_s for c in candidates])
    passes = np.array([float(c.passes) for c in candidates])
    none = np.zeros(len(candidates))
    return Observed(
        log10_dose=np.log10(passes * power / (speed * line_spacing_mm)),
        dwell_ms=dwell_ms(beam_radius_mm=beam_radius_mm, speed_mm_per_s=speed),
        passes=effective_passes(passes=passes, beam_radius_mm=beam_radius_mm, line_spacing_mm=line_spacing_mm),
        tone_L=none,
        tone_L_sd=none + PATCH_SD_L,
    )


def wished_exposures(curve: CharacteristicCurve) -> FloatArray:
    """Return exposures whose tones lie evenly between the faintest of interest and the char limit, (TONES,). Definition."""
    low, high = usable_range(replace(curve, x_low=curve.x_mid - TOE_DECADES, x_high=curve.x_char))
    if high <= low:  # this belief chars before it darkens
        low, high = curve.x_mid - TOE_DECADES, curve.x_mid
    grid = np.linspace(low, high, 400)
    tones = tone_L(curve, grid)
    first, last = float(tones[0]), float(tones[-1])
    rising = np.maximum.accumulate((tones - first) * np.sign(last - first))
    shares = FAINTEST + (1.0 - FAINTEST) * np.linspace(0.0, 1.0, TONES)
    return np.asarray(np.interp(shares * abs(last - first), rising, grid), np.float64)


class Informed:
    """How well the tone is known, over all beliefs, as patches are added one by one.

    `known` holds for each belief the covariance of its parameters; all of them begin with the bare wood having been read.
    """

    def __init__(
        self,
        curve: CharacteristicCurve,
        covariance: FloatArray,
        *,
        candidates: Sequence[Candidate],
        beam_radius_mm: float,
        line_spacing_mm: float,
        twice: bool,
        generator: np.random.Generator,
    ) -> None:
        self.free = np.flatnonzero(np.diag(covariance) > 0.0)
        inside = np.ix_(self.free, self.free)
        seen = observed(candidates, beam_radius_mm=beam_radius_mm, line_spacing_mm=line_spacing_mm)
        self.rows: list[FloatArray] = []
        self.wished: list[FloatArray] = []
        self.known: list[FloatArray] = []
        dwells = np.quantile(seen.dwell_ms, [0.0, 0.5, 1.0])
        for belief in beliefs(curve, covariance, generator=generator):
            x, dwell = (a.ravel() for a in np.meshgrid(wished_exposures(belief), [*dwells, dwells[1]]))
            passes = np.where(np.arange(x.size) >= 3 * TONES, 2.0, 1.0) if twice else np.ones_like(x)
            passes = effective_passes(passes=passes, beam_radius_mm=beam_radius_mm, line_spacing_mm=line_spacing_mm)
            asked = Observed(
                log10_dose=x - exposure_shift(belief, dwell_ms=dwell, passes=passes),
                dwell_ms=dwell,
                passes=passes,
                tone_L=x,
                tone_L_sd=x,
            )
            self.rows.append(tone_jacobian(belief, seen)[:, self.free] / PATCH_SD_L)
            self.wished.append(tone_jacobian(belief, asked)[:, self.free])
            bare = np.zeros(covariance.shape[0])
            bare[0] = 1.0 / PATCH_SD_L
            known, bare = covariance[inside], bare[self.free]
            through = known @ bare
            self.known.append(known - np.outer(through, through) / (1.0 + float(bare @ through)))

    def mean_sd_L(self) -> float:
        """Return the standard deviation of the tone: root mean square over tones and dwells, geometric mean over beliefs.

        [L*] Definition.
        """
        each = [float(np.einsum("ij,jk,ik->i", w, k, w).mean()) for w, k in zip(self.wished, self.known, strict=True)]
        return float(np.exp(0.5 * np.mean(np.log(each))))

    def gains(self) -> FloatArray:
        """Return by how much each candidate would lower the mean variance of the tone, summed over beliefs in logs.

        Source
        ------
        The variance after one more measurement, [atkinson2007], chapter 10.
        """
        total = np.zeros(self.rows[0].shape[0])
        for rows, wished, known in zip(self.rows, self.wished, self.known, strict=True):
            through = rows @ known
            leverage = 1.0 + np.einsum("ij,ij->i", through, rows)
            lowered = np.square(wished @ through.T).mean(axis=0) / leverage
            now = float(np.einsum("ij,jk,ik->i", wished, known, wished).mean())
            total += -np.log1p(-np.minimum(lowered / now, 1.0 - 1e-12))
        return total

    def add(self, index: int) -> None:
        """Take a candidate as burnt. Source: the covariance after one more measurement, [atkinson2007], chapter 10."""
        for number, (rows, known) in enumerate(zip(self.rows, self.known, strict=True)):
            through = known @ rows[index]
            self.known[number] = known - np.outer(through, through) / (1.0 + float(rows[index] @ through))
