"""A text laid in the box of its mark: what was asked for, where its glyphs stand, and whether it fits."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from evenburn.adapters.artwork.along import (
    LARGEST_OF_RADIUS,
    Along,
    Circle,
    place_along,
    room_mm,
    text_faults_along,
    track_of,
)
from evenburn.adapters.artwork.fonts import OpenedFont
from evenburn.adapters.artwork.lettering import (
    Align,
    PlacedGlyph,
    box_of,
    layout_faults,
    outlines_of,
    shape_lines,
    text_faults,
    upright,
)
from evenburn.adapters.artwork.wrapping import plain, wrap_lines, wrap_to_fit
from evenburn.core.errors import InvalidInput, OutOfRange

LETTER_mm = (0.1, 2000.0)
SAME_mm = 1e-6
BISECTIONS = 32


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TextSetting:
    """A text and how it is to be set.

    Attributes
    ----------
    face : the id of a shipped face, or what people call their own.
    align : of the lines, and of the whole in its box, left to right; the whole stands in the middle of its height.
    letter_mm : height of the capitals; None is as large as fits. [mm]
    wrap : break lines to the width of the box.
    along : the circle or path to set it along; None sets it straight.
    """

    text: str
    face: str
    align: Align = "centre"
    tracking_em: float = 0.0
    leading_em: float = 1.2
    letter_mm: float | None = None
    wrap: bool = False
    along: Circle | Along | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be, all at once."""
        fields = text_faults(self.text)
        fields |= layout_faults(align=self.align, tracking_em=self.tracking_em, leading_em=self.leading_em)
        low, high = LETTER_mm
        if self.letter_mm is not None and not low <= self.letter_mm <= high:
            fields["letter_mm"] = f"{self.letter_mm:g} mm; allowed is {low:g} to {high:g} mm"
        if self.along is not None:
            if self.wrap:
                fields["wrap"] = "a text along a path is one line; it cannot be broken"
            fields = text_faults_along(self.text) | fields
        if fields:
            raise InvalidInput(fields)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """How a text fits its box.

    `width_mm` and `height_mm` are those of its ink with capitals `letter_mm` high (along a path: its length, and its
    height as if straight). `letter_fits_mm` is the largest that fits, 0 where none does.
    """

    width_mm: float
    height_mm: float
    letter_mm: float
    letter_fits_mm: float

    @property
    def fits(self) -> bool:
        """Whether it fits at `letter_mm`."""
        return self.letter_mm <= self.letter_fits_mm * (1.0 + 1e-9)


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """The glyphs of a text: a point stands `em_mm` times itself plus `shift_mm` from the box's lower left. [mm]

    `trouble` says in words why it does not fit; empty where it does.
    """

    placed: list[PlacedGlyph]
    em_mm: float
    shift_mm: tuple[float, float]
    fit: Fit
    trouble: str


def refuse_box(box_mm: tuple[float, float]) -> None:
    """Raise OutOfRange if a side of a box is not a positive number."""
    for name, side_mm in zip(("width_mm", "height_mm"), box_mm, strict=True):
        if not (math.isfinite(side_mm) and side_mm > 0.0):
            raise OutOfRange(name, side_mm, low=0.0, high=math.inf, unit="mm")


def lay(setting: TextSetting, *, box_mm: tuple[float, float], font: OpenedFont) -> Laid:
    """Lay a text in its box. Raises InvalidInput and UnreadableFile as `outlines_of` and `shape_lines`."""
    refuse_box(box_mm)
    if setting.along is not None:
        return _lay_along(setting, setting.along, box_mm=box_mm, font=font)
    cap_em = font.cap_height_em
    block = _block(setting, box_mm=box_mm, font=font)
    x0, y0, x1, y1 = block.box_em
    em_fits = min(box_mm[0] / (x1 - x0), box_mm[1] / (y1 - y0)) if block.em_fits_mm is None else block.em_fits_mm
    em_mm = setting.letter_mm / cap_em if setting.letter_mm is not None else em_fits
    across = {"left": -x0 * em_mm, "right": box_mm[0] - x1 * em_mm}.get(
        setting.align, box_mm[0] / 2.0 - em_mm * (x0 + x1) / 2.0
    )
    up = box_mm[1] / 2.0 - em_mm * (y0 + y1) / 2.0
    if setting.letter_mm is not None:
        # at a given size the middle is that of the capitals, so that the names of a list stand at one height
        last_em = -setting.leading_em * block.text.count("\n")
        up = box_mm[1] / 2.0 - em_mm * (cap_em + last_em) / 2.0
        up = max(-y0 * em_mm, min(up, box_mm[1] - y1 * em_mm))  # … but no ink outside the box
    fit = Fit(
        width_mm=(x1 - x0) * em_mm,
        height_mm=(y1 - y0) * em_mm,
        letter_mm=setting.letter_mm if setting.letter_mm is not None else em_mm * cap_em,
        letter_fits_mm=em_fits * cap_em,
    )
    trouble = "" if fit.fits else _too_large(fit, box_mm)
    return Laid(placed=block.placed, em_mm=em_mm, shift_mm=(across, up), fit=fit, trouble=trouble)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Block:
    text: str
    placed: list[PlacedGlyph]
    box_em: tuple[float, float, float, float]
    em_fits_mm: float | None = None  # where another breaking of the lines is the one that fits largest


def _block(setting: TextSetting, *, box_mm: tuple[float, float], font: OpenedFont) -> _Block:
    """Return the lines of a straight text, broken where asked."""

    def lines(text: str) -> _Block:
        shaped = shape_lines(text, font, tracking_em=setting.tracking_em)
        placed = upright(shaped, font, align=setting.align, leading_em=setting.leading_em)
        return _Block(text=text, placed=placed, box_em=box_of(placed, font))

    if not setting.wrap:
        return lines(plain(setting.text))
    best = wrap_to_fit(
        setting.text,
        font,
        box_mm=box_mm,
        align=setting.align,
        tracking_em=setting.tracking_em,
        leading_em=setting.leading_em,
    )
    if setting.letter_mm is None:
        return lines(best.text)
    em_mm = setting.letter_mm / font.cap_height_em
    own = lines(wrap_lines(setting.text, font, width_em=box_mm[0] / em_mm, tracking_em=setting.tracking_em))
    x0, y0, x1, y1 = own.box_em
    if (x1 - x0) * em_mm <= box_mm[0] + SAME_mm and (y1 - y0) * em_mm <= box_mm[1] + SAME_mm:
        return replace(own, em_fits_mm=max(best.em_mm, em_mm))
    # swashes may reach past the width that the lines were broken to; then the breaks that fit at a larger size do
    return replace(lines(best.text) if em_mm <= best.em_mm else own, em_fits_mm=best.em_mm)


def _lay_along(setting: TextSetting, along: Circle | Along, *, box_mm: tuple[float, float], font: OpenedFont) -> Laid:
    (line,) = shape_lines(plain(setting.text).strip("\n"), font, tracking_em=setting.tracking_em)
    straight = box_of(upright([line], font, align="left", leading_em=1.0), font)
    cap_em = font.cap_height_em
    width_em = line.width_units / font.upem
    raise_mm = along.raise_mm if isinstance(along, Along) else 0.0
    shape = "circle" if isinstance(along, Circle) else "path"

    def attempt(em_mm: float) -> tuple[list[PlacedGlyph], str]:
        """Return the glyphs at a size, or none and what is wrong."""
        lead = f"at {em_mm * cap_em:.4g} mm capitals it"
        if isinstance(along, Circle) and em_mm * cap_em > LARGEST_OF_RADIUS * along.diameter_mm / 2.0 + SAME_mm:
            return [], f"{lead} is too high for a circle of {along.diameter_mm:g} mm"
        track = track_of(along, box_mm=box_mm, letter_mm=em_mm * cap_em)
        room = room_mm(track, em_mm=em_mm)
        if width_em * em_mm > room + SAME_mm:
            return [], f"{lead} is {_above(width_em * em_mm)} mm long and the {shape} has room for {_below(room)} mm"
        glyphs = place_along(line, font, track=track, em_mm=em_mm, align=setting.align, raise_mm=raise_mm)
        x0, y0, x1, y1 = (side * em_mm for side in outlines_of(glyphs, font).bounds_em)
        over_mm = -min(x0, y0, box_mm[0] - x1, box_mm[1] - y1)
        if over_mm > SAME_mm:
            return [], f"{lead} reaches {_above(over_mm)} mm outside the box of {box_mm[0]:g} × {box_mm[1]:g} mm"
        return glyphs, ""

    low, high = LETTER_mm[0] / cap_em, 2.0 * max(box_mm) / cap_em
    trouble_always = attempt(low)[1]
    for _ in range(0 if trouble_always else BISECTIONS):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if attempt(middle)[1] else (middle, high)
    em_mm = setting.letter_mm / cap_em if setting.letter_mm is not None else low
    glyphs, trouble = attempt(em_mm)
    largest = 0.0 if trouble_always else low * cap_em
    letter_mm = setting.letter_mm if setting.letter_mm is not None else em_mm * cap_em
    fit = Fit(
        width_mm=width_em * em_mm,
        height_mm=(straight[3] - straight[1]) * em_mm,
        letter_mm=letter_mm,
        letter_fits_mm=min(largest, letter_mm * (1.0 - 1e-6)) if trouble else max(largest, letter_mm),
    )
    if trouble:
        trouble += f"; {_fits_at(fit)}"
    return Laid(placed=glyphs, em_mm=em_mm, shift_mm=(0.0, 0.0), fit=fit, trouble=trouble)


# --- what is told when it does not fit --------------------------------------------------------------------------------


def _too_large(fit: Fit, box_mm: tuple[float, float]) -> str:
    wide, high = fit.width_mm > box_mm[0] + SAME_mm, fit.height_mm > box_mm[1] + SAME_mm
    if wide and high:
        size, box = f"{_above(fit.width_mm)} × {_above(fit.height_mm)} mm", f"{box_mm[0]:g} × {box_mm[1]:g} mm"
    elif high:
        size, box = f"{_above(fit.height_mm)} mm high", f"{box_mm[1]:g} mm"
    else:
        size, box = f"{_above(fit.width_mm)} mm wide", f"{box_mm[0]:g} mm"
    return f"at {fit.letter_mm:g} mm capitals it is {size} and the box is {box}; {_fits_at(fit)}"


def _fits_at(fit: Fit) -> str:
    if fit.letter_fits_mm < LETTER_mm[0]:
        return "it fits at no size"
    return f"it fits at {_below(fit.letter_fits_mm)} mm"


def _above(length_mm: float) -> str:
    """Return a length rounded up to a tenth, so that what is too large reads so."""
    return f"{math.ceil(round(length_mm * 10.0, 6)) / 10.0:g}"


def _below(length_mm: float) -> str:
    """Return a length rounded down to a hundredth, so that what is written fits."""
    return f"{math.floor(round(length_mm * 100.0, 6)) / 100.0:g}"
