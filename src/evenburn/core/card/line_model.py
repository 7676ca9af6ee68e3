"""What the profiles of a ladder's lines should be: beam, wood, lens, sharpening and tone curve of the phone, one after the other.

The dose across a line is Gaussian with a pedestal; one curve takes it to darkening; the lens blurs in linear light; the phone
encodes and then sharpens what it encoded. A set-up's radius lies near the hyperbola of one beam, and its threshold near
where the dwell puts it; how far off each may be is believed. What the bare wood does by itself along either axis is
seen in what the faint lines leave over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.card.beam_card import axis_of
from evenburn.core.card.camera_curve import camera_curve
from evenburn.core.card.line_profiles import Profiles, line_pitch_mm
from evenburn.core.nouns.card import Card, CardLine

FloatArray = NDArray[np.float64]

TAIL_WIDTH = 2.7  # radius of the pedestal round a beam over that of its core: starting value, no source
GRID_mm = 0.02
BEYOND_mm = 0.4
THETA = 0.06  # half-angle of a beam: where the search begins
KAPPA = 0.12  # reciprocity exponent of woods: starting value
# What is believed, wide; the picture itself decides. Share of the pedestal; log blur of lines along x and y [mm]; how much the
# phone sharpens; darkening of a first step over the deepest, log of its steepness per e-fold and of its asymmetry; of a second
# step, how many e-folds later, log steepness; log threshold; κ; log waist and Rayleigh length, place, astigmatism; how the
# tube's power bends between the points that were measured; the phone's tone curve along its doubts, in sd; log radius of
# the sharpening over the blur.
SHAPE: dict[str, tuple[float, float]] = {
    "tail": (0.04, 0.04),
    "blur_x": (0.0, 0.35),
    "blur_y": (0.0, 0.35),
    "sharpened": (0.08, 0.15),
    "first": (0.6, 0.6),
    "first_k": (0.69, 0.5),
    "first_m": (0.0, 0.5),
    "second": (0.4, 0.6),
    "apart": (1.4, 0.5),
    "second_k": (0.69, 0.5),
    "level": (0.0, 2.0),
    "kappa": (KAPPA, 0.10),
    "waist": (0.0, 0.4),
    "rayleigh": (0.0, 1.0),
    "place": (0.0, 2.0),
    "astigmatism": (0.0, 0.6),
    "bend": (0.0, 0.02),
    "phone_1": (0.0, 1.0),
    "phone_2": (0.0, 1.0),
    "phone_3": (0.0, 1.0),
    "phone_4": (0.0, 1.0),
    "sharpened_over": (0.18, 0.5),
}
NAMES = tuple(SHAPE)
TAIL, BLUR_X, BLUR_Y, SHARPENED = (NAMES.index(n) for n in ("tail", "blur_x", "blur_y", "sharpened"))
FIRST, SECOND, APART = (NAMES.index(n) for n in ("first", "second", "apart"))
LEVEL, KAPPA_AT, WAIST, RAYLEIGH = (NAMES.index(n) for n in ("level", "kappa", "waist", "rayleigh"))
PLACE, ASTIGMATISM, BEND = (NAMES.index(n) for n in ("place", "astigmatism", "bend"))
PHONE, SHARPENED_OVER = slice(NAMES.index("phone_1"), NAMES.index("phone_4") + 1), NAMES.index("sharpened_over")
RADIUS_SD = 0.025  # of a set-up's log radius about the hyperbola
THRESHOLD_SD = 0.06  # of its log threshold about what dwell explains
OWN_SD = 0.06  # of one line's log dose: the wood's own unevenness, the tube's
MODEL_SHARE, MODEL_FLOOR = 0.02, 0.002  # of the darkening that no such model explains
INDEPENDENT = 3.0  # numbers that a profile holds: neighbouring places are blurred into one another
FAINT_SHARE = 0.45  # of the deepest: lines below it show what the wood does by itself
SHRUNK = 0.25  # of the wood's covariance is taken as if places had nothing to do with one another
STRAY_SDS = 3.0  # a line that leaves more over counts no more than this
MERGED_SHARE = 0.12  # bare wood so uneven, over the deepest, beside half of a set-up's lines: they run into one another
MERGED_TIMES = 30.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Camera:
    """The numbers of a phone's tone curve as `camera_curve` takes them, (4,), and their (4, 4) covariance."""

    vector: FloatArray
    covariance: FloatArray


def run_together(lines: Sequence[CardLine], profiles: Profiles) -> NDArray[np.bool_]:
    """Return which of N lines belong to a set-up and axis whose lines run into one another: no bare wood is left between.

    Source
    ------
    Own choice: what lies between half of them is uneven by 12 % and more of the deepest line.
    """
    deepest = float(np.quantile(np.abs(profiles.darkening[:, :2].mean(axis=1)), 0.95))
    keys = [(k.focus_offset_mm, axis_of(k)) for k in lines]
    found = np.zeros(len(keys), dtype=bool)
    for key in set(keys):
        mine = np.array([k == key for k in keys])
        found[mine] = bool(np.median(profiles.noise[mine]) > MERGED_SHARE * deepest)
    return found


class LineModel:
    """The lines of a card, cut into blocks of one set-up and axis; the vector is SHAPE, log radii and log thresholds about those
    that the beam and the dwell give.
    """

    def __init__(self, card: Card, profiles: Profiles, *, blur_mm: float, camera: Camera) -> None:
        self.profiles = profiles
        self.lines = lines = card.lines
        self.along_x = np.array([axis_of(k) == "x" for k in lines])
        keys = [(k.focus_offset_mm, axis_of(k)) for k in lines]
        self.blocks = sorted(set(keys))
        self.block = np.array([self.blocks.index(k) for k in keys])
        self.count = len(self.blocks)
        self.z = np.array([b[0] for b in self.blocks])
        self.sign = np.array([-0.5 if b[1] == "x" else 0.5 for b in self.blocks])
        speed = np.array([k.speed_mm_per_s for k in lines])
        self.log_speed = np.array([np.log(speed[self.block == b].mean()) for b in range(self.count)])
        self.log_energy = np.log(np.array([k.power_W for k in lines]) / speed)
        log_power = self.log_energy + np.log(speed)
        self.bends = 1.0 - np.square(2.0 * (log_power - log_power.min()) / max(float(np.ptp(log_power)), 1e-9) - 1.0)
        self.own = 0.0
        self.grid = np.arange(0.0, 0.5 * line_pitch_mm(lines) + BEYOND_mm, GRID_mm)
        places = profiles.aside_mm
        self.pick = np.array([np.interp(places, self.grid, e) for e in np.eye(self.grid.size)])
        middle = profiles.darkening[:, :2].mean(axis=1)
        deepest = float(np.quantile(np.abs(middle), 0.95))
        lighter = int((middle < -0.3 * deepest).sum()) > int((middle > 0.3 * deepest).sum())
        self.deepest = -deepest if lighter else deepest
        self.radius_mm, self.blur_mm = card.beam_radius_mm, blur_mm
        self.believed, self.believed_sd = self._beliefs()
        self._look_through(camera)
        self._first_weights()

    def place(self, name: str) -> int:
        """Return where a number of SHAPE stands in the vector."""
        return NAMES.index(name)

    def _beliefs(self) -> tuple[FloatArray, FloatArray]:
        at, sd = np.array(list(SHAPE.values())).T.copy()
        at[[BLUR_X, BLUR_Y]] = np.log(self.blur_mm)
        at[SHARPENED_OVER] += np.log(self.blur_mm)
        at[WAIST], at[RAYLEIGH] = np.log(self.radius_mm), np.log(self.radius_mm / THETA)
        at[[FIRST, SECOND]] *= self.deepest
        sd[[FIRST, SECOND]] *= max(abs(self.deepest), 0.1)
        return at, sd

    def _look_through(self, camera: Camera) -> None:
        self.camera = camera.vector
        values, axes = np.linalg.eigh(camera.covariance)
        self.phone_axes = axes * np.sqrt(np.maximum(values, 0.0))
        self.coded = np.arange(256.0) / 255.0
        self.table = _rising(camera_curve(self.camera).decoded())
        self.bare_coded = np.interp(self.profiles.bare, self.table, self.coded)[:, None]

    def _first_weights(self) -> None:
        p = self.profiles
        depth = np.maximum(np.abs(p.darkening), 0.3 * np.abs(p.darkening[:, :1]))
        together = np.sqrt(p.aside_mm.size / INDEPENDENT)
        self.model_sd = np.hypot(MODEL_FLOOR, MODEL_SHARE * depth) * together
        self.merged = run_together(self.lines, p)
        self.model_sd[self.merged] *= MERGED_TIMES
        noise = np.zeros(self.block.size)
        for x in (True, False):
            noise[self.along_x == x] = np.median(p.noise[self.along_x == x]) if (self.along_x == x).any() else 0.0
        sd = np.hypot(self.model_sd, noise[:, None] * together)
        self.whitens = np.array([np.diag(1.0 / row) for row in sd])

    def bounds(self) -> tuple[FloatArray, FloatArray]:
        """Return lower and upper bounds of the vector."""
        size = len(NAMES) + 2 * self.count
        low, high = np.full(size, -np.inf), np.full(size, np.inf)
        low[TAIL], high[TAIL] = 0.0, 0.2
        low[BLUR_X : BLUR_Y + 1], high[BLUR_X : BLUR_Y + 1] = np.log(0.015), np.log(0.5)
        low[SHARPENED], high[SHARPENED] = -0.1, 0.9
        for k in (FIRST + 1, APART + 1):
            low[k], high[k] = np.log(0.3), np.log(12.0)
        low[APART], high[APART] = 0.3, 4.0
        return low, high

    def start(self) -> FloatArray:
        """Return where the search begins: the beam from each block's own widths, the threshold from where lines are seen."""
        p = self.profiles
        radii, thresholds = np.zeros(self.count), np.zeros(self.count)
        total = np.abs(p.darkening).sum(axis=1)
        for b in range(self.count):
            mine = np.flatnonzero(self.block == b)
            weight = total[mine]
            second = (np.abs(p.darkening[mine]) * np.square(p.aside_mm)).sum(axis=1) / np.maximum(weight, 1e-6)
            seen = weight > 0.3 * weight.max()
            width = np.sqrt(max(float(np.median(second[seen])) - self.blur_mm**2, 0.125 * self.radius_mm**2))
            radii[b] = np.clip(1.6 * width, 0.6 * self.radius_mm, 8.0 * self.radius_mm)
            order = np.argsort(self.log_energy[mine])
            core = np.maximum.accumulate(np.abs(p.darkening[mine, 0])[order])
            thresholds[b] = float(np.interp(0.5 * abs(self.deepest), core, self.log_energy[mine][order])) - 0.3
        vector = np.concatenate([self.believed, np.zeros(2 * self.count)])
        if np.unique(self.z).size >= 3:
            a, b1, c = np.polyfit(self.z, np.square(radii), 2, w=1.0 / np.square(radii))
            if a > 0.0:
                least = float(np.clip(c - b1**2 / (4.0 * a), (0.7 * self.radius_mm) ** 2, (2.0 * self.radius_mm) ** 2))
                usual = np.log(self.radius_mm / THETA)
                vector[WAIST] = 0.5 * np.log(least)
                vector[RAYLEIGH] = np.clip(0.5 * np.log(least / a), usual - 1.0, usual + 1.4)
                vector[PLACE] = np.clip(-b1 / (2.0 * a), self.z.min(), self.z.max())
        vector[LEVEL] = float(np.median(thresholds - self.log_levels(vector)))
        self.believed[LEVEL] = vector[LEVEL]
        return vector

    def log_radii(self, vector: FloatArray) -> FloatArray:
        """Return the (B,) log beam radius of each block."""
        away = (self.z - vector[PLACE] - self.sign * vector[ASTIGMATISM]) / np.exp(vector[RAYLEIGH])
        own = vector[len(NAMES) : len(NAMES) + self.count]
        return np.asarray(vector[WAIST] + 0.5 * np.log1p(np.square(away)) + own)

    def log_levels(self, vector: FloatArray) -> FloatArray:
        """Return the (B,) log line energy at which each block's threshold is reached on the axis."""
        radii = self.log_radii(vector)
        dwell = np.log(2e3) + radii - self.log_speed
        return np.asarray(vector[LEVEL] + radii - vector[KAPPA_AT] * dwell + vector[len(NAMES) + self.count :])

    def darkened(self, log_dose: FloatArray, vector: FloatArray) -> FloatArray:
        """Return the darkening at log dose over the threshold, no blur: two steps, one after the other."""
        first, first_k, first_m, second, apart, second_k = vector[FIRST : FIRST + 6]
        one = np.exp(-np.exp(first_m) * np.logaddexp(0.0, -np.exp(first_k) * log_dose))
        two = np.exp(-np.logaddexp(0.0, -np.exp(second_k) * (log_dose - apart)))
        return np.asarray(first * one + second * two)

    def explained(self, vector: FloatArray) -> FloatArray:
        """Return the (N, J) darkening as it is read from the photograph."""
        tail = vector[TAIL]
        w = np.exp(self.log_radii(vector))[:, None]
        near = np.exp(-2.0 * np.square(self.grid / w))
        far = np.exp(-2.0 * np.square(self.grid / (TAIL_WIDTH * w)))
        spread = np.log((1.0 - tail) * near + tail / TAIL_WIDTH * far + 1e-9)
        over = self.log_energy + vector[BEND] * self.bends + self.own - self.log_levels(vector)[self.block]
        dark = self.darkened(over[:, None] + spread[self.block], vector)
        seen = self._photographed(dark, vector)
        return np.asarray(seen - seen[:, self.profiles.flanks].mean(axis=1, keepdims=True))

    def _photographed(self, dark: FloatArray, vector: FloatArray) -> FloatArray:
        """Return what a phone makes of darkening on the grid: blurred, encoded, sharpened, and read with the curve of the mat."""
        phone = self.camera + self.phone_axes @ vector[PHONE]
        phone[-1] = max(phone[-1], 0.0)  # there is no flare below nought
        table = _rising(camera_curve(phone).decoded())
        bare = np.interp(self.bare_coded, self.coded, table)
        sharp = _blurs(self.profiles.aside_mm, self.grid, float(np.exp(vector[SHARPENED_OVER])))
        seen = np.empty((dark.shape[0], self.profiles.aside_mm.size))
        for mine, blur in ((self.along_x, vector[BLUR_X]), (~self.along_x, vector[BLUR_Y])):
            soft = dark[mine] @ _blurs(self.grid, self.grid, float(np.exp(blur))).T
            off = self.bare_coded[mine] - np.interp(bare[mine] * (1.0 - soft), table, self.coded)
            here = off @ self.pick
            here = here + vector[SHARPENED] * (here - off @ sharp.T)
            seen[mine] = np.interp(self.bare_coded[mine] - here, self.coded, self.table)
        return np.asarray(1.0 - seen / self.profiles.bare[:, None])

    def _slope(self, vector: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the profiles, and how they change with their lines' own log dose."""
        now = self.explained(vector)
        self.own = 1e-4
        slope = (self.explained(vector) - now) / 1e-4
        self.own = 0.0
        return now, slope

    def weigh(self, vector: FloatArray) -> None:
        """Take the weights from what is left over: the wood's own covariance along either axis, each line's own dose, the model."""
        now, slope = self._slope(vector)
        p = self.profiles
        off, core = p.darkening - now, np.abs(p.darkening[:, 0])
        faint = (core < FAINT_SHARE * np.quantile(core, 0.95)) & ~self.merged
        covariance = OWN_SD**2 * slope[:, :, None] * slope[:, None, :]
        for x in (True, False):
            mine = self.along_x == x
            rest = off[mine & faint]
            if rest.shape[0] == 0:
                rest = off[mine]
            size = np.sqrt(np.square(rest).mean(axis=1))
            rest = rest * np.minimum(1.0, STRAY_SDS * np.median(size) / np.maximum(size, 1e-9))[:, None]
            wood = rest.T @ rest / max(rest.shape[0], 1)
            wood = (1.0 - SHRUNK) * wood + SHRUNK * np.diag(np.diag(wood))
            times = np.maximum(1.0, np.square(p.noise[mine] / max(float(np.median(p.noise[mine])), 1e-9)) / 4.0)
            covariance[mine] += times[:, None, None] * wood
        k = np.arange(off.shape[1])
        covariance[:, k, k] += np.square(self.model_sd)
        self.whitens = np.linalg.inv(np.linalg.cholesky(covariance))

    def own_sd(self, vector: FloatArray) -> FloatArray:
        """Return the (N,) standard deviation of each line's own log dose, as its profile leaves it."""
        slope = self._slope(vector)[1]
        return np.asarray(np.sqrt(1.0 / np.maximum(np.square(self._white(slope)).sum(axis=1), 1e-9)))

    def _white(self, off: FloatArray) -> FloatArray:
        return np.asarray(np.matmul(self.whitens, off[..., None])[..., 0])

    def misses(self, vector: FloatArray) -> FloatArray:
        """Return what is off: of every point of every profile, then of what is believed."""
        off = self._white(self.explained(vector) - self.profiles.darkening).ravel()
        return np.concatenate([off, (vector - self._middle()) / self._middle_sd()])

    def _middle(self) -> FloatArray:
        return np.concatenate([self.believed, np.zeros(2 * self.count)])

    def _middle_sd(self) -> FloatArray:
        own = np.repeat([RADIUS_SD, THRESHOLD_SD], self.count)
        return np.concatenate([self.believed_sd, own])

    def jacobian(self, vector: FloatArray) -> FloatArray:
        """Return d misses / d vector: a line depends on its own block alone, so all blocks are moved at once."""
        now = self.explained(vector)
        found = np.zeros((now.size + vector.size, vector.size))
        step = 1e-5
        for k in range(len(NAMES)):
            moved = vector.copy()
            moved[k] += step
            found[: now.size, k] = self._white(self.explained(moved) - now).ravel() / step
        rows = np.repeat(self.block, now.shape[1])
        for offset in (len(NAMES), len(NAMES) + self.count):
            moved = vector.copy()
            moved[offset : offset + self.count] += step
            found[np.arange(now.size), offset + rows] = self._white(self.explained(moved) - now).ravel() / step
        found[now.size :] = np.diag(1.0 / self._middle_sd())
        return found


def _rising(table: FloatArray) -> FloatArray:
    return np.maximum.accumulate(table + 1e-12 * np.arange(table.size))


def _blurs(at_mm: FloatArray, grid_mm: FloatArray, sd_mm: float) -> FloatArray:
    """Return the (J, G) matrix that blurs one side of an even profile and takes it where it is looked at."""
    sd = float(np.clip(sd_mm, 0.012, 0.6))
    here = at_mm[:, None]
    both = np.exp(-0.5 * np.square((here - grid_mm) / sd)) + np.exp(-0.5 * np.square((here + grid_mm) / sd))
    both[:, 0] *= 0.5
    return np.asarray(both / both.sum(axis=1, keepdims=True))
