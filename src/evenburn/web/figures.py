"""Figures, clock times and tones as they stand on a page: digits by meaning, a no-break space, the unit.

Lengths and speeds follow what the person prefers, mm or inch, for the request under way (`preferred`): write `{{ x | mm }}`,
`{{ x | speed }}`, `{{ (w, h, t) | size }}`, whatever the unit will be. A field that takes a length shows `{{ x | entry }}` with
`{{ length_unit() }}` behind it, and is read back with `Sent.length_mm`; a speed with `{{ x | speed_entry }}`,
`{{ speed_unit() }}`, `Sent.speed_mm_per_s`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from contextvars import ContextVar
from datetime import datetime
from itertools import pairwise

from markupsafe import Markup, escape

from evenburn.core.units import duration_text, inch_to_mm, to_inch
from evenburn.services.book.greys import grey_of

NB = "\u00a0"
TIMES = f"{NB}×{NB}"
MINUS = "−"
NONE = "–"
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
_MARK = re.compile(
    r"(?<!\S)((?=\S*\d)(?=\S*-)\S{2,24})(?!\S)"
)  # with a hyphen and a digit, and not too long for a phone
_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_UNITS: ContextVar[Callable[[], str]] = ContextVar("units", default=lambda: "mm")
# look.md, 3: the exposure scale, as L* and sRGB; the only warm colours of a page
_EXPOSURE: tuple[tuple[float, tuple[int, int, int]], ...] = (
    (11.0, (0x2A, 0x19, 0x0F)),
    (22.0, (0x4A, 0x2D, 0x18)),
    (34.0, (0x70, 0x48, 0x27)),
    (48.0, (0x98, 0x69, 0x3D)),
    (63.0, (0xBD, 0x8F, 0x5C)),
    (76.0, (0xD8, 0xB5, 0x85)),
    (86.0, (0xEA, 0xD3, 0xA9)),
)


def fixed(value: float, digits: int = 1) -> str:
    """Return a number with so many digits after the point, and a true minus."""
    text = f"{value:.{digits}f}"
    return (text.lstrip("-") if float(text) == 0.0 else text).replace("-", MINUS)


def trimmed(value: float, digits: int = 1) -> str:
    """Return a number with no more digits after the point than it needs."""
    text = fixed(value, digits)
    return text.rstrip("0").rstrip(".") if "." in text else text


def preferred() -> str:
    """Return the unit of lengths for the request under way: "mm" or "inch"."""
    return _UNITS.get()()


def obey(units: Callable[[], str]) -> None:
    """Let figures follow a preference from here on, in this context alone; it is asked when first needed."""
    _UNITS.set(units)


def length_unit() -> str:
    """Return the unit that a field of a length wears."""
    return "in" if preferred() == "inch" else "mm"


def speed_unit() -> str:
    """Return the unit that a field of a speed wears."""
    return f"{length_unit()}/s"


def mm(value: float, digits: int = 1) -> str:
    """Return a length, in mm or as the person prefers it.

    Parameters
    ----------
    value : in mm, whatever is preferred.
    digits : after the point in mm; inches wear two more.
    """
    return f"{_length(value, digits)}{NB}{length_unit()}"


def _length(value_mm: float, digits: int) -> str:
    return fixed(to_inch(value_mm), digits + 2) if preferred() == "inch" else fixed(value_mm, digits)


def size(box: Sequence[float | None]) -> str:
    """Return a size as people read it, "200 × 150 × 12.1 mm"; what is not known of the box (None) is left out.

    Parameters
    ----------
    box : width, height and perhaps thickness, in mm.
    """
    known = [value for value in box if value is not None]
    shown = [trimmed(to_inch(value), 2) if preferred() == "inch" else trimmed(value, 1) for value in known]
    tail = " thick" if len(known) == 1 and len(box) == 3 else ""
    return TIMES.join(shown) + f"{NB}{length_unit()}{tail}"


def entry(value_mm: float | None, digits: int = 3) -> str:
    """Return a length as it stands in a field, without its unit; empty where there is none."""
    if value_mm is None:
        return ""
    return trimmed(to_inch(value_mm), digits + 1) if preferred() == "inch" else trimmed(value_mm, digits)


def speed_entry(value_mm_per_s: float | None) -> str:
    """Return a speed as it stands in a field, without its unit; empty where there is none."""
    return entry(value_mm_per_s, 2)


def typed_length_mm(value: float) -> float:
    """Return in mm what was typed in the preferred unit, also of speeds."""
    return inch_to_mm(value) if preferred() == "inch" else value


def spacing(value_mm: float) -> str:
    """Return a line spacing to 0.01 mm, or to 0.001 mm where it does not come out even."""
    return mm(value_mm, 2 if f"{value_mm:.3f}".endswith("0") else 3)


def offset(value_mm: float) -> str:
    """Return a focus offset with its sign; nought has none."""
    text = _length(value_mm, 1)
    return f"+{text}{NB}{length_unit()}" if value_mm > 0 and float(text) != 0.0 else f"{text}{NB}{length_unit()}"


def sentence(text: str) -> str:
    """Return a text as a sentence begins: with a capital, where its first word is one and no file's or key's name."""
    word = text.split(maxsplit=1)[0] if text.strip() else ""
    return text if any(c in "._/\\" or c.isdigit() for c in word.rstrip(".,:;")) else text[:1].upper() + text[1:]


def power(value_W: float, low_W: float | None = None) -> str:
    """Return a power to 0.1 W; a photo's from its faintest tone to its strongest, to 1 W."""
    return f"{fixed(value_W, 1)}{NB}W" if low_W is None else f"{fixed(low_W, 0)}–{fixed(value_W, 0)}{NB}W"


def speed(value_mm_per_s: float) -> str:
    """Return a speed to 1 mm/s, slow ones to 0.1 mm/s; in inches as preferred."""
    shown = trimmed(to_inch(value_mm_per_s), 2) if preferred() == "inch" else trimmed(value_mm_per_s, 1)
    return f"{shown}{NB}{speed_unit()}"


def tone(value_L: float, digits: int = 0) -> str:
    """Return a tone."""
    return f"L*{NB}{fixed(value_L, digits)}"


def duration(time_s: float) -> str:
    """Return a duration as people say it."""
    return duration_text(time_s)


def short_duration(time_s: float) -> str:
    """Return a duration that a person set: 4 min, 90 s."""
    return f"{time_s / 60.0:.0f}{NB}min" if time_s % 60.0 == 0.0 and time_s else f"{trimmed(time_s)}{NB}s"


def words(count: int) -> str:
    """Return a small number as a word, a greater one in figures."""
    return _WORDS[count] if 0 <= count < len(_WORDS) else str(count)


def many(count: int, one: str, more: str = "") -> str:
    """Return a count and what is counted: one piece, 15 pieces."""
    return f"{words(count)} {one if count == 1 else more or one + 's'}"


def local(moment: str) -> datetime:
    """Return an ISO moment on this computer's clock."""
    return datetime.fromisoformat(moment).astimezone()


def clock(moment: str | None) -> str:
    """Return the time of day, or a dash where there is none."""
    return local(moment).strftime("%H:%M") if moment else NONE


def unbroken(text: str) -> Markup:
    """Return a name in which marks such as HM-8 stay on one line; a browser breaks after a hyphen else."""
    return Markup(_MARK.sub(r'<span class="nb">\1</span>', str(escape(text))))  # noqa: S704  # escaped just before


def weekday(moment: str) -> str:
    """Return the day in three letters."""
    return _DAYS[local(moment).weekday()][:3]


def day(moment: str, *, year: bool = False) -> str:
    """Return the day in words: Tuesday 9 June."""
    at = local(moment)
    tail = f" {at.year}" if year else ""
    return f"{_DAYS[at.weekday()]} {at.day}{NB}{_MONTHS[at.month - 1]}{tail}"


def short_day(moment: str) -> str:
    """Return the day shorter: 9 June."""
    at = local(moment)
    return f"{at.day}{NB}{_MONTHS[at.month - 1]}"


def short_date(moment: str) -> str:
    """Return the day as narrow as it goes: 9 Jun."""
    at = local(moment)
    return f"{at.day}{NB}{_MONTHS[at.month - 1][:3]}"


def tone_colour(tone_L: float, *, stone: bool = False) -> str:
    """Return the colour of a tone on wood, interpolated on the exposure scale, or on stone its grey, as #rrggbb."""
    if stone:
        return grey_of(tone_L)
    held = min(max(tone_L, _EXPOSURE[0][0]), _EXPOSURE[-1][0])
    for (low, dark), (high, light) in pairwise(_EXPOSURE):
        if held <= high:
            part = (held - low) / (high - low)
            return "#" + "".join(f"{round(a + part * (b - a)):02x}" for a, b in zip(dark, light, strict=True))
    return "#ead3a9"
