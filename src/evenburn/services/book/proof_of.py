"""The proof of a piece as its sheet shows it: what the plan predicts of each mark, and what may be looked at beside it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenburn.adapters.formats.wood_toml import read_wood
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import piece
from evenburn.core.errors import EvenburnError, InvalidInput, NotFound, UnreadableFile
from evenburn.core.proof.lost_places import LostPlace
from evenburn.core.proof.scene import Window
from evenburn.core.units import lines_per_inch
from evenburn.services.book.forbidden import forbidden_in
from evenburn.services.book.plan_piece import plan_of
from evenburn.services.book.proof_tiles import Ask, prepared, setting_of

OFFSETS_mm = (0.0, 2.0)  # what a stand-off may be off by; wider where the plan itself lies beyond
SPACING_STEP_mm = 0.01
SPACINGS_mm = (0.04, 0.30)  # as the recipe search looks through them
WIDER = 2.0  # and from half to twice the planned one
LINES_SHOWN = 36  # scan lines in the first look, as in the proof that is printed
LETTERS = "abcdefghijklmnopqrstuvwxyz"
HELD = {
    "detail": "its finest strokes are lost",
    "sharpness": "it is less sharp than wished",
    "banding": "its lines show",
    "warp": "the board’s warp changes the tone",
    "known range": "the curve is not known there",
    "photo range": "its faintest tones do not fire",
    "char": "it chars",
    "tone": "the tone is off",
    "run-up": "there is no room for the run-up",
    "power": "the power is beyond what fires or what you allow",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofMark:
    """A mark as the proof tells it. `kind` is where its figures come from; None where a followed mark has no such figure.

    Attributes
    ----------
    offsets_mm : the ends of the scale of focus offset and its middle; each a whole millimetre or half of one.
    spacings_mm : the ends of the scale of line spacing, None for a followed mark.
    """

    number: int
    mark_id: str
    letter: str
    title: str
    treatment: str
    scanned: bool
    focus_offset_mm: float
    line_spacing_mm: float
    offsets_mm: tuple[float, float, float]
    spacings_mm: tuple[float, float] | None
    tone_L: float
    tone_L_sd: float
    ripple_L: float | None
    banding_seen: bool
    detail_mm: float | None
    time_s: float
    kind: str
    detail: str

    @property
    def lines_per_inch(self) -> float:
        """Return the planned line spacing the other way round."""
        return lines_per_inch(self.line_spacing_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """The proof of a piece.

    Attributes
    ----------
    plan : SHA-256 of what it was planned with; pictures are asked for by it, so that a browser may keep them.
    version : of the piece, to be named by the next save.
    slugs : id and name of each piece that a list of names makes, one for any other piece; `slug` is the one shown.
    picture : name of the proof among the plan's files.
    shown : the mark that the sliders change.
    evenness_L : the wood's own blotches.
    """

    piece_id: int
    plan: str
    version: int
    fresh: bool
    slug: str
    name: str
    slugs: tuple[tuple[str, str], ...]
    picture: str
    stopped: bool
    marks: tuple[ProofMark, ...]
    shown: ProofMark
    curve_kind: str
    curve_detail: str
    evenness_L: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofLook:
    """What a viewer has to know of a board: its size, where to look first and how wide, and what is lost where.

    `start_mm` is from the board's left and from its upper edge; `across_mm` is the width of the first look.
    """

    plan: str
    size_mm: tuple[float, float]
    start_mm: tuple[float, float]
    across_mm: float
    shown_mark_id: str
    lost: tuple[LostPlace, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldSetting:
    """What is predicted at a setting, and what would not hold; `changes` pin it, as keys of batch.toml.

    `off_by_mm` is how far the stand-off is then off what is planned, `too_far` whether the nozzle is too far away.
    """

    off_by_mm: float
    too_far: bool
    focus_offset_mm: float
    line_spacing_mm: float
    lines_per_inch: float
    power_W: float
    tone_L: float
    tone_L_sd: float
    ripple_L: float
    banding_seen: bool
    detail_mm: float
    time_s: float
    loses: tuple[str, ...]
    as_planned: bool
    off_focus_alone: bool
    changes: dict[str, float]


def proof_of(book: Book, piece_id: int, *, slug: str = "", mark_id: str = "") -> Proof | None:
    """Return the proof of a piece, None where it was never planned or its files are gone.

    Parameters
    ----------
    slug, mark_id : which piece of a list of names, and which mark the sliders change; empty for the first, and for the
        mark that burns longest.

    Raises
    ------
    NotFound
        If the piece is not in the book, or must not be burnt at all.
    InvalidInput
        If it has no such piece or mark.
    """
    with book.reading() as connection:
        row = row_of(connection, piece, piece_id)
        forbidden = forbidden_in(connection, row["wood_id"])
    if forbidden is not None:
        raise NotFound("there is no proof of what must not be burnt", hint=forbidden.text)
    planned = plan_of(book, piece_id)
    if planned is None:
        return None
    try:
        document = planned.document()
    except UnreadableFile:
        return None
    pieces = document["pieces"]
    one = next((p for p in pieces if p["id"] == slug), None) if slug else pieces[0]
    if one is None:
        raise InvalidInput({"of": f"“{slug[:64]}” is none of this piece's names"})
    marks = tuple(_mark(mark, number, row["document"]) for number, mark in enumerate(one["marks"], start=1))
    shown = next((m for m in marks if m.mark_id == mark_id), None) if mark_id else _first(marks)
    if shown is None:
        raise InvalidInput({"mark": f"“{mark_id[:64]}” is no mark of this piece"})
    return Proof(
        piece_id=piece_id,
        plan=planned.inputs_sha256,
        version=row["version"],
        fresh=planned.fresh,
        slug=one["id"],
        name=one["name"],
        slugs=tuple((p["id"], p["name"]) for p in pieces),
        picture=one["marks"][0]["files"]["proof"],
        stopped=any(check["level"] == "stop" for check in one["checks"]),
        marks=marks,
        shown=shown,
        curve_kind=one["curve"]["kind"],
        curve_detail=one["curve"]["detail"],
        evenness_L=_evenness_L(planned.batch_folder, str(one["wood"])),
    )


def look_of(book: Book, piece_id: int, *, plan: str = "", slug: str = "") -> ProofLook:
    """Return what a viewer has to know; the piece is prepared by it.

    Raises
    ------
    NotFound
        As `prepared`.
    """
    sha256, ready = prepared(book, piece_id, plan=plan, slug=slug)
    width, height = ready.scene.size_mm
    kept = ready.scanned.get(ready.shown_mark_id)
    lines_mm = LINES_SHOWN * (kept.recipe.line_spacing_mm if kept is not None else 0.1)
    return ProofLook(
        plan=sha256,
        size_mm=ready.scene.size_mm,
        start_mm=(ready.start[0] * width, (1.0 - ready.start[1]) * height),
        across_mm=min(2.35 * lines_mm, width),
        shown_mark_id=ready.shown_mark_id,
        lost=ready.lost,
    )


def window_at(
    look: ProofLook, *, middle_mm: tuple[float, float] | None, scale_px_per_mm: float | None, size_px: tuple[int, int]
) -> Window:
    """Return a window of so many pixels about a place; the first look where none is named."""
    middle = middle_mm or look.start_mm
    pixel = 1.0 / scale_px_per_mm if scale_px_per_mm else look.across_mm / max(size_px[0], 1)
    return Window(
        left_mm=middle[0] - 0.5 * size_px[0] * pixel,
        top_mm=middle[1] - 0.5 * size_px[1] * pixel,
        pixel_mm=pixel,
        columns=size_px[0],
        rows=size_px[1],
    )


def board_window(look: ProofLook, *, most_px: tuple[int, int]) -> Window:
    """Return the whole board in a window no larger than so many pixels."""
    width, height = look.size_mm
    pixel = max(width / most_px[0], height / most_px[1])
    return Window(
        left_mm=0.0,
        top_mm=0.0,
        pixel_mm=pixel,
        columns=max(1, math.ceil(width / pixel - 1e-9)),
        rows=max(1, math.ceil(height / pixel - 1e-9)),
    )


def told_setting(book: Book, proof: Proof, ask: Ask) -> ToldSetting | None:
    """Return what is predicted of the shown mark at a setting, None for a followed one; raises as `proof_tiles.tile`."""
    mark = proof.shown
    ask = Ask(
        slug=proof.slug,
        mark_id=mark.mark_id,
        focus_offset_mm=ask.focus_offset_mm,
        line_spacing_mm=ask.line_spacing_mm,
    )
    at = setting_of(book, proof.piece_id, ask, plan=proof.plan)
    if at is None:
        return None
    recipe, predicted = at.recipe, at.predicted
    moved = abs(recipe.focus_offset_mm - mark.focus_offset_mm) > 1e-6
    respaced = abs(recipe.line_spacing_mm - mark.line_spacing_mm) > 1e-6
    seen = predicted.ripple_L > predicted.ripple_limit_L
    loses = [HELD[name] for name in at.gave_way if name in HELD and name not in {"banding", "detail", "sharpness"}]
    hold = f"mark[{mark.number}].hold"
    changes = {f"{hold}.focus_offset_mm": recipe.focus_offset_mm} if moved else {}
    if respaced:
        changes[f"{hold}.line_spacing_mm"] = recipe.line_spacing_mm
    return ToldSetting(
        off_by_mm=abs(recipe.focus_offset_mm - mark.focus_offset_mm),
        too_far=recipe.focus_offset_mm > mark.focus_offset_mm,
        focus_offset_mm=recipe.focus_offset_mm,
        line_spacing_mm=recipe.line_spacing_mm,
        lines_per_inch=lines_per_inch(recipe.line_spacing_mm),
        power_W=recipe.power_W,
        tone_L=predicted.tone_L,
        tone_L_sd=predicted.tone_L_sd,
        ripple_L=predicted.ripple_L,
        banding_seen=seen,
        detail_mm=predicted.detail_mm,
        time_s=predicted.time_s,
        loses=tuple(loses) if respaced else (),
        as_planned=not moved and not respaced,
        off_focus_alone=moved and not respaced,
        changes=changes,
    )


def _first(marks: tuple[ProofMark, ...]) -> ProofMark:
    return max(marks, key=lambda mark: (mark.scanned, mark.time_s))


def _mark(mark: Mapping[str, Any], number: int, document: Mapping[str, Any]) -> ProofMark:
    recipe, predicted = mark["recipe"], mark["predicted"]
    scanned = mark["treatment"] in {"solid", "photo"}
    offset, spacing = float(recipe["focus_offset_mm"]), float(recipe["line_spacing_mm"])
    own = document["mark"][number - 1] if number <= len(document["mark"]) else {}
    return ProofMark(
        number=number,
        mark_id=mark["id"],
        letter=LETTERS[(number - 1) % len(LETTERS)],
        title=" / ".join(str(own.get("text") or own.get("art") or mark["id"]).splitlines()),
        treatment=mark["treatment"],
        scanned=scanned,
        focus_offset_mm=offset,
        line_spacing_mm=spacing,
        offsets_mm=_scale(offset),
        spacings_mm=_spacings(spacing) if scanned else None,
        tone_L=predicted["tone_L"],
        tone_L_sd=predicted["tone_L_sd"],
        ripple_L=predicted["ripple_L"] if scanned else None,
        banding_seen=predicted["ripple_L"] > predicted["ripple_limit_L"],
        detail_mm=predicted["detail_mm"] if scanned else None,
        time_s=predicted["time_s"],
        kind=predicted["provenance"]["kind"],
        detail=predicted["provenance"]["detail"],
    )


def _scale(planned_mm: float) -> tuple[float, float, float]:
    """Return a scale of focus offset that holds the planned one: 0, 1 and 2 mm, or wider, with three round ticks."""
    low = min(OFFSETS_mm[0], 2.0 * math.floor(0.5 * planned_mm)) if planned_mm < 0.0 else OFFSETS_mm[0]
    high = max(OFFSETS_mm[1], 2.0 * math.ceil(0.5 * planned_mm))
    return low, 0.5 * (low + high), high


def _spacings(planned_mm: float) -> tuple[float, float]:
    step = SPACING_STEP_mm
    low = max(SPACINGS_mm[0], math.floor(planned_mm / WIDER / step) * step)
    high = min(max(SPACINGS_mm[1], planned_mm), math.ceil(planned_mm * WIDER / step) * step)
    return round(min(low, planned_mm), 3), round(max(high, planned_mm), 3)


def _evenness_L(batch_folder: Path, wood_id: str) -> float | None:
    """Return the wood's own blotches, as planned with. [L*]"""
    try:
        wood, _ = read_wood(batch_folder, wood_id)
    except EvenburnError:
        return None
    return float(wood.curve.evenness_L)
