"""The proof as it is written: the pictures where they belong, pixel for pixel, and the same bytes each time."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageColor

from evenburn.adapters.pictures.proof import (
    STOP,
    SURROUND,
    BOARD_px,
    HEAD_px,
    OFFSET_px,
    PLANNED_px,
    ProofCaption,
    STOP_ROW_px,
    write_proof,
)
from evenburn.adapters.pictures.proof_layout import EDGE_px, Layout, lay_out
from evenburn.core.planning.piece_plan import ProofPictures
from evenburn.core.proof.board import Board, Enlargement

CAPTION = ProofCaption(
    title="Novice fours plaque",
    subtitle="hard maple, 200 × 150 × 12.1\u00a0mm",
    planned_offset_mm=1.5,
    line_spacing_mm=0.1,
    shown_mark="front",
    facts=(("L* 38.4 ± 9.1", "tone"), ("0.2 L*", "banding, unseen"), ("0.25 mm", "smallest stroke kept")),
    remark="Curve of hard maple is a starting value: expect ± 9 L*.",
    stopped=False,
)
WOOD = (234, 211, 169)
OFFSETS_mm = (0.0, 1.0, 2.0)


def _speckle(size_px: tuple[int, int], seed: int) -> np.ndarray:
    values = np.random.default_rng(seed).integers(90, 200, (size_px[1], size_px[0], 3))
    return values.astype(np.uint8)


def pictures(*, rows: int = 300, columns: int = 400) -> ProofPictures:
    """Return a plain board, dark in its upper left quarter, and speckled enlargements."""
    colours = np.empty((rows, columns, 3), np.uint8)
    colours[:] = WOOD
    colours[: rows // 2, : columns // 2] = (60, 40, 20)
    return ProofPictures(
        board=Board(colours=colours, coverage=np.ones((rows, columns), np.float32), pixel_mm=200.0 / columns),
        shown_mark_id="front",
        middle_on_board=(0.75, 0.25),
        planned=Enlargement(colours=_speckle(PLANNED_px, 1), pixel_mm=0.007, focus_offset_mm=1.5),
        offsets=tuple(
            Enlargement(colours=_speckle(OFFSET_px, 2 + i), pixel_mm=0.007, focus_offset_mm=offset)
            for i, offset in enumerate(OFFSETS_mm)
        ),
    )


def _written(folder: Path, parts: ProofPictures, caption: ProofCaption = CAPTION) -> np.ndarray:
    write_proof(folder / "proof.png", parts, caption)
    with Image.open(folder / "proof.png") as image:
        assert image.mode == "RGB"
        assert image.info == {}  # no date, no name, no resolution
        return np.asarray(image)


def _layout(parts: ProofPictures, caption: ProofCaption = CAPTION) -> Layout:
    rows, columns = parts.board.coverage.shape
    head = HEAD_px + (STOP_ROW_px if caption.stopped else 0)
    return lay_out(
        aspect=columns / rows,
        top=head + EDGE_px,
        offsets_mm=OFFSETS_mm,
        planned_offset_mm=caption.planned_offset_mm,
    )


def test_the_same_proof_gives_the_same_bytes(tmp_path: Path) -> None:
    write_proof(tmp_path / "a.png", pictures(), CAPTION)
    write_proof(tmp_path / "b.png", pictures(), CAPTION)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()


@pytest.mark.parametrize(("rows", "columns"), [(300, 400), (400, 400), (125, 400), (400, 120), (1, 400), (400, 1)])
def test_enlargements_are_shown_pixel_for_pixel_from_their_middle(tmp_path: Path, rows: int, columns: int) -> None:
    parts = pictures(rows=rows, columns=columns)
    seen = _written(tmp_path, parts)
    layout = _layout(parts)
    assert seen.shape[1] == 1600
    for box, part in ((layout.planned, parts.planned), *zip(layout.offsets, parts.offsets, strict=True)):
        top, left = (part.colours.shape[0] - box.height) // 2, (part.colours.shape[1] - box.width) // 2
        high = box.height - 60  # above the scale bar's plate; 40 from the left, where a thread may end
        expected = part.colours[top : top + high, left + 40 : left + box.width]
        if layout.planned_below and box is layout.planned:
            expected, start = expected[10:], 10  # … or from above
        else:
            start = 0
        shown = seen[box.top + start : box.top + high, box.left + 40 : box.right]
        assert np.array_equal(shown, expected)


def test_the_board_stands_upright_and_whole(tmp_path: Path) -> None:
    parts = pictures()
    seen = _written(tmp_path, parts)
    board = _layout(parts).board
    assert tuple(seen[board.top + 20, board.left + 20]) == (60, 40, 20)
    for row, column in ((20, board.width - 20), (board.height - 20, 20), (board.height - 20, board.width // 2 + 20)):
        assert tuple(seen[board.top + row, board.left + column]) == WOOD
    surround = ImageColor.getrgb(SURROUND)
    assert tuple(seen[board.top - 5, board.left + 20]) == surround
    assert tuple(seen[board.bottom + 5, board.left + 20]) == surround


def test_the_window_stands_to_scale_where_the_enlargement_was_taken(tmp_path: Path) -> None:
    parts = pictures()
    seen = _written(tmp_path, parts).astype(int)
    layout = _layout(parts)
    board = layout.board
    changed = np.abs(seen[board.top : board.bottom, board.left : board.right] - WOOD).sum(axis=2) > 30
    changed[: round(0.55 * board.height)] = False  # the dark quarter and its soft edge
    rows = np.flatnonzero(changed[:, : round(0.75 * board.width)].any(axis=1))
    columns = np.flatnonzero(changed.any(axis=0))
    # by hand: the drawn part's millimetres, to the board's scale; 3 pixels of outline on each side
    mm = board.width / 200.0
    assert rows[-1] - rows[0] + 1 == pytest.approx(layout.planned.height * 0.007 * mm + 6, abs=1)
    assert (rows[0] + rows[-1]) / 2 == pytest.approx(0.75 * board.height, abs=1.5)
    assert columns[0] == pytest.approx(0.75 * board.width - 0.5 * layout.planned.width * 0.007 * mm - 3, abs=1.5)


def test_light_is_averaged_as_light(tmp_path: Path) -> None:
    parts = pictures(rows=1158, columns=BOARD_px)
    colours = np.zeros_like(parts.board.colours)
    colours[::2] = 255
    seen = _written(tmp_path, replace(parts, board=replace(parts.board, colours=colours)))
    board = _layout(parts).board
    middle = seen[board.top + 20 : board.top + 60, board.left + 20 : board.left + 60]
    assert middle.mean() == pytest.approx(188, abs=2)  # half the light is 188 of 255 in sRGB (IEC 61966-2-1), not 128


def test_a_stop_is_said_in_a_filled_block(tmp_path: Path) -> None:
    stop = np.array(ImageColor.getrgb(STOP))
    plain = _written(tmp_path, pictures())
    assert not (plain == stop).all(axis=2).any()
    barred = _written(tmp_path, pictures(), replace(CAPTION, stopped=True))
    block = (barred == stop).all(axis=2)
    assert block.sum() > 1500
    assert np.flatnonzero(block.any(axis=1))[[0, -1]].tolist() == [HEAD_px, HEAD_px + STOP_ROW_px - 1]
    assert barred.shape[0] == plain.shape[0] + STOP_ROW_px


@pytest.mark.parametrize("planned_mm", [-30.0, -0.6, 0.0, 0.1, 1.0, 1.04, 1.9, 2.5, 30.0])
def test_every_planned_offset_can_be_drawn(tmp_path: Path, planned_mm: float) -> None:
    parts = pictures()
    seen = _written(tmp_path, parts, replace(CAPTION, planned_offset_mm=planned_mm))
    layout = _layout(parts, replace(CAPTION, planned_offset_mm=planned_mm))
    deed = (seen[layout.scale_top : layout.bottom] == (14, 82, 102)).all(axis=2)
    if layout.scale.low_mm <= planned_mm <= layout.scale.high_mm:
        middle = np.flatnonzero(deed.any(axis=0)).mean()
        assert middle == pytest.approx(layout.scale.place_px(planned_mm), abs=1.0)
    else:
        assert not deed.any()


def test_long_words_and_many_facts_stay_on_the_sheet(tmp_path: Path) -> None:
    long = replace(
        CAPTION,
        title="The longest name that anybody ever gave to a prize of a village regatta, and then some more of it",
        subtitle="hard maple, " * 20,
        facts=CAPTION.facts * 4,
        remark="Curve of hard maple is a starting value. " * 6,
    )
    seen = _written(tmp_path, pictures(), long)
    assert seen.shape[0] > _written(tmp_path, pictures()).shape[0] + 60
    margin = seen[:, -EDGE_px + 6 :]
    leaf, grey = ImageColor.getrgb("#F5F8F1"), ImageColor.getrgb(SURROUND)
    assert ((margin == leaf).all(axis=2) | (margin == grey).all(axis=2)).all()
