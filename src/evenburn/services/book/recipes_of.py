"""The recipes of a planned piece as its sheet shows them: amounts, what holds them and the ways out, and what else there is to take."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from evenburn.core.units import duration_text, psi

HELD = ("speed_mm_per_s", "line_spacing_mm", "focus_offset_mm", "passes", "scan_axis", "direction")
LEVELS = {"stop": 0, "warn": 1, "note": 2}
# words of the plan's own sentence on banding: a recipe that says neither is as the planned one
_SHOWS, _UNSEEN = "which shows", ", unseen"
_MOVE = re.compile(r"([0-9.]+)\s*mm (to the right|to the left|away from you|towards you) would")
_LOOSER = re.compile(r"([0-9.]+)\s*mm would")
_FLATTER = re.compile(r"pinned flat to ±([0-9.]+)\s*mm")
_FAINTER = re.compile(r"([0-9.]+)\s*L\* (lighter|darker) would")
_WAYS = {"to the right": (1, 0), "to the left": (-1, 0), "away from you": (0, 1), "towards you": (0, -1)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A concession or remedy that one press makes: what it says, its price, and the keys it changes."""

    text: str
    price: str
    changes: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """A sentence on what binds, and the ways to loosen it; `gave_way` where a wish could not be met."""

    text: str
    ways: tuple[Way, ...] = ()
    gave_way: bool = False
    see: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """A recipe to choose from.

    `dots` place time, banding and smallest stroke between the least and greatest of all. [%] `shows` is whether its banding
    is seen.
    """

    name: str
    chosen: bool
    recipe: Mapping[str, Any]
    time_s: float
    ripple_L: float
    detail_mm: float
    text: str
    dots: tuple[float, float, float]
    changes: Mapping[str, Any]
    shows: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkRecipe:
    """The recipe that some marks of a piece share.

    Attributes
    ----------
    letters, mark_ids : of the marks, as a, b, c.
    followed : whether outlines are followed rather than scanned.
    kinds : amount → kind of its provenance, and in words where from.
    power_percent, power_low_percent : on the machine's own scale, as its program and its run sheet have it; the lower is that of
        a photograph's faintest tone, None for even tone. [%]
    air_psi : None where the air is as low as it goes.
    held : what the person holds, as keys of `hold`.
    release : changes that hold nothing any more; empty where nothing is held.
    burnt : whether there is a program.
    """

    letters: str
    mark_ids: tuple[str, ...]
    treatment: str
    followed: bool
    recipe: Mapping[str, Any]
    predicted: Mapping[str, Any]
    reproduction: str | None
    reproduction_why: str
    kinds: Mapping[str, tuple[str, str]]
    power_percent: float
    power_low_percent: float | None
    power_max_W: float
    air_psi: float | None
    held: tuple[str, ...]
    release: Mapping[str, Any]
    binds: tuple[Said, ...]
    alternatives: tuple[Alternative, ...]
    lenses: tuple[str, ...]
    burnt: bool


def letter(number: int) -> str:
    """Return the letter a mark goes by, from 0: a, b, …, z, then its number from 27."""
    return chr(ord("a") + number) if number < 26 else str(number + 1)


def recipes_of(plan: Mapping[str, Any], piece_document: Mapping[str, Any]) -> tuple[MarkRecipe, ...]:
    """Return the recipes of a plan, one for all marks that share it, from plan.json and the piece as it stands."""
    groups: list[list[int]] = []
    marks: Sequence[Mapping[str, Any]] = plan["pieces"][0]["marks"]
    for number, mark in enumerate(marks):
        own = next((g for g in groups if _same(marks[g[0]], mark)), None)
        if own is None:
            groups.append([number])
        else:
            own.append(number)
    ids = [mark["id"] for mark in piece_document["mark"]]
    return tuple(_recipe(plan, piece_document, group, ids=ids) for group in groups)


def _same(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    told = ("treatment", "recipe", "wished_tone_L", "reproduction")
    burnt = [mark["files"]["program"] is not None for mark in (one, other)]
    return burnt[0] == burnt[1] and all(one[key] == other[key] for key in told)


def _recipe(
    plan: Mapping[str, Any], document: Mapping[str, Any], group: Sequence[int], *, ids: Sequence[str]
) -> MarkRecipe:
    marks = plan["pieces"][0]["marks"]
    first = marks[group[0]]
    recipe = first["recipe"]
    places = [ids.index(marks[n]["id"]) + 1 for n in group if marks[n]["id"] in ids]
    own = document["mark"][places[0] - 1] if places else {}
    hold = own.get("hold") or {}
    release = {f"mark[{place}].hold": None for place in places if (document["mark"][place - 1].get("hold"))}
    return MarkRecipe(
        letters=", ".join(letter(n) for n in group),
        mark_ids=tuple(marks[n]["id"] for n in group),
        treatment=first["treatment"],
        followed=first["treatment"] in ("line", "cut"),
        recipe=recipe,
        predicted=first["predicted"],
        reproduction=first["reproduction"],
        reproduction_why=first["reproduction_why"],
        kinds=_kinds(plan, first, hold=hold, own=own),
        power_percent=100.0 * recipe["power_fraction"],
        power_low_percent=None if (low := recipe.get("power_low_fraction")) is None else 100.0 * low,
        power_max_W=plan["machine"]["power_max_W"],
        air_psi=None if recipe["air_kPa"] is None else psi(recipe["air_kPa"]),
        held=tuple(hold),
        release=release,
        binds=_binds(first, document, places=places),
        alternatives=_alternatives(first, places=places),
        lenses=tuple(offer["text"] for offer in first["other_lenses"]),
        burnt=first["files"]["program"] is not None,
    )


def _kinds(
    plan: Mapping[str, Any], mark: Mapping[str, Any], *, hold: Mapping[str, Any], own: Mapping[str, Any]
) -> dict[str, tuple[str, str]]:
    told = mark["recipe"]["provenance"]
    computed = (told["kind"], told["detail"])
    bench = (plan["machine"]["provenance"]["kind"], plan["machine"]["provenance"]["detail"])
    found = {
        "power": computed,
        "speed": computed,
        "spacing": computed,
        "offset": computed,
        "passes": computed,
        "run_up": bench,
        "air": ("user", "you asked for it") if "air_kPa" in own else ("common practice", "no source; try it"),
    }
    held = {"power_W": "power", "speed_mm_per_s": "speed", "line_spacing_mm": "spacing", "focus_offset_mm": "offset"}
    for key, name in {**held, "passes": "passes"}.items():
        if key in hold:
            found[name] = ("user", "held by hand")
    return found


# ---- what binds, and the ways out --------------------------------------------------------------------------------


def _binds(mark: Mapping[str, Any], document: Mapping[str, Any], *, places: Sequence[int]) -> tuple[Said, ...]:
    gave = [Said(text=one["text"], gave_way=True) for one in mark["gave_way"]]
    held = [
        Said(text=one["text"], ways=ways_of(one, document, places=places), see=_see(one)) for one in mark["binding"]
    ]
    return (*gave, *held)


def _see(binding: Mapping[str, Any]) -> str:
    """Return which page helps with what binds: "wood" or "machine", nothing where none does."""
    known = {
        "known range": "wood",
        "curve": "wood",
        "power cap": "machine",
        "top speed": "machine",
        "direction": "machine",
    }
    return known.get(binding["constraint"], "")


def ways_of(binding: Mapping[str, Any], document: Mapping[str, Any], *, places: Sequence[int]) -> tuple[Way, ...]:
    """Return what one press would loosen, from the words and numbers of a binding; none where the bench has to be changed.

    Parameters
    ----------
    places : of the marks that it binds in the piece's document, from 1.
    """
    text, saves = binding["text"], _saves(binding)
    changes: dict[str, Any]
    match binding["constraint"]:
        case "room":
            move = _MOVE.search(text)
            if move is not None:
                dx, dy = (float(move[1]) * way for way in _WAYS[move[2]])
                x, y = document["place_bed_mm"]
                place = [round(x + dx, 3), round(y + dy, 3)]
                return (Way(text=f"Move {move[1]}\u00a0mm {move[2]}", price=saves, changes={"place_bed_mm": place}),)
        case "sharpness":
            looser = _LOOSER.search(text)
            if looser is not None and places:
                changes = {f"mark[{n}].sharpness_mm": float(looser[1]) for n in places}
                return (Way(text=f"{looser[1]}\u00a0mm will do", price=saves, changes=changes),)
        case "warp":
            flatter = _FLATTER.search(text)
            if flatter is not None:
                changes = {"blank.unevenness_mm": float(flatter[1])}
                return (Way(text=f"Pinned flat to ±{flatter[1]}\u00a0mm", price=saves, changes=changes),)
        case "tone":
            fainter = _FAINTER.search(text)
            if fainter is not None and places:
                sign = 1.0 if fainter[2] == "lighter" else -1.0
                tones = {n: document["mark"][n - 1].get("tone_L") for n in places}
                changes = {f"mark[{n}].tone_L": t + sign * float(fainter[1]) for n, t in tones.items() if t is not None}
                if changes:
                    wished = next(iter(changes.values()))
                    return (Way(text=f"L*\u00a0{wished:g} will do", price=saves, changes=changes),)
        case "photo range":
            changes = {f"mark[{n}].reproduction": "halftone" for n in places}
            return (Way(text="Make it a halftone", price=saves, changes=changes),) if changes else ()
        case "held by hand":
            changes = {f"mark[{n}].hold": None for n in places if document["mark"][n - 1].get("hold")}
            return (Way(text="Hold nothing", price=saves, changes=changes),) if changes else ()
    return ()


def _saves(binding: Mapping[str, Any]) -> str:
    """Return what a concession gains, in time."""
    return "" if binding["saves_s"] is None else f"−\u00a0{duration_text(binding['saves_s'])}"


# ---- what else there is to take ----------------------------------------------------------------------------------


def _alternatives(mark: Mapping[str, Any], *, places: Sequence[int]) -> tuple[Alternative, ...]:
    offers = mark["alternatives"]
    if len(offers) < 2:
        return ()
    told = [(offer["time_s"], offer["ripple_L"], offer["detail_mm"]) for offer in offers]
    own_shows = any(_SHOWS in offer["text"] for offer in offers if offer["recommended"])
    least, most = [min(t) for t in zip(*told, strict=True)], [max(t) for t in zip(*told, strict=True)]
    return tuple(
        Alternative(
            name="as planned" if offer["recommended"] else offer["name"],
            chosen=offer["recommended"],
            recipe=offer["recipe"],
            time_s=offer["time_s"],
            ripple_L=offer["ripple_L"],
            detail_mm=offer["detail_mm"],
            text=offer["text"],
            dots=_dots(values, least, most),
            changes=_taking(offer["recipe"], places=places),
            shows=_SHOWS in offer["text"] or (own_shows and _UNSEEN not in offer["text"]),
        )
        for offer, values in zip(offers, told, strict=True)
    )


def _dots(values: Sequence[float], least: Sequence[float], most: Sequence[float]) -> tuple[float, float, float]:
    a, b, c = (
        50.0 if high - low < 1e-9 else round(100.0 * (value - low) / (high - low), 1)
        for value, low, high in zip(values, least, most, strict=True)
    )
    return a, b, c


def _taking(recipe: Mapping[str, Any], *, places: Sequence[int]) -> dict[str, Any]:
    """Return the changes that take a recipe: all of it held but the power, which is left to meet the wished tone."""
    return {f"mark[{n}].hold.{key}": recipe[key] for n in places for key in HELD}
