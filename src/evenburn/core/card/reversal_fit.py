"""Reversal offset and rise time, from how far strokes burnt towards + land from strokes burnt towards −, at several speeds.

The offset is the same at every speed; a late laser shifts strokes by 2 v τ. At the slowest speed hardly more than the offset
is left, so that it rests on hardly any model; the quick strokes tell the rise time.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from evenburn.core.card.page_view import FloatArray
from evenburn.core.card.reversal import strokes_of
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.card import Card, LineReading, Reading

BY_EYE_STEPS = 0.5  # standard deviation of which strokes line up: between two, most see one or the other
SYSTEMATIC_sd_mm = 0.004  # what all strokes of a vernier share: the page's flatness, slant of the card
SEEN_AT, SEEN_AT_sd = (
    0.4,
    0.12,
)  # share of the full dose at which an edge is seen halfway: from curves of ordinary woods
BLUR_SHARE_sd = 0.35  # of the beam's radius, which may not be measured yet
UNLIKE_sd = 0.3  # a laser may come on so much slower, or quicker, than the mean of coming on and going off
RISE_s, RISE_sd_s = 0.0002, 0.0004  # believed of a laser before anything is measured: starting value
OFFSET_sd_mm = 2.0
STRAY_SDS = 4.0
AGREES = 3.5  # standard deviations that a vernier may miss the fit by
MODEL_SHARE = 0.12  # of a rise time, for what first order and a Gaussian beam leave out
RISE_TOLD = 0.5  # a rise time known no better than this share of it is not told
LEAST_PAIRS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """How far strokes towards + land, towards +, from strokes towards −, at one speed."""

    vernier: str
    speed_mm_per_s: float
    shift_mm: float
    shift_sd_mm: float
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReversalFit:
    """What the verniers say.

    Attributes
    ----------
    reversal_offset_mm, reversal_offset_sd_mm : for the machine file.
    rise_time_s, rise_time_sd_s : None where the speeds do not tell.
    shifts : as seen. residual_mm : (N,) seen less reckoned.
    doubtful : numbers of the shifts that fit none of it.
    """

    reversal_offset_mm: float
    reversal_offset_sd_mm: float
    rise_time_s: float | None
    rise_time_sd_s: float | None
    shifts: tuple[Shift, ...]
    residual_mm: tuple[float, ...]
    doubtful: tuple[int, ...]


def shifts_of(reading: Reading) -> tuple[Shift, ...]:
    """Return the shift of each vernier of a motion card as a photograph shows it: the mean over its pairs of strokes.

    Source
    ------
    Own choice: mean of the pairs but for strays, its standard deviation from their scatter.
    """
    read = {k.line.id: k for k in reading.lines}
    found = []
    for vernier in reading.card.verniers:
        plus, minus = (strokes_of(reading.card, vernier, forward=f) for f in (True, False))
        apart = [_apart(read.get(a.id), read.get(b.id)) for a, b in zip(plus, minus, strict=False)]
        told = np.array([d for d in apart if d is not None])
        if told.size < LEAST_PAIRS:
            continue
        middle = float(np.median(told))
        sd = 1.4826 * float(np.median(np.abs(told - middle))) + 1e-4
        kept = told[np.abs(told - middle) <= STRAY_SDS * sd]
        mean_sd = float(kept.std(ddof=1)) / math.sqrt(kept.size)
        found.append(
            Shift(
                vernier=vernier.id,
                speed_mm_per_s=vernier.speed_mm_per_s,
                shift_mm=float(kept.mean()),
                shift_sd_mm=math.hypot(mean_sd, SYSTEMATIC_sd_mm),
                by="photograph",
            )
        )
    return tuple(found)


def _apart(plus: LineReading | None, minus: LineReading | None) -> float | None:
    if plus is None or minus is None or plus.shift_mm is None or minus.shift_mm is None:
        return None
    return plus.shift_mm - minus.shift_mm


def shifts_by_eye(card: Card, lines_up: Mapping[str, float]) -> tuple[Shift, ...]:
    """Return the shifts that a person read: for each vernier the number of the strokes that line up, halves allowed.

    Raises
    ------
    InvalidInput
        If there is no such vernier or stroke.

    Source
    ------
    Definition of a vernier: so many steps.
    """
    known = {v.id: v for v in card.verniers}
    last = max((abs(int(k.id.rsplit(">", 1)[1])) for k in card.lines if ">" in k.id), default=0)
    wrong = {}
    for name, number in lines_up.items():
        if name not in known:
            wrong[f"--lines-up {name}"] = f"there is no such vernier; the card has {', '.join(known) or 'none'}"
        elif not (math.isfinite(number) and abs(number) <= last):
            wrong[f"--lines-up {name}"] = f"is {number:g}; strokes are numbered from -{last} to {last}"
    if wrong:
        raise InvalidInput(wrong, hint="Write for example --lines-up slow=2, or slow=2.5 where two pairs are alike.")
    return tuple(
        Shift(
            vernier=name,
            speed_mm_per_s=known[name].speed_mm_per_s,
            shift_mm=number * known[name].step_mm,
            shift_sd_mm=BY_EYE_STEPS * known[name].step_mm,
            by="eye",
        )
        for name, number in lines_up.items()
    )


def late_mm(
    speed_mm_per_s: float, *, rise_time_s: float, seen_at: float, beam_radius_mm: float, unlike: float = 0.0
) -> float:
    """Return how late the middle of a stroke lies, its edges seen at a share of the full dose. [mm]

    A beam's edge is Gaussian with half its radius as standard deviation, the laser's answer exponential; the dose along
    the stroke is their convolution. Where it begins, the dose has come up to the share, where it ends, gone down to it.

    Parameters
    ----------
    rise_time_s : mean of the time constants of coming on, (1 + unlike) times it, and of going off, (1 − unlike) times it.
    seen_at : share of the full dose at which an edge is seen.

    Source
    ------
    Own derivation, docs/how-it-works/stopwatch.md: quantiles of a normal plus an exponential variable, which are v τ on the mean where the speed is low.
    """
    from scipy.stats import exponnorm, norm

    lag, sigma = speed_mm_per_s * rise_time_s, 0.5 * beam_radius_mm
    if lag <= 1e-3 * sigma:
        return lag
    shares = np.array([seen_at, 1.0 - seen_at])
    lags = np.maximum(lag * np.array([1.0 + unlike, 1.0 - unlike]), 1e-3 * sigma)
    late = exponnorm.ppf(shares, lags / sigma, loc=0.0, scale=sigma) - norm.ppf(shares) * sigma
    return 0.5 * float(late.sum())


def fit_reversal(shifts: Sequence[Shift], *, beam_radius_mm: float) -> ReversalFit:
    """Return reversal offset and rise time from shifts at several speeds.

    Raises
    ------
    InvalidInput
        If there is no shift at all.

    Source
    ------
    Least squares of offset + 2 `late_mm`, the share at which an edge is seen and the beam's radius believed within limits.
    """
    if not shifts:
        raise InvalidInput({"strokes": "too few were seen to tell a shift; none was read by eye"})
    seen, sd = np.array([s.shift_mm for s in shifts]), np.array([s.shift_sd_mm for s in shifts])

    def reckoned(at: FloatArray) -> FloatArray:
        offset, rise, seen_at, wider, unlike = at
        return np.array(
            [
                offset
                + 2.0
                * late_mm(
                    s.speed_mm_per_s,
                    rise_time_s=1e-3 * float(rise),
                    seen_at=float(seen_at),
                    beam_radius_mm=beam_radius_mm * math.exp(float(wider)),
                    unlike=float(unlike),
                )
                for s in shifts
            ]
        )

    def off(at: FloatArray) -> FloatArray:
        believed = [
            at[0] / OFFSET_sd_mm,
            (at[1] - 1e3 * RISE_s) / (1e3 * RISE_sd_s),
            (at[2] - SEEN_AT) / SEEN_AT_sd,
            at[3] / BLUR_SHARE_sd,
            at[4] / UNLIKE_sd,
        ]
        return np.concatenate(((reckoned(at) - seen) / sd, believed))

    start = np.array([float(seen[np.argmin([s.speed_mm_per_s for s in shifts])]), 1e3 * RISE_s, SEEN_AT, 0.0, 0.0])
    best = least_squares(
        off,
        start,
        bounds=([-20.0, 0.0, 0.05, -1.5, -0.9], [20.0, 20.0, 0.95, 1.5, 0.9]),
        x_scale=[0.1, 0.1, 0.1, 0.3, 0.3],
        loss="soft_l1",
        f_scale=2.0,
    )
    jacobian = np.asarray(best.jac, dtype=np.float64)
    spread = np.sqrt(np.diag(np.linalg.pinv(jacobian.T @ jacobian)))
    residual = seen - reckoned(best.x)
    rise = 1e-3 * float(best.x[1])
    rise_sd = math.hypot(1e-3 * float(spread[1]), MODEL_SHARE * rise)
    speeds = {s.speed_mm_per_s for s in shifts}
    told = len(speeds) > 1 and (rise_sd < RISE_TOLD * rise or rise_sd < RISE_TOLD * RISE_s)
    return ReversalFit(
        reversal_offset_mm=float(best.x[0]),
        reversal_offset_sd_mm=float(spread[0]),
        rise_time_s=rise if told else None,
        rise_time_sd_s=rise_sd if told else None,
        shifts=tuple(shifts),
        residual_mm=tuple(float(r) for r in residual),
        doubtful=tuple(int(n) for n in np.flatnonzero(np.abs(residual) > AGREES * sd)),
    )
