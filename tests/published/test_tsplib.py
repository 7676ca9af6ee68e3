"""Path order against published tours: berlin52 and eil51 of [tsplib], optimum 7542 and 426."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

import outside
from evenburn.core.layout.tour import tour_order

BERLIN52 = """565,575 25,185 345,750 945,685 845,655 880,660 25,230 525,1000 580,1175 650,1130 1605,620 1220,580 1465,200
1530,5 845,680 725,370 145,665 415,635 510,875 560,365 300,465 520,585 480,415 835,625 975,580 1215,245
1320,315 1250,400 660,180 410,250 420,555 575,665 1150,1160 700,580 685,595 685,610 770,610 795,645 720,635
760,650 475,960 95,260 875,920 700,500 555,815 830,485 1170,65 830,610 605,625 595,360 1340,725 1740,245"""
BERLIN52_BEST = """1 22 31 18 3 17 21 42 7 2 30 23 20 50 29 16 46 44 34 35 36 39 40 37 38 48 24 5 15 6 4 25 12 28 27 26 47
13 14 52 11 51 33 43 10 9 8 41 19 45 32 49"""
EIL51 = """37,52 49,49 52,64 20,26 40,30 21,47 17,63 31,62 52,33 51,21 42,41 31,32 5,25 12,42 36,16 52,41 27,23 17,33 13,13
57,58 62,42 42,57 16,57 8,52 7,38 27,68 30,48 43,67 58,48 58,27 37,69 38,46 46,10 61,33 62,63 63,69 32,22 45,35 59,15
5,6 10,17 21,10 5,64 30,15 39,10 32,39 25,32 25,55 48,28 56,37 30,40"""
EIL51_BEST = """1 32 11 38 5 37 17 4 18 47 12 46 51 27 6 48 23 7 43 24 14 25 13 41 19 40 42 44 15 45 33 39 10 49 9 30 34 50
16 21 29 2 20 35 36 3 28 31 26 8 22"""
WITHIN = 1.05  # what the issue asks; both come out within 1 %


check = partial(outside.check, field="order of paths", source="tsplib", trust="seen", tolerance=0.0)


def _places(text: str) -> np.ndarray:
    return np.array([[float(v) for v in pair.split(",")] for pair in text.split()])


def _length(places: np.ndarray, order: np.ndarray) -> float:
    """Return the length by TSPLIB's EUC_2D: each distance rounded to the nearest whole number."""
    steps = places[order] - places[np.roll(order, -1)]
    return float(np.rint(np.hypot(*steps.T)).sum())


@pytest.mark.parametrize(("text", "best", "optimum"), [(BERLIN52, BERLIN52_BEST, 7542.0), (EIL51, EIL51_BEST, 426.0)])
def test_tours_come_within_five_percent_of_the_optimum(text: str, best: str, optimum: float) -> None:
    places = _places(text)
    published = np.array([int(n) - 1 for n in best.split()])
    name, found = f"tour of {'berlin52' if optimum > 1e3 else 'eil51'}", _length(places, tour_order(places))
    typed = "the coordinates were typed in right"
    check(f"length of the published {name}", got=_length(places, published), expected=optimum, why=typed)
    check(
        f"… of ours, 5 % longer, {name}", got=found, expected=WITHIN * optimum, bound="at most", why="what is promised"
    )
    assert optimum <= found
