"""Text along a circle, an arc or any path: each letter stands upright on it, turned, not bent.

A letter (with its marks, or a ligature) is placed by the middle of its advance, measured along the line its feet stand
on, and turned to the chord under it. On a straight path this is the straight setting.
"""

from __future__ import annotations

import math
import unicodedata
from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias, get_args

import numpy as np

from evenburn.adapters.artwork.fonts import FloatArray, OpenedFont
from evenburn.adapters.artwork.lettering import SHARE, Align, PlacedGlyph
from evenburn.adapters.artwork.shaping import Line, script_of
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.path import Polyline

Side: TypeAlias = Literal["outside", "inside"]
Tops: TypeAlias = Literal["auto", "outward", "inward"]

DIAMETER_mm = (1.0, 5000.0)
SMALLEST_SPAN_deg = 1.0
CLOSED_GAP_EM = 0.25  # left between the last letter and the first of a text that goes all round
LARGEST_OF_RADIUS = 0.5  # capitals higher than this share of the radius fall over one another
CURSIVE = frozenset(
    ["Adlm", "Arab", "Chrs", "Mand", "Mani", "Mong", "Nkoo", "Ougr", "Phag", "Phlp", "Rohg", "Sogd", "Sogo", "Syrc"]
)  # scripts whose letters join (Unicode Standard, ArabicShaping.txt)


@dataclass(frozen=True, slots=True, kw_only=True)
class Circle:
    """A circle to set text on.

    Attributes
    ----------
    diameter_mm : of the circle. [mm]
    middle_deg : where the middle of the text stands, counter-clockwise from the right; 90 is the top. [deg]
    side : whether the letters stand outside the circle or inside it; capitals or feet touch it.
    tops : `outward` runs clockwise, as over the top; `inward` counter-clockwise, upright along the bottom; `auto` takes
        the one that is upright at the middle.
    span_deg : the arc the text may take, about the middle; within it, it is aligned. [deg]
    centre_mm : the circle's middle from the lower left corner of the mark's box; None is the middle of the box. [mm]
    """

    diameter_mm: float
    middle_deg: float = 90.0
    side: Side = "outside"
    tops: Tops = "auto"
    span_deg: float = 360.0
    centre_mm: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be, all at once."""
        fields = {}
        for name, value, allowed in (("side", self.side, get_args(Side)), ("tops", self.tops, get_args(Tops))):
            if value not in allowed:
                fields[name] = f"{value!r} is not known; allowed are {', '.join(allowed)}"
        low, high = DIAMETER_mm
        if not low <= self.diameter_mm <= high:
            fields["diameter_mm"] = f"{self.diameter_mm:g} mm; allowed is {low:g} to {high:g} mm"
        if not SMALLEST_SPAN_deg <= self.span_deg <= 360.0:
            fields["span_deg"] = f"{self.span_deg:g}°; allowed is {SMALLEST_SPAN_deg:g} to 360°"
        if not -360.0 <= self.middle_deg <= 360.0:
            fields["middle_deg"] = f"{self.middle_deg:g}°; allowed is -360 to 360°"
        if self.centre_mm is not None and not all(map(math.isfinite, self.centre_mm)):
            fields["centre_mm"] = "is no pair of numbers"
        if fields:
            raise InvalidInput(fields)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Along:
    """A path to set text along, in mm from the lower left corner of the mark's box.

    Attributes
    ----------
    path : the text stands on its left as it goes; a closed one is gone round once.
    start_mm : how far along it the text may begin; within what is left, it is aligned. [mm]
    backward : go along the path from its end to its beginning.
    raise_mm : how far the feet of the letters stand off the path, to the left as the text goes. [mm]
    """

    path: Polyline
    start_mm: float = 0.0
    backward: bool = False
    raise_mm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what cannot be, all at once."""
        fields = {}
        length = _Way(self).length_mm
        if not (length > 0.0 and math.isfinite(length)):
            fields["path"] = "has no length"
        elif not 0.0 <= self.start_mm < length:
            fields["start_mm"] = f"{self.start_mm:g} mm; the path is {length:.1f} mm long"
        if not math.isfinite(self.raise_mm):
            fields["raise_mm"] = f"{self.raise_mm:g} mm is no length"
        if fields:
            raise InvalidInput(fields)


class Track(Protocol):
    """The line the feet of the letters stand on, for one size of letter."""

    length_mm: float  # that the text may take
    closed: bool

    def at(self, way_mm: FloatArray) -> FloatArray:
        """Return the points at ways along it, (N, 2). [mm]"""
        ...


class _Arc:
    """The arc a text's feet stand on."""

    def __init__(self, circle: Circle, *, box_mm: tuple[float, float], letter_mm: float) -> None:
        outward = circle.tops == "outward" or (
            circle.tops == "auto" and math.sin(math.radians(circle.middle_deg)) >= -1e-9
        )
        radius = circle.diameter_mm / 2.0
        if outward == (circle.side == "inside"):  # the capitals touch the circle, not the feet
            radius += -letter_mm if outward else letter_mm
        self._centre = np.array(circle.centre_mm or (box_mm[0] / 2.0, box_mm[1] / 2.0), dtype=np.float64)
        self._radius = radius
        self._sense = -1.0 if outward else 1.0
        self._start = math.radians(circle.middle_deg - self._sense * circle.span_deg / 2.0)
        self.length_mm = radius * math.radians(circle.span_deg)
        self.closed = circle.span_deg >= 360.0

    def at(self, way_mm: FloatArray) -> FloatArray:
        angle = self._start + self._sense * way_mm / self._radius
        return self._centre + self._radius * np.column_stack([np.cos(angle), np.sin(angle)])


class _Way:
    """The part of a path a text's feet may stand on."""

    def __init__(self, along: Along) -> None:
        points = np.asarray(along.path.points_mm, dtype=np.float64)
        if along.path.closed:
            points = np.vstack([points, points[:1]])
        self._points = points[::-1] if along.backward else points
        self._ways = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(self._points, axis=0).T))])
        self._start = along.start_mm
        whole = float(self._ways[-1])
        self.closed = along.path.closed
        self.length_mm = whole if self.closed or not 0.0 <= along.start_mm < whole else whole - along.start_mm

    def at(self, way_mm: FloatArray) -> FloatArray:
        ways = way_mm + self._start
        ways = np.mod(ways, self._ways[-1]) if self.closed else np.clip(ways, 0.0, self._ways[-1])
        x, y = (np.interp(ways, self._ways, self._points[:, axis]) for axis in (0, 1))
        return np.column_stack([x, y])


def track_of(along: Circle | Along, *, box_mm: tuple[float, float], letter_mm: float) -> Track:
    """Return the line the feet of letters of a size stand on."""
    if isinstance(along, Circle):
        return _Arc(along, box_mm=box_mm, letter_mm=letter_mm)
    return _Way(along)


def room_mm(track: Track, *, em_mm: float) -> float:
    """Return the length of text a track has room for; one that is closed keeps a gap between end and beginning."""
    return track.length_mm - (CLOSED_GAP_EM * em_mm if track.closed else 0.0)


def text_faults_along(text: str) -> dict[str, str]:
    """Return what keeps a text from being set along a path, by field."""
    if "\n" in text.strip("\n"):
        return {"text": "along a path stands one line; this text has more"}
    joined = next((letter for letter in text if letter.isalpha() and script_of(letter) in CURSIVE), None)
    if joined is not None:
        name = unicodedata.name(joined, "its letters").split()[0].capitalize()
        return {"text": f"{name} letters join, and would come apart on a path; set this text straight"}
    return {}


def place_along(
    line: Line, font: OpenedFont, *, track: Track, em_mm: float, align: Align, raise_mm: float = 0.0
) -> list[PlacedGlyph]:
    """Return the glyphs of a line along a track, in em of the mark's box: a coordinate is its mm over `em_mm`.

    The line must have room on the track.
    """
    if not line.clusters:
        return []
    to_mm = em_mm / font.upem
    begin = SHARE[align] * (track.length_mm - line.width_units * to_mm)
    middles = np.array([cluster.x_units + cluster.advance_units / 2.0 for cluster in line.clusters])
    halves = np.array([abs(cluster.advance_units) / 2.0 for cluster in line.clusters]) * to_mm
    ways = begin + middles * to_mm
    halves = np.maximum(halves, 1e-3 * em_mm)  # marks alone have no advance to take a chord of
    if not track.closed:  # a letter at the very end takes its chord from what there is on both sides
        halves = np.maximum(np.minimum(halves, np.minimum(ways, track.length_mm - ways)), 1e-6 * em_mm)
    chords = track.at(ways + halves) - track.at(ways - halves)
    lengths = np.hypot(chords[:, 0], chords[:, 1])
    flat = lengths < 1e-9 * em_mm  # a path that turns back on itself under the letter
    chords[flat] = (1.0, 0.0)
    chords /= np.where(flat, 1.0, lengths)[:, None]
    feet = track.at(ways) + raise_mm * np.column_stack([-chords[:, 1], chords[:, 0]])
    placed = []
    for cluster, middle, (cos, sin), foot in zip(line.clusters, middles, chords, feet, strict=True):
        for glyph in cluster.glyphs:
            x, y = (glyph.x_units - middle) / font.upem, glyph.y_units / font.upem
            placed.append(
                PlacedGlyph(
                    glyph=glyph.glyph,
                    x_em=float(foot[0] / em_mm + cos * x - sin * y),
                    y_em=float(foot[1] / em_mm + sin * x + cos * y),
                    cos=float(cos),
                    sin=float(sin),
                )
            )
    return placed
