"""Several photographs of one mark, and where the art of a piece lies in a picture made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evenburn.core.card.piece_placing import InkImage, ink_sheet, place_window
from evenburn.core.card.piece_reading import PieceRead, combined_piece
from evenburn.core.card.refusing import PhotographRefused

READ = PieceRead(
    tone_L=44.0, own_L_sd=0.3, shared_L_sd=1.0, spread_L=0.8, bare_L=80.0, inside_mm2=900.0, edge_mm=0.9, flags=()
)
WINDOW = (50.0, 100.0, 130.0, 160.0)


def test_photographs_are_weighted_by_their_own_doubt_and_keep_the_shared_one() -> None:
    both = combined_piece([READ, replace(READ, tone_L=45.0, own_L_sd=0.6)])

    # weights 1/0.09 and 1/0.36 are 4 to 1 (arithmetic)
    assert both.tone_L == pytest.approx(44.2)
    assert both.shared_L_sd == pytest.approx(1.0)
    assert both.flags == ()


def test_photographs_far_apart_are_said_to_disagree() -> None:
    both = combined_piece([READ, replace(READ, tone_L=48.0)])

    assert both.flags == ("photographs-disagree",)
    assert both.own_L_sd == pytest.approx(2.0 / np.sqrt(2.0))


def test_ink_keeps_its_place_and_area_on_the_sheet() -> None:
    """A box of 10 × 4 mm of ink at 0.1 mm a pixel covers 40 mm², wherever it lies."""
    sheet = ink_sheet(
        [InkImage(ink=np.ones((40, 100), np.float32), box_bed_mm=(12.3, 45.6, 22.3, 49.6))], px_per_mm=4, pad_mm=3.0
    )
    rows, columns = np.nonzero(sheet.ink > 0.5)
    middle = sheet.to_mm() @ np.array([columns.mean(), rows.mean(), 1.0])

    assert sheet.ink.sum() / 16.0 == pytest.approx(40.0, rel=0.03)
    assert middle[:2] == pytest.approx([17.3, 47.6], abs=0.15)


def window_of(drawn: list[tuple[float, float, float, float]], *, dark_L: float = 40.0) -> np.ndarray:
    """A window of 80 × 60 mm at 4 px/mm, boxes (from its lower left) dark on bare wood of L* 80."""
    tones = np.full((240, 320), 80.0, np.float32)
    for x0, y0, x1, y1 in drawn:
        tones[round(240 - 4 * y1) : round(240 - 4 * y0), round(4 * x0) : round(4 * x1)] = dark_L
    return tones


def ink_of(drawn: list[tuple[float, float, float, float]]) -> InkImage:
    """Boxes of ink, from the lower left of a mark of 40 × 30 mm at 200, 100 on the bed."""
    ink = np.zeros((300, 400), np.float32)
    for x0, y0, x1, y1 in drawn:
        ink[round(300 - 10 * y1) : round(300 - 10 * y0), round(10 * x0) : round(10 * x1)] = 1.0
    return InkImage(ink=ink, box_bed_mm=(200.0, 100.0, 240.0, 130.0))


ELL = [(0.0, 0.0, 40.0, 10.0), (0.0, 10.0, 12.0, 30.0)]


@pytest.mark.parametrize("dark_L", [40.0, 74.0, 95.0])
def test_a_mark_is_found_where_it_was_drawn(dark_L: float) -> None:
    """Darker, hardly darker, and lighter as on slate: the mark's lower left corner lies 15 and 20 mm into the window."""
    shown = window_of([(x0 + 15, y0 + 20, x1 + 15, y1 + 20) for x0, y0, x1, y1 in ELL], dark_L=dark_L)

    placed = place_window(shown, [ink_of(ELL)], window_mm=WINDOW, soft_mm=0.1)

    assert placed.bed_mm(np.array([[65.0, 120.0], [105.0, 150.0]])) == pytest.approx(
        np.array([[200.0, 100.0], [240.0, 130.0]]), abs=0.1
    )
    assert placed.burns_light == (dark_L > 80.0)


def test_a_box_turned_half_round_is_no_riddle() -> None:
    shown = window_of([(20.0, 15.0, 60.0, 45.0)])

    placed = place_window(shown, [ink_of([(0.0, 0.0, 40.0, 30.0)])], window_mm=WINDOW, soft_mm=0.1)

    assert placed.bed_mm(np.array([[90.0, 130.0]])) == pytest.approx(np.array([[220.0, 115.0]]), abs=0.1)


def test_a_place_that_cannot_be_told_is_refused() -> None:
    """Bars 10 mm apart fill the window whichever of them one takes for the first, and half of a mark is outside."""
    bars = [(10.0 * n, 0.0, 10.0 * n + 4.0, 30.0) for n in range(4)]
    shown = window_of([(10.0 * n + 3.0, 0.0, 10.0 * n + 7.0, 60.0) for n in range(8)])

    with pytest.raises(PhotographRefused) as why:
        place_window(shown, [ink_of(bars)], window_mm=WINDOW, soft_mm=0.1)

    assert why.value.code in ("place-unclear", "other-mark", "mark-not-found")


def test_bare_wood_is_not_this_mark() -> None:
    grain = np.random.default_rng(1).normal(80.0, 2.0, (240, 320)).astype(np.float32)

    with pytest.raises(PhotographRefused, match="does not show this mark"):
        place_window(grain, [ink_of(ELL)], window_mm=WINDOW, soft_mm=0.1)
