"""Learning a lot, or one board of it, from cards: belief and readings in, a curve that says what it is worth out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenburn.core.card.informing import LOT_SD, believed_covariance
from evenburn.core.card.observing import Gathered, gather
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.card import PatchReading, Reading
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve
from evenburn.core.optics.lines import dwell_ms, effective_passes, mean_dose_J_per_mm2
from evenburn.core.response.curve import (
    DWELL_REFERENCE_ms,
    effective_exposure,
    exposure_shift,
    tone_slope_L_per_decade,
    usable_range,
)
from evenburn.core.response.fitting import Fitted, Observed, fit_curve, with_parameters
from evenburn.core.response.pooling import pool_lots

FloatArray = NDArray[np.float64]

LEAST_ON_A_CARD, LEAST_ON_A_STRIP = 8, 3
HARDLY_L = 8.0  # a card whose darkest patch lies no further from the bare wood tells too little
FOLLOWS = 0.5  # rank correlation of tone with exposure below which the tones are not those of this card
BURNT_THROUGH = (
    0.85  # of the way from the bare wood to the darkest patch: if every patch is past it, none tells the way
)
WOOD_PATCHES, LOT_PATCHES = 1.0, 30.0  # a starting value's evenness counts as so many patches, a measured lot's as more
PLAIN_NUMBERS, MOVED_ON_A_BOARD = 5.0, 2.0  # numbers of the plain curve; what a strip moves of a known one
BOARD_SHARE = (0.3, 1.5)  # boards of a lot against what its wood was believed to do, least and most
BOARDS_BELIEVED = 3.0  # the spread of boards believed beforehand counts as so many boards
WITHIN_BOARD = 0.3  # how far face and back, or two ends, of one board differ, against boards of a lot: from memory
BOARD_ROOM = 1.5  # a board in hand may lie so much further off than boards are told to
KAPPA_DOUBT = 0.03  # how far the exponent may differ over other dwells than the card's: from memory
LEAST_BOARD_L = 0.5  # boards that are told to be alike still differ by so much
FIRST, MID = (CURVE_PARAMETERS.index(name) for name in ("bare_L", "x_mid"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Belief:
    """What is believed before the card was read.

    Attributes
    ----------
    curve, covariance : the curve, and how far this lot or board may lie from it.
    known : it was fitted to patches, so that none of its features is let go of.
    one_board : the card was burnt on one board of a lot that is known.
    """

    curve: CharacteristicCurve
    covariance: FloatArray
    known: bool = False
    one_board: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Learnt:
    """A lot, or a board of it, as learnt: the curve to work with, how it was fitted, and from which patches.

    `boards_measured` is how many boards the spread between boards rests on; below 2 it is only believed. `belief` is what
    was believed before.
    """

    curve: CharacteristicCurve
    fitted: Fitted
    gathered: Gathered
    boards_measured: int
    belief: Belief

    def exposures(self) -> FloatArray:
        """Return the effective exposures of the patches that count, (N,). [log10 J/mm²] Source: `exposure_shift`."""
        seen = self.gathered.observed
        shift = exposure_shift(self.curve, dwell_ms=seen.dwell_ms, passes=seen.passes)
        return np.asarray(seen.log10_dose + shift, np.float64)

    def out_exposures(self) -> FloatArray:
        """Return the same of the patches that were left out. [log10 J/mm²] Source: `exposure_shift`."""
        return np.array(
            [_exposure(self.curve, p, radius_mm=self.gathered.radii_mm[n]) for n, p, _ in self.gathered.left_out]
        )


def belief_of_wood(curve: CharacteristicCurve, *, likeness: bool = False) -> Belief:
    """Return the belief about a lot of a wood that ships. Source: `believed_covariance`."""
    return Belief(curve=curve, covariance=believed_covariance(curve, likeness=likeness))


def belief_of_lots(lots: Sequence[CharacteristicCurve]) -> Belief:
    """Return the belief about a new lot from others of the same species.

    Source
    ------
    `pool_lots`, with what lots are believed to differ by beforehand.
    """
    species = pool_lots(lots, believed_covariance=np.diag(np.square([LOT_SD[n] for n in CURVE_PARAMETERS])))
    curve = replace(
        with_parameters(lots[0], species.mean),
        evenness_L=_mean_square([c.evenness_L for c in lots]),
        board_L=_mean_square([c.board_L for c in lots]),
        x_char=float(np.mean([c.x_char - c.x_mid for c in lots])) + float(species.mean[MID]),
    )
    return Belief(curve=curve, covariance=species.new_lot_covariance(), known=True)


def belief_of_board(lot: CharacteristicCurve) -> Belief:
    """Return the belief about one board of a known lot: its curve, moved by as much as boards differ.

    Source
    ------
    `board_covariance`, by as much as the lot's boards are told to differ, with BOARD_ROOM.
    """
    covariance = lot.covariance + board_covariance(lot, board_L=BOARD_ROOM * max(lot.board_L, LEAST_BOARD_L))
    return Belief(curve=lot, covariance=covariance, known=True, one_board=True)


def board_covariance(curve: CharacteristicCurve, *, board_L: float) -> FloatArray:
    """Return how far a board's curve lies from its lot's, (9, 9) in the order of CURVE_PARAMETERS.

    Source
    ------
    Own choice: boards have their own bare tone, and take more or less of the beam, which moves the curve along the
    exposure; each of the two by what makes `board_L`, the one on bare wood, the other where the curve is steepest.
    """
    covariance = np.zeros((len(CURVE_PARAMETERS), len(CURVE_PARAMETERS)))
    covariance[FIRST, FIRST] = board_L**2
    covariance[MID, MID] = (board_L / _steepest_L_per_decade(curve)) ** 2
    turn = CURVE_PARAMETERS.index("x_reversal")
    if curve.covariance[turn, turn] > 0.0:  # the turn moves with the rest
        covariance[MID, turn] = covariance[turn, MID] = covariance[turn, turn] = covariance[MID, MID]
    return covariance


def learn(readings: Sequence[Reading], belief: Belief, *, provenance: Provenance) -> Learnt:
    """Return what readings tell of a lot, or of one board of it.

    Raises
    ------
    InvalidInput
        If readings do not go together, or their patches cannot tell a curve; what to burn instead is in the hint.

    Source
    ------
    `fit_curve`; spreads of wood and boards as docs/how-it-works/fitting.md derives them.
    """
    gathered = gather(readings)
    _demand_patches(readings, gathered)
    _demand_tones(gathered, belief)

    def fit(observed: Observed, *, bare_shared_L: FloatArray | None) -> Fitted:
        if belief.known:  # a few patches do not say how blotchy the wood is; the lot does
            observed = replace(observed, tone_L_sd=np.hypot(observed.tone_L_sd, belief.curve.evenness_L))
        return fit_curve(
            observed,
            prior=belief.curve,
            prior_covariance=belief.covariance,
            bare_L=gathered.bare_L,
            bare_L_sd=gathered.bare_L_sd,
            bare_shared_L=bare_shared_L,
            known=belief.known,
            provenance=provenance,
        )

    alone = fit(replace(gathered.observed, shared_L=None), bare_shared_L=None)
    smooth = gathered.shared_at(gathered.observed.tone_L - alone.residual_L)
    gathered = replace(gathered, observed=smooth)
    fitted = fit(smooth, bare_shared_L=gathered.bare_shared_L)
    evenness = _evenness_L(fitted, gathered, belief)
    board, boards = _board_L(fitted, gathered, belief, evenness_L=evenness)
    covariance = np.array(fitted.curve.covariance)
    if not belief.one_board:  # the card's own board is but one of the lot's
        covariance += board_covariance(fitted.curve, board_L=board) / len(readings)
        covariance += _dwell_doubt(gathered, fitted.curve)
    covariance.setflags(write=False)
    curve = replace(
        fitted.curve, covariance=covariance, evenness_L=evenness, board_L=board, reading_L=gathered.own_sd_L()
    )
    return Learnt(curve=curve, fitted=fitted, gathered=gathered, boards_measured=boards, belief=belief)


def _dwell_doubt(gathered: Gathered, curve: CharacteristicCurve) -> FloatArray:
    """Return what one exponent for all dwells leaves open, (9, 9): nothing at the card's own, more the further away."""
    by = np.zeros(len(CURVE_PARAMETERS))
    by[CURVE_PARAMETERS.index("kappa")] = KAPPA_DOUBT
    by[MID] = KAPPA_DOUBT * float(np.mean(np.log10(gathered.observed.dwell_ms / DWELL_REFERENCE_ms)))
    turn = CURVE_PARAMETERS.index("x_reversal")
    if curve.covariance[turn, turn] > 0.0:  # the whole curve moves
        by[turn] = by[MID]
    return np.asarray(np.outer(by, by), np.float64)


def _demand_patches(readings: Sequence[Reading], gathered: Gathered) -> None:
    strip = all(r.card.kind == "strip" for r in readings)
    least = LEAST_ON_A_STRIP if strip else LEAST_ON_A_CARD
    count = len(gathered.patches)
    if count < least:
        aside = len(gathered.left_out)
        raise InvalidInput(
            {"patches": f"{count} count, {aside} are set aside by their flags; at least {least} are needed"},
            hint="Photograph the card again, in even light and without shine.",
        )


def _demand_tones(gathered: Gathered, belief: Belief) -> None:
    """Raise where the tones cannot be those of this card, or lie too close together to tell a curve."""
    from scipy.stats import spearmanr

    observed, prior = gathered.observed, belief.curve
    away = (observed.tone_L - gathered.bare_L) * np.sign(prior.full_L - prior.bare_L)
    furthest = float(np.quantile(away, 0.95))
    words = ("darkened", "darker") if prior.full_L < prior.bare_L else ("lightened", "lighter")
    if furthest < HARDLY_L:
        if float(np.quantile(away, 0.05)) < -HARDLY_L:
            raise InvalidInput(
                {
                    "patches": f"they lie the other way from the bare wood, L* {gathered.bare_L:.1f}, than this wood goes"
                },
                hint="Is it the wood that --wood names, and the right card.json?",
            )
        raise InvalidInput(
            {"patches": f"the card hardly {words[0]}: {furthest:.1f} L* at most; {HARDLY_L:g} are needed"},
            hint="Burn it again slower, or with more power.",
        )
    if not belief.known and float(np.min(away)) > BURNT_THROUGH * furthest:
        raise InvalidInput(
            {"patches": f"all are burnt through: none lies less than {float(np.min(away)):.0f} L* from the bare wood"},
            hint="Burn it again quicker, or with less power.",
        )
    exposure = observed.log10_dose + exposure_shift(prior, dwell_ms=observed.dwell_ms, passes=observed.passes)
    if not np.ptp(exposure) > 0.0:
        return  # alike patches: they still tell where a known curve lies
    rank = float(spearmanr(exposure, away).statistic)
    if rank < FOLLOWS:
        raise InvalidInput(
            {
                "patches": f"their tones do not follow the exposure (rank correlation {rank:.2f}, at least {FOLLOWS:g} is needed)"
            },
            hint="Is it the right card.json, the card the right way up in the mat, and did the laser fire evenly?",
        )


def _evenness_L(fitted: Fitted, gathered: Gathered, belief: Belief) -> float:
    """Return the wood's own spread from place to place, areas of a patch's size: scatter over that of the reading. [L*]

    Outliers count as little as they did in the fit, and what fitting took out is put back.
    """
    weights, own = fitted.weights, gathered.observed.tone_L_sd
    count = float(weights.sum())
    taken = MOVED_ON_A_BOARD if belief.known else PLAIN_NUMBERS + len(fitted.features)
    whole = float((weights * np.square(fitted.residual_L)).sum()) / max(count - taken, 0.5 * count)
    seen = max(0.0, whole - float(np.average(np.square(own), weights=weights)))
    believed = LOT_PATCHES if belief.known else WOOD_PATCHES
    return float(np.sqrt((believed * belief.curve.evenness_L**2 + count * seen) / (believed + count)))


def _board_L(fitted: Fitted, gathered: Gathered, belief: Belief, *, evenness_L: float) -> tuple[float, int]:
    """Return how far boards lie apart, and how many were measured for it.

    A lot that proves more even than its wood was believed to be is believed more even from board to board in proportion;
    boards that were read say it themselves.
    """
    believed = belief.curve.board_L
    if belief.one_board:
        return WITHIN_BOARD * believed, 0
    if not belief.known and belief.curve.evenness_L > 0.0:
        believed *= float(np.clip(evenness_L / belief.curve.evenness_L, *BOARD_SHARE))
    count = int(gathered.reading_of.max()) + 1
    if count < 2:
        return believed, 0
    off = fitted.residual_L + gathered.observed.shared() @ fitted.shared
    seen = [n for n in range(count) if (gathered.reading_of == n).any()]
    means = np.array([np.average(off[i], weights=fitted.weights[i]) for i in (gathered.reading_of == n for n in seen)])
    reading = np.square(
        gathered.bare_shared_L.reshape(count, -1)[seen, 0] * count
    )  # what each reading's offset explains
    apart = max(0.0, float(np.square(means - means.mean()).sum()) - (1.0 - 1.0 / means.size) * float(reading.sum()))
    return float(np.sqrt((BOARDS_BELIEVED * believed**2 + apart) / (BOARDS_BELIEVED + means.size - 1.0))), int(
        means.size
    )


def _exposure(curve: CharacteristicCurve, reading: PatchReading, *, radius_mm: float) -> float:
    patch = reading.patch
    return float(
        effective_exposure(
            curve,
            dose_J_per_mm2=mean_dose_J_per_mm2(
                power_W=patch.power_W,
                speed_mm_per_s=patch.speed_mm_per_s,
                line_spacing_mm=patch.line_spacing_mm,
                passes=patch.passes,
            ),
            dwell_ms=dwell_ms(beam_radius_mm=radius_mm, speed_mm_per_s=patch.speed_mm_per_s),
            passes=effective_passes(
                passes=patch.passes, beam_radius_mm=radius_mm, line_spacing_mm=patch.line_spacing_mm
            ),
        )
    )


def _steepest_L_per_decade(curve: CharacteristicCurve) -> float:
    low, high = usable_range(curve)
    return max(1.0, float(np.abs(tone_slope_L_per_decade(curve, np.linspace(low, high, 101))).max()))


def _mean_square(values: Sequence[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values))))
