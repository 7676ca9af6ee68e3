"""What a mark is looked at on before anything is chosen for it."""

from __future__ import annotations

import pytest
from shapely import box

from evenburn.core.planning.survey import SURVEY_PIXELS, survey_mark
from unit.core.examples import MACHINE, blank, mark, piece
from unit.core.planning.drawn_marks import WOOD, Shaped


@pytest.mark.parametrize("size_mm", [(140.0, 0.05), (140.0, 2.0), (90.0, 90.0)])
@pytest.mark.parametrize("turn_deg", [0.0, 45.0, 90.0])
def test_a_survey_takes_no_more_pixels_when_the_piece_is_turned(size_mm: tuple[float, float], turn_deg: float) -> None:
    one = mark(size_mm=size_mm, place_mm=(5.0, 5.0))
    board = piece(blank=blank(size_mm=(150.0, 100.0)), marks=(one,), turn_deg=turn_deg)
    artwork = Shaped(shape=box(0.0, 0.0, *size_mm), size_mm=size_mm)

    survey = survey_mark(MACHINE, piece=board, mark=one, wood=WOOD, artwork=artwork)

    assert survey.ink.size <= SURVEY_PIXELS
    assert survey.ink_box_mm is not None
    for found, drawn in zip(survey.ink_box_mm, survey.box_bed_mm, strict=True):
        assert found == pytest.approx(drawn, abs=0.5)  # at most a few pixels from a corner that ends in a point
