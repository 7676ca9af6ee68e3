"""Conversions, and durations as people say them."""

from __future__ import annotations

import math

import pytest

from evenburn.core.units import (
    J_per_mm2_from_J_per_cm2,
    duration_text,
    lines_per_inch,
    mm_per_min,
    pixels_per_m,
    psi,
    radians,
)

NB = "\u00a0"


@pytest.mark.parametrize(
    ("time_s", "text"),
    [
        (0.0, "0.0 s"),
        (0.04, "0.0 s"),
        (8.0, "8.0 s"),
        (9.94, "9.9 s"),
        (10.0, "10 s"),
        (59.4, "59 s"),
        (59.6, "1 min 00 s"),
        (60.0, "1 min 00 s"),
        (608.0, "10 min 08 s"),
        (3599.6, "1 h 00 min 00 s"),
        (4691.0, "1 h 18 min 11 s"),
        (90061.0, "25 h 01 min 01 s"),
    ],
)
def test_duration_reads_as_people_say_it(time_s: float, text: str) -> None:
    assert duration_text(time_s).replace(NB, " ") == text


def test_no_duration_reads_ten_seconds_with_a_decimal() -> None:
    """9.96 s rounds to ten, and ten seconds wear no decimal."""
    assert duration_text(9.96).replace(NB, " ") == "10 s"


@pytest.mark.parametrize("time_s", [0.5, 12.0, 75.0, 4000.0])
def test_number_and_unit_of_a_duration_never_part_at_a_line_end(time_s: float) -> None:
    for word in duration_text(time_s).split(" "):
        number, unit = word.split(NB)
        assert number.replace(".", "").isdigit()
        assert unit in ("h", "min", "s")


def test_a_tenth_of_a_millimetre_is_254_lines_per_inch() -> None:
    assert lines_per_inch(0.1) == pytest.approx(254.0, rel=1e-12)  # check-values.md, 0: "0.1 mm pitch = 254 dpi"


def test_254_lines_per_inch_are_ten_thousand_pixels_per_metre() -> None:
    assert pixels_per_m(0.1) == 10_000
    assert pixels_per_m(0.0847) == 11_806  # 300 dpi is 11 811 of them; 0.0847 is that spacing rounded
    assert isinstance(pixels_per_m(0.3), int)


def test_feed_is_sixty_times_the_speed() -> None:
    assert mm_per_min(100.0) == 6000.0


def test_five_psi_are_34_kPa() -> None:
    assert psi(34.0) == pytest.approx(5.0, abs=0.07)  # check-values.md: "about 5 psi = 34 kPa"; 0.5 kPa is 0.07 psi


def test_a_full_turn_is_two_pi() -> None:
    assert radians(360.0) == pytest.approx(2.0 * math.pi, rel=1e-15)


def test_a_joule_per_square_centimetre_is_a_hundredth_per_square_millimetre() -> None:
    assert J_per_mm2_from_J_per_cm2(7.8) == pytest.approx(0.078, rel=1e-15)  # group A of [kudela2019]
