"""A focus ladder in photographs: the card found, profiles across its lines, and what they came to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenburn.core.card import camera_curve, printed
from evenburn.core.card.finding import FoundCard, find_card, find_page, flat_frame
from evenburn.core.card.lightness import LightScale, light_scale
from evenburn.core.card.line_model import Camera, run_together
from evenburn.core.card.line_profiles import Profiles, profiles_of
from evenburn.core.card.line_widths import Explained, explained_lines
from evenburn.core.card.page_view import FloatArray, PageView, Picture, flattened
from evenburn.core.card.patches import bare_wood
from evenburn.core.card.quality import check_even, check_exposed, check_greys, check_sharp
from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.card.sampling import sampled
from evenburn.core.card.sharpness import blur_mm
from evenburn.core.nouns.card import Card, LineReading, Reading

NB = "\u00a0"
FINE_px_per_mm = 20  # the lines are looked at in pixels so fine, about the photograph's own
MOST_BLUR_mm = 0.16  # the finest lines are 0.1 mm wide: blurred more, their widths are guesses
ORDER_LEAST = 0.5  # rank correlation of energy and darkening: on the card they go together
LEAST_SEEN_SHARE = 0.15  # of the lines
MERGED_SHARE = 0.1  # more lines that run into one another than this, and the wood is none for a ladder
LOPSIDED_SHARE = 0.35  # more lines with a light on one side than this, and the picture is refused
APART_SDS = 4.0  # one photograph against another


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LadderRead:
    """One photograph of a focus ladder as read, with where everything was found."""

    card: Card
    explained: Explained
    profiles: Profiles
    bare_wood_L: float
    bare_wood_L_sd: float
    paper_L: float
    blur_mm: float
    view: PageView
    found: FoundCard

    def places_px(self, places_mm: FloatArray) -> FloatArray:
        """Return where (N, 2) places of the card are in the picture. [px] Source: `FoundCard`, `PageView`."""
        return self.view.places_px(self.found.page_mm(places_mm))


def read_ladder(picture: Picture, card: Card) -> LadderRead:
    """Return how wide the lines of a focus ladder are in a photograph.

    Parameters
    ----------
    picture : (rows, columns, 3) RGB, 8 bits, as the camera encoded it, upright or not.

    Raises
    ------
    PhotographRefused
        If a number read from it could not be trusted.

    Source
    ------
    `explained_lines`; docs/how-it-works/ladder.md.
    """
    mat = card.mat
    view = find_page(picture, mat)
    flat = flat_frame(picture, view, mat=mat)
    blur = blur_mm(flat, mat)
    check_sharp(blur)
    if blur > MOST_BLUR_mm:
        raise PhotographRefused(
            "blurred",
            f"Edges are blurred by {blur:.2f}{NB}mm; for a focus ladder {MOST_BLUR_mm:g}{NB}mm is allowed.",
            remedy="Tap on the card to focus, hold the phone still or lean it on something, go closer, and use more light.",
        )
    samples = sampled(flat, mat)
    check_exposed(samples, mat)
    found = find_card(flat, card)
    scale = light_scale(samples)
    check_even(samples, scale.field, white_off=scale.white_off, mat=mat)
    check_greys(scale)
    wide, high = card.size_mm
    around = 0.5 * (mat.window_mm[2] - mat.window_mm[0] - wide)
    box = (-around, -around, wide + around, high + around)
    laid = flattened(picture, view, box_mm=box, px_per_mm=FINE_px_per_mm, to_page=found.to_page)
    profiles = profiles_of(laid, card.lines, decoded=scale.curve().decoded())
    _check_order(card, profiles)
    explained = explained_lines(card, profiles, blur_mm=blur, camera=_camera(scale))
    _check_seen(explained.lines)
    wood = bare_wood(laid, card, to_page=found.to_page)
    tones = scale.tones_L(wood.shares, places_mm=wood.places_mm)
    return LadderRead(
        card=card,
        explained=explained,
        profiles=profiles,
        bare_wood_L=float(np.median(tones)) if tones.size else 50.0,
        bare_wood_L_sd=float(np.hypot(1.0, tones.std())) if tones.size else 20.0,
        paper_L=scale.paper_L,
        blur_mm=blur,
        view=view,
        found=found,
    )


def _camera(scale: LightScale) -> Camera:
    """Return what the mat tells of the phone's tone curve: its numbers stand behind the printer's."""
    mine = slice(len(printed.NAMES), len(printed.NAMES) + len(camera_curve.NAMES))
    return Camera(vector=scale.vector[mine], covariance=scale.covariance[mine, mine])


def _check_order(card: Card, profiles: Profiles) -> None:
    """Raise where lines given more energy are not darker, or where there are no single lines: nothing, or another card, was burnt."""
    from scipy.stats import spearmanr

    energy = np.array([k.power_W / k.speed_mm_per_s for k in card.lines])
    total = np.abs(profiles.darkening).sum(axis=1)
    deepest = float(np.quantile(np.abs(profiles.darkening[:, 0]), 0.95))
    if deepest < 4.0 * float(np.median(profiles.noise)) or deepest < 0.05:
        raise PhotographRefused(
            "no-lines",
            f"No line of the ladder is to be seen: the darkest takes {100.0 * deepest:.0f}{NB}% of the wood's light away.",
            remedy="Burn the ladder on a wood that darkens sooner, or raise power_cap_fraction and make it anew.",
        )
    merged = float(run_together(card.lines, profiles).mean())
    if merged > MERGED_SHARE:
        raise PhotographRefused(
            "lines-run-together",
            f"{100.0 * merged:.0f}{NB}% of the lines have no bare wood between them: this material takes far less energy than "
            f"the card was made for, or the photograph is uneven.",
            remedy="Burn the ladder on birch plywood, maple or beech: the beam is the same on all of them.",
        )
    together = float(spearmanr(energy, total).statistic) if np.ptp(energy) > 0.0 else 1.0
    if together < ORDER_LEAST:
        raise PhotographRefused(
            "wrong-card",
            f"Lines given more energy are not the darker ones: their order agrees by {together:+.2f}, of −1 to +1.",
            remedy="Take the card.json that was written for this card.",
        )


def _check_seen(lines: Sequence[LineReading]) -> None:
    seen = sum(k.width_mm > 0.0 for k in lines)
    if seen < LEAST_SEEN_SHARE * len(lines):
        raise PhotographRefused(
            "too-few-lines",
            f"Only {seen} of {len(lines)} lines can be measured.",
            remedy="Burn the ladder on a wood that darkens sooner, or raise power_cap_fraction and make it anew.",
        )
    lopsided = sum("lopsided" in k.flags for k in lines)
    if lopsided > LOPSIDED_SHARE * seen:
        raise PhotographRefused(
            "lopsided",
            f"{lopsided} of {seen} lines have an edge unlike the other: light, shadow or a smear runs over the card.",
            remedy="Brush the soot off, use even light without shadows, hold the phone still, and take the picture again.",
        )


def combined_ladder(reads: Sequence[LadderRead]) -> Reading:
    """Return one reading of several photographs of a ladder.

    Source
    ------
    Own choice: weighted mean of each width; what the wood did to a line is in all photographs alike, so that its doubt shrinks to no
    less than √½ of one photograph's, and grows where they disagree.
    """
    first = reads[0]
    lines = []
    for number, line in enumerate(first.card.lines):
        same = [r.explained.lines[number] for r in reads if r.explained.lines[number].width_mm > 0.0]
        if 2 * len(same) <= len(reads):
            lines.append(next(r.explained.lines[number] for r in reads if r.explained.lines[number].width_mm == 0.0))
            continue
        widths, sds = np.array([k.width_mm for k in same]), np.array([k.width_sd_mm for k in same])
        weight = 1.0 / np.square(sds)
        mean = float((weight * widths).sum() / weight.sum())
        sd = float(np.sqrt(0.5 * (1.0 + 1.0 / len(same)) / weight.mean()))
        apart = float(np.abs(widths - mean).max())
        flags = set.intersection(*(set(k.flags) for k in same))
        if apart > APART_SDS * sd:
            flags.add("photographs-disagree")
            sd = max(sd, apart)
        lines.append(LineReading(line=line, width_mm=mean, width_sd_mm=sd, flags=tuple(sorted(flags))))
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
