"""Findings on marks of one piece whose burnt areas lie over one another: burnt twice, and what tone that gives."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import Point, affinity, box

from evenburn.core.art.ink import ink_box_mm
from evenburn.core.art.picture import Grid
from evenburn.core.layout.place import on_bed, outline_on_bed
from evenburn.core.nouns.check import Check
from evenburn.core.nouns.mark import Axis, Piece
from evenburn.core.nouns.wood import CharacteristicCurve, Wood
from evenburn.core.optics.lines import effective_passes
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.placing_checks import NB, WAYS
from evenburn.core.response.curve import exposure_shift, tone_L, usable_range

Scalar = TypeVar("Scalar", bound=np.generic)
FloatArray = NDArray[np.float64]
Box = tuple[float, float, float, float]

RIM_px = 1  # so far inside its rim an overlap has to reach: pixels on either side of a shared edge are none
MOST_PIXELS = 4_000_000  # the overlap is looked at on pixels no finer than this many need


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Overlap:
    """Where two marks both burn: its area, its box on the bed, and each mark's dose there as a share of its own.

    `dose_fraction` are (N,) pixel by pixel for the first and for the second mark; 1 is the mark's own dose.
    """

    area_mm2: float
    box_bed_mm: Box
    dose_fraction: tuple[FloatArray, FloatArray]


def overlap_of(one: MarkWork, other: MarkWork) -> Overlap | None:
    """Return where two marks both burn, by the ink of their surveys; None where they do not.

    Source
    ------
    Definition: pixel by pixel, as fine as the finer survey. What is no wider than the pixels on either side of a shared
    edge does not count.
    """
    boxes = (one.survey.ink_box_mm, other.survey.ink_box_mm)
    if boxes[0] is None or boxes[1] is None:
        return None
    x0, y0 = (max(boxes[0][k], boxes[1][k]) for k in (0, 1))
    x1, y1 = (min(boxes[0][k], boxes[1][k]) for k in (2, 3))
    if x1 <= x0 or y1 <= y0:
        return None
    pixel = min(one.survey.grid.pixel_mm, other.survey.grid.pixel_mm)
    pixel = max(pixel, math.sqrt((x1 - x0) * (y1 - y0) / MOST_PIXELS))
    grid = Grid(
        x0_mm=x0, y0_mm=y0, pixel_mm=pixel, rows=math.ceil((y1 - y0) / pixel), columns=math.ceil((x1 - x0) / pixel)
    )
    both = np.logical_and(*(_sampled(w.survey.ink, w.survey.grid, onto=grid) for w in (one, other)))
    side = 2 * RIM_px + 1
    framed = np.pad(both.astype(np.uint8), RIM_px)
    if not np.asarray(cv2.erode(framed, np.ones((side, side), np.uint8))).any():
        return None
    found = ink_box_mm(both, x0_mm=x0, y0_mm=y0, pixel_mm=pixel)
    if found is None:
        return None
    return Overlap(
        area_mm2=float(np.count_nonzero(both)) * pixel**2,
        box_bed_mm=found,
        dose_fraction=(_fraction_of(one, grid, both), _fraction_of(other, grid, both)),
    )


def _sampled(picture: NDArray[Scalar], grid: Grid, *, onto: Grid) -> NDArray[Scalar]:
    """Return a picture at the middles of another grid's pixels; 0 outside it."""
    x = onto.x0_mm + (np.arange(onto.columns) + 0.5) * onto.pixel_mm
    y = onto.y0_mm + (np.arange(onto.rows) + 0.5) * onto.pixel_mm
    column = np.floor((x - grid.x0_mm) / grid.pixel_mm).astype(np.intp)
    row = np.floor((y - grid.y0_mm) / grid.pixel_mm).astype(np.intp)
    there = ((row >= 0) & (row < grid.rows))[:, None] & ((column >= 0) & (column < grid.columns))[None, :]
    seen = picture[np.ix_(np.clip(row, 0, grid.rows - 1), np.clip(column, 0, grid.columns - 1))]
    return np.where(there, seen, np.zeros((), picture.dtype))


def _fraction_of(work: MarkWork, grid: Grid, where: NDArray[np.bool_]) -> FloatArray:
    """Return what each place gets of a mark's own dose: all of it, or a photograph's share of its full tone."""
    if work.mark.treatment != "photo":
        return np.ones(int(np.count_nonzero(where)))
    powers = _sampled(work.picture_W, work.grid, onto=grid)[where].astype(np.float64)
    return np.asarray(powers / work.recipe.power_W, dtype=np.float64)


def exposure_together(
    curve: CharacteristicCurve, works: Sequence[MarkWork], *, dose_fraction: Sequence[FloatArray]
) -> FloatArray:
    """Return the effective exposure of places that several marks burn one after another. [log10 J/mm²]

    Source
    ------
    Own derivation: doses add, each weighed by its own dwell to the power κ; passes count together. Twice the same mark is
    the same as twice its passes.
    """
    weighed = sum(
        share
        * work.predicted.dose_J_per_mm2
        * 10.0 ** float(exposure_shift(curve, dwell_ms=work.predicted.dwell_ms, passes=1))
        for work, share in zip(works, dose_fraction, strict=True)
    )
    passes = sum(_counted_passes(work) for work in works)
    once = exposure_shift(curve, dwell_ms=1.0, passes=passes)
    with np.errstate(divide="ignore"):
        return np.asarray(np.log10(weighed) + once, dtype=np.float64)


def _counted_passes(work: MarkWork) -> float:
    """Return how often a mark burns a place over. Source: `effective_passes`."""
    spacing_mm = work.recipe.line_spacing_mm if work.followed is None else math.inf
    radius_mm = work.predicted.beam_radius_mm
    return float(effective_passes(passes=work.recipe.passes, beam_radius_mm=radius_mm, line_spacing_mm=spacing_mm))


def overlap_checks(works: Sequence[MarkWork], piece: Piece, *, wood: Wood) -> list[Check]:
    """Return findings on marks of one piece that burn the same place, in the order of the marks.

    A cut across what was engraved before it is ordinary and not told; one across what is burnt after it is.
    """
    found: list[Check] = []
    for one, other in combinations(works, 2):
        if other.mark.treatment == "cut":
            continue
        overlap = overlap_of(one, other)
        if overlap is not None:
            cut = one.mark.treatment == "cut"
            found.append(_cut_first(one, other, overlap, piece) if cut else _twice(one, other, overlap, piece, wood))
    return found


def _cut_first(cut: MarkWork, other: MarkWork, overlap: Overlap, piece: Piece) -> Check:
    return Check(
        level="warn",
        code="marks-overlap",
        mark_id=other.mark.id,
        text=(
            f"“{cut.mark.id}” is cut before “{other.mark.id}” is burnt across it, {_place_text(overlap, piece)}: what is "
            "cut loose moves, and the edge gets the beam once more."
        ),
        remedy=f"List “{cut.mark.id}” behind “{other.mark.id}” in batch.toml, so that it is cut last.",
    )


def _twice(one: MarkWork, other: MarkWork, overlap: Overlap, piece: Piece, wood: Wood) -> Check:
    curve = wood.curve
    exposure = float(exposure_together(curve, (one, other), dose_fraction=overlap.dose_fraction).max())
    photo = "photo" in (one.mark.treatment, other.mark.treatment)
    extreme = f"at its {'darkest' if curve.full_L < curve.bare_L else 'lightest'} " if photo else ""
    alone = f"L*{NB}{one.predicted.tone_L:.1f} and L*{NB}{other.predicted.tone_L:.1f}"
    _, most = usable_range(curve)
    chars = exposure > curve.x_char
    if chars:
        past = 100.0 * (10.0 ** (exposure - curve.x_char) - 1.0)
        tells = (
            f"the two doses together lie {'up to ' if photo else ''}{past:.0f}{NB}% past the char limit: it chars there"
        )
    else:
        tells = (
            f"the two doses together give {extreme}L*{NB}{float(tone_L(curve, exposure)):.1f} there instead of {alone}"
        )
        if exposure > min(curve.x_high, most):
            tells += ", past what this wood's curve was measured to"
    return Check(
        level="warn",
        code="marks-overlap",
        mark_id=other.mark.id,
        text=(
            f"“{one.mark.id}” and “{other.mark.id}” burn the same {overlap.area_mm2:.1f}{NB}mm² twice, "
            f"{_place_text(overlap, piece)}; {tells}."
        ),
        remedy=_apart_remedy(one, other, piece, chars=chars),
    )


def _place_text(overlap: Overlap, piece: Piece) -> str:
    """Return where an overlap lies, in the blank's own frame, as marks are placed."""
    origin = on_bed(piece, Point(0.0, 0.0))
    back = affinity.rotate(
        affinity.translate(box(*overlap.box_bed_mm), -origin.x, -origin.y), -piece.turn_deg, origin=(0.0, 0.0)
    )
    x0, y0, x1, y1 = back.bounds
    return f"between x {x0:.1f} and {x1:.1f}, y {y0:.1f} and {y1:.1f}{NB}mm on the blank"


def _apart_remedy(one: MarkWork, other: MarkWork, piece: Piece, *, chars: bool) -> str:
    """Return the shortest move of the second mark that takes it clear of the first and keeps it on the blank."""
    here, there = other.survey.ink_box_mm, one.survey.ink_box_mm
    rest = "take out of one drawing what the other burns" + (
        "" if chars else "; if the tone of both together is meant, leave it as it is"
    )
    if here is None or there is None:
        return rest[0].upper() + rest[1:] + "."
    outline = outline_on_bed(piece).buffer(1e-6)
    moves: list[tuple[float, Axis, int]] = [
        (there[2] - here[0], "x", 0),
        (here[2] - there[0], "x", 1),
        (there[3] - here[1], "y", 0),
        (here[3] - there[1], "y", 1),
    ]
    for far, axis, side in sorted(moves):
        step = math.ceil(far * 10.0) / 10.0
        signed = step if side == 0 else -step
        dx, dy = (signed, 0.0) if axis == "x" else (0.0, signed)
        if outline.covers(box(here[0] + dx, here[1] + dy, here[2] + dx, here[3] + dy)):
            return f"Move “{other.mark.id}” {step:.1f}{NB}mm {WAYS[axis][side]} on the bed, or {rest}."
    return rest[0].upper() + rest[1:] + "."
