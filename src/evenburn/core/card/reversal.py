"""The motion card in a photograph: where each stroke lies, from its two edges, to a fraction of a pixel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from evenburn.core.card.finding import FoundCard, find_card, find_page, flat_frame
from evenburn.core.card.lightness import light_scale
from evenburn.core.card.page_view import Flat, FloatArray, PageView, Picture, flattened
from evenburn.core.card.patches import bare_wood
from evenburn.core.card.quality import check_exposed, check_sharp
from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.card.sampling import sampled
from evenburn.core.card.sharpness import blur_mm
from evenburn.core.nouns.card import Card, CardLine, CardVernier, LineReading, Reading
from evenburn.core.tone.colour import LUMINANCE, srgb_decode

NB = "\u00a0"
FINE_px_per_mm = 20  # the strokes are looked at in pixels so fine, finer than the photograph's own
ROW_EDGE_mm = 0.35  # of a row's height is left out on either side: the other row, and where some strokes end
SMOOTH_mm = 0.04  # standard deviation: grain and pixels, less than the beam's own edge
BARE_mm = 0.4  # of bare wood at either end of a stroke's stretch
LEAST_CONTRAST = 0.06  # of the bare wood's light: less is grain
LENGTH_SHARE = (0.5, 1.7)  # of the drawn length that a stroke may seem long
LEAST_SD_mm = 0.004  # a twentieth of a pixel: what no photograph is trusted beyond
LEAST_STROKES = 8  # in each row, else a photograph tells nothing of it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReversalRead:
    """One photograph of a motion card as read, with where everything was found."""

    card: Card
    lines: tuple[LineReading, ...]
    bare_wood_L: float
    bare_wood_L_sd: float
    paper_L: float
    blur_mm: float
    view: PageView
    found: FoundCard

    def places_px(self, places_mm: FloatArray) -> FloatArray:
        """Return where (N, 2) places of the card are in the picture. [px] Source: `FoundCard`, `PageView`."""
        return self.view.places_px(self.found.page_mm(places_mm))


def read_reversal(picture: Picture, card: Card) -> ReversalRead:
    """Return where the strokes of a motion card lie in a photograph.

    Parameters
    ----------
    picture : (rows, columns, 3) RGB, 8 bits, as the camera encoded it, upright or not.

    Raises
    ------
    PhotographRefused
        If a number read from it could not be trusted.

    Source
    ------
    Own choice: edges at half the way from bare wood to stroke in linear light; docs/how-it-works/stopwatch.md.
    """
    mat = card.mat
    view = find_page(picture, mat)
    flat = flat_frame(picture, view, mat=mat)
    blur = blur_mm(flat, mat)
    check_sharp(blur)
    samples = sampled(flat, mat)
    check_exposed(samples, mat)
    found = find_card(flat, card)
    scale = light_scale(samples)
    wide, high = card.size_mm
    around = 0.5 * (mat.window_mm[2] - mat.window_mm[0] - wide)
    laid = flattened(
        picture,
        view,
        box_mm=(-around, -around, wide + around, high + around),
        px_per_mm=FINE_px_per_mm,
        to_page=found.to_page,
    )
    wood = bare_wood(laid, card, to_page=found.to_page)
    tones = scale.tones_L(wood.shares, places_mm=wood.places_mm)
    lines = tuple(line for vernier in card.verniers for line in _vernier(laid, card, vernier))
    _check_strokes(lines, card)
    return ReversalRead(
        card=card,
        lines=lines,
        bare_wood_L=float(np.median(tones)) if tones.size else 50.0,
        bare_wood_L_sd=float(np.hypot(1.0, tones.std())) if tones.size else 20.0,
        paper_L=scale.paper_L,
        blur_mm=blur,
        view=view,
        found=found,
    )


def strokes_of(card: Card, vernier: CardVernier, *, forward: bool) -> tuple[CardLine, ...]:
    """Return the strokes of one row, from left to right. Definition."""
    sign = ">" if forward else "<"
    mine = [k for k in card.lines if k.id.startswith(f"{vernier.id}{sign}")]
    return tuple(sorted(mine, key=lambda k: k.from_mm[0]))


def _vernier(laid: Flat, card: Card, vernier: CardVernier) -> list[LineReading]:
    return [
        reading
        for forward in (True, False)
        for reading in _row(laid, strokes_of(card, vernier, forward=forward), row_mm=vernier.row_mm)
    ]


def _row(laid: Flat, strokes: Sequence[CardLine], *, row_mm: float) -> list[LineReading]:
    """Return the strokes of a row as read: the light along it, averaged over its height, stroke by stroke."""
    if not strokes:
        return []
    u = laid.px_per_mm
    x0, _, x1, _ = laid.box_mm
    middle_y, half = strokes[0].from_mm[1], 0.5 * row_mm - ROW_EDGE_mm
    part = laid.part((x0, middle_y - half, x1, middle_y + half))
    light = srgb_decode(part.astype(np.float64) / 255.0) @ (LUMINANCE / LUMINANCE.sum())
    profile = cv2.GaussianBlur(light.mean(axis=0)[None, :], (0, 0), SMOOTH_mm * u)[0].astype(np.float64)
    places = x0 + (np.arange(profile.size) + 0.5) / u
    middles = np.array([0.5 * (k.from_mm[0] + k.to_mm[0]) for k in strokes])
    pitch = float(np.median(np.diff(middles))) if middles.size > 1 else 2.0 * abs(strokes[0].to_mm[0] - middles[0])
    found = []
    for stroke, middle in zip(strokes, middles, strict=True):
        near = np.abs(places - middle) <= 0.5 * pitch
        edges = _edges_mm(places[near], profile[near])
        drawn = abs(stroke.to_mm[0] - stroke.from_mm[0])
        if edges is None or not LENGTH_SHARE[0] * drawn <= edges[1] - edges[0] <= LENGTH_SHARE[1] * drawn:
            found.append(LineReading(line=stroke, width_mm=0.0, width_sd_mm=0.0, flags=("not-seen",)))
            continue
        found.append(
            LineReading(
                line=stroke,
                width_mm=edges[1] - edges[0],
                width_sd_mm=2.0 * LEAST_SD_mm,
                shift_mm=0.5 * (edges[0] + edges[1]) - float(middle),
                shift_sd_mm=LEAST_SD_mm,
            )
        )
    return _with_scatter(found)


def _edges_mm(places: FloatArray, light: FloatArray) -> tuple[float, float] | None:
    """Return where a stroke begins and ends: halfway from bare wood to its middle, in linear light."""
    step = float(places[1] - places[0])
    count = max(2, round(BARE_mm / step))
    ends = float(np.median(light[:count])), float(np.median(light[-count:]))
    bare = np.interp(places, [places[count // 2], places[-count // 2 - 1]], ends)
    depth = 1.0 - light / np.maximum(bare, 1e-6)
    depth = depth if abs(float(depth.min())) <= abs(float(depth.max())) else -depth
    dark = np.clip(depth, 0.0, None)
    if float(dark.max()) < LEAST_CONTRAST:
        return None
    centre = int(np.clip(round(float((dark * np.arange(dark.size)).sum() / dark.sum())), 1, dark.size - 2))
    near = np.abs(np.arange(dark.size) - centre) <= round(0.4 / step)
    half = 0.5 * float(np.median(depth[near]))
    if 2.0 * half < LEAST_CONTRAST:
        return None
    left, right = np.flatnonzero(depth[:centre] < half), np.flatnonzero(depth[centre:] < half)
    if left.size == 0 or right.size == 0:
        return None
    a, b = int(left[-1]), centre + int(right[0])
    begin = places[a] + step * (half - depth[a]) / max(depth[a + 1] - depth[a], 1e-9)
    end = places[b] - step * (half - depth[b]) / max(depth[b - 1] - depth[b], 1e-9)
    return float(begin), float(end)


def _with_scatter(row: list[LineReading]) -> list[LineReading]:
    """Return the strokes of a row with the scatter about their neighbours as standard deviation."""
    seen = np.array([k.shift_mm for k in row if k.shift_mm is not None])
    if seen.size < LEAST_STROKES:
        return row
    apart = seen[1:-1] - 0.5 * (seen[:-2] + seen[2:])  # a slant of the whole row is no scatter
    sd = max(LEAST_SD_mm, 1.4826 * float(np.median(np.abs(apart))) / np.sqrt(1.5))
    return [
        k
        if k.shift_mm is None
        else LineReading(
            line=k.line, width_mm=k.width_mm, width_sd_mm=2.0 * sd, shift_mm=k.shift_mm, shift_sd_mm=sd, flags=k.flags
        )
        for k in row
    ]


def _check_strokes(lines: Sequence[LineReading], card: Card) -> None:
    """Raise PhotographRefused where hardly a stroke is to be seen."""
    seen = sum(k.shift_mm is not None for k in lines)
    if 2 * seen < len(card.lines):
        raise PhotographRefused(
            "strokes-not-seen",
            f"Only {seen} of {len(card.lines)} strokes stand out from the bare wood.",
            remedy="Check that this is the motion card of this card.json, burnt at the stand-off its program names; "
            "take the picture closer and sharper.",
        )


def combined_reversal(reads: Sequence[ReversalRead]) -> Reading:
    """Return one reading of several photographs of a motion card: the mean of each stroke over those that show it.

    Source
    ------
    Own choice: the mean; what grain does to an edge is in all photographs alike, so that its scatter is not made smaller.
    """
    first = reads[0]
    lines = []
    for number, stroke in enumerate(first.lines):
        same = [r.lines[number] for r in reads if r.lines[number].shift_mm is not None]
        if not same:
            lines.append(stroke)
            continue
        lines.append(
            LineReading(
                line=stroke.line,
                width_mm=float(np.mean([k.width_mm for k in same])),
                width_sd_mm=float(np.mean([k.width_sd_mm for k in same])),
                shift_mm=float(np.mean([k.shift_mm for k in same if k.shift_mm is not None])),
                shift_sd_mm=float(np.mean([k.shift_sd_mm for k in same if k.shift_sd_mm is not None])),
                flags=tuple(sorted(set.intersection(*(set(k.flags) for k in same)))),
            )
        )
    return Reading(
        card=first.card,
        patches=(),
        lines=tuple(lines),
        bare_wood_L=float(np.mean([r.bare_wood_L for r in reads])),
        bare_wood_L_sd=float(np.mean([r.bare_wood_L_sd for r in reads])),
        paper_L=float(np.mean([r.paper_L for r in reads])),
        print_scale_error=float(np.median([r.found.print_scale_error for r in reads])),
        offset_L_sd=0.0,
        gain_sd=0.0,
        photographs=len(reads),
    )
