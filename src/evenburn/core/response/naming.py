"""Drift by its name: in words, whether it is the bench, one lot, or nothing that can be told."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.outcome import ExposureShift, Outcome
from evenburn.core.response.drift import Drift, Shift, common_drift

Kind = Literal["drift", "one lot", "none", "unclear", "too few"]

OFF_SDS, QUIET_SDS = 2.5, 2.0  # a lot is off, or is not; between the two it stays open
LEAST_LOTS_FOR_ONE = 3  # of two that differ none can be called the odd one
SCALE_SDS = 2.0
IN_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


@dataclass(frozen=True, slots=True, kw_only=True)
class LotShift:
    """What the marks of one lot say together, and how many they are."""

    lot: str
    decades: float
    decades_sd: float
    marks: int

    @property
    def sds(self) -> float:
        """The shift in its standard deviations."""
        return self.decades / self.decades_sd


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedDrift:
    """What outcomes of several lots have in common, by its name.

    Attributes
    ----------
    scale_decade_sd : by how much paper and toner may make all lots look off together, as a power of ten.
    left_out : piece/mark of the outcomes that tell nothing of the exposure.
    """

    kind: Kind
    text: str
    remedy: str
    drift: Drift
    lots: tuple[LotShift, ...]
    scale_decade_sd: float
    left_out: tuple[str, ...]


def named_drift(outcomes: Sequence[Outcome]) -> NamedDrift:
    """Return whether outcomes of several lots are off together, in words.

    Raises
    ------
    InvalidInput
        If none tells of the exposure, one is given twice, or they are of several machines.

    Source
    ------
    `common_drift`; own choice of when one lot alone is called off.
    """
    _demand(outcomes)
    told = [(o, o.shift) for o in outcomes if o.shift is not None]
    left_out = tuple(f"{o.piece_id}/{o.mark_id}" for o in outcomes if o.shift is None)
    if not told:
        raise InvalidInput(
            {"OUTCOME": "none of them tells of the exposure"},
            hint="Compare them again with --curve, the curve of their wood; a tone on its flat end tells nothing.",
        )
    shifts = [Shift(lot=o.wood_id, decades=s.decades, decades_sd=s.decades_sd) for o, s in told]
    drift = common_drift(shifts)
    lots = tuple(_lot(k, shifts) for k in sorted({s.lot for s in shifts}))
    scale = _scale_sd(told)
    kind, text, remedy = _named(drift, lots, shifts, scale=scale)
    return NamedDrift(
        kind=kind, text=text, remedy=remedy, drift=drift, lots=lots, scale_decade_sd=scale, left_out=left_out
    )


def _demand(outcomes: Sequence[Outcome]) -> None:
    keys = [(o.piece_id, o.mark_id, o.date) for o in outcomes]
    twice = next((k for k in keys if keys.count(k) > 1), None)
    if twice is not None:
        raise InvalidInput({"OUTCOME": f"{twice[0]}/{twice[1]} of {twice[2]} is given twice; a mark counts once"})
    machines = sorted({o.machine_name for o in outcomes})
    if len(machines) > 1:
        raise InvalidInput(
            {"OUTCOME": f"they are of {len(machines)} machines: {', '.join(machines)}"},
            hint="A beam drifts by itself: compare the outcomes of one machine.",
        )


def _lot(lot: str, shifts: Sequence[Shift]) -> LotShift:
    own = [s for s in shifts if s.lot == lot]
    mean = common_drift(own)
    return LotShift(lot=lot, decades=mean.decades, decades_sd=mean.decades_sd, marks=len(own))


def _scale_sd(told: Sequence[tuple[Outcome, ExposureShift]]) -> float:
    """Return what one error of the lightness scale, paper and toner, does to the mean shift, as a power of ten."""
    weights = [1.0 / s.decades_sd**2 for _, s in told]
    moved = [o.got.shared_L_sd / s.slope_L_per_decade for o, s in told]
    return abs(sum(w * m for w, m in zip(weights, moved, strict=True))) / sum(weights)


def _named(drift: Drift, lots: Sequence[LotShift], shifts: Sequence[Shift], *, scale: float) -> tuple[Kind, str, str]:
    share = f"{100.0 * abs(drift.power_share):.0f} ± {100.0 * drift.power_share_sd:.0f} %"
    way = "less" if drift.decades < 0.0 else "more"
    count = IN_WORDS[len(lots)] if len(lots) < len(IN_WORDS) else str(len(lots))
    if drift.named and abs(drift.decades) < SCALE_SDS * math.hypot(scale, drift.decades_sd):
        return (
            "unclear",
            (
                f"cannot be told yet: all {count} woods look as if the beam gave {share} {way}, but paper and toner of the mat "
                "could make that much"
            ),
            "Measure the mat's paper and black once, and compare again with --paper-L and --toner-L.",
        )
    if drift.named:
        cause = (
            "Clean lens and mirrors, check the tube and the focus; until then burn new cards."
            if way == "less"
            else "Check focus and power, and whether the cards were burnt with a dirty lens; then burn new cards."
        )
        return (
            "drift",
            f"the beam now gives {share} {way} on all {count} woods than when their cards were burnt",
            cause,
        )
    off = [k for k in lots if abs(k.sds) > OFF_SDS]
    if len(lots) == 1:
        one = lots[0]
        seen = f"it is off by {_percent(one)}" if off else f"it is not off either, {_percent(one)}"
        return (
            "too few",
            f"cannot be told yet: one wood alone, {one.lot}, does not tell lot and board from the bench; {seen}",
            "Compare a piece of another wood; with two that are off alike it can be named.",
        )
    if len(off) == 1 and len(lots) >= LEAST_LOTS_FOR_ONE:
        rest = [s for s in shifts if s.lot != off[0].lot]
        others = common_drift(rest)
        apart = abs(off[0].decades - others.decades) / math.hypot(off[0].decades_sd, others.decades_sd)
        if abs(others.decades) < QUIET_SDS * others.decades_sd and apart > QUIET_SDS:
            return (
                "one lot",
                f"only {off[0].lot} is off, by {_percent(off[0])}: that lot or board, not the bench",
                f"Burn a strip on the board, or a new card of {off[0].lot}, and fit it.",
            )
    if not off and abs(drift.decades) < QUIET_SDS * drift.decades_sd:
        return (
            "none",
            f"no drift: {count} woods came out as their curves say; together the beam gives {share} {way}",
            "Nothing to do.",
        )
    if all(k.decades * drift.decades > 0.0 for k in lots):
        return (
            "unclear",
            (
                f"cannot be told yet: all {count} woods point the same way, {share} {way}, but boards and readings that are off "
                "by chance could make that"
            ),
            "Compare a piece of one more wood; until then burn a strip on the back of what matters.",
        )
    return (
        "unclear",
        (
            f"cannot be told yet: the {count} woods do not say the same; off by more than chance: "
            f"{', '.join(f'{k.lot} {_percent(k)}' for k in off) or 'none by itself'}"
        ),
        "Compare a piece of each of the other woods, photographed with the same mat.",
    )


def _percent(lot: LotShift) -> str:
    share = math.pow(10.0, lot.decades) - 1.0
    sd = math.log(10.0) * (1.0 + share) * lot.decades_sd
    return f"{100.0 * abs(share):.0f} ± {100.0 * sd:.0f} % {'less' if share < 0.0 else 'more'}"
