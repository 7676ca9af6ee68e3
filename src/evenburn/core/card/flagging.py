"""Doubts about single patches: light or shadow that touches one and not the paper round the window.

A shine adds the lamp's own white: the difference between a patch's red and blue stays, its luminance rises. So glare is
found where a patch has less colour than its tone has elsewhere, or where the colour runs out across it. A shadow takes a
share of everything, and shows beside the patch, on the bare wood. Both cover more than one spot, so beside a patch that is
surely touched less evidence is enough.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.card.lightness import LightScale
from evenburn.core.card.page_view import FloatArray
from evenburn.core.card.patches import BareWood, Measured
from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.nouns.card import BLURRED, FEW, GLARE, SATURATED, SHADOW, UNEVEN, Card, CardPatch
from evenburn.core.tone.colour import LUMINANCE, lightness_L

NB = "\u00a0"
FLAGGED_BLUR_mm = 0.22
FEWEST_px = 150
CLIPPED_SHARE = 0.01
# Evidence is counted so that 1 is enough by itself. The sd are those of the card's own patches, with a floor.
SDS = 4.0
GAP_SD = 0.025  # of the bare wood beside a patch, from that beside the others
MOST_BROUGHT_OVER = 0.5  # half of a patch's light falls on its edge, and no more beside it
FITTED_AGAIN = 8
RUN_SD, RUN_FLOOR = 0.006, 0.0015  # of the white added across a patch: as a share of its reflectance, and at least
BLOCK_SD, BLOCK_FLOOR = 0.02, 0.004  # of the light across a patch
COLOUR_SD = 0.025  # of a patch's colour, as a share of what its tone has elsewhere
PALE_SD = 0.006  # of the white added to bare wood, in reflectance
WOOD_SD = 0.04  # of bare wood a few mm wide from all of it: rings, streaks
NEAR_WOOD_mm, LEAST_WOOD = 4.0, 8  # cells of bare wood are counted so near, and so many at least
FEW_LESS = 4.0 / 3.0  # among so few patches chance goes less far: three sd are as rare as four among sixty
FEW_PATCHES, FEW_TIMES = 12, 1.6  # of so few a touched half would set the spread: it counts as little above its floor
LEAST_FOR_COLOUR, LEAST_COLOUR = 5, 0.12  # patches, and (red − blue) over luminance: slate has none to lose
DARK_SHARE = 0.35  # of the card's tones, from its darkest: there wood may be charred, and char is grey
TONE_SD_L, LIGHTER_SDS = 1.0, 2.0  # of tones about what their doses say; a dark patch that shines lies above that
BELOW_L, SHINING_SDS = 2.0, 5.0  # darker than all others by so much nothing is; lighter by so much only shine is
CHARRED = 0.2  # what grey then still speaks for
NEAR_mm, NEAR_ENOUGH = 13.0, 0.35  # beside a touched patch so much evidence is enough
PLAIN, PLAIN_STEPS = 1.6, 4  # … and so on from patch to patch, where a patch is touched beyond doubt; else one step
BORNE_OUT = (
    0.6  # a patch below that counts only if one beside it has so much: no shine is as small as one patch and faint
)
RUN_SHARE = 0.6  # a range over nine parts has a long tail: by itself it has to be that much clearer
PALE_SHARE = 0.6  # rings of the wood are pale as well: by itself it has to be that much clearer
SPREAD_TIMES, SPREAD_FLOOR_L = 3.0, 3.0
REFUSED_SHARE = 0.30  # more patches under glare or shadow than this, and the picture is refused

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """How much speaks for glare and for shadow on each of N patches; 1 is enough, below 0 it speaks against."""

    glare: FloatArray
    shadow: FloatArray
    uneven: FloatArray


def evidence(
    measured: Measured,
    *,
    reflectances: FloatArray,
    wood_reflectances: FloatArray,
    wood_places_mm: FloatArray,
    paper_reflectance: float,
    patches: Sequence[CardPatch] = (),
) -> Evidence:
    """Return what speaks for glare and shadow on patches.

    Parameters
    ----------
    reflectances : (N, 3) red, green and blue of each.
    wood_reflectances, wood_places_mm : (M, 3) and (M, 2) of cells of bare wood round the patches.
    patches : what they were burnt with; without it charred patches are taken for washed out.

    Source
    ------
    Own choice, docs/how-it-works/card.md: each patch against the others of the card, with robust spreads.
    """
    brighter, darker = _beside(measured)
    washed, usual = _washed_out(reflectances, wood_reflectances)
    if patches:
        washed = np.where(_charred(reflectances, patches, usual=usual), np.minimum(washed, CHARRED), washed)
    run, uneven = _across(measured, paper_reflectance)
    pale = _pale_wood(measured.places_mm, wood_reflectances, wood_places_mm)
    lit, shaded = _near_wood(measured.places_mm, wood_reflectances, wood_places_mm)
    times = FEW_LESS if measured.pixels.size < FEW_PATCHES else 1.0
    return Evidence(
        glare=times * np.maximum.reduce([brighter, washed, run, pale, lit]),
        shadow=times * np.maximum(darker, shaded),
        uneven=uneven,
    )


def patch_flags(
    measured: Measured, scale: LightScale, *, patches: Sequence[CardPatch], wood: BareWood, blur_mm: float
) -> list[tuple[str, ...]]:
    """Return the doubts about each patch.

    Source
    ------
    `evidence`, and limits above.
    """
    seen = evidence(
        measured,
        reflectances=scale.reflectances(measured.shares, places_mm=measured.places_mm),
        wood_reflectances=scale.reflectances(wood.shares, places_mm=wood.places_mm),
        wood_places_mm=wood.places_mm,
        paper_reflectance=scale.paper_reflectance(),
        patches=patches,
    )
    glare, shadow = (grown(e, measured.places_mm) for e in (seen.glare, seen.shadow))
    spread = measured.spread_L
    wide = spread > np.maximum(SPREAD_FLOOR_L, SPREAD_TIMES * float(np.median(spread)))
    told: tuple[tuple[str, Mask], ...] = (
        (SATURATED, measured.clipped > CLIPPED_SHARE),
        (GLARE, glare),
        (SHADOW, shadow),
        (UNEVEN, wide | ((seen.uneven > 1.0) & ~glare & ~shadow)),
        (FEW, measured.pixels < FEWEST_px),
        (BLURRED, np.full(spread.size, blur_mm > FLAGGED_BLUR_mm)),
    )
    return [tuple(sorted(name for name, mask in told if mask[n])) for n in range(spread.size)]


def grown(evidence_of: FloatArray, places_mm: FloatArray) -> Mask:
    """Return (N,) which patches are surely touched, and those beside them that may well be.

    Parameters
    ----------
    evidence_of : (N,) as in `Evidence`.
    places_mm : (N, 2) of the patches.

    Source
    ------
    Own choice: light that spoils a picture covers more than one patch or is plain.
    """
    apart = np.linalg.norm(places_mm[:, None] - places_mm[None], axis=2)
    beside = (apart <= NEAR_mm) & (apart > 0.0)
    borne_out = (beside & (evidence_of >= BORNE_OUT)[None, :]).any(axis=1)
    touched = np.asarray((evidence_of >= PLAIN) | ((evidence_of >= 1.0) & borne_out))
    for _ in range(PLAIN_STEPS if bool((evidence_of >= PLAIN).any()) else 1):
        near = (apart <= NEAR_mm)[:, touched].any(axis=1) if touched.any() else touched
        more = touched | (near & (evidence_of >= NEAR_ENOUGH))
        if bool((more == touched).all()):
            break
        touched = more
    return touched


def _robust_sd(values: FloatArray, *, least: float) -> float:
    most = FEW_TIMES * least if values.size < FEW_PATCHES else np.inf
    return float(np.clip(1.4826 * np.median(np.abs(values - np.median(values))), least, most))


def _beside(measured: Measured) -> tuple[FloatArray, FloatArray]:
    """Return the evidence that the wood beside each patch is brighter, and darker, than beside the others.

    What the beam's skirt and the photograph's blur bring over from the patch itself is taken off first.
    """
    bright = np.full(measured.pixels.size, -1.0)
    dark = bright.copy()
    patches = measured.blocks.mean(axis=1)
    for channel in range(3):
        gap = measured.gap[:, channel]
        seen = np.isfinite(gap) & (gap > 0.0)
        if seen.sum() < 3:
            continue
        gap = gap - _brought_over(gap[seen], patches[seen, channel]) * (
            patches[:, channel] - np.median(patches[seen, channel])
        )
        logs = np.log(np.where(seen, gap, 1.0))
        off = np.where(seen, logs - float(np.median(logs[seen])), 0.0)
        share = off / (SDS * _robust_sd(off[seen], least=GAP_SD))
        bright, dark = np.maximum(bright, share), np.maximum(dark, -share)
    return bright, dark


def _brought_over(gap: FloatArray, patch: FloatArray) -> float:
    """Return the share of a patch's light in what is seen beside it, over all patches, those that stand out counting less."""
    share = 0.0
    weight = np.ones(gap.size)
    for _ in range(FITTED_AGAIN):
        around = patch - float(np.average(patch, weights=weight))
        width = float((weight * around**2).sum())
        if width <= 0.0:
            return 0.0
        share = float(np.clip((weight * around * gap).sum() / width, 0.0, MOST_BROUGHT_OVER))
        off = gap - share * patch
        off = np.abs(off - float(np.median(off)))
        weight = 1.0 / np.maximum(off / max(1.4826 * float(np.median(off)), 1e-6), 1.0)
    return share


def _colour(light: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return luminance, and red minus blue, of linear light (..., 3)."""
    return light @ (LUMINANCE / LUMINANCE.sum()), light[..., 0] - light[..., 2]


def _washed_out(reflectances: FloatArray, wood_reflectances: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the evidence that a patch has less colour than its tone has on the rest of the card, and that colour.

    Of a few patches the bare wood is one more, and a straight line has to do, so that more is left to chance.
    """
    count = reflectances.shape[0]
    few = count < FEW_PATCHES
    if few and wood_reflectances.shape[0]:
        reflectances = np.concatenate([reflectances, np.median(wood_reflectances, axis=0, keepdims=True)])
    bright, difference = _colour(reflectances)
    colour = difference / np.maximum(bright, 1e-4)
    if count < LEAST_FOR_COLOUR or float(np.median(colour)) < LEAST_COLOUR:
        return np.full(count, -1.0), np.ones(count)
    level = lightness_L(np.maximum(bright, 0.0)) / 50.0 - 1.0
    terms = np.vander(level, (3 if count >= 30 else 1) + 1)
    weight = np.ones(bright.size)
    off, sd = np.zeros(bright.size), 1.0
    for _ in range(8):
        root = np.sqrt(weight)[:, None]
        solution, *_ = np.linalg.lstsq(terms * root, colour * root[:, 0], rcond=None)
        off = colour / np.maximum(terms @ solution, 0.05) - 1.0
        sd = _robust_sd(off, least=2.0 * COLOUR_SD if few else COLOUR_SD)
        # what lies below counts less: glare only takes colour away
        weight = np.where(off < 0.0, np.clip(1.0 - np.square(off / (3.0 * sd)), 0.02, 1.0) ** 2, 1.0)
    return np.asarray(-off[:count] / (SDS * sd)), np.maximum(terms @ solution, 0.05)[:count]


def _charred(reflectances: FloatArray, patches: Sequence[CardPatch], *, usual: FloatArray) -> Mask:
    """Return which patches are grey for being charred: dark, and no lighter than their dose says, as shine would make them.

    Past its darkest a wood lightens and is grey. Were that shine, what lies below it would be darker than all the card.
    """
    bright, difference = _colour(reflectances)
    tones = lightness_L(np.maximum(bright, 0.0))
    below = lightness_L(np.maximum(difference / usual, 0.0))
    dark = tones < tones.min() + DARK_SHARE * float(np.ptp(tones))
    dose = np.log10([p.passes * p.power_W / (p.speed_mm_per_s * p.line_spacing_mm) for p in patches])
    if tones.size < FEW_PATCHES:
        before = np.array([float(np.min(tones[dose < d], initial=np.inf)) for d in dose])
        return np.asarray(dark & (tones <= before))
    speed = np.log10([p.speed_mm_per_s for p in patches])
    twice = np.array([float(p.passes > 1) for p in patches])
    terms = np.column_stack([np.vander((dose - dose.mean()) / max(float(dose.std()), 1e-6), 5), speed, twice])
    weight = np.ones(tones.size)
    off = np.zeros(tones.size)
    for _ in range(8):
        root = np.sqrt(weight)[:, None]
        solution, *_ = np.linalg.lstsq(terms * root, tones * root[:, 0], rcond=None)
        off = tones - terms @ solution
        sd = _robust_sd(off, least=TONE_SD_L)
        # what lies above counts less: shine only makes lighter
        weight = np.where(off > 0.0, np.clip(1.0 - np.square(off / (3.0 * sd)), 0.02, 1.0) ** 2, 1.0)
    darker_than_all = below < float(np.sort(tones)[1]) - BELOW_L
    return np.asarray(dark & (off < np.where(darker_than_all, SHINING_SDS, LIGHTER_SDS) * sd))


def _pale_wood(places_mm: FloatArray, wood_reflectances: FloatArray, wood_places_mm: FloatArray) -> FloatArray:
    """Return the evidence that white is added to the bare wood near each patch."""
    none = np.full(places_mm.shape[0], -1.0)
    if wood_places_mm.shape[0] < LEAST_WOOD:
        return none
    bright, difference = _colour(wood_reflectances)
    colour = difference / np.maximum(bright, 1e-4)
    full = float(np.quantile(colour, 0.75))
    if full < LEAST_COLOUR:
        return none
    added = bright - difference / full
    usual = float(np.quantile(added, 0.3))
    sd = max(PALE_SD, 1.4826 * float(np.median(np.abs(added[added <= usual] - usual))))
    apart = np.linalg.norm(places_mm[:, None] - wood_places_mm[None], axis=2)
    near = np.exp(-0.5 * np.square(apart / NEAR_WOOD_mm))
    weight = near.sum(axis=1)
    local = (near @ (added - usual)) / np.maximum(weight, 1e-9)
    return np.where(weight > 0.3, PALE_SHARE * local / (SDS * sd), -1.0)


def _near_wood(
    places_mm: FloatArray, wood_reflectances: FloatArray, wood_places_mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the evidence that the bare wood near each patch is brighter, and darker, than all of the bare wood is."""
    none = np.full(places_mm.shape[0], -1.0)
    if wood_places_mm.shape[0] < LEAST_WOOD:
        return none, none
    bright, _ = _colour(wood_reflectances)
    logs = np.log(np.maximum(bright, 1e-4))
    off = logs - float(np.median(logs))
    sd = float(np.clip(1.4826 * np.median(np.abs(off)), WOOD_SD, 3.0 * WOOD_SD))
    apart = np.linalg.norm(places_mm[:, None] - wood_places_mm[None], axis=2)
    near = np.exp(-0.5 * np.square(apart / NEAR_WOOD_mm))
    weight = near.sum(axis=1)
    share = (near @ off) / np.maximum(weight, 1e-9) / (SDS * sd)
    return np.where(weight > 0.3, share, -1.0), np.where(weight > 0.3, -share, -1.0)


def _across(measured: Measured, paper_reflectance: float) -> tuple[FloatArray, FloatArray]:
    """Return the evidence that white is added unevenly across each patch, and that light runs unevenly over it at all."""
    bright, difference = _colour(measured.blocks * paper_reflectance)
    mean = bright.mean(axis=1)
    reach = bright.max(axis=1) - bright.min(axis=1)
    usual = _usual(reach / mean, least=BLOCK_SD)
    uneven = reach / (SDS * (BLOCK_FLOOR + usual * mean))
    colour = difference.mean(axis=1) / np.maximum(mean, 1e-4)
    if float(np.median(colour)) < LEAST_COLOUR:
        return np.where(uneven > 1.0, uneven, -1.0), uneven
    added = bright - difference / np.maximum(colour, 0.3 * float(np.median(colour)))[:, None]
    run = added.max(axis=1) - added.min(axis=1)
    usual = _usual(run / mean, least=RUN_SD)
    return np.asarray(RUN_SHARE * run / (SDS * (RUN_FLOOR + usual * mean))), uneven


def _usual(values: FloatArray, *, least: float) -> float:
    """Return what the less touched half of the patches shows, within what wood does."""
    return float(np.clip(np.quantile(values, 0.35), least, 4.0 * least))


def check_flags(card: Card, flags: list[tuple[str, ...]]) -> None:
    """Raise PhotographRefused where glare or shadow touches so many patches that the rest tells too little."""
    for name, words, remedy in (
        (GLARE, "Glare lies on", "Tilt the phone or move the lamp until nothing shines on the card."),
        (SATURATED, "Light runs into the end on", "Turn the exposure down, and keep lamps from shining in the card."),
        (SHADOW, "A shadow lies on", "Move so that neither you nor the phone throws a shadow on the card."),
    ):
        touched = [p.id for p, f in zip(card.patches, flags, strict=True) if name in f]
        if len(touched) > max(2, REFUSED_SHARE * len(card.patches)):
            raise PhotographRefused(
                name, f"{words} {len(touched)} of {len(card.patches)}{NB}patches: {in_runs(touched)}.", remedy=remedy
            )


def in_runs(names: Sequence[str]) -> str:
    """Return names of patches with neighbours of a row drawn together, as b7–b9. Definition."""
    runs: list[list[str]] = []
    for name in names:
        if runs and _follows(runs[-1][-1], name):
            runs[-1].append(name)
        else:
            runs.append([name])
    return ", ".join(", ".join(run) if len(run) < 3 else f"{run[0]}–{run[-1]}" for run in runs)


def _follows(one: str, other: str) -> bool:
    numbered = one[1:].isdigit() and other[1:].isdigit()
    return numbered and one[0] == other[0] and int(other[1:]) == int(one[1:]) + 1
