"""Widths of single lines, finer than a pixel: what the beam left, told apart from what the photograph blurred.

A line is no bar with two edges: its tone follows the dose through the wood's own curve, and the picture blurs it by about
its width. So the profiles of all lines are explained together: one curve from dose to darkening and one blur for the card,
one beam radius and one threshold for each set-up and axis, in which powers are known. The width of a line is where the dose
of the beam's core passes the one at which a quarter of the full darkening is reached: b = w √(2 ln(F / F_quarter)).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from evenburn.core.card.beam_card import axis_of
from evenburn.core.card.line_profiles import Profiles, line_pitch_mm
from evenburn.core.nouns.card import Card, LineReading

FloatArray = NDArray[np.float64]

TAIL_WIDTH = 2.7  # radius of the pedestal round a beam over that of its core: starting value, no source
GRID_mm = 0.02
BEYOND_mm = 0.4
SHAPE = (
    "tail",
    "blur_x",
    "blur_y",
    "sharpened",
    "first",
    "first_k",
    "first_m",
    "second",
    "apart",
    "second_k",
)
# what is believed of them: share of the pedestal; log blur of lines along x and y [mm]; overshoot of the phone's
# sharpening; darkening of the first step, log of its steepness per e-fold and its asymmetry; darkening of the second step,
# how many e-folds later, log steepness. Wide; the picture itself decides.
SHAPE_SD = np.array([0.04, 0.35, 0.35, 0.15, 0.3, 0.5, 0.5, 0.3, 0.5, 0.5])
TAIL, SHARPENED, APART = 0.04, 0.08, 1.4
RADIUS_SD, THRESHOLD_SD = 0.6, 1.2  # of a set-up, in logs, from the card's middle
SIDE_BY_SIDE_SD = 0.25  # of both axes' log radii at one set-up
MODEL_SHARE, MODEL_FLOOR = 0.04, 0.004  # of the darkening that no such model explains
SEEN_SDS, SEEN_LEAST = 5.0, 0.02  # darkening in the middle of a line that is seen
OWN_SD = 0.25  # of one line's log dose from its set-up's: the wood's own unevenness, the tube's
EDGE_SHARE = 0.25  # of the deepest darkening is where a line ends: below it faint lines still have a width
LEAST_FOLD = 0.08  # log of dose over threshold below which a width is not told
FAINT, LOPSIDED, SATURATED, POOR = "faint", "lopsided", "saturated", "poorly-explained"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Explained:
    """The lines explained.

    Attributes
    ----------
    lines : what each came to.
    shape : what stands in SHAPE, solved.
    modelled : (N, J) darkening as explained, beside `Profiles.darkening`.
    blur_mm : of lines along x and along y.
    radius_mm : beam radius of each set-up and axis, by (focus offset, axis).
    """

    lines: tuple[LineReading, ...]
    shape: FloatArray
    modelled: FloatArray
    blur_mm: tuple[float, float]
    radius_mm: dict[tuple[float, str], float]


class _Model:
    """The lines of a card, cut into blocks of one set-up and axis; the vector is shape, log radii, log thresholds."""

    def __init__(self, card: Card, profiles: Profiles, *, blur_mm: float) -> None:
        self.profiles = profiles
        lines = card.lines
        self.along_x = np.array([axis_of(k) == "x" for k in lines])
        keys = [(k.focus_offset_mm, axis_of(k)) for k in lines]
        self.blocks = sorted(set(keys))
        self.block = np.array([self.blocks.index(k) for k in keys])
        energy = np.array([k.power_W / k.speed_mm_per_s for k in lines])
        self.log_energy = np.log(energy)
        self.own = np.zeros(len(lines))
        pitch = line_pitch_mm(lines)
        self.grid = np.arange(0.0, 0.5 * pitch + BEYOND_mm, GRID_mm)
        deepest = float(np.quantile(profiles.darkening[:, :2].mean(axis=1), 0.95))
        self.believed = np.array([TAIL, np.log(blur_mm), np.log(blur_mm), SHARPENED, 0.6 * deepest, np.log(2.0), 0.0, 0.4 * deepest, APART, np.log(2.0)])  # fmt: skip
        self.radius_mm = card.beam_radius_mm
        depth = profiles.darkening[:, 0]
        self.sd = np.hypot(
            np.hypot(MODEL_FLOOR, profiles.noise)[:, None], MODEL_SHARE * np.maximum(np.abs(profiles.darkening), 0.3 * np.abs(depth)[:, None])
        )  # fmt: skip
        self.beliefs, self.beliefs_at = self._beliefs()

    def start(self) -> FloatArray:
        """Return where the search begins: radii from each block's own widths, thresholds from where lines are seen."""
        p = self.profiles
        radii, thresholds = [], []
        total = np.abs(p.darkening).sum(axis=1)
        for b in range(len(self.blocks)):
            mine = np.flatnonzero(self.block == b)
            weight = total[mine]
            second = (np.abs(p.darkening[mine]) * np.square(p.aside_mm)).sum(axis=1) / np.maximum(weight, 1e-6)
            seen = weight > 0.3 * weight.max()
            width = float(
                np.sqrt(max(np.median(second[seen]) - np.exp(2.0 * self.believed[1]), 0.5 * self.radius_mm**2 / 4))
            )
            radii.append(np.log(np.clip(1.6 * width, 0.6 * self.radius_mm, 8.0 * self.radius_mm)))
            half = 0.5 * abs(self.believed[4] + self.believed[7])
            core = np.abs(p.darkening[mine, 0])
            order = np.argsort(self.log_energy[mine])
            e, d = self.log_energy[mine][order], np.maximum.accumulate(core[order])
            thresholds.append(float(np.interp(half, d, e)) - 0.3)
        return np.concatenate([self.believed, radii, thresholds])

    def parts(self, vector: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        n = len(self.blocks)
        return vector[: len(SHAPE)], vector[len(SHAPE) : len(SHAPE) + n], vector[len(SHAPE) + n :]

    def darkened(self, log_dose: FloatArray, shape: FloatArray) -> FloatArray:
        """Return the darkening at log dose over the threshold, no blur: two steps, one after the other."""
        first, first_k, first_m, second, apart, second_k = shape[4:]
        k1, m, k2 = np.exp(first_k), np.exp(first_m), np.exp(second_k)
        one = np.exp(-m * np.logaddexp(0.0, -k1 * log_dose))
        two = np.exp(-np.logaddexp(0.0, -k2 * (log_dose - apart)))
        return np.asarray(first * one + second * two)

    def explained(self, vector: FloatArray) -> FloatArray:
        """Return the (N, J) darkening that the camera sees."""
        shape, radii, thresholds = self.parts(vector)
        tail = shape[0]
        w = np.exp(radii)[self.block][:, None]
        near = np.exp(-2.0 * np.square(self.grid / w))
        far = np.exp(-2.0 * np.square(self.grid / (TAIL_WIDTH * w)))
        spread = np.log((1.0 - tail) * near + tail / TAIL_WIDTH * far + 1e-9)
        log_dose = (self.log_energy - thresholds[self.block] + self.own)[:, None] + spread
        dark = self.darkened(log_dose, shape)
        seen = np.empty_like(self.profiles.darkening)
        for chosen, blur in ((self.along_x, shape[1]), (~self.along_x, shape[2])):
            seen[chosen] = dark[chosen] @ self._spread(np.exp(blur), shape[3]).T
        return np.asarray(seen - seen[:, self.profiles.flanks].mean(axis=1, keepdims=True))

    def _spread(self, blur: float, sharpened: float) -> FloatArray:
        """Return the (J, G) matrix that blurs one side of an even profile and takes it where it is looked at."""
        aside = self.profiles.aside_mm[:, None]

        def normal(sd: float) -> FloatArray:
            both = np.exp(-0.5 * np.square((aside - self.grid) / sd)) + np.exp(
                -0.5 * np.square((aside + self.grid) / sd)
            )
            both[:, 0] *= 0.5
            return np.asarray(both / both.sum(axis=1, keepdims=True))

        sd = float(np.clip(blur, 0.015, 0.6))
        return np.asarray((1.0 + sharpened) * normal(sd) - sharpened * normal(2.0 * sd))

    def misses(self, vector: FloatArray) -> FloatArray:
        """Return what is off: of every point of every profile, then of what is believed."""
        off = ((self.explained(vector) - self.profiles.darkening) / self.sd).ravel()
        return np.concatenate([off, self.beliefs @ vector - self.beliefs_at])

    def _beliefs(self) -> tuple[FloatArray, FloatArray]:
        """Return matrix and offset of what is believed: shape, radii, thresholds, both axes alike."""
        n, s = len(self.blocks), len(SHAPE)
        rows = [np.diag(np.concatenate([1.0 / SHAPE_SD, np.full(n, 0.5 / RADIUS_SD), np.zeros(n)]))[: s + n]]
        about_mean = np.zeros((n, s + 2 * n))
        about_mean[:, s + n :] = (np.eye(n) - 1.0 / n) / THRESHOLD_SD
        rows.append(about_mean)
        for a, (offset, axis) in enumerate(self.blocks):
            if axis == "x" and (offset, "y") in self.blocks:
                row = np.zeros((1, s + 2 * n))
                row[0, s + a], row[0, s + self.blocks.index((offset, "y"))] = (
                    1.0 / SIDE_BY_SIDE_SD,
                    -1.0 / SIDE_BY_SIDE_SD,
                )
                rows.append(row)
        matrix = np.concatenate(rows)
        at = np.concatenate([self.believed, np.full(n, np.log(2.0 * self.radius_mm)), np.zeros(n)])
        return matrix, np.asarray(matrix @ at)

    def jacobian(self, vector: FloatArray) -> FloatArray:
        """Return d misses / d vector: a line depends on its own block alone, so all blocks are moved at once."""
        now = self.explained(vector)
        count = self.profiles.darkening.size
        columns = self.profiles.darkening.shape[1]
        found = np.zeros((count + self.beliefs.shape[0], vector.size))
        n, s = len(self.blocks), len(SHAPE)
        step = 1e-5
        for k in range(s):
            moved = vector.copy()
            moved[k] += step
            found[:count, k] = ((self.explained(moved) - now) / self.sd).ravel() / step
        rows = np.repeat(self.block, columns)
        for offset in (s, s + n):
            moved = vector.copy()
            moved[offset : offset + n] += step
            slope = ((self.explained(moved) - now) / self.sd).ravel() / step
            found[np.arange(count), offset + rows] = slope
        found[count:] = self.beliefs
        return found


def explained_lines(card: Card, profiles: Profiles, *, blur_mm: float) -> Explained:
    """Return the widths of a ladder's lines from their profiles.

    Parameters
    ----------
    blur_mm : of the photograph, from the mat's markers: where the search begins.

    Source
    ------
    Own derivation, docs/how-it-works/ladder.md, on [liu1982] for a line; most probable values by robust least squares.
    """
    model = _Model(card, profiles, blur_mm=max(blur_mm, 0.02))
    start = model.start()
    low, high = np.full(start.size, -np.inf), np.full(start.size, np.inf)
    low[0], high[0] = 0.0, 0.2
    low[1:3], high[1:3] = np.log(0.015), np.log(0.5)
    low[3], high[3] = -0.1, 0.7
    low[5:7], high[5:7] = np.log(0.3), np.log(12.0)
    low[8], high[8] = 0.3, 4.0
    low[9], high[9] = np.log(0.3), np.log(12.0)
    start = np.clip(start, low + 1e-6, high - 1e-6)
    solved = least_squares(
        model.misses, start, jac=model.jacobian, bounds=(low, high), loss="soft_l1", f_scale=2.0, max_nfev=60,
        xtol=1e-5, ftol=1e-5,
    )  # fmt: skip
    return _told(card, model, np.asarray(solved.x))


def _told(card: Card, model: _Model, vector: FloatArray) -> Explained:
    profiles = model.profiles
    # residuals hang together along a profile: some three numbers of each are independent
    jacobian = model.jacobian(vector)
    off = model.misses(vector)[: profiles.darkening.size]
    scale = max(1.0, float(np.median(np.abs(off))) / 0.6745) ** 2 * profiles.aside_mm.size / 3.0
    jacobian[: profiles.darkening.size] /= np.sqrt(scale)
    covariance = np.linalg.pinv(jacobian.T @ jacobian)
    shape, radii, thresholds = model.parts(vector)
    edge = _edge_log_dose(model, shape, float((model.log_energy - thresholds[model.block]).max()))
    own, own_sd = _own_doses(model, vector, scale=scale)
    w = np.exp(radii)[model.block]
    fold = model.log_energy - thresholds[model.block] + own + np.log(1.0 - shape[0]) - edge
    width = np.where(fold > 0.0, w * np.sqrt(2.0 * np.maximum(fold, 1e-9)), 0.0)
    n, s = len(model.blocks), len(SHAPE)
    variance_w = np.diag(covariance)[s : s + n][model.block]
    variance_t = np.diag(covariance)[s + n :][model.block]
    cross = covariance[np.arange(s, s + n), np.arange(s + n, s + 2 * n)][model.block]
    d_w, d_t = width, -np.square(w) / np.maximum(width, 0.3 * w)
    sd = np.sqrt(
        np.maximum(
            np.square(d_w) * variance_w + np.square(d_t) * (variance_t + np.square(own_sd)) + 2.0 * d_w * d_t * cross,
            0.0,
        )
    )
    core = np.abs(profiles.darkening[:, 0])
    seen = (core > np.maximum(SEEN_SDS * profiles.noise, SEEN_LEAST)) & (fold > LEAST_FOLD)
    modelled = model.explained(vector)
    rms = np.sqrt(np.square(modelled - profiles.darkening).mean(axis=1)) / np.maximum(core, 0.1)
    lines = tuple(
        LineReading(
            line=line,
            width_mm=float(width[k]) if seen[k] else 0.0,
            width_sd_mm=float(np.clip(sd[k], 0.002, 1.0)),
            flags=_flags(faint=not seen[k], lopsided=profiles.lopsided[k] > 0.5, clipped=profiles.clipped[k] > 0.02, rms=float(rms[k])),
        )
        for k, line in enumerate(card.lines)
    )  # fmt: skip
    return Explained(
        lines=lines,
        shape=shape,
        modelled=modelled,
        blur_mm=(float(np.exp(shape[1])), float(np.exp(shape[2]))),
        radius_mm={key: float(np.exp(r)) for key, r in zip(model.blocks, radii, strict=True)},
    )


def _flags(*, faint: bool, lopsided: bool, clipped: bool, rms: float) -> tuple[str, ...]:
    told: Sequence[tuple[str, bool]] = (
        (FAINT, faint), (LOPSIDED, lopsided and not faint), (SATURATED, clipped), (POOR, rms > 0.2 and not faint),
    )  # fmt: skip
    return tuple(sorted(name for name, is_so in told if is_so))


def _edge_log_dose(model: _Model, shape: FloatArray, most: float) -> float:
    """Return the log dose over threshold at which a line ends, no blur."""
    grid = np.linspace(-4.0, max(1.0, most), 2001)
    dark = model.darkened(grid, shape)
    sign = np.sign(dark[np.abs(dark).argmax()])
    dark = np.maximum.accumulate(sign * dark)
    return float(np.interp(EDGE_SHARE * dark[-1], dark, grid))


def _own_doses(model: _Model, vector: FloatArray, *, scale: float) -> tuple[FloatArray, FloatArray]:
    """Return by how much each line's log dose is off its set-up's, and its standard deviation."""
    own = np.zeros(model.block.size)
    precision = np.full(own.size, 1.0 / OWN_SD**2)
    for _ in range(3):
        model.own = own
        at = model.explained(vector)
        model.own = own + 1e-4
        slope = (model.explained(vector) - at) / 1e-4 / model.sd
        off = (model.profiles.darkening - at) / model.sd
        precision = np.square(slope).sum(axis=1) / scale + 1.0 / OWN_SD**2
        own = own + np.clip(((slope * off).sum(axis=1) / scale - own / OWN_SD**2) / precision, -0.2, 0.2)
    model.own = np.zeros_like(own)
    return own, 1.0 / np.sqrt(precision)
