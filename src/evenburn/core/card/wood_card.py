"""The wood card: patches chosen to tell most about the wood's curve, and the events that burn them.

Patches of one row share a speed and are swept together, so the card burns quickly; each has its own power. Which powers,
is chosen so that the tone between bare and char, at any dwell, will be known best: dense where the curve bends, whatever
the wood turns out to be like within what is believed of it. Some patches are repeated far apart, some burnt twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenburn.core.errors import InvalidInput
from evenburn.core.motion.raster import Line, Run, run_events
from evenburn.core.nouns.card import Box, CardPatch, CornerMark
from evenburn.core.nouns.events import Event
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve
from evenburn.core.optics.lines import dwell_ms
from evenburn.core.response.curve import exposure_shift, usable_range
from evenburn.core.response.fitting import Observed, tone_jacobian, with_parameters

FloatArray = NDArray[np.float64]

CORNER_IN_mm, CORNER_mm, HOLE_mm = 1.0, 3.0, 1.0
GAP_mm = 0.8
BELIEFS = 12  # curves drawn from what is believed, for which the card has to serve
PATCH_SD_L = 1.0  # what reading and wood leave of a patch: starting value
REPEATS = 4
TONES = 9  # places along the curve, and dwells, at which the tone is to be known
SLOWEST_mm_per_s = 2.0
QUICKER = 1.5  # the quickest row is so much quicker than one that still reaches past the char limit
DWELLS = 8.0  # between the quickest and the slowest row at most
LIGHT = 0.3  # decades below the middle of the curve that the slowest row's least power has to reach down to
PAST_CHAR = 0.15  # decades beyond the believed char limit that are still of interest: where it turns
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

    At the quickest the greatest power all but reaches the char limit, at the slowest the least still leaves a light tone.

    Raises
    ------
    InvalidInput
        If this machine cannot burn the wood at any speed worth having.

    Source
    ------
    Own derivation: the speed at which the greatest power gives an exposure, with the dwell at that speed.
    """
    speeds = np.geomspace(SLOWEST_mm_per_s, speed_most_mm_per_s, 400)
    shift = exposure_shift(curve, dwell_ms=dwell_ms(beam_radius_mm=beam_radius_mm, speed_mm_per_s=speeds))
    brightest, faintest = (np.log10(w / (speeds * line_spacing_mm)) + shift for w in (power_most_W, power_least_W))
    enough = speeds[brightest >= curve.x_char + PAST_CHAR]
    if enough.size == 0:
        raise InvalidInput(
            {
                "machine": f"even at {SLOWEST_mm_per_s:g} mm/s its {power_most_W:.1f} W do not reach this wood's char limit"
            },
            hint="Take another wood, or raise power_cap_fraction.",
        )
    quick = min(speed_most_mm_per_s, QUICKER * float(enough[-1]))
    light = speeds[faintest <= curve.x_mid - LIGHT]
    slow = max(quick / DWELLS, float(light[0]) if light.size else quick)
    slow = min(slow, 0.5 * quick)
    return np.round(np.geomspace(quick, slow, count), 1)


def _beliefs(
    curve: CharacteristicCurve, covariance: FloatArray, *, generator: np.random.Generator
) -> list[CharacteristicCurve]:
    """Return curves drawn from what is believed of the wood."""
    draws = generator.multivariate_normal(curve.parameters(), covariance, size=BELIEFS, method="eigh")
    low = {"steepness_per_decade": 0.4 * curve.steepness_per_decade, "asymmetry": 0.3}
    for name, least in low.items():
        column = CURVE_PARAMETERS.index(name)
        draws[:, column] = np.maximum(draws[:, column], least)
    return [with_parameters(curve, d) for d in draws]


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A patch that could be burnt."""

    power_W: float
    power_fraction: float
    speed_mm_per_s: float
    passes: int


def _observed(candidates: Sequence[Candidate], *, beam_radius_mm: float, line_spacing_mm: float) -> Observed:
    power = np.array([c.power_W for c in candidates])
    speed = np.array([c.speed_mm_per_s for c in candidates])
    passes = np.array([float(c.passes) for c in candidates])
    none = np.zeros(len(candidates))
    return Observed(
        log10_dose=np.log10(passes * power / (speed * line_spacing_mm)),
        dwell_ms=dwell_ms(beam_radius_mm=beam_radius_mm, speed_mm_per_s=speed),
        passes=passes,
        tone_L=none,
        tone_L_sd=none + PATCH_SD_L,
    )


class Informed:
    """How well the tone is known, over all beliefs, as patches are added one by one."""

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
        seen = _observed(candidates, beam_radius_mm=beam_radius_mm, line_spacing_mm=line_spacing_mm)
        self.rows: list[FloatArray] = []
        self.wished: list[FloatArray] = []
        self.known: list[FloatArray] = []
        dwells = np.quantile(seen.dwell_ms, [0.0, 0.5, 1.0])
        for belief in _beliefs(curve, covariance, generator=generator):
            low, high = usable_range(replace(belief, x_low=belief.x_mid - 1.2, x_high=belief.x_char))
            x, dwell = (a.ravel() for a in np.meshgrid(np.linspace(low, high, TONES), [*dwells, dwells[1]]))
            passes = np.where(np.arange(x.size) % (dwells.size + 1) == 0, 2.0, 1.0) if twice else np.ones_like(x)
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
            bare[0] = 1.0 / PATCH_SD_L  # the bare wood is read in any case
            known, bare = covariance[inside], bare[self.free]
            through = known @ bare
            self.known.append(known - np.outer(through, through) / (1.0 + float(bare @ through)))

    def gains(self) -> FloatArray:
        """Return by how much each candidate would lower the mean variance of the tone, summed over beliefs in logs."""
        total = np.zeros(self.rows[0].shape[0])
        for rows, wished, known in zip(self.rows, self.wished, self.known, strict=True):
            through = rows @ known
            leverage = 1.0 + np.einsum("ij,ij->i", through, rows)
            lowered = np.square(wished @ through.T).mean(axis=0) / leverage
            now = float(np.einsum("ij,jk,ik->i", wished, known, wished).mean())
            total += -np.log1p(-np.minimum(lowered / now, 1.0 - 1e-12))
        return total

    def add(self, index: int) -> None:
        """Take a candidate as burnt. Source: the covariance after one more measurement, [atkinson2007], chapter 11."""
        for number, (rows, known) in enumerate(zip(self.rows, self.known, strict=True)):
            through = known @ rows[index]
            self.known[number] = known - np.outer(through, through) / (1.0 + float(rows[index] @ through))


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


def card_events(
    machine: Machine,
    patches: Sequence[CardPatch],
    *,
    marks: Sequence[CornerMark],
    origin_bed_mm: tuple[float, float],
    mark_power_W: float,
    mark_speed_mm_per_s: float,
    mark_line_spacing_mm: float,
) -> tuple[Event, ...]:
    """Return the events that burn a card: rows from the lowest up, second passes after them, corner marks last.

    Patches of one row that share speed and line spacing are swept together.

    Source
    ------
    `run_events`.
    """
    events: list[Event] = []
    for number in range(1, max((p.passes for p in patches), default=0) + 1):
        for row in sorted({p.id[0] for p in patches}):
            mine = [p for p in patches if p.id[0] == row and p.passes >= number]
            if mine:
                lines = _lines([(p.box_mm, p.power_W, None) for p in mine], mine[0].line_spacing_mm, origin_bed_mm)
                events += run_events(
                    machine, [Run(lines=lines, forward=True)], axis="x", speed_mm_per_s=mine[0].speed_mm_per_s
                )
    for low in sorted({m.box_mm[1] for m in marks}):
        boxes = [(m.box_mm, mark_power_W, m.hole_mm) for m in marks if m.box_mm[1] == low]
        lines = _lines(boxes, mark_line_spacing_mm, origin_bed_mm)
        events += run_events(machine, [Run(lines=lines, forward=True)], axis="x", speed_mm_per_s=mark_speed_mm_per_s)
    return tuple(events)


def _lines(
    boxes: Sequence[tuple[Box, float, Box | None]], spacing_mm: float, origin_mm: tuple[float, float]
) -> tuple[Line, ...]:
    """Return lines over boxes side by side, each with its power and perhaps a hole."""
    low, high = min(b[0][1] for b in boxes), max(b[0][3] for b in boxes)
    found = []
    count = int((high - low) / spacing_mm + 1e-6)
    first = low + 0.5 * (high - low - (count - 1) * spacing_mm)
    for index in range(count):
        cross = first + index * spacing_mm
        edges: list[float] = []
        powers: list[float] = []
        for (x0, _, x1, _), power, hole in sorted(boxes, key=lambda b: b[0][0]):
            parts = [(x0, x1)]
            if hole is not None and hole[1] < cross < hole[3]:
                parts = [(x0, hole[0]), (hole[2], x1)]
            for a, b in parts:
                powers += [0.0, power] if edges else [power]
                edges += [a, b]
        found.append(
            Line(
                cross_mm=origin_mm[1] + cross,
                edges_mm=origin_mm[0] + np.array(edges),
                power_W=np.array(powers),
            )
        )
    return tuple(found)
