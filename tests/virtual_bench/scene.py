"""Table, board, and the printed page with its window cut out, seen straight from above in the camera's linear colours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from virtual_bench.printer import Mat, Sheet

if TYPE_CHECKING:
    from virtual_bench.camera import Shot

FloatArray = NDArray[np.float64]
Float32 = NDArray[np.float32]
TABLE = np.array([0.13, 0.115, 0.10], np.float32)
PAPER_SHADOW_mm = 1.2


def lay_out(
    sheet: Sheet,
    pages: list[Mat],
    bands: Float32,
    map_mm: float,
    *,
    card_middle_mm: tuple[float, float],
    shot: Shot,
    colours: FloatArray,
    rng: np.random.Generator,
) -> Float32:
    """(rows, columns, 3) linear light of everything under an even light of 1."""
    out = _table(sheet, rng)
    board = np.asarray(bands @ colours.T.astype(np.float32), np.float32)
    for page in pages:
        paper, toner = ((colours @ b).astype(np.float32) for b in (page.printer.paper_bands, page.printer.toner_bands))
        whole = page.box((0.0, 0.0, *page.page_mm))
        _drop_shadow(out, sheet, whole, shot)
        ink = page.ink(sheet, rng)
        printed = ink[..., None] * (toner - paper)
        printed += paper
        r, c, down, across = sheet.shares(whole)
        cover = down[:, None, None] * across[None, :, None]
        out[r, c] += (printed[r, c] - out[r, c]) * cover
        _window(out, sheet, page, board, map_mm, card_middle_mm=card_middle_mm, shot=shot)
    return out


def _table(sheet: Sheet, rng: np.random.Generator) -> Float32:
    rows, columns = sheet.shape
    small = (rows // 4 + 1, columns // 4 + 1)
    noise = rng.standard_normal(small, dtype=np.float32)
    noise = np.asarray(cv2.GaussianBlur(noise, (0, 0), sigmaX=40.0, sigmaY=2.0), np.float32)
    noise *= np.float32(0.18 / max(1e-9, float(noise.std())))
    tint = TABLE * rng.uniform(0.4, 2.5) * rng.uniform(0.9, 1.1, 3).astype(np.float32)
    table = (1.0 + noise)[..., None] * tint
    return np.asarray(cv2.resize(table, (columns, rows), interpolation=cv2.INTER_LINEAR), np.float32)


def _drop_shadow(out: Float32, sheet: Sheet, whole: tuple[float, float, float, float], shot: Shot) -> None:
    """The page keeps some light from the table round it."""
    a = np.deg2rad(shot.light_towards_deg)
    dx, dy = -1.5 * np.cos(a), -1.5 * np.sin(a)
    mask = np.zeros(sheet.shape, np.uint8)
    r, c, _, _ = sheet.shares((whole[0] + dx, whole[1] + dy, whole[2] + dx, whole[3] + dy))
    mask[r, c] = 255
    small = cv2.resize(mask, (mask.shape[1] // 8 + 1, mask.shape[0] // 8 + 1), interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(small, (0, 0), 1.2 * sheet.px_per_mm / 8.0)
    out *= 1.0 - np.float32(0.5 / 255.0) * cv2.resize(soft, (mask.shape[1], mask.shape[0]))[..., None]


def _window(
    out: Float32,
    sheet: Sheet,
    page: Mat,
    board: Float32,
    map_mm: float,
    *,
    card_middle_mm: tuple[float, float],
    shot: Shot,
) -> None:
    """Cut the window and show the board, shifted and askew, with the shadow of the paper's edge on it."""
    x0, y0, x1, y1 = page.box(page.mat["window_mm"])
    cut = (x0 - shot.cut_mm[0], y0 - shot.cut_mm[1], x1 + shot.cut_mm[2], y1 + shot.cut_mm[3])
    r, c, down, across = sheet.shares(cut)
    if r.stop <= r.start or c.stop <= c.start:
        return
    u = sheet.px_per_mm
    a = np.deg2rad(shot.askew_deg)
    middle = np.array([0.5 * (x0 + x1), 0.5 * (y0 + y1)]) + np.array(shot.shift_mm)
    # pixel of the cut (column i, row j) -> real mm -> board mm -> board pixel
    px = np.array(
        [
            [1.0 / u, 0.0, sheet.x0_mm + (c.start + 0.5) / u],
            [0.0, -1.0 / u, sheet.y1_mm - (r.start + 0.5) / u],
            [0.0, 0.0, 1.0],
        ]
    )
    cos, sin = np.cos(a), np.sin(a)
    to_board = np.array(
        [
            [cos, sin, card_middle_mm[0] - cos * middle[0] - sin * middle[1]],
            [-sin, cos, card_middle_mm[1] + sin * middle[0] - cos * middle[1]],
            [0.0, 0.0, 1.0],
        ]
    )
    to_map = np.array([[1.0 / map_mm, 0.0, -0.5], [0.0, -1.0 / map_mm, board.shape[0] - 0.5], [0.0, 0.0, 1.0]])
    matrix = (to_map @ to_board @ px)[:2]
    blur = 0.35 / (u * map_mm)  # of the map's pixels: no finer than the sheet
    soft = cv2.GaussianBlur(board, (0, 0), blur) if blur > 0.4 else board
    size = (c.stop - c.start, r.stop - r.start)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    part = out[r, c].copy()
    table = np.broadcast_to(TABLE, part.shape).copy()
    wood = cv2.warpAffine(soft, matrix, size, dst=table, flags=flags, borderMode=cv2.BORDER_TRANSPARENT)
    if shot.shade > 0.0:
        wood = wood * _edge_shadow(size, u, shot)[..., None]
    out[r, c] = part + (wood - part) * (down[:, None, None] * across[None, :, None])


def _edge_shadow(size: tuple[int, int], px_per_mm: float, shot: Shot) -> Float32:
    """Light left beside the paper's edge: a thin shadow on the side towards the light, and a little all round."""
    columns, rows = size
    towards = np.deg2rad(shot.light_towards_deg)
    x = (np.arange(columns, dtype=np.float32) + 0.5) / np.float32(px_per_mm)
    y = (np.arange(rows, dtype=np.float32) + 0.5) / np.float32(px_per_mm)
    wide, high = columns / px_per_mm, rows / px_per_mm
    left = np.ones((rows, columns), np.float32)
    sides = (
        (x[None, :], -np.cos(towards)),
        (wide - x[None, :], np.cos(towards)),
        (y[:, None], np.sin(towards)),
        (high - y[:, None], -np.sin(towards)),
    )
    for distance, facing in sides:
        thrown = shot.lift_mm * max(0.0, float(facing)) * 1.5
        edge = 0.5 - 0.5 * np.tanh((distance - thrown) / (0.12 + 0.3 * shot.lift_mm))
        left *= 1.0 - np.float32(shot.shade) * edge * (0.35 + 0.65 * max(0.0, float(facing)))
        left *= 1.0 - np.float32(0.3 * shot.shade) * np.exp(-distance / PAPER_SHADOW_mm)
    return left
