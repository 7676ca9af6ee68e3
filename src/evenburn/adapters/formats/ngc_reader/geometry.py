"""Where the moves lead: lengths, boxes, and what must not be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.adapters.formats.ngc_reader.findings import SHOWN_PER_CODE, Box, Collector, Limits, shown
from evenburn.adapters.formats.ngc_reader.machine_state import RAPID, Moves

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
_TRAVEL_SLACK_MM = 1e-6  # a billionth of a metre: rounding in binary, nothing else


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """The moves as arrays of one shape (N,); steps and lengths are 0 where a start is unknown."""

    kind: NDArray[np.int8]
    x_mm: FloatArray
    y_mm: FloatArray
    dx_mm: FloatArray
    dy_mm: FloatArray
    length_mm: FloatArray
    power_word: FloatArray
    feed_mm_per_min: FloatArray
    start_known: BoolArray


def path_of(moves: Moves) -> Path:
    """Return the moves as arrays, with their steps and lengths."""
    x = np.array(moves.x_mm, dtype=np.float64)
    y = np.array(moves.y_mm, dtype=np.float64)
    dx, dy = np.full_like(x, np.nan), np.full_like(y, np.nan)
    dx[1:], dy[1:] = np.diff(x), np.diff(y)
    length = np.hypot(dx, dy)
    known = np.isfinite(length)
    for column in (dx, dy, length):
        column[~known] = 0.0
    for at, arc in moves.arcs.items():
        length[at] = arc.length_mm
    return Path(
        kind=np.array(moves.kind, dtype=np.int8),
        x_mm=x,
        y_mm=y,
        dx_mm=dx,
        dy_mm=dy,
        length_mm=length,
        power_word=np.array(moves.power_word, dtype=np.float64),
        feed_mm_per_min=np.array(moves.feed_mm_per_min, dtype=np.float64),
        start_known=known,
    )


def judge_moves(path: Path, moves: Moves, *, limits: Limits, findings: Collector) -> None:
    """Note every move that leaves the travel, burns in a rapid or at rest, or has no feed."""
    lit = path.power_word > 0

    def note(code: str, wrong: BoolArray, text: str) -> None:
        numbers = np.flatnonzero(wrong)
        for at in numbers[:SHOWN_PER_CODE].tolist():
            values = {"to": _whereto(path, moves, at), "s": shown(path.power_word[at])}
            findings.add(code, text.format(**values), line=moves.line[at])
        findings.add_uncounted(code, max(len(numbers) - SHOWN_PER_CODE, 0))

    allowed = f"allowed is X 0 to {shown(limits.bed_x_mm)}, Y 0 to {shown(limits.bed_y_mm)} mm"
    note("outside-travel", _outside(path, moves, limits), f"the head goes to {{to}}; {allowed}")
    note(
        "lit-in-rapid",
        lit & (path.kind == RAPID),
        "a rapid move to {to} with the laser lit at S {s}; allowed is off",
    )
    unknown = lit & ~path.start_known
    unknown[:1] = False  # the first move has a finding of its own
    note("start-unknown", unknown, "it burns to {to} at S {s} from a position not yet known")
    at_rest = lit & path.start_known & (path.length_mm == 0)
    note("lit-without-length", at_rest, "the head stands at {to} with the laser lit at S {s}; allowed is off")
    no_feed = np.isnan(path.feed_mm_per_min) & (path.kind != RAPID)
    note("feed-not-set", no_feed, "a feed move to {to} and no feed above 0 is set")
    if not lit.any():
        findings.add("nothing-burnt", "no move burns", line=None)


def _whereto(path: Path, moves: Moves, at: int) -> str:
    arc = moves.arcs.get(at)
    if arc is None:
        return f"X {shown(path.x_mm[at])} Y {shown(path.y_mm[at])}"
    x0, y0, x1, y1 = (shown(value) for value in arc.box_mm)
    return f"X {x0} to {x1}, Y {y0} to {y1} on an arc"


def _outside(path: Path, moves: Moves, limits: Limits) -> BoolArray:
    low, slack = -_TRAVEL_SLACK_MM, _TRAVEL_SLACK_MM
    outside = (path.x_mm < low) | (path.x_mm > limits.bed_x_mm + slack)
    outside |= (path.y_mm < low) | (path.y_mm > limits.bed_y_mm + slack)
    for at, arc in moves.arcs.items():
        x0, y0, x1, y1 = arc.box_mm
        if x0 < low or y0 < low or x1 > limits.bed_x_mm + slack or y1 > limits.bed_y_mm + slack:
            outside[at] = True
    return outside


def boxes_of(path: Path, moves: Moves) -> tuple[Box | None, Box | None]:
    """Return the box of everything burnt and the box of everything travelled, arcs with their bulge. [mm]"""
    burns = path.power_word > 0
    touched = burns.copy()
    touched[:-1] |= burns[1:]  # where a burning move begins
    every = np.ones_like(burns)
    return _box(path, moves, touched, burns), _box(path, moves, every, every)


def _box(path: Path, moves: Moves, points: BoolArray, counted: BoolArray) -> Box | None:
    xs, ys = path.x_mm[points], path.y_mm[points]
    xs, ys = xs[np.isfinite(xs)], ys[np.isfinite(ys)]
    if not xs.size or not ys.size:
        return None
    x0, y0, x1, y1 = float(xs.min()), float(ys.min()), float(xs.max()), float(ys.max())
    for at, arc in moves.arcs.items():
        if counted[at]:
            x0, y0 = min(x0, arc.box_mm[0]), min(y0, arc.box_mm[1])
            x1, y1 = max(x1, arc.box_mm[2]), max(y1, arc.box_mm[3])
    return (x0 + 0.0, y0 + 0.0, x1 + 0.0, y1 + 0.0)  # no minus zero
