"""Parts of a proof for whoever looks close: tiles and windows of the board at any scale, as planned or at another setting.

A piece is prepared once from its plan and kept in memory, a few pieces at most; what is drawn is kept as PNG.
"""

from __future__ import annotations

import math
import threading
import zlib
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from evenburn.adapters.pictures.tiles import tile_png
from evenburn.adapters.storage.book.opening import Book
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.core.layout.place import outline_on_bed
from evenburn.core.nouns.machine import Lens
from evenburn.core.nouns.recipe import Recipe
from evenburn.core.optics.beam import Beam
from evenburn.core.planning.piece_plan import burn_of, shown_place
from evenburn.core.planning.proof_setting import (
    AtSetting,
    ScannedMark,
    Setting,
    at_setting,
    lines_at,
    recipe_at,
    scanned_mark,
)
from evenburn.core.proof.followed_layer import FollowedLayer, followed_layer
from evenburn.core.proof.layer import Bare, Box, Exposed, Layer, exposed
from evenburn.core.proof.line_table import LineTable
from evenburn.core.proof.lost_places import LostPlace
from evenburn.core.proof.scanned_layer import ScannedLayer, scanned_layer
from evenburn.core.proof.scene import Scene, Window, bed_box_mm, draw_window, scene_of
from evenburn.services.book.plan_piece import plan_of
from evenburn.services.book.proof_kept import Kept, give_back_memory, hold_little_memory

TILE_px = 512
WHITE = np.array((255, 255, 255), np.uint8)
LEVELS = (-6, 18)  # of half powers of two, in pixels to a millimetre: 0.125 to 512
OFFSETS_mm = (-12.0, 12.0)
SPACINGS_mm = (0.02, 1.0)
MOST_PIECES, PIECES_bytes = 3, 100_000_000
MOST_LAYERS, LAYERS_bytes = 8, 24_000_000
TILES, TILES_bytes = 2048, 32_000_000
WINDOW_px = 2400  # of a window's longer side
WHOLE = 0.4  # a window that shows so much of a mark has all its lines laid anew, not only those near it
REACH_SIGMAS = 4.5
EVERYWHERE = (-math.inf, -math.inf, math.inf, math.inf)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """Which piece of a list of names (empty for the first), and which mark at which setting; None is as planned."""

    slug: str = ""
    mark_id: str = ""
    focus_offset_mm: float | None = None
    line_spacing_mm: float | None = None

    def as_planned(self) -> bool:
        """Return whether nothing is asked for but the plan."""
        return self.focus_offset_mm is None and self.line_spacing_mm is None


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowedMark:
    """What is kept of a followed mark: its beam and what else its exposure hangs on."""

    beam: Beam
    speed_mm_per_s: float
    passes: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lines:
    """A mark's lines at another spacing, and the part of the bed within which none is missing."""

    table: LineTable | None
    within_mm: Box

    def size_bytes(self) -> int:
        """Return how much memory they take."""
        return 0 if self.table is None else self.table.size_bytes()


def _size_bytes(layer: Layer) -> int:
    return layer.size_bytes()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prepared:
    """A piece ready to be looked at; `layers` are marks at other settings, `lines` their lines and where none is missing."""

    slug: str
    scene: Scene
    lens: Lens
    scanned: Mapping[str, ScannedMark]
    followed: Mapping[str, FollowedMark]
    lost: tuple[LostPlace, ...]
    shown_mark_id: str
    start: tuple[float, float]
    layers: Kept[Layer] = field(
        default_factory=lambda: Kept(most_bytes=LAYERS_bytes, most=MOST_LAYERS, size_bytes=_size_bytes)
    )
    lines: Kept[Lines] = field(
        default_factory=lambda: Kept(most_bytes=LAYERS_bytes // 2, most=MOST_LAYERS, size_bytes=Lines.size_bytes)
    )

    def size_bytes(self) -> int:
        """Return how much memory it takes."""
        kept = sum(mark.size_bytes() for mark in self.scanned.values())
        return self.scene.size_bytes() + kept + self.layers.size_bytes() + self.lines.size_bytes()


_PIECES: Kept[Prepared] = Kept(most_bytes=PIECES_bytes, most=MOST_PIECES, size_bytes=Prepared.size_bytes)
_ONE = threading.Lock()  # working a piece through takes a core and a hundred megabytes for a moment
_DRAWN: Kept[bytes] = Kept(most_bytes=TILES_bytes, most=TILES, size_bytes=len)


def prepared(book: Book, piece_id: int, *, plan: str = "", slug: str = "") -> tuple[str, Prepared]:
    """Return the number of a piece's plan, and the piece ready to be looked at.

    Parameters
    ----------
    plan : the plan that a page was made for; empty for the one that stands.

    Raises
    ------
    NotFound
        If the piece is not in the book, was not planned, or was planned anew since.
    """
    key = (book.files, piece_id, plan, slug)
    there = _PIECES.peek(key) if plan else None
    if there is not None:
        return plan, there
    planned = plan_of(book, piece_id)
    if planned is None or not (planned.folder / "plan.json").is_file():
        raise NotFound(f"piece {piece_id} has no proof yet", hint="Plan it; the proof comes with the plan.")
    if plan not in {"", planned.inputs_sha256}:
        raise NotFound("this piece was planned anew", hint="Load the page again.")
    sha256 = planned.inputs_sha256
    key = (book.files, piece_id, sha256, slug)
    return sha256, _PIECES.get(key, lambda: _prepare(planned.batch_folder, slug=slug))


def tile(book: Book, piece_id: int, place: tuple[int, int, int], *, plan: str = "", ask: Ask | None = None) -> bytes:
    """Return a tile as PNG, 512 pixels square.

    Parameters
    ----------
    place : (level, column, row); pixels to a millimetre are 2 to the power of half the level, columns count from the
        board's left, rows from its upper edge.
    plan : as for `prepared`.

    Raises
    ------
    InvalidInput
        If the level, the place or the setting is beyond what can be shown.
    NotFound
        As `prepared`.
    """
    level, column, row = place
    if not LEVELS[0] <= level <= LEVELS[1]:
        raise InvalidInput({"level": f"is {level}; {LEVELS[0]} to {LEVELS[1]} are drawn"})
    if max(abs(column), abs(row)) > 1_000_000:
        raise InvalidInput({"column": "is far beyond the board"})
    pixel = 2.0 ** (-0.5 * level)
    window = Window(
        left_mm=column * TILE_px * pixel, top_mm=row * TILE_px * pixel, pixel_mm=pixel, columns=TILE_px, rows=TILE_px
    )
    return _picture(book, piece_id, window, name=place, plan=plan, ask=ask or Ask())


def window_picture(book: Book, piece_id: int, window: Window, *, plan: str = "", ask: Ask | None = None) -> bytes:
    """Return any window of the board as PNG; raises as `tile`."""
    wrong: dict[str, str] = {}
    for name, side in (("width", window.columns), ("height", window.rows)):
        if not 1 <= side <= WINDOW_px:
            wrong[name] = f"is {side}; 1 to {WINDOW_px} pixels are drawn"
    low, high = (2.0 ** (-0.5 * level) for level in reversed(LEVELS))
    if not low <= window.pixel_mm <= high * 1.0001:
        wrong["scale"] = (
            f"is {1.0 / max(window.pixel_mm, 1e-9):.4g}; {1.0 / high:.3g} to {1.0 / low:.0f} pixels a mm are drawn"
        )
    if not (abs(window.left_mm) < 1e4 and abs(window.top_mm) < 1e4):
        wrong["left"] = "is far beyond the board"
    if wrong:
        raise InvalidInput(wrong)
    return _picture(book, piece_id, window, name=window, plan=plan, ask=ask or Ask())


def setting_of(book: Book, piece_id: int, ask: Ask, *, plan: str = "") -> AtSetting | None:
    """Return what a mark is predicted to be at a setting, None for a followed mark; raises as `tile`."""
    ask = _checked(ask)
    _, piece = prepared(book, piece_id, plan=plan, slug=ask.slug)
    kept = piece.scanned.get(ask.mark_id or piece.shown_mark_id)
    if kept is None:
        return None
    setting = Setting(focus_offset_mm=ask.focus_offset_mm, line_spacing_mm=ask.line_spacing_mm)
    return at_setting(kept, setting, lens=piece.lens)


def memory_bytes() -> int:
    """Return how much memory prepared pieces and drawn pictures take."""
    return _PIECES.size_bytes() + _DRAWN.size_bytes()


def _picture(book: Book, piece_id: int, window: Window, *, name: Hashable, plan: str, ask: Ask) -> bytes:
    ask = _checked(ask)
    sha256, piece = prepared(book, piece_id, plan=plan, slug=ask.slug)
    key = (book.files, piece_id, sha256, name, ask)
    return _DRAWN.get(key, lambda: tile_png(draw_window(piece.scene, window, layers=_layers(piece, window, ask))))


def _checked(ask: Ask) -> Ask:
    """Return a setting rounded to what can be set, so that alike ones are one."""
    wrong: dict[str, str] = {}
    values: dict[str, float | None] = {}
    for name, value, (low, high), digits in (
        ("offset", ask.focus_offset_mm, OFFSETS_mm, 2),
        ("spacing", ask.line_spacing_mm, SPACINGS_mm, 3),
    ):
        if value is not None and not low <= value <= high:
            wrong[name] = f"is {value:g} mm; {low:g} to {high:g} mm are shown"
        values[name] = None if value is None else round(value, digits) + 0.0
    if wrong:
        raise InvalidInput(wrong)
    return Ask(slug=ask.slug, mark_id=ask.mark_id, focus_offset_mm=values["offset"], line_spacing_mm=values["spacing"])


def _prepare(batch_folder: Path, *, slug: str) -> Prepared:
    hold_little_memory()
    with _ONE:
        made = _made_ready(batch_folder, slug=slug)
    give_back_memory()
    return made


def _made_ready(batch_folder: Path, *, slug: str) -> Prepared:
    from evenburn.services.load_batch import load_batch
    from evenburn.services.work_through import surveyed_pieces, work_through

    batch = load_batch(batch_folder)
    piece = next((p for p in batch.pieces if p.id == slug), None) if slug else batch.pieces[0]
    if piece is None:
        raise NotFound(f"“{slug[:64]}” is none of this piece's names")
    surveyed = surveyed_pieces(batch, workers=1)[piece.id] if len(batch.pieces) > 1 else None
    work = work_through(batch, piece, surveyed=surveyed)
    if not work.marks:
        raise NotFound("there is no proof of what must not be burnt", hint=work.checks[0].text)
    outline = outline_on_bed(piece)
    scene = scene_of(
        outline,
        work.wood,
        turn_deg=piece.turn_deg,
        burns={m.mark.id: burn_of(m) for m in work.marks},
        generator=np.random.default_rng(zlib.crc32(piece.id.encode())),  # the same wood as on its proof
    )
    shown_mark_id, start = shown_place(work)
    for layer in scene.layers.values():
        _make_coarse(layer)
    return Prepared(
        slug=piece.id,
        scene=scene,
        lens=batch.lens,
        scanned={
            m.mark.id: scanned_mark(m, piece=piece, artwork=batch.artworks[piece.id, m.mark.id])
            for m in work.marks
            if m.followed is None and m.mark.id in scene.layers
        },
        followed={
            m.mark.id: FollowedMark(beam=m.wish.beam, speed_mm_per_s=m.recipe.speed_mm_per_s, passes=m.recipe.passes)
            for m in work.marks
            if m.followed is not None
        },
        lost=work.lost,
        shown_mark_id=shown_mark_id,
        start=start,
    )


def _make_coarse(layer: Layer) -> None:
    """Let a mark make its coarse pictures once, before anybody waits for a tile."""
    x0, y0, _, _ = layer.box_mm
    layer.patch(x0, y0, pixel_mm=1.0, rows=1, columns=1)


# ---- other settings ----------------------------------------------------------------------------------------------


def _layers(piece: Prepared, window: Window, ask: Ask) -> Mapping[str, Layer] | None:
    """Return the marks of a piece with one of them at a setting; None where all are as planned."""
    if ask.as_planned():
        return None
    mark_id = ask.mark_id or piece.shown_mark_id
    planned = piece.scene.layers.get(mark_id)
    if planned is None:
        raise InvalidInput({"mark": f"“{mark_id[:64]}” is no mark of this piece, or burns nothing"})
    if isinstance(planned, FollowedLayer):
        changed = piece.layers.get(ask, lambda: _followed(piece, planned, ask, mark_id=mark_id))
    else:
        changed = _scanned(piece, planned, window, ask, mark_id=mark_id)
    return {**piece.scene.layers, mark_id: changed}


def _followed(piece: Prepared, planned: FollowedLayer, ask: Ask, *, mark_id: str) -> Layer:
    if ask.focus_offset_mm is None:
        return planned
    kept = piece.followed[mark_id]
    light = exposed(
        piece.scene.wood,
        beam=kept.beam,
        focus_offset_mm=ask.focus_offset_mm,
        speed_mm_per_s=kept.speed_mm_per_s,
        line_spacing_mm=math.inf,
        passes=kept.passes,
    )
    return followed_layer(planned.pieces, light, passes=kept.passes)


def _scanned(piece: Prepared, planned: Layer, window: Window, ask: Ask, *, mark_id: str) -> Layer:
    kept = piece.scanned[mark_id]
    recipe, _ = recipe_at(kept, line_spacing_mm=ask.line_spacing_mm)
    offset = recipe.focus_offset_mm if ask.focus_offset_mm is None else ask.focus_offset_mm
    light = exposed(
        piece.scene.wood,
        beam=kept.wish.beam,
        focus_offset_mm=offset,
        speed_mm_per_s=recipe.speed_mm_per_s,
        line_spacing_mm=recipe.line_spacing_mm,
        passes=recipe.passes,
    )
    if recipe == kept.recipe:
        assert isinstance(planned, ScannedLayer)  # noqa: S101  # as prepared
        lines, spacing_mm = Lines(table=planned.table, within_mm=EVERYWHERE), planned.spacing_mm
    else:
        lines, spacing_mm = _lines(piece, kept, recipe, window, mark_id=mark_id, light=light), recipe.line_spacing_mm

    def make() -> Layer:
        made = None
        if lines.table is not None:
            made = scanned_layer(
                lines.table,
                light,
                spacing_mm=spacing_mm,
                ripple_spacing_mm=recipe.line_spacing_mm,
                lag_mm=recipe.speed_mm_per_s * kept.wish.machine.rise_time_s,
            )
        return Bare() if made is None else made

    return piece.layers.get((mark_id, recipe.line_spacing_mm, offset, lines.within_mm), make)


def _lines(
    piece: Prepared, kept: ScannedMark, recipe: Recipe, window: Window, *, mark_id: str, light: Exposed
) -> Lines:
    """Return a mark's lines at another spacing: those near the window, or all of them once another part was asked for."""
    reach_mm = 0.5 * REACH_SIGMAS * light.radius_mm + 2.0 * recipe.line_spacing_mm
    box = bed_box_mm(piece.scene, window)
    needed = (box[0] - reach_mm, box[1] - reach_mm, box[2] + reach_mm, box[3] + reach_mm)
    near, whole = ((mark_id, recipe.line_spacing_mm, part) for part in ("near", "whole"))
    for key in (whole, near):
        there = piece.lines.peek(key)
        if there is not None and _within(needed, there.within_mm):
            return there

    def laid(part: Box) -> Lines:
        table, within = lines_at(kept, recipe, near_bed_mm=part)
        return Lines(table=table, within_mm=within)

    if piece.lines.peek(near) is None and _share(needed, kept.box_bed_mm) <= WHOLE:
        made = piece.lines.get(near, lambda: laid(needed))
        if _within(needed, made.within_mm):
            return made
    return piece.lines.get(whole, lambda: laid(EVERYWHERE))


def _within(inner: Box, outer: Box) -> bool:
    return inner[0] >= outer[0] and inner[1] >= outer[1] and inner[2] <= outer[2] and inner[3] <= outer[3]


def _share(part: Box, box: Box) -> float:
    wide = max(min(part[2], box[2]) - max(part[0], box[0]), 0.0) / max(box[2] - box[0], 1e-9)
    high = max(min(part[3], box[3]) - max(part[1], box[1]), 0.0) / max(box[3] - box[1], 1e-9)
    return wide * high
