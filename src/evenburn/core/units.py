"""Physical constants and conversions; the only place where units change.

Inside the core a quantity has one unit: lengths mm, time s, power W, angle rad, dose J/mm².
"""

from __future__ import annotations

import math

MM_PER_INCH = 25.4  # exact, international yard and pound agreement of 1959
KPA_PER_PSI = 6.894757293168361  # lbf/in², from the exact pound and inch
S_PER_MIN = 60.0
MM_PER_UM = 1e-3


def to_inch(length_mm: float) -> float:
    """Return a length in inches. Definition."""
    return length_mm / MM_PER_INCH


def inch_to_mm(length_inch: float) -> float:
    """Return a length in mm. Definition."""
    return length_inch * MM_PER_INCH


def lines_per_inch(line_spacing_mm: float) -> float:
    """Return scan lines per inch (LPI) of a line spacing in mm. Definition."""
    return MM_PER_INCH / line_spacing_mm


def pixels_per_m(pixel_mm: float) -> int:
    """Return whole pixels per metre, as a PNG's pHYs chunk holds them. Definition (PNG, 11.3.5.3)."""
    return round(1000.0 / pixel_mm)


def mm_per_min(speed_mm_per_s: float) -> float:
    """Return a feed in mm/min, as RS-274/NGC's F word wears it in G94 with G21. Definition."""
    return speed_mm_per_s * S_PER_MIN


def psi(pressure_kPa: float) -> float:
    """Return a pressure in psi. Definition."""
    return pressure_kPa / KPA_PER_PSI


def radians(angle_deg: float) -> float:
    """Return an angle in rad. Definition."""
    return math.radians(angle_deg)


def quarter_turns(turn_deg: float) -> int | None:
    """Return how many quarter turns an angle is, or None where it is none. Definition."""
    quarters = turn_deg / 90.0
    return round(quarters) % 4 if math.isclose(quarters, round(quarters), abs_tol=1e-9) else None


def J_per_mm2_from_J_per_cm2(dose_J_per_cm2: float) -> float:
    """Return a dose in J/mm². Definition: 1 cm² = 100 mm²."""
    return dose_J_per_cm2 / 100.0


def duration_text(time_s: float) -> str:
    """Return a duration as people say it: `8.0 s`, `10 min 08 s`, `1 h 18 min 11 s`."""
    whole_s = round(time_s)
    hours, rest = divmod(whole_s, 3600)
    minutes, seconds = divmod(rest, 60)
    nb = "\u00a0"
    if hours:
        return f"{hours}{nb}h {minutes:02d}{nb}min {seconds:02d}{nb}s"
    if minutes:
        return f"{minutes}{nb}min {seconds:02d}{nb}s"
    return f"{time_s:.1f}{nb}s" if round(time_s, 1) < 10.0 else f"{seconds}{nb}s"
