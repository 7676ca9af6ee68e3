"""A piece planned, burnt and photographed on the virtual bench, for tests of `compare`: a test double, nothing measured."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from evenburn.adapters.formats.card_json import card_document
from evenburn.adapters.formats.json_file import write_json
from evenburn.adapters.formats.plan_read import read_plan
from evenburn.services.plan_batch import plan_batch
from service.conftest import MACHINE
from unit.core.card.photographed import card_of
from virtual_bench import Bench, Board, Job, Photo
from virtual_bench.colour import L_of

BOARD_mm, AT_mm = (150.0, 110.0), (200.0, 150.0)
ART_AT_mm = (45.0, 35.0)
CORNERS = [(0, 40), (8, 2), (20, 2), (20, 24), (34, 24), (34, 0), (60, 12), (60, 40), (44, 40), (40, 32), (28, 40)]
BATCH = """
name = "Regatta prizes"
machine = "machine.toml"
lens = "2 inch"
[[piece]]
id = "oar"
wood = "hard-maple"
blank = { shape = "rectangle", size_mm = [150.0, 110.0], thickness_mm = 12.0, unevenness_mm = 0.2 }
place_bed_mm = [200.0, 150.0]
[[piece.mark]]
id = "front"
art = "front.svg"
treatment = "solid"
tone_L = 45.0
place_mm = [45.0, 35.0]
size_mm = [60.0, 40.0]
[[piece.mark]]
id = "reeds"
art = "reeds.svg"
treatment = "solid"
tone_L = 45.0
place_mm = [45.0, 80.0]
size_mm = [24.0, 6.0]
[[piece.mark]]
id = "edge"
art = "front.svg"
treatment = "line"
tone_L = 45.0
place_mm = [5.0, 5.0]
size_mm = [12.0, 8.0]
"""
REEDS = "".join(f'<rect x="{3 * n}" y="0" width="1" height="6"/>' for n in range(8))


@dataclass(frozen=True, slots=True, kw_only=True)
class Finished:
    """A piece as it lies there: folder of its plan, its board, a photograph of it, and the file of the card's mat."""

    folder: Path
    board: Board
    photo: Photo
    photo_file: Path
    card_file: Path

    @property
    def plan_file(self) -> Path:
        return self.folder / "out" / "plan.json"

    def true_tone_L(self, *, edge_mm: float) -> float:
        """L* of the mean luminance inside the drawn ink, so much of its edge left out; from the drawing, not the plan."""
        u = 1.0 / self.board.map_mm
        x, y = ART_AT_mm
        corners = np.array([((x + a) * u, (BOARD_mm[1] - y - 40.0 + b) * u) for a, b in CORNERS])
        ink = cv2.fillPoly(np.zeros(self.board.luminance.shape, np.uint8), [np.rint(corners).astype(np.int32)], 1)
        deep = cv2.distanceTransform(ink, cv2.DIST_L2, cv2.DIST_MASK_PRECISE) / u >= edge_mm
        return float(L_of(float(self.board.luminance[deep].mean())))


def write_batch(folder: Path) -> Path:
    """Write the batch folder and plan it."""
    batch = folder / "batch"
    batch.mkdir(parents=True)
    (batch / "machine.toml").write_text(MACHINE)
    (batch / "batch.toml").write_text(BATCH)
    path = "M" + " L".join(f"{x} {y}" for x, y in CORNERS) + " Z"
    for name, size, body in (("front", (60, 40), f'<path d="{path}"/>'), ("reeds", (24, 6), REEDS)):
        head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{size[0]}mm" height="{size[1]}mm" viewBox="0 0 {size[0]} {size[1]}">'
        (batch / f"{name}.svg").write_text(f"{head}{body}</svg>")
    plan_batch(batch, to=folder / "out", date="2026-06-09")
    return folder


def burnt(folder: Path, *, seed: int = 7, board: int = 3) -> Board:
    """Burn the planned marks on a board of the virtual bench."""
    plan = read_plan(folder / "out" / "plan.json", name="plan.json")
    jobs = [
        Job(text=(folder / "out" / str(m.files.program)).read_text(), focus_offset_mm=m.recipe.focus_offset_mm)
        for m in plan.pieces[0].marks
        if m.files.program
    ]
    return Bench(seed, "hard-maple").burn(jobs, BOARD_mm, AT_mm, board=board)


@cache
def mat_document() -> dict[str, Any]:
    """A wood card's document, whose mat is laid over the piece."""
    return card_document(card_of())


def finished(folder: Path, **shot: Any) -> Finished:
    """Plan, burn and photograph the piece."""
    write_batch(folder)
    board = burnt(folder)
    photo = board.photograph(
        mat_document()["mat"], card_middle_mm=(74.0, 60.0), **{"seed": 3, "size_px": (2000, 1500), **shot}
    )
    write_json(folder / "card.json", mat_document())
    return Finished(
        folder=folder,
        board=board,
        photo=photo,
        photo_file=photo.save_jpeg(folder / "oar.jpg"),
        card_file=folder / "card.json",
    )
