"""What each lens makes of the beam, how exactly a mark's stand-off has to be set, and what another lens would do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.plan import FocusTolerance, LensFacts, LensOffer
from evenburn.core.optics.beam import beam_of_lens, depth_of_focus_mm
from evenburn.core.planning.candidates import OFFSET_RAYLEIGHS, TONE_HOLDS_L, Found
from evenburn.core.planning.follow_checks import WIDTH_HOLDS
from evenburn.core.planning.off_focus import Seen, SetMark, seen_at
from evenburn.core.planning.recipe import search
from evenburn.core.planning.wish import Wish
from evenburn.core.units import duration_text

FloatArray = NDArray[np.float64]

NB = "\u00a0"
GROWTH = 0.05  # the depth of focus ends where the spot has grown by a twentieth; others take 10 % or √2, so it is told
STEP_mm = (
    0.1  # how finely is looked for where something gives, and then ten times as finely: gauge blocks set no better
)
FINER = 10
GIVES = {
    "banding": "lines show",
    "detail": "detail is lost",
    "tone": "the tone changes",
    "width": "the line comes out too wide",
    "cut": "it no longer goes through",
    "nozzle": "the nozzle touches",
}


def lens_facts(machine: Machine, lens: Lens) -> tuple[LensFacts, ...]:
    """Return spot and depth of focus of every lens of the machine, in its order. Sources: the functions of `optics.beam`."""
    facts = []
    for one in machine.lenses:
        beam = beam_of_lens(one)
        facts.append(
            LensFacts(
                name=one.name,
                focus_stand_off_mm=one.focus_stand_off_mm,
                waist_radius_mm=beam.waist_radius_mm,
                spot_diameter_mm=2.0 * beam.waist_radius_mm,
                rayleigh_length_mm=beam.rayleigh_length_mm,
                depth_mm=depth_of_focus_mm(beam, growth=GROWTH),
                growth=GROWTH,
                in_use=one.name == lens.name,
            )
        )
    return tuple(facts)


def focus_tolerance(at: SetMark) -> FocusTolerance:
    """Return how far a mark's stand-off may be off before banding is seen, detail is lost or the tone moves by 2.3 L*.

    It is meant for any place of the surface: what the blank's own unevenness takes of it is gone for the gauge block.
    What does not hold with the stand-off set exactly is left out: its check tells of it. A line may change its width by a
    fifth; a cut has to go through. Nearer ends at the nozzle; further is looked at for four Rayleigh lengths.

    Source
    ------
    Own derivation: `seen_at` step by step away from the planned offset.
    """
    far_mm = OFFSET_RAYLEIGHS * beam_of_lens(at.lens).rayleigh_length_mm
    limits = _limits(at, seen_at(at, offset_mm=at.recipe.focus_offset_mm))
    ways: list[tuple[float, str]] = []
    for sign, most_mm, end in ((-1.0, at.recipe.stand_off_mm, "nozzle"), (1.0, far_mm, "")):
        holds_mm, gives = _holds_mm(at, limits, sign=sign, most_mm=most_mm)
        ways.append((holds_mm, gives or end))
    (towards_mm, towards), (away_mm, away) = ways
    return FocusTolerance(
        towards_mm=towards_mm,
        away_mm=away_mm,
        towards_gives=towards,
        away_gives=away,
        text=_tolerance_text(ways),
    )


def narrowest(tolerances: Sequence[FocusTolerance]) -> FocusTolerance:
    """Return the tolerance that keeps to all of some, at least one. Definition."""
    near = min(tolerances, key=lambda t: t.towards_mm)
    far = min(tolerances, key=lambda t: t.away_mm)
    return FocusTolerance(
        towards_mm=near.towards_mm,
        away_mm=far.away_mm,
        towards_gives=near.towards_gives,
        away_gives=far.away_gives,
        text=_tolerance_text([(near.towards_mm, near.towards_gives), (far.away_mm, far.away_gives)]),
    )


def _limits(at: SetMark, planned: Seen) -> dict[str, float]:
    """Return what has to hold of a mark, as far as it holds with the stand-off set exactly."""
    tone, detail = float(planned.tone_L[0]), float(planned.detail_mm[0])
    limits = {} if at.recipe.way == "cut" else {"tone": tone}
    if at.recipe.way == "line":
        limits["width"] = detail
    elif at.recipe.way == "cut":
        limits |= {"cut": 1.0} if np.isfinite(detail) else {}
    else:
        if planned.ripple_L[0] <= planned.ripple_limit_L[0]:
            limits["banding"] = 0.0
        wished = [mm for mm in sorted({at.finest_mm, at.mark.sharpness_mm}) if detail <= mm]
        if wished:
            limits["detail"] = wished[0]
    return limits


def _holds_mm(at: SetMark, limits: dict[str, float], *, sign: float, most_mm: float) -> tuple[float, str]:
    """Return how far from the planned offset all limits hold, and which gives first; none where they hold throughout."""

    def gives(off_mm: FloatArray) -> tuple[int, str]:
        broken = _broken(seen_at(at, offset_mm=at.recipe.focus_offset_mm + sign * off_mm), limits)
        first = {name: int(bad.argmax()) for name, bad in broken.items() if bad.any()}
        name = min(first, key=lambda one: first[one], default="")
        return first.get(name, off_mm.size), name

    coarse = np.append(np.arange(STEP_mm, most_mm, STEP_mm), most_mm)
    at_coarse, name = gives(coarse)
    if not name:
        return most_mm, ""
    held = float(coarse[at_coarse - 1]) if at_coarse else 0.0
    fine = np.linspace(held, float(coarse[at_coarse]), FINER + 1)
    at_fine, name = gives(fine[1:])
    return float(fine[at_fine]), name


def _broken(seen: Seen, limits: dict[str, float]) -> dict[str, NDArray[np.bool_]]:
    """Return for each limit where it does not hold; of several that give at one place the first is told."""
    broken: dict[str, NDArray[np.bool_]] = {}
    if "banding" in limits:
        broken["banding"] = seen.ripple_L > seen.ripple_limit_L
    if "detail" in limits:
        broken["detail"] = seen.detail_mm > limits["detail"]
    if "width" in limits:
        broken["width"] = np.abs(seen.detail_mm - limits["width"]) > WIDTH_HOLDS * limits["width"]
    if "cut" in limits:
        broken["cut"] = ~np.isfinite(seen.detail_mm)
    if "tone" in limits:
        broken["tone"] = np.abs(seen.tone_L - limits["tone"]) > TONE_HOLDS_L
    return broken


def _tolerance_text(ways: list[tuple[float, str]]) -> str:
    """Return a tolerance in short, rounded down to a tenth of a millimetre."""
    towards, away = (f"{math.floor(10.0 * mm + 1e-6) / 10.0:.1f}" for mm, _ in ways)
    (_, first), (_, second) = ways
    if towards == away and first == second:
        return f"±{towards}{NB}mm, then {GIVES[first]}" if first else f"±{towards}{NB}mm and more"
    parts = [
        f"{mm}{NB}mm {word}" + (f", then {GIVES[gives]}" if gives else " and more")
        for mm, word, gives in ((towards, "nearer", first), (away, "further", second))
    ]
    return "; ".join(parts)


def other_lenses(wish: Wish, found: Found) -> tuple[LensOffer, ...]:
    """Return what each other lens of the machine would do for a scanned mark, by the same search.

    Source
    ------
    `search` with that lens's beam; both times are the search's own, without setting up.
    """
    return tuple(_offer(wish, found, lens) for lens in wish.machine.lenses if lens.name != wish.lens.name)


def _offer(wish: Wish, found: Found, lens: Lens) -> LensOffer:
    other = search(replace(wish, lens=lens, beam=beam_of_lens(lens), common_offset_mm=None))
    saves_s = found.time_s - other.time_s
    lost = [name for name in other.gave_way if name not in found.gave_way]
    kept = [name for name in found.gave_way if name not in other.gave_way]
    detail = f"it keeps {other.detail_mm:.2f}{NB}mm where {found.detail_mm:.2f} is kept now"
    if lost:
        text = f"The {lens.name} lens would not do: {', '.join(_gave_words(name) for name in lost)}; {detail}."
    else:
        gain = f"{', '.join(_held_words(name) for name in kept)}, and " if kept else ""
        same = abs(saves_s) <= 0.02 * found.time_s
        quick = (
            "take as long"
            if same
            else f"save {duration_text(saves_s)}"
            if saves_s > 0.0
            else f"take {duration_text(-saves_s)} more"
        )
        text = f"The {lens.name} lens would {gain}{quick}: {duration_text(other.time_s)}; {detail}."
    return LensOffer(
        lens=lens.name,
        stand_off_mm=lens.focus_stand_off_mm + other.focus_offset_mm,
        focus_offset_mm=other.focus_offset_mm,
        time_s=other.time_s,
        saves_s=saves_s,
        ripple_L=other.ripple_L,
        detail_mm=other.detail_mm,
        text=text,
    )


def _gave_words(name: str) -> str:
    words = {
        "detail": "the artwork’s finest detail is lost",
        "sharpness": "the wished sharpness is missed",
        "banding": "lines show",
        "warp": "the warp shows",
        "known range": "the curve is not known well enough at its speed",
        "photo range": "faint tones do not fire",
        "char": "it chars",
        "tone": "the tone is missed",
        "run-up": "the run-up does not fit",
        "power": "the power is out of range",
    }
    return words[name]


def _held_words(name: str) -> str:
    words = {
        "detail": "keep the artwork’s finest detail",
        "sharpness": "keep the wished sharpness",
        "banding": "hide the lines",
        "warp": "bear the warp",
        "known range": "stay where the curve is known",
        "photo range": "fire the faint tones",
        "char": "stay below the char limit",
        "tone": "meet the tone",
        "run-up": "fit the run-up",
        "power": "keep the power in range",
    }
    return words[name]
