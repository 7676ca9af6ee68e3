"""Spoilt and ordinary photographs at random: refused, or what is wrong carries a flag; and no false alarm.

By hand and in `make check` one glare and one ordinary photograph, of fewer pixels; `make campaign` takes 40 of each kind. Printer
and phone are those of the virtual bench, a test double: none of it is measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from evenburn.core.card.reading import read_photograph
from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.nouns.card import Card
from soaking import CAMPAIGN
from unit.core.card.photographed import card_of, tones_of
from virtual_bench import Board, flat_target

ROUND_mm = 15.0
WRONG_L = 2.5  # beyond what paper, toner and camera shift all patches by together: issue 5, 95th percentile
SEEDS = range(40) if CAMPAIGN else range(1)
KINDS = (
    "glare",
    "shadow",
    "hidden marker",
    "print scale",
    "shaken",
    "defocus",
    "mirrored",
    "overexposed",
    "dark",
    "two mats",
)
LEAST_CAUGHT, MOST_REFUSED, MOST_FLAGGED = 0.95, 0.02, 0.03  # issue 5, and what a bench bears of false alarms


@dataclass(frozen=True, slots=True, kw_only=True)
class Came:
    refused: bool
    flagged: int
    wrong: int  # patches off by more than WRONG_L without a flag


def board_of(card: Card) -> tuple[Board, dict[str, float]]:
    tones = tones_of(card)
    r = ROUND_mm
    boxes = {tuple(v + r for v in p.box_mm): tones[p.id] for p in card.patches}
    for mark in card.corner_marks:
        boxes[tuple(v + r for v in mark.box_mm)] = 35.0
        if mark.hole_mm is not None:
            boxes[tuple(v + r for v in mark.hole_mm)] = 80.0
    size = (card.size_mm[0] + 2.0 * r, card.size_mm[1] + 2.0 * r)
    return flat_target(boxes, size, warmth=0.8), tones  # type: ignore[arg-type]


def document(card: Card) -> dict[str, Any]:
    mat = card.mat
    return {
        "page": mat.page,
        "page_mm": mat.page_mm,
        "window_mm": mat.window_mm,
        "markers": [{"id": m.id, "dictionary": m.dictionary, "corners_mm": m.corners_mm} for m in mat.markers],
        "grey_steps": [{"box_mm": s.box_mm, "nominal_L": s.nominal_L} for s in mat.grey_steps],
        "scale_bar_mm": mat.scale_bar_mm,
    }


def spoilt(kind: str, card: Card, rng: np.random.Generator) -> dict[str, Any]:
    x0, y0, x1, y1 = card.mat.window_mm
    place = (rng.uniform(x0 + 6.0, x1 - 6.0), rng.uniform(y0 + 6.0, y1 - 6.0))
    match kind:
        case "glare":
            return {"glare": (*place, rng.uniform(4.0, 30.0), np.exp(rng.uniform(np.log(0.05), np.log(0.9))))}
        case "shadow":
            return {"shadow": (*place, rng.uniform(0.0, 360.0), rng.uniform(0.4, 0.8))}
        case "hidden marker":
            return {"hidden_marker": int(rng.integers(len(card.mat.markers)))}
        case "print scale":
            return {"print_scale": float(rng.choice([0.94, 0.97, 1.05]))}
        case "shaken":
            return {"motion_px": rng.uniform(15.0, 45.0)}
        case "defocus":
            return {"defocus_px": rng.uniform(9.0, 25.0)}
        case "mirrored":
            return {"mirrored": True}
        case "overexposed":
            return {"exposure": rng.uniform(1.3, 2.5)}
        case "dark":
            return {"exposure": rng.uniform(0.02, 0.08)}
        case "two mats":
            return {"second_mat": True}
    return {}


def beyond_shared(off: NDArray[np.float64], truth: NDArray[np.float64]) -> NDArray[np.float64]:
    """What is left of deviations after a robust offset and gain."""
    terms = np.column_stack([np.ones_like(truth), truth - 50.0])
    weight = np.ones_like(truth)
    left = off
    for _ in range(10):
        root = np.sqrt(weight)[:, None]
        solved, *_ = np.linalg.lstsq(terms * root, off * root[:, 0], rcond=None)
        left = off - terms @ solved
        sd = 1.4826 * float(np.median(np.abs(left))) + 0.1
        weight = np.clip(1.0 - np.square(left / (4.0 * sd)), 0.0, 1.0) ** 2 + 1e-6
    return left


def came_of(kind: str, *, seed: int) -> Came:
    card = card_of()
    board, tones = board_of(card)
    changes = spoilt(kind, card, np.random.default_rng([seed, 5]))
    if not CAMPAIGN:
        changes["size_px"] = (2400, 1800)
    photo = board.photograph(document(card), seed=9000 + seed, **changes)
    try:
        read = read_photograph(photo.as_read(), card)
    except PhotographRefused:
        return Came(refused=True, flagged=0, wrong=0)
    truth = np.array([tones[p.patch.id] for p in read.patches])
    off = np.array([p.tone_L for p in read.patches]) - truth
    flagged = np.array([bool(p.flags) for p in read.patches])
    wrong = (np.abs(beyond_shared(off, truth)) > WRONG_L) & ~flagged
    return Came(refused=False, flagged=int(flagged.sum()), wrong=int(wrong.sum()))


@pytest.mark.parametrize("kind", KINDS if CAMPAIGN else KINDS[:1])
def test_spoilt_photographs_never_tell_a_wrong_number_without_a_flag(kind: str) -> None:
    came = [came_of(kind, seed=seed) for seed in SEEDS]

    assert np.mean([c.refused or c.wrong == 0 for c in came]) >= LEAST_CAUGHT
    if kind == "glare":
        assert any(c.refused or c.flagged for c in came)
    elif kind not in ("shaken", "defocus"):
        assert np.mean([c.refused for c in came]) >= LEAST_CAUGHT


def test_ordinary_photographs_are_hardly_ever_doubted() -> None:
    came = [came_of("ordinary", seed=seed) for seed in SEEDS]

    assert np.mean([c.refused for c in came]) <= MOST_REFUSED
    assert np.mean([c.flagged for c in came if not c.refused]) <= MOST_FLAGGED * 60
    assert sum(c.wrong for c in came) == 0
