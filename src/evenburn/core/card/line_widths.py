"""Widths of single lines, finer than a pixel: what the beam left, told apart from what the photograph made of it.

A line is no bar with two edges: its tone follows the dose through the wood's own curve, and the picture blurs it by about
its width. So the profiles of all lines are explained together (`line_model.py`), and the width of a line is where the dose of
the beam's core passes the one at which a quarter of the full darkening is reached: b = w √(2 ln(F / F_quarter)), w and
F_quarter being those of its set-up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from evenburn.core.card.line_model import Camera, LineModel
from evenburn.core.card.line_profiles import Profiles
from evenburn.core.nouns.card import Card, LineReading

FloatArray = NDArray[np.float64]

ROUNDS = 3  # of solving; after each, the wood's own unevenness is told from what the lines leave over
SEEN_SDS, SEEN_LEAST = 5.0, 0.02  # darkening in the middle of a line that is seen
EDGE_SHARE = 0.25  # of the deepest darkening is where a line ends: below it faint lines still have a width
LEAST_FOLD = 0.08  # log of dose over threshold below which a width is not told
POOR_SHARE = 0.2  # of a line's depth is left unexplained, beyond what the bare wood beside the lines does as well
FAINT, LOPSIDED, SATURATED, POOR = "faint", "lopsided", "saturated", "poorly-explained"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Explained:
    """The lines explained.

    Attributes
    ----------
    lines : what each came to.
    modelled : (N, J) darkening as explained, beside `Profiles.darkening`.
    blur_mm : of lines along x and along y.
    radius_mm : beam radius of each set-up and axis, by (focus offset, axis).
    waist_mm, waist_sd_share : of the beam that all set-ups are explained by, and its standard deviation over it.
    """

    lines: tuple[LineReading, ...]
    modelled: FloatArray
    blur_mm: tuple[float, float]
    radius_mm: dict[tuple[float, str], float]
    waist_mm: float
    waist_sd_share: float


def explained_lines(card: Card, profiles: Profiles, *, blur_mm: float, camera: Camera) -> Explained:
    """Return the widths of a ladder's lines from their profiles.

    Parameters
    ----------
    blur_mm : of the photograph, from the mat's markers: where the search begins.
    camera : the phone's tone curve as read from the mat, with its covariance.

    Source
    ------
    Own derivation, docs/how-it-works/ladder.md, on [liu1982] for a line; most probable values by robust least squares.
    """
    model = LineModel(card, profiles, blur_mm=max(blur_mm, 0.02), camera=camera)
    low, high = model.bounds()
    vector = np.clip(model.start(), low + 1e-6, high - 1e-6)
    for number in range(ROUNDS):
        if number:
            model.weigh(vector)
        solved = least_squares(
            model.misses, vector, jac=model.jacobian, bounds=(low, high), loss="soft_l1", f_scale=2.0, max_nfev=40,
            xtol=1e-5, ftol=1e-5,
        )  # fmt: skip
        vector = np.asarray(solved.x)
    return _told(card, model, vector)


def _told(card: Card, model: LineModel, vector: FloatArray) -> Explained:
    profiles = model.profiles
    jacobian = model.jacobian(vector)
    covariance = np.asarray(np.linalg.pinv(jacobian.T @ jacobian))
    radii, levels = model.log_radii(vector), model.log_levels(vector)
    edge = _edge_log_dose(model, vector, float((model.log_energy - levels[model.block]).max()))
    w = np.exp(radii)[model.block]
    fold = model.log_energy - levels[model.block] + np.log(1.0 - vector[0]) - edge
    width = np.where(fold > 0.0, w * np.sqrt(2.0 * np.maximum(fold, 1e-9)), 0.0)
    sd = np.square(w) / np.maximum(width, 0.3 * w) * model.own_sd(vector)
    core = np.abs(profiles.darkening[:, 0])
    seen = (core > np.maximum(SEEN_SDS * profiles.noise, SEEN_LEAST)) & (fold > LEAST_FOLD) & ~model.merged
    modelled = model.explained(vector)
    off = np.sqrt(np.square(modelled - profiles.darkening).mean(axis=1))
    poor = np.maximum(off - 2.0 * profiles.noise, 0.0) / np.maximum(core, 0.1) > POOR_SHARE
    lines = tuple(
        LineReading(
            line=line,
            width_mm=float(width[k]) if seen[k] else 0.0,
            width_sd_mm=float(np.clip(sd[k], 0.002, 1.0)),
            flags=_flags(
                faint=not seen[k],
                lopsided=profiles.lopsided[k] > 0.5,
                clipped=profiles.clipped[k] > 0.02,
                poor=bool(poor[k]),
            ),
        )
        for k, line in enumerate(card.lines)
    )
    waist = model.place("waist")
    return Explained(
        lines=lines,
        modelled=modelled,
        blur_mm=(float(np.exp(vector[1])), float(np.exp(vector[2]))),
        radius_mm={key: float(np.exp(r)) for key, r in zip(model.blocks, radii, strict=True)},
        waist_mm=float(np.exp(vector[waist])),
        waist_sd_share=float(np.sqrt(covariance[waist, waist])),
    )


def _flags(*, faint: bool, lopsided: bool, clipped: bool, poor: bool) -> tuple[str, ...]:
    told: Sequence[tuple[str, bool]] = (
        (FAINT, faint), (LOPSIDED, lopsided and not faint), (SATURATED, clipped), (POOR, poor and not faint),
    )  # fmt: skip
    return tuple(sorted(name for name, is_so in told if is_so))


def _edge_log_dose(model: LineModel, vector: FloatArray, most: float) -> float:
    """Return the log dose over threshold at which a line ends, no blur."""
    grid = np.linspace(-4.0, max(1.0, most), 2001)
    dark = model.darkened(grid, vector)
    sign = np.sign(dark[np.abs(dark).argmax()])
    dark = np.maximum.accumulate(sign * dark)
    return float(np.interp(EDGE_SHARE * dark[-1], dark, grid))
