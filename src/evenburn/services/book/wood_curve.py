"""A wood's characteristic curve, laid out as a drawing: every place in pixels, every word chosen; a page only writes it down.

The tones themselves stand along the axis, patches are filled with their own tone, those that were set aside are hollow, past
the char limit it is hatched, and each thing is named where it stands.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenburn.adapters.pictures.wood_swatches import tone_colours
from evenburn.core.nouns.wood import CharacteristicCurve, Wood
from evenburn.core.optics.lines import dwell_ms, effective_passes, mean_dose_J_per_mm2
from evenburn.core.response.curve import (
    DWELL_REFERENCE_ms,
    effective_exposure,
    exposure_for_tone,
    tone_L,
    tone_range_L,
    usable_range,
)
from evenburn.services.book.wood_figures import sds_L

FloatArray = NDArray[np.float64]
NB = "\u00a0"
BAND_SDS = 1.96  # 95 % of a normal distribution
STEPS = 160  # of the curve
STRIP_px, GAP_px = 12, 5  # of the tones beside the axis
HATCH_px = 9.0
PLATE_px = 92.0  # room that the words at the char limit take
LEAST_SPAN_L = 30.0
FEW_px = 500  # narrower drawings say less


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """How large a drawing is, and the box of its plot. [px]"""

    width: int
    height: int
    left: int
    right: int
    top: int
    bottom: int


WIDE = Frame(width=640, height=452, left=70, right=622, top=14, bottom=396)
NARROW = Frame(width=350, height=330, left=56, right=344, top=10, bottom=278)


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """A patch that was read, as the drawing and the list below it need it.

    Attributes
    ----------
    exposure_J_per_mm2 : energy per area that acts as it did, at 1 ms of dwell in one pass, by the curve shown.
    flags : doubts; `aside` where a fit leaves it out for them.
    """

    name: str
    power_W: float
    speed_mm_per_s: float
    passes: int
    exposure_J_per_mm2: float
    tone_L: float
    tone_L_sd: float
    spread_L: float
    flags: tuple[str, ...]
    aside: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A place on an axis; `said` is empty where it bears no number."""

    at: float
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """A piece of the strip of tones beside the axis."""

    y: float
    high: float
    colour: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """A patch in the drawing: its place, the ends of its bar, its colour, and what it says."""

    x: float
    y: float
    high_y: float
    low_y: float
    colour: str
    aside: bool
    twice: bool
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Wished:
    """A tone that is wished for, and the exposure it needs."""

    x: float
    y: float
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveDrawing:
    """A drawing of a curve; `d` stands for a path's data. What is not there is empty or None."""

    frame: Frame
    tones: tuple[Tick, ...]
    doses: tuple[Tick, ...]
    strip: tuple[Field, ...]
    band_d: str
    curve_d: str
    beyond_d: str
    before_d: str
    hatch_d: str
    char_x: float
    char_words: tuple[float, float, str]
    char_text: str
    bare_y: float
    bare_words_y: float
    bare_text: str
    dots: tuple[Dot, ...]
    wished: Wished | None
    said: str


def patches_of(curve: CharacteristicCurve, readings: Sequence[Mapping[str, Any]], *, named: bool) -> tuple[Patch, ...]:
    """Return the patches of readings, documents of reading.json that were not refused.

    Parameters
    ----------
    named : lead a patch's name by the number of its reading, where there are several.
    """
    from evenburn.core.nouns.card import SET_ASIDE

    found: list[Patch] = []
    for number, reading in enumerate(readings, start=1):
        for patch in reading["patches"]:
            recipe = patch["recipe"]
            exposure = effective_exposure(
                curve,
                dose_J_per_mm2=mean_dose_J_per_mm2(
                    power_W=recipe["power_W"],
                    speed_mm_per_s=recipe["speed_mm_per_s"],
                    line_spacing_mm=recipe["line_spacing_mm"],
                    passes=recipe["passes"],
                ),
                dwell_ms=_dwell_ms(reading, recipe),
                passes=effective_passes(
                    passes=recipe["passes"],
                    beam_radius_mm=reading["card"]["beam_radius_mm"],
                    line_spacing_mm=recipe["line_spacing_mm"],
                ),
            )
            found.append(
                Patch(
                    name=f"{number}/{patch['id']}" if named else patch["id"],
                    power_W=recipe["power_W"],
                    speed_mm_per_s=recipe["speed_mm_per_s"],
                    passes=recipe["passes"],
                    exposure_J_per_mm2=10.0 ** float(exposure),
                    tone_L=patch["tone_L"],
                    tone_L_sd=patch["tone_L_sd"],
                    spread_L=patch["spread_L"],
                    flags=tuple(patch["flags"]),
                    aside=bool(SET_ASIDE & set(patch["flags"])),
                )
            )
    return tuple(found)


def middle_dwell_ms(readings: Sequence[Mapping[str, Any]]) -> float:
    """Return the middle dwell of the patches of readings, the reference where there are none. [ms]"""
    dwells = [_dwell_ms(reading, patch["recipe"]) for reading in readings for patch in reading["patches"]]
    return float(np.median(dwells)) if dwells else DWELL_REFERENCE_ms


def _dwell_ms(reading: Mapping[str, Any], recipe: Mapping[str, Any]) -> float:
    radius = reading["card"]["beam_radius_mm"]
    return float(dwell_ms(beam_radius_mm=radius, speed_mm_per_s=recipe["speed_mm_per_s"]))


def curve_drawing(
    wood: Wood,
    patches: Sequence[Patch] = (),
    *,
    frame: Frame,
    dwell: float = DWELL_REFERENCE_ms,
    wished_L: float | None = None,
    before: CharacteristicCurve | None = None,
) -> CurveDrawing:
    """Return a wood's curve as a drawing.

    Parameters
    ----------
    dwell : at which the band of belief is reckoned. [ms]
    wished_L : a tone whose exposure is drawn, if the wood takes it.
    before : a curve that it is held against.
    """
    curve = wood.curve
    place = _Placing(frame, _across(curve, patches, before), _up(curve, patches))
    grid = np.linspace(*place.across, STEPS)
    tones = tone_L(curve, grid)
    first, last = usable_range(curve)
    inside = (grid >= first) & (grid <= last)
    return CurveDrawing(
        frame=frame,
        tones=_tone_ticks(place),
        doses=_dose_ticks(place, few=frame.width < FEW_px),
        strip=_strip(place, wood),
        band_d=_band_d(place, curve, grid[inside], dwell=dwell),
        curve_d=_path_d(place, grid[inside], tones[inside]),
        beyond_d=" ".join(
            _path_d(place, grid[part], tones[part])
            for part in (grid <= first + _step(grid), grid >= last - _step(grid))
            if part.sum() > 1
        ),
        before_d="" if before is None else _before_d(place, before),
        hatch_d=_hatch_d(place, place.x(curve.x_char)),
        char_x=_round(place.x(curve.x_char)),
        char_words=_char_words(place, curve),
        char_text=f"{10.0**curve.x_char:.2f}{NB}J/mm²",
        bare_y=_round(place.y(curve.bare_L)),
        bare_words_y=_round(place.y(curve.bare_L) - 9.0),
        bare_text=f"bare {'slate' if wood.id == 'slate' else 'wood'} L*{NB}{curve.bare_L:.1f}",
        dots=_dots(place, wood, patches),
        wished=_wished(place, curve, wished_L),
        said=_said(wood, patches),
    )


class _Placing:
    """From exposure and tone to places in the drawing."""

    def __init__(self, frame: Frame, across: tuple[float, float], up: tuple[float, float]) -> None:
        self.frame, self.across, self.up = frame, across, up

    def x(self, exposure: float) -> float:
        low, high = self.across
        return self.frame.left + (exposure - low) / (high - low) * (self.frame.right - self.frame.left)

    def y(self, tone: float) -> float:
        low, high = self.up
        return self.frame.bottom - (tone - low) / (high - low) * (self.frame.bottom - self.frame.top)


def _across(
    curve: CharacteristicCurve, patches: Sequence[Patch], before: CharacteristicCurve | None
) -> tuple[float, float]:
    shown = [math.log10(p.exposure_J_per_mm2) for p in patches]
    chars = [curve.x_char] + ([] if before is None else [before.x_char])
    return min([*shown, curve.x_low]) - 0.04, max([*shown, *chars]) + 0.12


def _up(curve: CharacteristicCurve, patches: Sequence[Patch]) -> tuple[float, float]:
    tones = [curve.bare_L, *tone_range_L(curve), *(p.tone_L + s * p.spread_L for p in patches for s in (-1.0, 1.0))]
    low, high = 10.0 * math.floor((min(tones) - 2.0) / 10.0), 10.0 * math.ceil((max(tones) + 4.0) / 10.0)
    return (low, high) if high - low >= LEAST_SPAN_L else (low, low + LEAST_SPAN_L)


def _round(value: float) -> float:
    return round(float(value), 1)


def _step(grid: FloatArray) -> float:
    return float(grid[1] - grid[0])


def _path_d(place: _Placing, exposures: FloatArray, tones: FloatArray) -> str:
    points = [f"{place.x(float(x)):.1f} {place.y(float(t)):.1f}" for x, t in zip(exposures, tones, strict=True)]
    return "M" + "L".join(points) if len(points) > 1 else ""


def _band_d(place: _Placing, curve: CharacteristicCurve, grid: FloatArray, *, dwell: float) -> str:
    """Return the outline of the band of belief: the exposures of the drawing, reckoned at the middle dwell."""
    some = grid[:: max(1, grid.size // 60)]
    some = np.append(some[some < grid[-1]], grid[-1])
    sds = sds_L(curve, some, dwell=dwell)
    tones = tone_L(curve, some)
    high, low = (np.clip(tones + s * BAND_SDS * sds, *place.up) for s in (1.0, -1.0))
    return f"{_path_d(place, some, high)}L{_path_d(place, some[::-1], low[::-1])[1:]}Z"


def _before_d(place: _Placing, before: CharacteristicCurve) -> str:
    first, last = usable_range(before)
    grid = np.linspace(max(first, place.across[0]), min(last, place.across[1]), STEPS)
    return _path_d(place, grid, np.clip(tone_L(before, grid), *place.up))


def _hatch_d(place: _Placing, left: float) -> str:
    """Return slanted lines over all that lies right of a place, cut to the plot."""
    frame = place.frame
    high = frame.bottom - frame.top
    lines = []
    start = left - high
    while start < frame.right:
        x0, y0, x1, y1 = start, float(frame.bottom), start + high, float(frame.top)
        if x0 < left:
            x0, y0 = left, frame.bottom - (left - start)
        if x1 > frame.right:
            x1, y1 = float(frame.right), frame.top + (start + high - frame.right)
        if x1 - x0 > 0.5:
            lines.append(f"M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}")
        start += HATCH_px
    return "".join(lines)


def _char_words(place: _Placing, curve: CharacteristicCurve) -> tuple[float, float, str]:
    """Return where the words at the char limit stand, and which end of them: where the curve leaves room."""
    x, frame = place.x(curve.x_char), place.frame
    y = frame.top + 18.0 if curve.full_L < curve.bare_L else frame.bottom - 30.0
    room = frame.right - x >= PLATE_px
    return (_round(x + 9.0), y, "start") if room else (_round(x - 9.0), y, "end")


def _tone_ticks(place: _Placing) -> tuple[Tick, ...]:
    low, high = (round(v) for v in place.up)
    step = 10 if high - low <= 80 else 20
    return tuple(Tick(at=_round(place.y(t)), said=str(t)) for t in range(low, high + 1, step))


def _dose_ticks(place: _Placing, *, few: bool) -> tuple[Tick, ...]:
    low, high = (10.0**v for v in place.across)
    every = [t for e in range(-4, 4) for m in range(1, 10) if low <= (t := float(f"{m}e{e}")) <= high]
    said = [t for t in every if f"{t:e}"[0] in "125"]
    if len(said) < 4 and not few:
        said = [t for t in every if f"{t:e}"[0] not in "79"]
    return tuple(Tick(at=_round(place.x(math.log10(t))), said=f"{t:g}" if t in said else "") for t in every)


def _strip(place: _Placing, wood: Wood) -> tuple[Field, ...]:
    """Return the tones beside the axis, a field for every two L*."""
    low, high = (round(v) for v in place.up)
    tones = list(range(low, high, 2))
    colours = tone_colours(wood, tuple(float(t) + 1.0 for t in tones))
    return tuple(
        Field(y=_round(place.y(t + 2.0)), high=_round(place.y(t) - place.y(t + 2.0)) + 0.2, colour=colour)
        for t, colour in zip(tones, colours, strict=True)
    )


def _dots(place: _Placing, wood: Wood, patches: Sequence[Patch]) -> tuple[Dot, ...]:
    if not patches:
        return ()
    colours = tone_colours(wood, tuple(p.tone_L for p in patches))
    low, high = place.up
    return tuple(
        Dot(
            x=_round(place.x(math.log10(p.exposure_J_per_mm2))),
            y=_round(place.y(p.tone_L)),
            high_y=_round(place.y(min(high, p.tone_L + p.spread_L))),
            low_y=_round(place.y(max(low, p.tone_L - p.spread_L))),
            colour=colour,
            aside=p.aside,
            twice=p.passes > 1,
            said=f"{p.name}: L*{NB}{p.tone_L:.1f} at {p.exposure_J_per_mm2:.2f}{NB}J/mm²"
            + (f", {p.passes} passes" if p.passes > 1 else "")
            + (f", set aside: {', '.join(p.flags)}" if p.aside else ""),
        )
        for p, colour in sorted(zip(patches, colours, strict=True), key=lambda pair: not pair[0].aside)
    )


def _wished(place: _Placing, curve: CharacteristicCurve, wished_L: float | None) -> Wished | None:
    faint, full = tone_range_L(curve)
    if wished_L is None or not min(faint, full) <= wished_L <= max(faint, full):
        return None
    exposure = exposure_for_tone(curve, wished_L)
    return Wished(
        x=_round(place.x(exposure)),
        y=_round(place.y(wished_L)),
        said=f"L*{NB}{wished_L:g}: {10.0**exposure:.2f}{NB}J/mm²"
        if place.frame.width < FEW_px
        else f"wished L*{NB}{wished_L:g} needs {10.0**exposure:.2f}{NB}J/mm²",
    )


def _said(wood: Wood, patches: Sequence[Patch]) -> str:
    """Return in words what the drawing shows, for those who hear it."""
    curve = wood.curve
    faint, full = tone_range_L(curve)
    way = "darkens" if curve.full_L < curve.bare_L else "lightens"
    low, high = (10.0**v for v in usable_range(curve))
    text = (
        f"Tone against exposure: {wood.name} {way} from L* {faint:.0f} at {low:.2f} J/mm² to L* {full:.0f} at "
        f"{high:.2f} J/mm²; it chars from {10.0**curve.x_char:.2f} J/mm²."
    )
    aside = sum(p.aside for p in patches)
    return f"{text} {len(patches)} patches, {aside} set aside." if patches else text
