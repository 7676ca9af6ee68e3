"""The beam from the widths of a ladder whose lines run along both axes: waist, its place for each axis, Rayleigh length.

Liu's relation holds within each set-up and axis; between set-ups the wood may have taken the beam a little differently
(dwell, blotches, the tube), so each has a threshold and a radius that may be off a little from what all say together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from evenburn.core.errors import InvalidInput
from evenburn.core.optics.beam import Beam
from evenburn.core.optics.ladder import LEAST_OFFSETS, LEAST_WIDTHS, LineWidths

FloatArray = NDArray[np.float64]

KAPPA, KAPPA_SD = 0.12, 0.10  # reciprocity exponent of woods: starting value
ASTIGMATISM_SD_mm = 0.6  # of the distance between both axes' waists
THRESHOLD_SD = 0.15  # of a set-up's log threshold about what dwell explains
RADIUS_SD_LEAST, RADIUS_SD_MOST = 0.012, 0.15  # of a set-up's log radius about the hyperbola
SETTING_SD_mm = 0.05  # of a stand-off set by hand
# what blur, sharpening and tone curve of the phone leave adds to a radius in quadrature, either way:
# as told by the covariance of `line_model`, 3 to 6 % of a waist
BLUR_SD_mm = 0.026
LEAST_FOR_A_RADIUS = 2  # lines seen at one set-up and axis
ROUNDS = 4
EDGE_RAYLEIGH = 0.5  # the waist has to lie so far within the ladder


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BeamFit:
    """The beam as a ladder shows it; lengths in mm.

    Attributes
    ----------
    beam : waist radius and Rayleigh length.
    waist_offset_mm : where the waist lies: add it to the focus stand-off of the machine file.
    astigmatism_mm : waist along x less waist along y; positive: lines along y are sharpest further away.
    threshold_J_per_mm2 : dose on the axis from which on half the darkening is reached, at a dwell of 1 ms.
    waist_radius_sd_mm … : standard deviations.
    covariance : (3, 3) of waist radius, Rayleigh length, waist offset.
    offset_mm, along_x, radius_mm, radius_sd_mm : (B,) each set-up and axis by itself, from Liu's relation alone.
    residual_mm : (N,) measured less fitted width, 0 where no line was seen.
    """

    beam: Beam
    waist_offset_mm: float
    astigmatism_mm: float
    threshold_J_per_mm2: float
    waist_radius_sd_mm: float
    rayleigh_length_sd_mm: float
    waist_offset_sd_mm: float
    astigmatism_sd_mm: float
    threshold_sd_share: float
    covariance: FloatArray
    offset_mm: FloatArray
    along_x: NDArray[np.bool_]
    radius_mm: FloatArray
    radius_sd_mm: FloatArray
    residual_mm: FloatArray


def fit_beam(widths: LineWidths, *, along_x: NDArray[np.bool_], start: Beam) -> BeamFit:
    """Return the beam from the widths of a ladder.

    Parameters
    ----------
    along_x : (N,) which lines run along x; their widths tell the beam's radius in y.
    start : the beam that the lens should have; where the search begins.

    Raises
    ------
    InvalidInput
        If there are too few widths or offsets, or the waist lies outside the ladder; the message says which way.

    Source
    ------
    [liu1982] for lines, b² = 2 w² ln(F/F_threshold), with w² = w0² (1 + ((z − z0)/zR)²); most probable values, the scatter of
    set-ups about the hyperbola estimated from them; covariance (JᵀJ)⁻¹.
    """
    _demand(widths)
    blocks = _blocks(widths, along_x)
    found = _Search(widths, blocks, start=start)
    sd = 0.03
    vector = found.start()
    solved = None
    for _ in range(ROUNDS):
        found.radius_sd = sd
        solved = least_squares(found.misses, vector, loss="soft_l1", f_scale=2.5, x_scale="jac", max_nfev=200)
        vector = np.asarray(solved.x)
        eta = vector[found.etas]
        # what few set-ups leave of their own scatter: three numbers of the hyperbola are taken out
        sd = float(
            np.clip(np.sqrt(np.square(eta).sum() / max(eta.size - 4, 1) + 0.5 * sd**2), RADIUS_SD_LEAST, RADIUS_SD_MOST)
        )
    assert solved is not None  # noqa: S101  # there is at least one round; for the type checker
    jacobian = np.asarray(solved.jac, dtype=np.float64)
    covariance = np.asarray(np.linalg.pinv(jacobian.T @ jacobian), dtype=np.float64)
    fit = _told(found, vector, covariance)
    _inside(fit, widths)
    return fit


Block = tuple[float, bool, NDArray[np.intp]]


def _blocks(widths: LineWidths, along_x: NDArray[np.bool_]) -> list[Block]:
    found: list[Block] = []
    for z in np.unique(widths.offset_mm):
        for x in (True, False):
            mine = np.flatnonzero((widths.offset_mm == z) & (along_x == x) & (widths.width_mm > 0.0))
            if mine.size >= LEAST_FOR_A_RADIUS:
                found.append((float(z), x, mine))
    offsets = {b[0] for b in found}
    if len(offsets) < LEAST_OFFSETS:
        raise InvalidInput(
            {"lines": f"{len(offsets)} focus offsets show two lines or more; at least {LEAST_OFFSETS} are needed"},
            hint="Burn all programs of the ladder, each at its own stand-off.",
        )
    return found


class _Search:
    """Vector: ln w0, ln zR, mean waist offset, astigmatism, ln threshold, κ, blur; then of each set-up ln radius, ln threshold
    and, of each offset, its setting.
    """

    def __init__(self, widths: LineWidths, blocks: list[Block], *, start: Beam) -> None:
        self.widths, self.blocks, self.begin = widths, blocks, start
        self.rows = np.concatenate([b[2] for b in blocks])
        self.of = np.concatenate([np.full(b[2].size, n) for n, b in enumerate(blocks)])
        self.z = np.array([b[0] for b in blocks])
        self.sign = np.array([-0.5 if b[1] else 0.5 for b in blocks])
        self.x = np.array([b[1] for b in blocks])
        self.offsets, self.at = np.unique(self.z, return_inverse=True)
        self.speed = np.array([float(widths.speed_mm_per_s[b[2]].mean()) for b in blocks])
        self.log_energy = np.log(widths.power_W[self.rows] / widths.speed_mm_per_s[self.rows])
        self.width = widths.width_mm[self.rows]
        self.sd = np.maximum(widths.width_sd_mm[self.rows], 0.002)
        n = len(blocks)
        self.etas = slice(7, 7 + n)
        self.deltas = slice(7 + n, 7 + 2 * n)
        self.settings = slice(7 + 2 * n, 7 + 2 * n + self.offsets.size)
        self.radius_sd = 0.03
        self.size = 7 + 2 * n + self.offsets.size
        self.own_radius, self.own_sd = self._own()

    def _own(self) -> tuple[FloatArray, FloatArray]:
        """Return each set-up's radius from a straight line of b² against log energy: slope 2 w²."""
        radius, sd = [], []
        for n in range(len(self.blocks)):
            mine = self.of == n
            e, b2 = self.log_energy[mine], np.square(self.width[mine])
            weight = 1.0 / np.square(2.0 * self.width[mine] * self.sd[mine])
            mean_e, mean_b = np.average(e, weights=weight), np.average(b2, weights=weight)
            spread = float((weight * np.square(e - mean_e)).sum())
            slope = float((weight * (e - mean_e) * (b2 - mean_b)).sum()) / max(spread, 1e-12)
            slope = max(slope, 1e-5)
            w = math.sqrt(0.5 * slope)
            radius.append(w)
            sd.append(min(1.0 / math.sqrt(max(spread, 1e-12)) / (4.0 * w), 2.0 * w))
        return np.array(radius), np.array(sd)

    def start(self) -> FloatArray:
        vector = np.zeros(self.size)
        vector[0], vector[1] = math.log(self.begin.waist_radius_mm), math.log(self.begin.rayleigh_length_mm)
        # a parabola through the squares: where it is least, and how wide
        sd = np.maximum(2.0 * self.own_radius * self.own_sd, 1e-4)
        a, b, c = np.polyfit(self.z, np.square(self.own_radius), 2, w=1.0 / sd)
        if a > 0.0:
            place = float(np.clip(-b / (2.0 * a), self.z.min() - 2.0, self.z.max() + 2.0))
            least = max(c - b * b / (4.0 * a), (0.4 * self.begin.waist_radius_mm) ** 2)
            vector[0], vector[1], vector[2] = 0.5 * math.log(least), 0.5 * math.log(least / a), place
        vector[4] = float(np.median(self.log_energy)) - math.log(self.begin.waist_radius_mm) - 1.0
        vector[5] = KAPPA
        return vector

    def radii(self, v: FloatArray) -> FloatArray:
        z0 = v[2] + self.sign * v[3] - v[self.settings][self.at]
        w0 = math.exp(v[0])
        squares = w0 * w0 * (1.0 + np.square((self.z - z0) / math.exp(v[1]))) + v[6] * abs(v[6])
        return np.asarray(np.sqrt(np.maximum(squares, 1e-6)) * np.exp(v[self.etas]))

    def fitted(self, v: FloatArray) -> FloatArray:
        w = self.radii(v)
        dwell_ms = 2e3 * w / self.speed
        threshold = v[4] - v[5] * np.log(dwell_ms) + v[self.deltas]
        fold = 0.5 * math.log(2.0 / math.pi) + self.log_energy - np.log(w)[self.of] - threshold[self.of]
        b2 = 2.0 * np.square(w)[self.of] * fold
        return np.asarray(np.sign(b2) * np.sqrt(np.abs(b2)))

    def misses(self, v: FloatArray) -> FloatArray:
        return np.concatenate(
            [
                (self.fitted(v) - self.width) / self.sd,
                [
                    v[3] / ASTIGMATISM_SD_mm,
                    (v[5] - KAPPA) / KAPPA_SD,
                    v[6] / BLUR_SD_mm,
                    (v[1] - math.log(self.begin.rayleigh_length_mm)) / 1.5,
                ],
                v[self.etas] / self.radius_sd,
                v[self.deltas] / THRESHOLD_SD,
                v[self.settings] / SETTING_SD_mm,
            ]
        )


def _told(found: _Search, v: FloatArray, covariance: FloatArray) -> BeamFit:
    beam = Beam(waist_radius_mm=math.exp(v[0]), rayleigh_length_mm=math.exp(v[1]))
    scale = np.array([beam.waist_radius_mm, beam.rayleigh_length_mm, 1.0])
    three = covariance[:3, :3] * np.outer(scale, scale)
    # the blur's own doubt is kept out of the search, where it has no slope at nought
    blur = BLUR_SD_mm**2 / (2.0 * beam.waist_radius_mm)
    ratio = beam.rayleigh_length_mm / beam.waist_radius_mm  # the cone is known from far off: both move together
    three[:2, :2] += blur**2 * np.array([[1.0, ratio], [ratio, ratio**2]])
    sd = np.sqrt(np.diag(three))
    residual = np.zeros(found.widths.width_mm.size)
    residual[found.rows] = found.width - found.fitted(v)
    return BeamFit(
        beam=beam,
        waist_offset_mm=float(v[2]),
        astigmatism_mm=float(v[3]),
        threshold_J_per_mm2=math.exp(v[4]),
        waist_radius_sd_mm=float(sd[0]),
        rayleigh_length_sd_mm=float(sd[1]),
        waist_offset_sd_mm=float(sd[2]),
        astigmatism_sd_mm=math.sqrt(max(float(covariance[3, 3]), 0.0)),
        threshold_sd_share=math.sqrt(max(float(covariance[4, 4]), 0.0)),
        covariance=three,
        offset_mm=found.z,
        along_x=found.x,
        radius_mm=found.own_radius,
        radius_sd_mm=np.hypot(found.own_sd, RADIUS_SD_LEAST * found.own_radius),
        residual_mm=residual,
    )


def _demand(widths: LineWidths) -> None:
    for name in LineWidths.__dataclass_fields__:
        if not np.isfinite(getattr(widths, name)).all():
            raise InvalidInput({name: "holds a value that is no number"})
    seen = int((widths.width_mm > 0.0).sum())
    if seen < LEAST_WIDTHS:
        raise InvalidInput(
            {"lines": f"{seen} of {widths.width_mm.size} were seen; at least {LEAST_WIDTHS} are needed"},
            hint="Burn the ladder on a wood that darkens sooner, or with a higher power_cap_fraction.",
        )


def _inside(fit: BeamFit, widths: LineWidths) -> None:
    low, high = float(fit.offset_mm.min()), float(fit.offset_mm.max())
    room = min(EDGE_RAYLEIGH * fit.beam.rayleigh_length_mm, 0.2 * (high - low))
    if low + room <= fit.waist_offset_mm <= high - room:
        return
    nearer = fit.waist_offset_mm < low + room
    raise InvalidInput(
        {
            "waist": f"seems to lie at a focus offset of {fit.waist_offset_mm:+.1f} mm; lines are seen from "
            f"{low:+.1f} to {high:+.1f} mm only, of a ladder from {widths.offset_mm.min():+.1f} to "
            f"{widths.offset_mm.max():+.1f} mm"
        },
        hint=(
            f"Make the ladder anew with a focus_stand_off_mm {'less' if nearer else 'greater'} by "
            f"{abs(fit.waist_offset_mm):.0f} mm in the machine file, so that it reaches further "
            f"{'down to' if nearer else 'away from'} the work."
        ),
    )
