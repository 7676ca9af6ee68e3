"""The proof of a piece as one picture: the board, one part enlarged as planned, and what focus would make of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from evenburn.adapters.pictures.proof_layout import (
    BOARD_px,
    Box,
    EDGE_px,
    INSIDE_px,
    Layout,
    OFFSET_px,
    PLANNED_px,
    WIDTH_px,
    lay_out,
)
from evenburn.adapters.pictures.proof_lost import draw_lost, draw_lost_legend
from evenburn.adapters.pictures.proof_scale import draw_offset_scale, draw_scale_bar
from evenburn.adapters.pictures.proof_thread import LEAST_SIDE_px, art_cost, draw_thread, thread
from evenburn.adapters.pictures.sheet_type import Type
from evenburn.core.planning.piece_plan import ProofPictures
from evenburn.core.proof.board import Board
from evenburn.core.proof.lost_places import LostPlace
from evenburn.core.tone.colour import srgb_decode, srgb_encode

__all__ = ["BOARD_px", "OFFSET_px", "PLANNED_px", "ProofCaption", "write_proof"]

Colours = NDArray[np.uint8]
Picture = NDArray[np.float32]

LEAF, SUNK, SURROUND, WHITE = "#F5F8F1", "#E8EEE5", "#6C706C", "#FFFFFF"
INK, INK2, STOP = "#17221E", "#43524B", "#A50E36"
WEDGE = ("#EAD3A9", "#D8B585", "#BD8F5C", "#98693D", "#704827", "#4A2D18", "#2A190F")

TITLE = Type(face="sheet-serif-bold", size_px=44, colour=INK)
SUBTITLE = Type(face="sheet-sans", size_px=25, colour=INK2)
WORDMARK = Type(face="sheet-serif-bold", size_px=25, colour=INK)
SENTENCE = Type(face="sheet-serif", size_px=25, colour=INK)
SENTENCE_BOLD = Type(face="sheet-serif-bold", size_px=25, colour=INK)
REVERSED = Type(face="sheet-sans-bold", size_px=24, colour=LEAF)
FIGURE = Type(face="sheet-sans-bold", size_px=25, colour=INK)
FACT = Type(face="sheet-sans", size_px=25, colour=INK2)

HEAD_px, STOP_ROW_px, LINE_px = 128, 60, 40
LOST_REST = "The checks say what helps."
STOPPED = "Not to be burnt as planned. The checks say why, and what to do."


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofCaption:
    """What a proof says in words.

    `facts` are pairs of a figure with its unit and what it is; `remark` is one sentence; `stopped` says that a stop
    check forbids burning. `shown_mark` is the id of the mark that the enlargements show.
    """

    title: str
    subtitle: str
    planned_offset_mm: float
    line_spacing_mm: float | None
    shown_mark: str
    facts: tuple[tuple[str, str], ...]
    remark: str
    stopped: bool


def write_proof(
    target: Path, pictures: ProofPictures, caption: ProofCaption, *, lost: Sequence[LostPlace] = ()
) -> None:
    """Write the proof as a PNG of 1600 pixels width; the same pictures and caption give the same bytes.

    `lost` are the places of all marks where detail is lost; they are framed on the board and told below it.
    """
    rows, columns = pictures.board.coverage.shape
    offsets_mm = tuple(part.focus_offset_mm for part in pictures.offsets)
    head = HEAD_px + (STOP_ROW_px if caption.stopped else 0)
    layout = lay_out(
        aspect=columns / rows, top=head + EDGE_px, offsets_mm=offsets_mm, planned_offset_mm=caption.planned_offset_mm
    )
    facts, remark = _fact_rows(caption), SENTENCE.lines(caption.remark, width_px=INSIDE_px)
    foot = 26 + LINE_px * (len(facts) + len(remark) + (1 if lost else 0)) + 22
    image = Image.new("RGB", (WIDTH_px, layout.bottom + foot), LEAF)
    canvas = ImageDraw.Draw(image)
    _draw_head(canvas, caption)
    canvas.rectangle((0, head, WIDTH_px, layout.bottom - 1), fill=SURROUND)
    _draw_pictures(image, layout, pictures)
    draw_lost(image, layout.board, lost)
    _draw_thread(image, layout, pictures)
    draw_scale_bar(
        canvas,
        layout.planned,
        pixel_mm=pictures.planned.pixel_mm,
        after="as planned",
        line_spacing_mm=caption.line_spacing_mm,
    )
    for box, part in zip(layout.offsets, pictures.offsets, strict=True):
        draw_scale_bar(canvas, box, pixel_mm=part.pixel_mm)
    draw_offset_scale(image, layout, offsets_mm=offsets_mm, planned_offset_mm=caption.planned_offset_mm)
    top = layout.bottom + 26
    if lost:
        draw_lost_legend(image, (EDGE_px, top + 26), lost, style=SENTENCE, rest=LOST_REST)
        top += LINE_px
    _draw_foot(canvas, facts, remark, top=top)
    image.save(target, format="PNG", compress_level=3)


def _draw_head(canvas: ImageDraw.ImageDraw, caption: ProofCaption) -> None:
    right = WIDTH_px - EDGE_px
    swatch = 22
    wedge_left = right - swatch * len(WEDGE)
    for number, colour in enumerate(WEDGE):
        left = wedge_left + number * swatch
        canvas.rectangle((left, 44, left + swatch - 1, 60), fill=colour)
    WORDMARK.draw(canvas, (wedge_left - 12, 60), "evenburn", anchor="rs")
    room = wedge_left - 12 - WORDMARK.width_px("evenburn") - 40 - EDGE_px
    TITLE.draw(canvas, (EDGE_px, 60), TITLE.shortened(caption.title, width_px=room))
    shown = f"proof, mark {caption.shown_mark} enlarged"
    room = INSIDE_px - SUBTITLE.width_px(shown) - 40
    SUBTITLE.draw(canvas, (EDGE_px, 102), SUBTITLE.shortened(caption.subtitle, width_px=room))
    SUBTITLE.draw(canvas, (right, 102), shown, anchor="rs")
    if caption.stopped:
        top = HEAD_px
        canvas.rectangle((0, top, 9, top + STOP_ROW_px - 1), fill=STOP)
        wide = REVERSED.width_px("stop") + 28
        canvas.rectangle((EDGE_px, top + 6, EDGE_px + wide - 1, top + 43), fill=STOP)
        REVERSED.draw(canvas, (EDGE_px + 14, top + 33), "stop")
        SENTENCE_BOLD.draw(canvas, (EDGE_px + wide + 20, top + 33), STOPPED)


def _fact_rows(caption: ProofCaption) -> tuple[tuple[tuple[int, str, str], ...], ...]:
    """Return the facts in rows that fit: left edge, figure, what it is."""
    rows: list[list[tuple[int, str, str]]] = [[]]
    left = EDGE_px
    for figure, what in caption.facts:
        wide = FIGURE.width_px(figure) + 12 + FACT.width_px(what)
        if rows[-1] and left + wide > WIDTH_px - EDGE_px:
            rows.append([])
            left = EDGE_px
        rows[-1].append((left, figure, what))
        left += wide + 56
    return tuple(tuple(row) for row in rows)


def _draw_foot(
    canvas: ImageDraw.ImageDraw,
    facts: tuple[tuple[tuple[int, str, str], ...], ...],
    remark: tuple[str, ...],
    *,
    top: int,
) -> None:
    y = top + 26
    for row in facts:
        for left, figure, what in row:
            FIGURE.draw(canvas, (left, y), figure)
            FACT.draw(canvas, (left + FIGURE.width_px(figure) + 12, y), what)
        y += LINE_px
    for line in remark:
        SENTENCE.draw(canvas, (EDGE_px, y), line)
        y += LINE_px


def _resized(picture: Picture, box: Box) -> Picture:
    smaller = box.width < picture.shape[1]
    how = cv2.INTER_AREA if smaller else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(picture, (box.width, box.height), interpolation=how), np.float32)


def _board_at(board: Board, box: Box) -> tuple[Colours, Picture]:
    """Return the board at its size in the proof, averaged in linear light, and its coverage 0–1."""
    linear = srgb_decode(np.arange(256) / 255.0).astype(np.float32)[board.colours]
    small = np.round(255.0 * srgb_encode(np.clip(_resized(linear, box), 0.0, 1.0))).astype(np.uint8)
    return small, np.clip(_resized(board.coverage, box), 0.0, 1.0)


def _middle(colours: Colours, box: Box) -> Image.Image:
    """Return the middle of an enlargement at the size of its box, pixel for pixel."""
    top, left = (colours.shape[0] - box.height) // 2, (colours.shape[1] - box.width) // 2
    return Image.fromarray(colours).crop((left, top, left + box.width, top + box.height))


def _draw_pictures(image: Image.Image, layout: Layout, pictures: ProofPictures) -> None:
    colours, coverage = _board_at(pictures.board, layout.board)
    mask = Image.fromarray(np.round(255.0 * coverage).astype(np.uint8))
    image.paste(Image.fromarray(colours), (layout.board.left, layout.board.top), mask)
    canvas = ImageDraw.Draw(image)
    planned = layout.planned
    canvas.rectangle((planned.left - 3, planned.top - 3, planned.right + 2, planned.bottom + 2), fill=WHITE)
    image.paste(_middle(pictures.planned.colours, planned), (planned.left, planned.top))
    for box, part in zip(layout.offsets, pictures.offsets, strict=True):
        image.paste(_middle(part.colours, box), (box.left, box.top))


def _window(layout: Layout, pictures: ProofPictures) -> Box:
    """Return where on the drawn board the enlargement lies, to scale."""
    board, part = layout.board, pictures.planned
    scale = board.width / (pictures.board.coverage.shape[1] * pictures.board.pixel_mm)  # pixels to a mm of board
    width = max(LEAST_SIDE_px, round(layout.planned.width * part.pixel_mm * scale))
    height = max(LEAST_SIDE_px // 2, round(layout.planned.height * part.pixel_mm * scale))
    x = board.left + pictures.middle_on_board[0] * board.width
    y = board.top + (1.0 - pictures.middle_on_board[1]) * board.height
    return Box(left=round(x - width / 2.0), top=round(y - height / 2.0), width=width, height=height)


def _draw_thread(image: Image.Image, layout: Layout, pictures: ProofPictures) -> None:
    board = layout.board
    grey = np.asarray(image.crop((board.left, board.top, board.right, board.bottom)).convert("L"), np.float32) / 255.0
    cost = art_cost(grey.astype(np.float32), _resized(pictures.board.coverage, board))
    window = _window(layout, pictures)
    corners = thread(cost, board, window=window, goal=layout.planned, below=layout.planned_below)
    draw_thread(ImageDraw.Draw(image), window, corners)
