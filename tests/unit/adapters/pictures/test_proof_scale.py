"""Words and lengths on a proof's rules."""

from __future__ import annotations

import pytest

from evenburn.adapters.pictures.proof_scale import bar_mm, lines_text, offset_text

NB = "\u00a0"


@pytest.mark.parametrize(
    ("length_mm", "spacing_mm", "text"),
    [
        (1.0, 0.1, "ten scan lines"),
        (1.0, 0.08, f"12.5{NB}scan lines"),
        (2.0, 0.14, f"14.3{NB}scan lines"),
        (1.0, 0.11, "nine scan lines"),  # 9.09, a hundredth off
        (0.1, 0.1, "one scan line"),
        (1.0, 0.12, f"8.3{NB}scan lines"),
        (5.0, 0.05, "100 scan lines"),
    ],
)
def test_scan_lines_are_counted_from_bar_and_spacing(length_mm: float, spacing_mm: float, text: str) -> None:
    assert lines_text(length_mm, line_spacing_mm=spacing_mm) == text


def test_the_bar_is_the_longest_round_length_that_fits() -> None:
    assert bar_mm(0.007, longest_px=240) == 1.0  # 143 px; 2 mm would be 286
    assert bar_mm(0.01, longest_px=240) == 2.0
    assert bar_mm(0.002, longest_px=240) == 0.2
    assert bar_mm(1e-5, longest_px=240) == 0.02  # nothing fits: the shortest there is


@pytest.mark.parametrize(
    ("offset_mm", "text"),
    [(1.5, f"+1.5{NB}mm"), (-0.42, f"−0.4{NB}mm"), (0.0, f"0{NB}mm"), (-0.01, f"0{NB}mm"), (2.0, f"+2.0{NB}mm")],
)
def test_a_focus_offset_shows_its_sign(offset_mm: float, text: str) -> None:
    assert offset_text(offset_mm) == text
