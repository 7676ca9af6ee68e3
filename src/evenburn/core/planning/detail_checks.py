"""What of a drawing will be lost, where on the mark, and what to do about it with its price."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from shapely.geometry import box as rectangle

from evenburn.core.art.detail import narrowest_kept_mm
from evenburn.core.layout.place import inset
from evenburn.core.nouns.check import Check, Fix
from evenburn.core.nouns.machine import Lens
from evenburn.core.nouns.mark import Piece
from evenburn.core.optics.beam import beam_of_lens, beam_radius_mm
from evenburn.core.planning.candidates import Found, offsets_mm
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.recipe import search
from evenburn.core.planning.wish import Wish
from evenburn.core.proof.lost_places import Kind, LostDetail
from evenburn.core.response.curve import exposures_for_tones
from evenburn.core.units import duration_text

NB = "\u00a0"
PLACES_NAMED = 3
WORTH = 0.25  # a remedy that keeps less of what is lost is not worth naming
MUST_HOLD = {"power", "tone", "run-up"}  # what a recipe may not give up for detail
LARGEST_FACTOR = 8.0  # beyond it, drawing the mark larger is no longer the same piece
WORDS: dict[Kind, tuple[str, str, str, str]] = {
    "vanish": ("stroke", "vanishes", "vanish", "thinnest"),
    "fill": ("gap", "fills in", "fill in", "narrowest"),
}


def detail_checks(
    work: MarkWork,
    piece: Piece,
    *,
    lost: LostDetail | None,
    faces: Sequence[tuple[str, float]] = (),
    lenses: Sequence[Lens] = (),
) -> list[Check]:
    """Return the finding on lost strokes and gaps: how many, where, and remedies, best first.

    Parameters
    ----------
    lost : what the predicted burn loses of the drawing; None where it was not predicted, and then the narrowest stroke and
        gap are compared with what the recipe keeps.
    faces : other faces, each with the narrowest stroke or gap that the same words have in it at the same size. [mm]
    lenses : what else the machine has.

    Source
    ------
    `lost_places`, `narrowest_kept_mm` and the recipe search for each remedy's price.
    """
    if lost is None:
        told = _told_by_width(work)
    elif lost.places:
        told = _told_by_burn(work, lost)
    else:
        told = None
    if told is None:
        return []
    text, widths = told
    fixes = tuple(_fixes(work, piece, widths_mm=widths, faces=faces))
    offers = [f"{fix.text} ({fix.price})" for fix in fixes] + list(_lens_offers(work, lenses, widths_mm=widths))
    if not offers:
        offers = [f"thicken it in the drawing to {work.predicted.detail_mm:.2f}{NB}mm"]
    remedy = "; or ".join(offers)
    return [
        Check(
            level="warn",
            code="detail-lost",
            mark_id=work.mark.id,
            text=text,
            remedy=f"{remedy[0].upper()}{remedy[1:]}.",
            fixes=fixes,
        )
    ]


def _told_by_width(work: MarkWork) -> tuple[str, tuple[float, ...]] | None:
    """Return what is said where only the narrowest widths are known, and those that are too narrow."""
    kept_mm, widths = work.predicted.detail_mm, work.wish.widths
    named = [
        (width, kind) for kind, width in (("stroke", widths.stroke_mm), ("gap", widths.gap_mm)) if width is not None
    ]
    if not named or min(named)[0] >= kept_mm:
        return None
    width, kind = min(named)
    return (
        f"The narrowest {kind}, {width:.2f}{NB}mm, is finer than the {kept_mm:.2f}{NB}mm that this recipe keeps: it will "
        f"come out {'faint' if kind == 'stroke' else 'filled'}."
    ), tuple(width for width, _ in named if width < kept_mm)


def _told_by_burn(work: MarkWork, lost: LostDetail) -> tuple[str, tuple[float, ...]]:
    """Return what is said of strokes that vanish and gaps that fill, and all their widths."""
    sentences = []
    kinds: tuple[Kind, ...] = ("vanish", "fill")
    for kind in kinds:
        places = [place for place in lost.places if place.kind == kind]
        if not places:
            continue
        count = sum(place.count for place in places)
        noun, one, many, least = WORDS[kind]
        width = min(place.narrowest_mm for place in places)
        what = (
            f"{count} {noun}s {many}, the {least} {width:.2f}{NB}mm"
            if count > 1
            else f"1 {noun} {one}, {width:.2f}{NB}mm"
        )
        spots = [f"{p.on_mark_mm[0]:.1f}, {p.on_mark_mm[1]:.1f}{NB}mm" for p in places[:PLACES_NAMED]]
        more = " and elsewhere" if len(places) > PLACES_NAMED else ""
        sentences.append(f"{what} wide, at {'; '.join(spots)}{more}")
    text = ". ".join(sentences)
    return (
        f"{text}. Places count from the mark's lower left corner; this recipe keeps {work.predicted.detail_mm:.2f}{NB}mm."
    ), (*lost.lost.vanished_widths_mm, *lost.lost.filled_widths_mm)


def _fixes(
    work: MarkWork, piece: Piece, *, widths_mm: tuple[float, ...], faces: Sequence[tuple[str, float]]
) -> Iterator[Fix]:
    mark, kept_mm = work.mark, work.predicted.detail_mm
    for fix in (_focus_fix(work, widths_mm=widths_mm), _sharper_fix(work, widths_mm=widths_mm)):
        if fix is not None:
            yield fix
    for face, width in sorted(faces, key=lambda item: -item[1]):
        if width >= kept_mm:
            yield Fix(text=f"set it in {face}", price="same size", target=mark.id, change=(("face", face),))
            break
    factor = math.ceil(10.0 * kept_mm / min(widths_mm)) / 10.0
    while factor > 1.05 and not (factor <= LARGEST_FACTOR and _fits(piece, work, factor=factor)):
        factor = round(factor - 0.1, 1)
    saved = sum(width * factor >= kept_mm for width in widths_mm)
    if factor > 1.05 and saved >= WORTH * len(widths_mm):
        size = (round(mark.size_mm[0] * factor, 2), round(mark.size_mm[1] * factor, 2))
        price = _price(work.predicted.time_s * (factor * factor - 1.0), about=True)
        yield Fix(
            text=f"draw it {factor:.1f} times as large, {size[0]:g} × {size[1]:g}{NB}mm",
            price=price + _share(saved, of=len(widths_mm)),
            target=mark.id,
            change=(("size_mm", size),),
        )


def _share(saved: int, *, of: int) -> str:
    """Return how many of the lost are kept, where it is not all."""
    return "" if saved >= of else f", keeps {saved} of {of}"


def _fits(piece: Piece, work: MarkWork, *, factor: float) -> bool:
    """Return whether the mark's box, grown from its lower left corner, still lies inside the blank's margin."""
    x, y = work.mark.place_mm
    width, height = (factor * side for side in work.mark.size_mm)
    inner = inset(piece.blank.outline, margin_mm=piece.blank.margin_mm)
    return bool(inner.covers(rectangle(x, y, x + width, y + height)))


def _focus_fix(work: MarkWork, *, widths_mm: tuple[float, ...]) -> Fix | None:
    """Return the least change of focus offset towards the waist that keeps most of what is lost."""
    wish, now = work.wish, work.recipe.focus_offset_mm
    best: tuple[int, float, Found] | None = None
    for offset in offsets_mm(wish.beam):
        if offset >= abs(now) - 1e-9:
            break
        found = search(replace(wish, hold=replace(wish.hold, focus_offset_mm=float(offset)), common_offset_mm=None))
        saved = sum(width >= found.detail_mm for width in widths_mm)
        if not MUST_HOLD & set(found.gave_way) and (best is None or saved >= best[0]):
            best = saved, float(offset), found
    if best is None or best[0] < WORTH * len(widths_mm):
        return None
    saved, nearest, found = best
    price = _price(found.time_s - work.found.time_s)
    if found.ripple_L > work.predicted.ripple_limit_L:
        price += f", lines show by {found.ripple_L:.1f}{NB}L*"
    return Fix(
        text=f"lower the focus offset from {now:+.1f} to {nearest:+.1f}{NB}mm",
        price=price + _share(saved, of=len(widths_mm)),
        target=work.mark.id,
        change=(("hold.focus_offset_mm", nearest),),
    )


def _sharper_fix(work: MarkWork, *, widths_mm: tuple[float, ...]) -> Fix | None:
    """Return a finer sharpness to ask for, where the recipe search can give it and it keeps something."""
    wish = work.wish
    finer = math.floor(100.0 * min(widths_mm)) / 100.0
    if not 0.0 < finer < wish.sharpness_mm:
        return None
    found = search(replace(wish, sharpness_mm=finer))
    saved = sum(width >= found.detail_mm for width in widths_mm)
    if saved < WORTH * len(widths_mm) or MUST_HOLD & set(found.gave_way):
        return None
    return Fix(
        text=f"ask for a sharpness of {finer:.2f}{NB}mm",
        price=_price(found.time_s - work.found.time_s) + _share(saved, of=len(widths_mm)),
        target=work.mark.id,
        change=(("sharpness_mm", finer),),
    )


def _kept_mm(work: MarkWork, wish: Wish, *, offset_mm: float) -> float:
    """Return what this recipe would keep at another offset, or with another beam. [mm]"""
    recipe, curve = work.recipe, wish.curve
    full, half = exposures_for_tones(curve, [work.predicted.tone_L, 0.5 * (curve.bare_L + work.predicted.tone_L)])
    return float(
        narrowest_kept_mm(
            beam_radius_mm=beam_radius_mm(wish.beam, offset_mm=offset_mm + wish.unevenness_mm),
            smear_mm=recipe.speed_mm_per_s * wish.machine.rise_time_s,
            line_spacing_mm=recipe.line_spacing_mm,
            half_tone_dose_fraction=float(10.0 ** min(half - full, -1e-3)),
        )
    )


def _lens_offers(work: MarkWork, lenses: Sequence[Lens], *, widths_mm: tuple[float, ...]) -> Iterator[str]:
    """Yield the one of the shorter lenses that keeps most of what is lost, in focus."""
    wish = work.wish
    kept = [
        (_kept_mm(work, replace(wish, lens=lens, beam=beam_of_lens(lens)), offset_mm=0.0), lens.name)
        for lens in lenses
        if lens.focal_length_mm < wish.lens.focal_length_mm
    ]
    if not kept:
        return
    finest, name = min(kept)
    saved = sum(width >= finest for width in widths_mm)
    if saved >= WORTH * len(widths_mm):
        share = _share(saved, of=len(widths_mm))
        yield f"take the lens {name}, which keeps {finest:.2f}{NB}mm in focus (plan anew{share})"


def _price(seconds: float, *, about: bool = False) -> str:
    if abs(seconds) < 0.5:
        return "same time"
    return f"{'about ' if about else ''}{'+' if seconds > 0 else '−'}{NB}{duration_text(abs(seconds))}"
