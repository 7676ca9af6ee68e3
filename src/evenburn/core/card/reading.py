"""Reading a card: a photograph to tones with their doubts, and several photographs to one reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenburn.core.card.finding import FoundCard, find_card, find_page, flat_frame
from evenburn.core.card.flagging import check_flags, patch_flags
from evenburn.core.card.lightness import LightScale, light_scale
from evenburn.core.card.page_view import Flat, FloatArray, PageView, Picture, flattened
from evenburn.core.card.patches import bare_wood, inner_box_mm, measured
from evenburn.core.card.quality import check_even, check_exposed, check_greys, check_sharp
from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.card.sampling import sampled
from evenburn.core.card.sharpness import blur_mm
from evenburn.core.nouns.card import SET_ASIDE, Box, Card, CardPatch, PatchReading, Reading

NB = "\u00a0"
FIELD_SD = 0.004  # of the light at a patch, from the polynomial: a third of a percent was seen on made-up pictures
SAMPLING_SHARE = 0.12  # of a patch's spread: its read part against the whole of it
STRAY_SDS = 4.0  # a photograph further from the others tells another tone
STRAY_LEAST_L = 1.5
ORDER_PATCHES, ORDER_TONES_L, ORDER_LEAST = 8, 12.0, 0.45  # dose and tone go together, on the card it is
MANY_PATCHES, MANY_LEAST = 20, 0.6  # 60 doses mixed up at random stayed below 0.48 three hundred times


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PhotographRead:
    """One photograph as read, with where everything was found, for a drawing of it.

    Attributes
    ----------
    offset_L_sd, gain_sd, pivot_L : what all tones have in common, as in `Reading`.
    """

    card: Card
    patches: tuple[PatchReading, ...]
    bare_wood_L: float
    bare_wood_L_sd: float
    paper_L: float
    toner_L: float
    offset_L_sd: float
    gain_sd: float
    pivot_L: float
    blur_mm: float
    view: PageView
    found: FoundCard

    def read_boxes_mm(self) -> tuple[Box, ...]:
        """Return the part of each patch that was read, on the card. [mm] Definition."""
        return tuple(inner_box_mm(p.box_mm, blur_mm=self.blur_mm) for p in self.card.patches)

    def places_px(self, places_mm: FloatArray) -> FloatArray:
        """Return where (N, 2) places of the card are in the picture. [px] Source: `FoundCard`, `PageView`."""
        return self.view.places_px(self.found.page_mm(places_mm))


def read_photograph(
    picture: Picture, card: Card, *, paper_L: float | None = None, toner_L: float | None = None
) -> PhotographRead:
    """Return what a photograph tells of a card.

    Parameters
    ----------
    picture : (rows, columns, 3) RGB, 8 bits, as the camera encoded it, upright or not.
    paper_L, toner_L : measured lightness of the mat's paper and black, where known. [L*]

    Raises
    ------
    PhotographRefused
        If a number read from it could not be trusted.

    Source
    ------
    Own derivation, docs/how-it-works/card.md.
    """
    mat = card.mat
    view = find_page(picture, mat)
    flat = flat_frame(picture, view, mat=mat)
    blur = blur_mm(flat, mat)
    check_sharp(blur)
    samples = sampled(flat, mat)
    check_exposed(samples, mat)
    found = find_card(flat, card)
    scale = light_scale(samples, paper_L=paper_L, toner_L=toner_L)
    check_even(samples, scale.field, white_off=scale.white_off, mat=mat)
    check_greys(scale)
    laid = _laid_flat(picture, view, found, card, px_per_mm=flat.px_per_mm)
    seen = measured(laid, card, scale=scale, to_page=found.to_page, blur_mm=blur, burns_light=found.burns_light)
    wood = bare_wood(laid, card, to_page=found.to_page)
    flags = patch_flags(seen, scale, patches=card.patches, wood=wood, blur_mm=blur)
    check_flags(card, flags)
    tones = scale.tones_L(seen.shares, places_mm=seen.places_mm)
    check_order(card.patches, tones, flags=flags)
    wood_tones = scale.tones_L(wood.shares, places_mm=wood.places_mm)
    bare = float(np.median(wood_tones))
    slopes = scale.tone_slopes_L(
        np.concatenate([seen.shares, wood.shares.mean(axis=0, keepdims=True)]),
        places_mm=np.concatenate([seen.places_mm, wood.places_mm.mean(axis=0, keepdims=True)]),
    )
    shared = _shared(np.append(tones, bare), slopes, scale)
    own = np.sqrt(
        np.square((tones + 16.0) / 3.0 * FIELD_SD)
        + np.square(SAMPLING_SHARE * seen.spread_L)
        + np.square(shared.rest_L[:-1])
    )
    total = np.hypot(own, shared.common_L(tones))
    bare_own = np.hypot(float(wood_tones.std()) / np.sqrt(max(1, wood_tones.size)), shared.rest_L[-1])
    return PhotographRead(
        card=card,
        patches=tuple(
            PatchReading(
                patch=p,
                tone_L=float(tones[n]),
                tone_L_sd=float(total[n]),
                spread_L=float(seen.spread_L[n]),
                pixels=int(seen.pixels[n]),
                flags=flags[n],
                own_L_sd=float(own[n]),
            )
            for n, p in enumerate(card.patches)
        ),
        bare_wood_L=bare,
        bare_wood_L_sd=float(np.hypot(bare_own, shared.common_L(np.array([bare]))[0])),
        paper_L=scale.paper_L,
        toner_L=scale.toner_L,
        offset_L_sd=shared.offset_L_sd,
        gain_sd=shared.gain_sd,
        pivot_L=shared.pivot_L,
        blur_mm=blur,
        view=view,
        found=found,
    )


def _laid_flat(picture: Picture, view: PageView, found: FoundCard, card: Card, *, px_per_mm: int) -> Flat:
    """Return the card and the wood round it rectified, in the card's own mm."""
    wide, high = card.size_mm
    around = 0.5 * (card.mat.window_mm[2] - card.mat.window_mm[0] - wide)
    box = (-around, -around, wide + around, high + around)
    return flattened(picture, view, box_mm=box, px_per_mm=px_per_mm, to_page=found.to_page)


# ---- what all tones have in common -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Shared:
    offset_L_sd: float
    gain_sd: float
    pivot_L: float
    rest_L: FloatArray

    def common_L(self, tones: FloatArray) -> FloatArray:
        return np.hypot(self.offset_L_sd, self.gain_sd * (tones - self.pivot_L))


def _shared(tones: FloatArray, slopes: FloatArray, scale: LightScale) -> _Shared:
    """Return the doubt of the scale as an offset and a gain that do not depend on one another, and what they leave."""
    base = np.column_stack([np.ones_like(tones), tones - 50.0])
    into, *_ = np.linalg.lstsq(base, slopes, rcond=None)
    both = into @ scale.covariance @ into.T
    gain = max(float(both[1, 1]), 1e-12)
    pivot = 50.0 - float(both[0, 1]) / gain
    pivot = float(np.clip(pivot, 0.0, 100.0))
    offset = float(both[0, 0] + 2.0 * both[0, 1] * (pivot - 50.0) + gain * (pivot - 50.0) ** 2)
    left = slopes - base @ into
    rest = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", left, scale.covariance, left), 0.0))
    return _Shared(
        offset_L_sd=float(np.sqrt(max(offset, 0.0))), gain_sd=float(np.sqrt(gain)), pivot_L=pivot, rest_L=rest
    )


# ---- is it this card ---------------------------------------------------------------------------------------------


def check_order(patches: Sequence[CardPatch], tones_L: FloatArray, *, flags: Sequence[tuple[str, ...]]) -> None:
    """Raise PhotographRefused where tones do not follow the doses that the card file tells.

    Source
    ------
    Own choice: Spearman's rank correlation of dose and tone, either sign, for slate turns lighter. Where there are many patches, multiple
    correlation of the tones' ranks with a cubic of the doses', which a tone that turns round, past char, leaves high.
    """
    from scipy.stats import spearmanr

    used = [n for n, f in enumerate(flags) if not SET_ASIDE & set(f)]
    if len(used) < ORDER_PATCHES:
        return
    tones = tones_L[used]
    doses = np.array(
        [p.passes * p.power_W / (p.speed_mm_per_s * p.line_spacing_mm) for p in (patches[n] for n in used)]
    )
    if float(np.ptp(tones)) < ORDER_TONES_L or np.unique(doses).size < ORDER_PATCHES // 2:
        return
    together = float(spearmanr(doses, tones).statistic)
    least = ORDER_LEAST
    if len(used) >= MANY_PATCHES:
        together, least = _along_cubic(doses, tones), MANY_LEAST
    if abs(together) < least:
        raise PhotographRefused(
            "wrong-card",
            f"The tones do not follow the doses in the card file: their order agrees by {together:+.2f}, of −1 to +1.",
            remedy="Take the card.json that was written for this card.",
        )


def _along_cubic(doses: FloatArray, tones_L: FloatArray) -> float:
    from scipy.stats import rankdata

    rank = np.asarray(rankdata(doses), np.float64) / doses.size - 0.5
    wanted = np.asarray(rankdata(tones_L), np.float64)
    terms = np.vander(rank, 4)
    solution, *_ = np.linalg.lstsq(terms, wanted, rcond=None)
    left = float(np.var(wanted - terms @ solution) / np.var(wanted))
    return float(np.sqrt(max(0.0, 1.0 - left)))


# ---- several photographs -----------------------------------------------------------------------------------------


def combined(reads: Sequence[PhotographRead]) -> Reading:
    """Return one reading of several photographs of a card.

    Tones are weighted by their own variance; what a photograph tells of a patch under glare or shadow counts only where no
    other tells more. Where one is far off the others, it is left out if there are three, and said in any case.

    Source
    ------
    Definition of the weighted mean; what all tones share is not made smaller by more photographs of the same print.
    """
    first = reads[0]
    patches = tuple(_one_patch([r.patches[n] for r in reads], reads) for n in range(len(first.patches)))
    bare = float(np.mean([r.bare_wood_L for r in reads]))
    return Reading(
        card=first.card,
        patches=patches,
        bare_wood_L=bare,
        bare_wood_L_sd=float(np.mean([r.bare_wood_L_sd for r in reads])),
        paper_L=float(np.mean([r.paper_L for r in reads])),
        print_scale_error=float(np.median([r.found.print_scale_error for r in reads])),
        offset_L_sd=float(np.mean([r.offset_L_sd for r in reads])),
        gain_sd=float(np.mean([r.gain_sd for r in reads])),
        photographs=len(reads),
        pivot_L=float(np.mean([r.pivot_L for r in reads])),
    )


def _one_patch(same: Sequence[PatchReading], reads: Sequence[PhotographRead]) -> PatchReading:
    clean = [p for p in same if not SET_ASIDE & set(p.flags)]
    told = clean or list(same)
    flags = set(told[0].flags if len(told) == 1 else set.intersection(*(set(p.flags) for p in told)))
    tones = np.array([p.tone_L for p in told])
    own = np.array([p.own_L_sd for p in told])
    if len(told) > 1:
        middle = float(np.median(tones))
        stray = np.abs(tones - middle) > np.maximum(STRAY_LEAST_L, STRAY_SDS * own)
        if stray.any():
            if len(told) >= 3 and 2 * int(stray.sum()) < len(told):
                told = [p for p, s in zip(told, stray, strict=True) if not s]
                tones, own = tones[~stray], own[~stray]
            else:
                flags.add("photographs-disagree")
    weight = 1.0 / np.square(np.maximum(own, 0.05))
    tone = float((weight * tones).sum() / weight.sum())
    apart = float(np.sqrt((weight * np.square(tones - tone)).sum() / weight.sum()))
    mine = float(max(1.0 / np.sqrt(weight.sum()), apart / np.sqrt(len(told)))) if len(told) > 1 else float(own[0])
    offset, gain, pivot = (
        float(np.mean([getattr(r, k) for r in reads])) for k in ("offset_L_sd", "gain_sd", "pivot_L")
    )
    return PatchReading(
        patch=told[0].patch,
        tone_L=tone,
        tone_L_sd=float(np.sqrt(mine**2 + offset**2 + (gain * (tone - pivot)) ** 2)),
        spread_L=float(np.median([p.spread_L for p in told])),
        pixels=sum(p.pixels for p in told),
        flags=tuple(sorted(flags)),
        own_L_sd=mine,
    )
