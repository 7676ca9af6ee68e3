"""Where a blank lies, from points of its drawing found again on the bed: turn and shift by least squares, no scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from shapely import affinity

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.mark import Mark, Piece

FloatArray = NDArray[np.float64]
Point = tuple[float, float]

MEASURED_TO_mm = 0.2  # standard deviation of a point set by eye under the pointer, each way: starting value
BELIEVED = 0.9973  # residuals that chance makes rarer than this mean a wrong point: three standard deviations
SAME_PLACE_mm = 1e-6
NB = "\u00a0"


@dataclass(frozen=True, slots=True, kw_only=True)
class Registration:
    """How the drawing lies on the bed: turned counter-clockwise about its origin, then shifted.

    Attributes
    ----------
    residual_mm : for each point, how far from where it was found the solution puts it.
    rms_residual_mm : of all of them.
    stretch_mm : how much further apart than drawn the two points furthest from one another were found.
    measured_to_mm : standard deviation of each coordinate found, as stated.
    middle_mm : of the points, in the drawing; spread_mm2 : sum of their squared distances from it.
    """

    turn_deg: float
    shift_mm: Point
    points: int
    residual_mm: tuple[float, ...]
    rms_residual_mm: float
    stretch_mm: float
    measured_to_mm: float
    middle_mm: Point
    spread_mm2: float

    def on_bed(self, place_mm: Point) -> Point:
        """Return where a place of the drawing lies on the bed. [mm] Definition."""
        cos, sin = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        x, y = place_mm
        return cos * x - sin * y + self.shift_mm[0], sin * x + cos * y + self.shift_mm[1]

    def error_at_mm(self, place_mm: Point) -> float:
        """Return the root mean square distance by which a place of the drawing is missed. [mm]

        Source
        ------
        The part in the plane of [fitzpatrick1998], eq. 46: σ² (2/N + r²/Σ r_i²), r from the middle of the points.
        """
        from_middle = math.dist(place_mm, self.middle_mm)
        return self.measured_to_mm * math.sqrt(2.0 / self.points + from_middle**2 / self.spread_mm2)


def _points(points: Sequence[Point], *, name: str, wrong: dict[str, str]) -> FloatArray:
    array = np.array(points, dtype=np.float64).reshape(-1, 2)
    if not np.isfinite(array).all():
        wrong[name] = "hold something that is no finite number"
        return array
    for i in range(len(array)):
        for k in range(i):
            if math.dist(array[i], array[k]) < SAME_PLACE_mm:
                wrong[name] = (
                    f"{k + 1} and {i + 1} are the same place, {array[i, 0]:g}, {array[i, 1]:g}{NB}mm; two different "
                    "ones are needed, as far apart as the blank allows"
                )
    return array


def register(drawn_mm: Sequence[Point], found_mm: Sequence[Point], *, measured_to_mm: float) -> Registration:
    """Return how a drawing lies on the bed, from two or more of its points found there.

    Parameters
    ----------
    drawn_mm : in the drawing; found_mm : the same points on the bed. [mm]
    measured_to_mm : standard deviation of each coordinate that was found.

    Raises
    ------
    InvalidInput
        If there are fewer than two points, two are one place, a number is not finite, or the points do not fit one another
        by more than measuring explains.

    Source
    ------
    [kabsch1976] in the plane: about the middles, the turn is the angle of Σ (cross, dot); the residuals follow χ² with
    2 N − 3 degrees of freedom.
    """
    from scipy.stats import chi2

    wrong: dict[str, str] = {}
    if len(drawn_mm) != len(found_mm) or len(drawn_mm) < 2:
        raise InvalidInput(
            {"points": f"are {min(len(drawn_mm), len(found_mm))}; two at least are needed, each drawn and found"},
            hint="Find two places of the burnt drawing that you can tell sharply, far apart, and drive the pointer there.",
        )
    if not (math.isfinite(measured_to_mm) and measured_to_mm > 0.0):
        wrong["measured to"] = f"is {measured_to_mm:g}; it has to be above 0{NB}mm"
    drawn = _points(drawn_mm, name="points of the drawing", wrong=wrong)
    found = _points(found_mm, name="points on the bed", wrong=wrong)
    if wrong:
        raise InvalidInput(wrong)
    middle, there = drawn.mean(axis=0), found.mean(axis=0)
    p, q = drawn - middle, found - there
    turn_rad = math.atan2(float((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum()), float((p * q).sum()))
    cos, sin = math.cos(turn_rad), math.sin(turn_rad)
    turned = np.array([[cos, -sin], [sin, cos]])
    residual = np.hypot(*(q - p @ turned.T).T)
    shift = there - turned @ middle
    far = np.linalg.norm(drawn[:, None] - drawn[None], axis=2)
    i, k = np.unravel_index(int(far.argmax()), far.shape)
    apart, drawn_apart = math.dist(found[i], found[k]), float(far[i, k])
    count = len(drawn)
    if float((residual**2).sum()) > measured_to_mm**2 * float(chi2.ppf(BELIEVED, 2 * count - 3)):
        raise InvalidInput({"points": _misfit(residual, apart=apart, drawn_apart=drawn_apart, sd_mm=measured_to_mm)})
    return Registration(
        turn_deg=math.degrees(turn_rad),
        shift_mm=(float(shift[0]), float(shift[1])),
        points=count,
        residual_mm=tuple(float(r) for r in residual),
        rms_residual_mm=math.sqrt(float((residual**2).mean())),
        stretch_mm=apart - drawn_apart,
        measured_to_mm=measured_to_mm,
        middle_mm=(float(middle[0]), float(middle[1])),
        spread_mm2=float((p * p).sum()),
    )


def _misfit(residual: FloatArray, *, apart: float, drawn_apart: float, sd_mm: float) -> str:
    worst = int(residual.argmax()) + 1
    suspect = f"; point {worst} misses by {residual.max():.2f}{NB}mm" if residual.size > 2 else ""
    return (
        f"do not fit one another: the two furthest lie {apart:.2f}{NB}mm apart on the bed and {drawn_apart:.2f}{NB}mm in "
        f"the drawing{suspect}. Measured to ±{NB}{sd_mm:g}{NB}mm that is no chance. Is one of them another place of the "
        "drawing, or is the first number of a point not x? Find them again, or say how well they were measured"
    )


def far_corner_mm(registration: Registration, *, mark: Mark) -> Point:
    """Return the corner of a mark's box that lies furthest from the middle of the points, in the drawing. Definition."""
    (x, y), (width, height) = mark.place_mm, mark.size_mm
    corners = [(x, y), (x + width, y), (x, y + height), (x + width, y + height)]
    return max(corners, key=lambda corner: math.dist(corner, registration.middle_mm))


def placed(piece: Piece, registration: Registration) -> Piece:
    """Return a piece as it was found to lie: turn, and lower left corner of its turned blank's box. [mm]

    Source
    ------
    Definition of `Piece`: the blank is turned about its origin, then its box is put at its place.
    """
    x0, y0, _, _ = affinity.rotate(piece.blank.outline, registration.turn_deg, origin=(0.0, 0.0)).bounds
    return replace(
        piece,
        turn_deg=registration.turn_deg,
        place_bed_mm=(float(x0) + registration.shift_mm[0], float(y0) + registration.shift_mm[1]),
    )
