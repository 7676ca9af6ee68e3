"""Where a blank lies: against scipy's own solver and against trial by chance; what does not fit is refused."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from shapely import Point

from evenburn.core.errors import InvalidInput
from evenburn.core.layout.place import on_bed, rectangle_outline
from evenburn.core.nouns.blank import Blank
from evenburn.core.nouns.mark import Hold, Mark, Piece
from evenburn.core.planning.rescue.register import Registration, far_corner_mm, placed, register

SD_mm = 0.2
MARK = Mark(
    id="front", art_label="", treatment="solid", tone_L=38.0, place_mm=(20.0, 27.5), size_mm=(160.0, 95.0), hold=Hold()
)
PIECE = Piece(
    id="plaque",
    name="Plaque",
    wood_id="hard-maple",
    blank=Blank(
        shape="rectangle",
        size_mm=(200.0, 150.0),
        thickness_mm=12.0,
        unevenness_mm=0.5,
        outline=rectangle_outline((200.0, 150.0)),
        margin_mm=2.0,
    ),
    place_bed_mm=(60.0, 60.0),
    turn_deg=0.0,
    marks=(MARK,),
)
DRAWN = [(20.0, 27.5), (180.0, 122.5), (20.0, 122.5), (180.0, 30.0)]


def moved(points: list[tuple[float, float]], turn_deg: float, shift: complex) -> list[tuple[float, float]]:
    """Return points turned and shifted, by complex numbers: another way than the code's."""
    turn = cmath.exp(1j * math.radians(turn_deg))
    there = [complex(*p) * turn + shift for p in points]
    return [(z.real, z.imag) for z in there]


def test_scipy_finds_the_same_turn_and_residual() -> None:
    found = np.array(moved(DRAWN, 7.3, 90.0 + 40.0j)) + np.random.default_rng(4).normal(0.0, SD_mm, (4, 2))
    ours = register(DRAWN, [tuple(p) for p in found], measured_to_mm=SD_mm)

    p, q = (np.c_[a - a.mean(axis=0), np.zeros(4)] for a in (np.array(DRAWN), found))
    turn, root_sum = Rotation.align_vectors(q, p)  # the outside solver: Kabsch in space

    assert ours.turn_deg == pytest.approx(turn.as_euler("zyx", degrees=True)[0], abs=1e-9)
    assert ours.rms_residual_mm * 2.0 == pytest.approx(root_sum, abs=1e-9)


@given(
    turn=st.floats(-179.0, 179.0),
    x=st.floats(-300.0, 300.0),
    y=st.floats(-300.0, 300.0),
    at=st.tuples(st.floats(0.0, 200.0), st.floats(0.0, 150.0)),
)
def test_a_piece_put_where_the_points_say_carries_every_place_there(
    turn: float, x: float, y: float, at: tuple[float, float]
) -> None:
    registration = register(DRAWN[:2], moved(DRAWN[:2], turn, complex(x, y)), measured_to_mm=SD_mm)
    there = on_bed(placed(PIECE, registration), Point(*at))

    assert (there.x, there.y) == pytest.approx(moved([at], turn, complex(x, y))[0], abs=1e-6)
    assert registration.rms_residual_mm < 1e-6


def test_at_the_middle_of_the_points_the_error_is_the_published_one() -> None:
    # [fitzpatrick1998]: TRE² = FLE² / N at the centroid; with σ each way FLE² = 2 σ². 4 points, 0.2 mm: 0.1414 mm
    registration = register(DRAWN, DRAWN, measured_to_mm=SD_mm)
    assert registration.error_at_mm(registration.middle_mm) == pytest.approx(0.1414, abs=5e-5)


@pytest.mark.parametrize("count", [2, 4])
def test_the_error_at_the_far_corner_is_what_chance_makes(count: int) -> None:
    drawn = DRAWN[:count]
    registration = register(drawn, drawn, measured_to_mm=SD_mm)
    corner = far_corner_mm(registration, mark=MARK)
    chance = np.random.default_rng(11)
    misses = []
    for _ in range(4000):
        z = np.array([complex(*p) for p in drawn])
        found = z + chance.normal(0.0, SD_mm, count) + 1j * chance.normal(0.0, SD_mm, count)
        turn = cmath.phase(complex((np.conj(z - z.mean()) * (found - found.mean())).sum()))
        misses.append(abs((complex(*corner) - z.mean()) * cmath.exp(1j * turn) + found.mean() - complex(*corner)))

    # 4000 trials know a root mean square to about 1 %; three of these
    assert registration.error_at_mm(corner) == pytest.approx(math.sqrt(float(np.mean(np.square(misses)))), rel=0.03)


def test_points_close_together_place_badly() -> None:
    near, far = ([(0.0, 0.0), (d, 0.0)] for d in (5.0, 150.0))
    errors = [register(p, p, measured_to_mm=SD_mm).error_at_mm((180.0, 120.0)) for p in (near, far)]
    assert errors[0] > 10.0 * errors[1]


def two_points(stretch_mm: float) -> Registration:
    found = [(50.0, 50.0), (150.0 + stretch_mm, 50.0)]
    return register([(0.0, 0.0), (100.0, 0.0)], found, measured_to_mm=SD_mm)


# the difference of two coordinates has √2 σ; three of them at σ = 0.2 mm are 0.849 mm
def test_two_points_a_little_too_far_apart_are_believed() -> None:
    assert two_points(0.84).stretch_mm == pytest.approx(0.84)


def test_two_points_are_refused_from_three_standard_deviations_on() -> None:
    with pytest.raises(InvalidInput, match=r"100\.86.* apart on the bed and 100\.00"):
        two_points(0.86)


def test_the_worst_of_many_points_is_named() -> None:
    found = moved(DRAWN, 2.0, 30.0 + 30.0j)
    found[2] = (found[2][0] + 5.0, found[2][1])
    with pytest.raises(InvalidInput, match="point 3 misses"):
        register(DRAWN, found, measured_to_mm=SD_mm)


@pytest.mark.parametrize(
    ("drawn", "found", "says"),
    [
        ([], [], "are 0; two at least"),
        ([(1.0, 2.0)], [(1.0, 2.0)], "are 1; two at least"),
        ([(1.0, 2.0), (1.0, 2.0)], [(1.0, 2.0), (3.0, 4.0)], "points of the drawing: 1 and 2 are the same place"),
        ([(1.0, 2.0), (3.0, 4.0)], [(5.0, 5.0), (5.0, 5.0)], "points on the bed: 1 and 2 are the same place"),
        ([(1.0, math.nan), (3.0, 4.0)], [(5.0, 5.0), (6.0, 5.0)], "no finite number"),
    ],
)
def test_points_that_tell_nothing_are_refused(
    drawn: list[tuple[float, float]], found: list[tuple[float, float]], says: str
) -> None:
    with pytest.raises(InvalidInput, match=says):
        register(drawn, found, measured_to_mm=SD_mm)


@pytest.mark.parametrize("sd", [0.0, -1.0, math.nan, math.inf])
def test_a_spread_that_is_none_is_refused(sd: float) -> None:
    with pytest.raises(InvalidInput, match="measured to"):
        register(DRAWN, DRAWN, measured_to_mm=sd)
