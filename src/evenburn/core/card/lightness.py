"""From encoded values to L*: the light's unevenness, the camera's curve, the printer's greys, solved together.

White paper all round says how the light falls off. The same greys under strong and weak light say how the camera's curve
bends. What paper and toner are is believed within a range, or told; what that leaves open is carried along as covariance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from evenburn.core.card import camera_curve as camera
from evenburn.core.card import printed
from evenburn.core.card.camera_curve import CameraCurve
from evenburn.core.card.sampling import Samples
from evenburn.core.tone.colour import LUMINANCE, lightness_L, luminance

FloatArray = NDArray[np.float64]

FIELD_DEGREE = 3  # of the polynomial in log light: a lamp beside the page and a lens's fall-off need the second
STEP_ROUNDS = 3  # of solving, and of seeing from it how evenly the steps are printed
GREY_SD_L = 0.7  # a printer's curve about the smooth one
TINT_SD_L = 0.8  # a grey's channels about paper's
TOLD_SD_L = 0.3  # of a lightness that a person measured and told: one place of the print for all of it
CAMERA_DOUBT = 1.6  # phones' curves may be of another family than ours: their doubt is told so much wider than believed
ENDS = 5  # Gauss's weight falls off beyond so many robust sd of the field
WHITE_ROUNDS = 4
_PRINTER, _CAMERA = len(printed.NAMES), len(camera.NAMES)
_COMMON = _PRINTER + _CAMERA


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Field:
    """Light on the page as a polynomial of its logarithm, and the white cells that agree with it.

    Attributes
    ----------
    solver : (T, W) gives the polynomial's coefficients from the cells' log light.
    keeps : (W,) whether a cell is followed; cells in a shadow or under a finger are not.
    """

    middle_mm: FloatArray
    half_mm: float
    solver: FloatArray
    keeps: NDArray[np.bool_]

    def terms(self, places_mm: FloatArray) -> FloatArray:
        """Return the (N, T) terms of the polynomial at places on the page. Definition."""
        x, y = ((places_mm - self.middle_mm) / self.half_mm).T
        return _terms(x, y)


def _terms(x: FloatArray, y: FloatArray) -> FloatArray:
    return np.column_stack([x**i * y**j for i in range(FIELD_DEGREE + 1) for j in range(FIELD_DEGREE + 1 - i)])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LightScale:
    """What turns encoded values at places of the page into L*, and how surely.

    Attributes
    ----------
    vector : printer's numbers, then the camera's, then by how much each grey is off the printer's smooth curve.
    covariance : of printer's and camera's numbers.
    greys_off_L : (S,) what each step is off after all. [L*]
    white_off : (W,) by how much of itself each white cell is off the smooth light.
    """

    vector: FloatArray
    covariance: FloatArray
    samples: Samples
    field: Field
    greys_off_L: FloatArray
    white_off: FloatArray

    @property
    def paper_L(self) -> float:
        """Lightness of the paper as told or believed in the end. [L*]"""
        return float(self.vector[0])

    @property
    def toner_L(self) -> float:
        """Lightness of solid toner. [L*]"""
        return float(self.vector[1])

    def curve(self) -> CameraCurve:
        """Return the camera's curve. Definition."""
        return camera.camera_curve(self.vector[_PRINTER:_COMMON])

    def paper_reflectance(self) -> float:
        """Return the luminance factor of the paper. Source: [cie15]."""
        return float(luminance(self.vector[0]))

    def white_linear(self, places_mm: FloatArray) -> FloatArray:
        """Return the (N, 3) linear light of white paper at places on the page, as the camera's curve decodes it."""
        table = self.curve().decoded()
        return _white_at(self.curve(), self.field, self.samples, table, places_mm=places_mm)[0]

    def reflectances(
        self, shares: FloatArray, *, places_mm: FloatArray, vector: FloatArray | None = None
    ) -> FloatArray:
        """Return the (N, 3) mean linear reflectance, red, green, blue, of areas from their counts of encoded values.

        Parameters
        ----------
        shares : (N, 3, 256) share of an area's pixels at each value.
        vector : instead of the solved numbers, to see what a change of one does.

        Source
        ------
        Definition: light over that of white paper at the same place, times the paper's.
        """
        v = self.vector if vector is None else vector
        curve = camera.camera_curve(v[_PRINTER:_COMMON])
        table = curve.decoded()
        seen = shares @ table
        return _over_white(seen, curve, self.field, self.samples, table, places_mm=places_mm) * float(luminance(v[0]))

    def tones_L(self, shares: FloatArray, *, places_mm: FloatArray, vector: FloatArray | None = None) -> FloatArray:
        """Return the (N,) L* of areas. Source: `reflectances`, weighted as luminance [iec61966-2-1], [cie15]."""
        return lightness_L(
            self.reflectances(shares, places_mm=places_mm, vector=vector) @ (LUMINANCE / LUMINANCE.sum())
        )

    def tone_slopes_L(self, shares: FloatArray, *, places_mm: FloatArray) -> FloatArray:
        """Return the (N, K) change of each tone with each of the printer's and the camera's numbers. [L*]"""
        steps = 0.05 * np.concatenate([printed.BELIEVED_SD, camera.BELIEVED_SD])
        slopes = np.zeros((shares.shape[0], _COMMON))
        for k, step in enumerate(steps):
            there, back = self.vector.copy(), self.vector.copy()
            there[k] += step
            back[k] -= step
            ends = (self.tones_L(shares, places_mm=places_mm, vector=v) for v in (there, back))
            up, down = ends
            slopes[:, k] = (up - down) / (2.0 * step)
        return slopes


def _linear_at(coded: FloatArray, table: FloatArray) -> FloatArray:
    return np.interp(coded, np.arange(256.0), table)


def _over_white(
    seen: FloatArray,
    curve: CameraCurve,
    field: Field,
    samples: Samples,
    table: FloatArray,
    *,
    places_mm: FloatArray,
) -> FloatArray:
    """Return (N, 3) linear light over that of white paper at the same places."""
    white, veil = _white_at(curve, field, samples, table, places_mm=places_mm)
    return np.asarray((seen - veil) / white)


def _white_at(
    curve: CameraCurve, field: Field, samples: Samples, table: FloatArray, *, places_mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return (N, 3) light of white paper at places, and (3,) the light scattered over all, taken off it already."""
    white = _linear_at(samples.white_coded[field.keeps], table)
    veil = curve.flare * white.mean(axis=0)
    logs = field.solver @ np.log(np.maximum(white - veil, 1e-6))
    return np.exp(field.terms(places_mm) @ logs), np.asarray(veil)


def smooth_field(samples: Samples) -> tuple[Field, FloatArray]:
    """Return the light's smooth fall-off, and by how much of itself each white cell is off it.

    Source
    ------
    Own derivation, docs/how-it-works/card.md: least squares with Tukey's biweight, on log light under what is believed of the camera.
    """
    middle = 0.5 * (samples.white_mm.min(axis=0) + samples.white_mm.max(axis=0))
    half = float(np.abs(samples.white_mm - middle).max())
    terms = _terms(*((samples.white_mm - middle) / half).T)
    table = camera.camera_curve(camera.BELIEVED).decoded()
    logs = np.log(np.maximum(_linear_at(samples.white_coded, table) @ (LUMINANCE / LUMINANCE.sum()), 1e-6))
    weight = np.where(samples.white_clipped < 0.02, 1.0, 0.0)
    if weight.sum() < 4 * terms.shape[1]:
        weight[:] = 1.0
    weight *= logs > np.quantile(logs, 0.5) - 1.2  # a page lying over the white: never three times darker by light
    off = logs
    for _ in range(WHITE_ROUNDS):
        root = np.sqrt(weight)[:, None]
        coefficients, *_ = np.linalg.lstsq(terms * root, logs * root[:, 0], rcond=None)
        off = logs - terms @ coefficients
        sd = 1.4826 * float(np.median(np.abs(off[weight > 0.0]))) + 1e-4
        weight = np.where(weight > 0.0, np.clip(1.0 - np.square(off / (ENDS * sd)), 0.0, 1.0) ** 2, 0.0)
        weight = np.where(weight > 0.0, weight, 1e-12)
    keeps = weight > 0.01
    solver = np.asarray(np.linalg.pinv(terms[keeps]), np.float64)
    field = Field(middle_mm=middle, half_mm=half, solver=solver, keeps=keeps)
    return field, np.expm1(off)


def light_scale(samples: Samples, *, paper_L: float | None = None, toner_L: float | None = None) -> LightScale:
    """Return the scale from encoded values to L*.

    Parameters
    ----------
    paper_L, toner_L : measured lightness of the mat's paper and of its black, where a person told it. [L*]

    Source
    ------
    Own derivation, docs/how-it-works/card.md: most probable values given what is believed of printers and phones.
    """
    field, white_off = smooth_field(samples)
    believed = np.concatenate([printed.BELIEVED, camera.BELIEVED])
    believed_sd = np.concatenate([printed.BELIEVED_SD, camera.BELIEVED_SD])
    least, most = np.concatenate([printed.LEAST, camera.LEAST]), np.concatenate([printed.MOST, camera.MOST])
    for index, told in enumerate((paper_L, toner_L)):
        if told is not None:
            believed[index], believed_sd[index] = told, TOLD_SD_L
            least[index], most[index] = min(least[index], told - 2.0), max(most[index], told + 2.0)
    greys, which = np.unique(samples.step_nominal_L, return_inverse=True)
    free = np.flatnonzero((greys > 0.0) & (greys < 100.0))  # black is toner and white is paper, by definition
    good = samples.step_clipped < 0.02

    def parts(vector: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return by how much each step is off its printed grey, and its red and blue off its green. [L*]"""
        curve = camera.camera_curve(vector[_PRINTER:_COMMON])
        table = curve.decoded()
        seen = _linear_at(samples.step_coded, table)
        paper = float(luminance(vector[0]))
        share = _over_white(seen, curve, field, samples, table, places_mm=samples.step_mm) * paper
        wanted = printed.printed_L(vector[:_PRINTER], nominal_L=greys)
        wanted[free] += vector[_COMMON:]
        channels = lightness_L(np.maximum(share, 0.0))
        tone = lightness_L(np.maximum(share @ (LUMINANCE / LUMINANCE.sum()), 0.0))
        return tone - wanted[which], (channels[:, [0, 2]] - channels[:, [1]])

    step_sd = printed.step_sd_L(printed.printed_L(believed[:_PRINTER], nominal_L=samples.step_nominal_L))

    def misses(vector: FloatArray) -> FloatArray:
        tone, tint = parts(vector)
        return np.concatenate(
            [
                (tone / step_sd)[good],
                (tint / TINT_SD_L)[good].ravel() * 0.7,
                (vector[:_COMMON] - believed) / believed_sd,
                vector[_COMMON:] / GREY_SD_L,
            ]
        )

    none = np.zeros(free.size)
    low, high = np.concatenate([least, none - 8.0]), np.concatenate([most, none + 8.0])
    start = np.clip(np.concatenate([believed, none]), low + 1e-6, high - 1e-6)
    for _ in range(STEP_ROUNDS):
        solved = least_squares(
            misses, start, bounds=(low, high), x_scale=np.concatenate([believed_sd, none + GREY_SD_L]),
            loss="soft_l1", f_scale=2.5, xtol=1e-5, ftol=1e-5,
        )  # fmt: skip
        start = np.clip(solved.x, low + 1e-6, high - 1e-6)
        tones = printed.printed_L(solved.x[:_PRINTER], nominal_L=greys)[which]
        step_sd = printed.step_sd_L(tones, parts(solved.x)[0], group=which)
        if toner_L is not None:  # measured at one place of a black that differs from place to place
            believed_sd[1] = np.hypot(TOLD_SD_L, step_sd[np.argmin(tones)])
    jacobian = np.asarray(solved.jac, np.float64).copy()
    beliefs = 3 * int(good.sum())  # where they start among the misses
    jacobian[beliefs + _PRINTER : beliefs + _COMMON] /= CAMERA_DOUBT
    covariance = np.asarray(np.linalg.pinv(jacobian.T @ jacobian), np.float64)[:_COMMON, :_COMMON]
    tone, _ = parts(solved.x)
    return LightScale(
        vector=solved.x,
        covariance=covariance,
        samples=samples,
        field=field,
        greys_off_L=tone,
        white_off=white_off,
    )
