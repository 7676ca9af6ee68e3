"""Numbers as they stand on paper: digits by meaning, a no-break space before the unit, true minus and times signs."""

from __future__ import annotations

from datetime import date

import numpy as np

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.blank import Blank
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.recipe import Recipe
from evenburn.core.units import lines_per_inch, psi

NB = "\u00a0"
MINUS = "−"
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def fixed(value: float, digits: int) -> str:
    """Return a number with so many digits after the point; a rounded nought has no sign."""
    text = f"{value:.{digits}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def trimmed(value: float, digits: int = 1) -> str:
    """Return a number with no more digits after the point than it needs."""
    text = fixed(value, digits)
    return text.rstrip("0").rstrip(".") if "." in text else text


def mm(value: float, digits: int = 1) -> str:
    """Return a length in mm."""
    return f"{fixed(value, digits)}{NB}mm"


def offset_mm(value: float) -> str:
    """Return a focus offset with its sign; nought has none."""
    text = fixed(value, 1)
    return f"+{text}{NB}mm" if value > 0 and float(text) != 0.0 else f"{text}{NB}mm"


def spacing_mm(recipe: Recipe) -> str:
    """Return line spacing to 0.01 mm, or to 0.001 mm where it does not come out even."""
    value = recipe.line_spacing_mm
    if recipe.way != "scan":
        return mm(value, 2)
    return mm(value, 2 if abs(value - round(value, 2)) < 5e-4 else 3)


def spacing_lpi(recipe: Recipe) -> str:
    """Return lines per inch."""
    return f"{fixed(lines_per_inch(recipe.line_spacing_mm), 0)}{NB}LPI"


def power_W(recipe: Recipe) -> str:
    """Return power on the work; a photo's from the faintest tone to the strongest."""
    low = f"{fixed(recipe.power_low_W, 1)}–" if recipe.power_low_W is not None else ""
    return f"{low}{fixed(recipe.power_W, 1)}{NB}W"


def power_percent(recipe: Recipe, machine: Machine) -> str:
    """Return power on the machine's own scale, a photo's as a range read off the machine's power curve."""
    low = ""
    if recipe.power_low_W is not None:
        points = sorted({(0.0, 0.0), *machine.power_curve, (1.0, machine.power_max_W)}, key=lambda point: point[1])
        fractions, powers = zip(*points, strict=True)
        low = f"{fixed(100.0 * float(np.interp(recipe.power_low_W, powers, fractions)), 1)}–"
    return f"{low}{fixed(100.0 * recipe.power_fraction, 1)}{NB}%"


def speed_mm_per_s(recipe: Recipe) -> str:
    """Return speed to 1 mm/s, slow ones to 0.5 mm/s."""
    return f"{trimmed(recipe.speed_mm_per_s, 1) if recipe.way != 'scan' else fixed(recipe.speed_mm_per_s, 0)}{NB}mm/s"


def air_words(air_kPa: float | None) -> str:
    """Return air pressure in kPa and psi, or that none is planned."""
    if air_kPa is None:
        return "none planned"
    return f"{trimmed(air_kPa, 0)}{NB}kPa, {fixed(psi(air_kPa), 0)}{NB}psi"


def passes_along(recipe: Recipe) -> str:
    """Return the number of passes and the scan axis."""
    way = f"along {recipe.scan_axis}" if recipe.way == "scan" else "along the outlines"
    return f"{recipe.passes}{NB}{'pass' if recipe.passes == 1 else 'passes'} {way}"


def lines_words(recipe: Recipe) -> str:
    """Return how far lines lie apart, or how wide the line or the kerf comes out."""
    if recipe.way == "scan":
        return f"Lines {spacing_mm(recipe)} apart"
    return "Cut right through" if recipe.way == "cut" else "Outlines followed"


def lines_short(recipe: Recipe) -> str:
    """Return lines per inch, or what else the number before it is the width of."""
    return spacing_lpi(recipe) if recipe.way == "scan" else recipe.way.replace("cut", "kerf")


def lines_value(recipe: Recipe) -> str:
    """Return lines per inch, or the width of the line or the kerf."""
    if recipe.way == "scan":
        return spacing_lpi(recipe)
    return f"{'kerf' if recipe.way == 'cut' else 'line'} {mm(recipe.line_spacing_mm, 2)}"


def bed_point(x_mm: float, y_mm: float) -> str:
    """Return a place on the bed."""
    return f"x{NB}{fixed(x_mm, 1)}, y{NB}{mm(y_mm)}"


def blank_size(blank: Blank) -> str:
    """Return width, height and thickness; a round blank by its diameter."""
    wide, high = blank.size_mm
    thick = f"{trimmed(blank.thickness_mm)}{NB}mm"
    if blank.shape == "ellipse" and abs(wide - high) < 0.05:
        return f"⌀{NB}{trimmed(wide)}{NB}×{NB}{thick}"
    return f"{trimmed(wide)}{NB}×{NB}{trimmed(high)}{NB}×{NB}{thick}"


def lens_words(lens: Lens) -> str:
    """Return the lens by name and focal length."""
    return f"{lens.name.replace(' ', NB)}, {trimmed(lens.focal_length_mm)}{NB}mm"


def count(number: int, one: str, many: str) -> str:
    """Return a number with its noun."""
    return f"{number}{NB}{one if number == 1 else many}"


def minutes_text(time_s: float) -> str:
    """Return a duration in whole minutes: `0 min`, `1 h 04 min`."""
    hours, minutes = divmod(round(time_s / 60.0), 60)
    return f"{hours}{NB}h {minutes:02d}{NB}min".replace(" ", NB) if hours else f"{minutes}{NB}min"


def exact_minutes(time_s: float) -> str:
    """Return a duration in minutes that somebody set, no more digits than it needs: `4 min`, `7.5 min`."""
    return f"{trimmed(time_s / 60.0, 2)}{NB}min"


def letter(index: int) -> str:
    """Return a, b, … z, aa, ab, … for the marks of one piece, 0 first."""
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(ord("a") + rest) + text
    return text


def day_short(iso_date: str) -> str:
    """Return an ISO date without its year, `9 June`; raises as `day`."""
    return day(iso_date, weekday=False).rsplit(NB, 1)[0]


def day(iso_date: str, *, weekday: bool) -> str:
    """Return an ISO date in words, `9 June 2026`, led by the weekday where asked for.

    Raises
    ------
    InvalidInput
        If the text is no ISO date.
    """
    try:
        when = date.fromisoformat(iso_date)
    except ValueError:
        raise InvalidInput({"date": f"{iso_date!r} is no date; allowed is year-month-day, 2026-06-09"}) from None
    words = f"{when.day}{NB}{_MONTHS[when.month - 1]}{NB}{when.year}"
    return f"{_DAYS[when.weekday()]} {words}" if weekday else words
