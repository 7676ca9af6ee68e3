"""The wood card: patches chosen to tell most about the wood's curve.

Patches of one row share a speed and are swept together, so the card burns quickly; each has its own power. Which powers,
is chosen so that the tone between bare and char, at any dwell, will be known best: dense where the curve bends, whatever
the wood turns out to be like within what is believed of it. Some patches are repeated far apart, some burnt twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.card.informing import Candidate, Informed
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.card import Box, CardPatch, CornerMark
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.optics.lines import dwell_ms
from evenburn.core.response.curve import exposure_shift

FloatArray = NDArray[np.float64]

CORNER_IN_mm, CORNER_mm, HOLE_mm = 1.0, 3.0, 1.0
GAP_mm = 0.8
REPEATS = 4
SLOWEST_mm_per_s = 2.0
QUICKER = 1.5  # the quickest row is at least so much quicker than one that still reaches past the char limit
SLOWER = 2.5  # the slowest at least so much slower: a wood that takes 0.4 decades more is still charred there
TOE = 0.9  # decades below the middle of the curve that the quickest row's least power has to reach down to
LIGHT = 0.3  # … and the slowest row's, unless SLOWER asks otherwise
DWELLS = 8.0  # between the quickest and the slowest row at most, unless SLOWER asks otherwise
PAST_CHAR = 0.15  # decades beyond the believed char limit that are still of interest: where it turns
TWICE = {"wood": 6, "strip": 1}  # so many patches are burnt in two passes
ROWS_AT = {"wood": (0, 1, 2, 3, 1, 0), "strip": (1,)}  # which of the speeds each row has: like ones far apart


@dataclass(frozen=True, slots=True, kw_only=True)
class CardForm:
    """How a card is divided: size, and the grid of its patches. [mm]"""

    size_mm: tuple[float, float]
    columns: int
    rows: int
    inside_mm: Box

    def patch_box_mm(self, *, column: int, row: int) -> Box:
        """Return the box of a patch on the card. [mm] Definition."""
        x0, y0, x1, y1 = self.inside_mm
        wide, high = (x1 - x0) / self.columns, (y1 - y0) / self.rows
        left, low = x0 + column * wide, y0 + row * high
        return (
            round(left + 0.5 * GAP_mm, 3),
            round(low + 0.5 * GAP_mm, 3),
            round(left + wide - 0.5 * GAP_mm, 3),
            round(low + high - 0.5 * GAP_mm, 3),
        )


FORMS = {
    "wood": CardForm(size_mm=(90.0, 60.0), columns=10, rows=6, inside_mm=(5.0, 5.0, 85.0, 55.0)),
    "strip": CardForm(size_mm=(60.0, 15.0), columns=6, rows=1, inside_mm=(5.0, 3.5, 55.0, 11.5)),
}


def corner_marks(size_mm: tuple[float, float]) -> tuple[CornerMark, ...]:
    """Return the burnt squares in a card's corners; the lower left one has a hole. Definition."""
    w, h = size_mm
    low, side = CORNER_IN_mm, CORNER_mm
    found = []
    for name, x, y in (
        ("lower left", low, low),
        ("lower right", w - low - side, low),
        ("upper right", w - low - side, h - low - side),
        ("upper left", low, h - low - side),
    ):
        box = (x, y, x + side, y + side)
        middle, half = 0.5 * side, 0.5 * HOLE_mm
        hole = (x + middle - half, y + middle - half, x + middle + half, y + middle + half)
        found.append(CornerMark(id=name, box_mm=box, hole_mm=hole if name == "lower left" else None))
    return tuple(found)


def card_speeds_mm_per_s(
    curve: CharacteristicCurve,
    *,
    beam_radius_mm: float,
    line_spacing_mm: float,
    power_least_W: float,
    power_most_W: float,
    speed_most_mm_per_s: float,
    count: int,
) -> FloatArray:
    """Return speeds for the rows, quickest first, evenly apart in dwell.

    At the quickest the least power stays in the toe of the curve, at the slowest the greatest reaches far past the char
    limit, so that a wood that takes two and a half times more, or less, than believed is still seen from toe to char.

    Raises
    ------
    InvalidInput
        If this machine cannot burn the wood at any speed worth having.

    Source
    ------
    Own derivation: the speed at which the greatest power gives an exposure, with the dwell at that speed.
    """
    speeds = np.geomspace(min(SLOWEST_mm_per_s, 0.5 * speed_most_mm_per_s), speed_most_mm_per_s, 400)
    shift = exposure_shift(curve, dwell_ms=dwell_ms(beam_radius_mm=beam_radius_mm, speed_mm_per_s=speeds))
    brightest, faintest = (np.log10(w / (speeds * line_spacing_mm)) + shift for w in (power_most_W, power_least_W))
    enough = speeds[brightest >= curve.x_char + PAST_CHAR]
    if enough.size == 0:
        raise InvalidInput(
            {"machine": f"even at {speeds[0]:g} mm/s its {power_most_W:.1f} W do not reach this wood's char limit"},
            hint="Take a lens with a finer spot, or raise power_cap_fraction.",
        )
    charred = float(enough[-1])
    toe, light = (speeds[faintest <= curve.x_mid - below] for below in (TOE, LIGHT))
    quick = min(speed_most_mm_per_s, max(QUICKER * charred, float(toe[0]) if toe.size else speed_most_mm_per_s))
    slow = max(quick / DWELLS, float(light[0]) if light.size else quick)
    slow = max(float(speeds[0]), min(slow, charred / SLOWER, 0.5 * quick))
    return np.maximum(0.1, np.floor(10.0 * np.geomspace(quick, slow, count) + 1e-6) / 10.0)  # as a head can be told


def choose_patches(
    curve: CharacteristicCurve,
    covariance: FloatArray,
    *,
    form: CardForm,
    row_speeds_mm_per_s: Sequence[float],
    powers_W: FloatArray,
    power_fractions: FloatArray,
    beam_radius_mm: float,
    line_spacing_mm: float,
    twice: int,
    generator: np.random.Generator,
) -> tuple[CardPatch, ...]:
    """Return the patches of a card, the most telling ones first in each row's turn, then shuffled along the row.

    Parameters
    ----------
    covariance : what is believed of this wood, in the order of CURVE_PARAMETERS.
    powers_W, power_fractions : (M,) what can be set.
    twice : how many patches are burnt in two passes.
    generator : draws the beliefs and mixes the patches; seeded alike, the card is the same.

    Source
    ------
    Own choice: greedy selection for the least mean variance of the tone (I-optimality, [atkinson2007]), averaged over
    beliefs drawn from the prior.
    """
    speeds = sorted(set(row_speeds_mm_per_s), reverse=True)
    candidates = [
        Candidate(power_W=float(w), power_fraction=float(f), speed_mm_per_s=v, passes=n)
        for v in speeds
        for n in ((1, 2) if twice else (1,))
        for w, f in zip(powers_W, power_fractions, strict=True)
    ]
    informed = Informed(
        curve,
        covariance,
        candidates=candidates,
        beam_radius_mm=beam_radius_mm,
        line_spacing_mm=line_spacing_mm,
        twice=twice > 0,
        generator=generator,
    )
    taken = np.zeros(len(candidates), np.bool_)
    room = {v: sum(1 for s in row_speeds_mm_per_s if s == v) * form.columns for v in speeds}
    repeats = REPEATS if len(row_speeds_mm_per_s) > len(speeds) else 0
    for v in speeds:  # a repeat stands in another row of the same speed
        if list(row_speeds_mm_per_s).count(v) > 1:
            room[v] -= repeats // 2
    chosen: list[Candidate] = []
    left = twice
    while any(room.values()):
        allowed = np.array([room[c.speed_mm_per_s] > 0 and (c.passes == 1 or left > 0) for c in candidates])
        if (allowed & ~taken).any():
            allowed &= ~taken  # each once: a curve of another form than believed shows only between them
        index = int(np.where(allowed, informed.gains(), -np.inf).argmax())
        informed.add(index)
        taken[index] = True
        chosen.append(candidates[index])
        room[candidates[index].speed_mm_per_s] -= 1
        left -= candidates[index].passes == 2
    return _laid_out(
        chosen,
        generator=generator,
        form=form,
        row_speeds_mm_per_s=row_speeds_mm_per_s,
        repeats=repeats,
        spacing=line_spacing_mm,
    )


def _laid_out(
    chosen: list[Candidate],
    *,
    form: CardForm,
    row_speeds_mm_per_s: Sequence[float],
    repeats: int,
    spacing: float,
    generator: np.random.Generator,
) -> tuple[CardPatch, ...]:
    """Return the patches in their rows: doses mixed along each row, repeats as far apart as the card is wide."""
    rows_of = {v: [r for r, s in enumerate(row_speeds_mm_per_s) if s == v] for v in set(row_speeds_mm_per_s)}
    patches: list[CardPatch] = []
    for v, rows in rows_of.items():
        mine = [c for c in chosen if c.speed_mm_per_s == v]
        generator.shuffle(mine)
        again = mine[: repeats // 2] if len(rows) > 1 else []
        places = [(row, column) for row in rows for column in range(form.columns)]
        first, last = places[: len(mine)], places[len(mine) :]
        for (row, column), each in [*zip(first, mine, strict=True), *zip(reversed(last), again, strict=True)]:
            patches.append(
                CardPatch(
                    id=f"{'abcdefgh'[row]}{column + 1}",
                    box_mm=form.patch_box_mm(column=column, row=row),
                    power_W=each.power_W,
                    power_fraction=each.power_fraction,
                    speed_mm_per_s=each.speed_mm_per_s,
                    line_spacing_mm=spacing,
                    passes=each.passes,
                )
            )
    return tuple(sorted(patches, key=lambda p: (p.id[0], int(p.id[1:]))))
