"""Ordinary photographs of burnt cards of every wood on the virtual bench, at random.

By hand and in `make check` two of them; `make campaign` takes PHOTOGRAPHS.
`python tests/property/test_ordinary_photographs.py 0 15` (with tests/ on PYTHONPATH) prints the first fifteen.

What no reader can do here: with the bench's own equations and ranges for printer and phone put into `light_scale` instead of
its own, 60 photographs came out at a median of 1.3 L* and a 95th percentile of 4.5 with paper and toner unknown. An even
bend of the phone's curve and a darker toner look alike. So what is held here is the part that a photograph does tell.
"""

from __future__ import annotations

import resource
import sys
import time
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenburn.adapters.formats.card_json import card_document
from evenburn.core.card.reading import read_photograph
from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.nouns.card import Box, Card
from soaking import CAMPAIGN
from unit.core.card.photographed import card_of
from virtual_bench import WOODS, Bench, Board, program, raster

FloatArray = NDArray[np.float64]
ROUND_mm, AT_mm = 15.0, 20.0  # of wood round the card; the card's corner on the bed
MARK_W, MARK_mm_per_s = 20.0, 100.0
GAIN_AND_OFFSET_OUT_L = 0.8  # issue 5, 95 %
MOST_REFUSED = 0.05
PEAK_MB = 800.0
EDGE_mm = 0.8
MOST_FLAGGED = 0.03
PHOTOGRAPHS = 40 if CAMPAIGN else 2
FIRST_SEED = 400  # none that anything was chosen on


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """One photograph: off with paper and toner unknown, off when told, stated sd, truth, seconds."""

    off_L: FloatArray
    told_off_L: FloatArray
    sd_L: FloatArray
    true_L: FloatArray
    flagged: int
    took_s: float


@cache
def burnt(wood: str) -> tuple[Card, Board]:
    """A card with sixty doses, evenly apart in their logarithm and mixed, on one board of a wood."""
    bench = Bench(40 + list(WOODS).index(wood), wood)
    card = card_of()
    doses = np.random.default_rng(5).permutation(np.geomspace(0.25, 5.0, len(card.patches)))
    patches, body = [], []

    def burn(box: Box, power_W: float, speed: float) -> list[str]:
        moved = (box[0] + AT_mm, box[1] + AT_mm, box[2] + AT_mm, box[3] + AT_mm)
        word = bench.machine.word_for_W(power_W)
        return raster(moved, word=word, speed_mm_per_s=speed, line_spacing_mm=0.1)

    for n, (p, dose) in enumerate(zip(card.patches, doses, strict=True)):
        speed = (80.0, 160.0, 320.0)[n % 3]
        while dose * speed * 0.1 > 55.0:
            speed /= 2.0
        while dose * speed * 0.1 < 5.0:
            speed *= 2.0
        power_W = float(dose * speed * 0.1)
        patches.append(replace(p, power_W=power_W, speed_mm_per_s=speed, line_spacing_mm=0.1))
        body += burn(p.box_mm, power_W, speed)
    for mark in card.corner_marks:
        x0, y0, x1, y1 = mark.box_mm
        parts: list[Box] = [mark.box_mm]
        if mark.hole_mm is not None:
            a0, b0, a1, b1 = mark.hole_mm
            parts = [(x0, y0, x1, b0), (x0, b1, x1, y1), (x0, b0, a0, b1), (a1, b0, x1, b1)]
        for part in parts:
            body += burn(part, MARK_W, MARK_mm_per_s)
    size = (card.size_mm[0] + 2.0 * ROUND_mm, card.size_mm[1] + 2.0 * ROUND_mm)
    board = bench.burn(program(body), size, (AT_mm - ROUND_mm, AT_mm - ROUND_mm), focus_offset_mm=2.5, board=1)
    return replace(card, wood_id=wood, patches=tuple(patches)), board


def photographed(seed: int) -> Read | PhotographRefused:
    """Photograph the card of a wood and read it, once blind and once told."""
    card, board = burnt(list(WOODS)[seed % len(WOODS)])
    photo = board.photograph(card_document(card)["mat"], seed=seed)
    picture = photo.as_read()
    true = np.array([board.tone_L(_on_board(p.box_mm), edge_mm=EDGE_mm) for p in card.patches])
    start = time.perf_counter()
    try:
        blind = read_photograph(picture, card)
        took = time.perf_counter() - start
        told = read_photograph(picture, card, paper_L=photo.printer.paper_L, toner_L=photo.printer.toner_L)
    except PhotographRefused as refused:
        return refused
    off, told_off = (np.array([p.tone_L for p in r.patches]) - true for r in (blind, told))
    sd = np.array([p.tone_L_sd for p in blind.patches])
    flagged = sum(bool(p.flags) for p in blind.patches)
    return Read(off_L=off, told_off_L=told_off, sd_L=sd, true_L=true, flagged=flagged, took_s=took)


def _on_board(box: Box) -> Box:
    return box[0] + ROUND_mm, box[1] + ROUND_mm, box[2] + ROUND_mm, box[3] + ROUND_mm


def gain_and_offset_out(read: Read) -> FloatArray:
    line = np.column_stack([np.ones(read.off_L.size), read.true_L])
    return np.asarray(read.off_L - line @ np.linalg.lstsq(line, read.off_L, rcond=None)[0])


def figures(found: list[Read]) -> dict[str, float]:
    """What issue 5 asks after: medians and 95th percentiles over all patches of all photographs."""
    blind, told = (np.abs(np.concatenate(a)) for a in ([r.off_L for r in found], [r.told_off_L for r in found]))
    left = np.abs(np.concatenate([gain_and_offset_out(r) for r in found]))
    within = np.concatenate([np.abs(r.off_L) < 2.0 * r.sd_L for r in found])
    return {
        "blind_median_L": float(np.median(blind)),
        "blind_95_L": float(np.quantile(blind, 0.95)),
        "told_median_L": float(np.median(told)),
        "told_95_L": float(np.quantile(told, 0.95)),
        "gain_and_offset_out_95_L": float(np.quantile(left, 0.95)),
        "within_two_sd": float(within.mean()),
        "flagged_share": sum(r.flagged for r in found) / blind.size,
        "slowest_s": max(r.took_s for r in found),
    }


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")


def campaign(first: int, last: int) -> tuple[list[Read], list[PhotographRefused]]:
    """Read photographs and say what came of each."""
    found: list[Read] = []
    refused: list[PhotographRefused] = []
    for seed in range(first, last):
        one: Any = photographed(seed)
        wood = list(WOODS)[seed % len(WOODS)]
        if isinstance(one, Read):
            found.append(one)
            _say(
                f"{seed:3d} {wood:14s} {one.took_s:.1f} s  blind {np.median(np.abs(one.off_L)):.2f} "
                f"{np.quantile(np.abs(one.off_L), 0.95):.2f}  told {np.median(np.abs(one.told_off_L)):.2f}  "
                f"sd {np.median(one.sd_L):.2f}  {one.flagged} flagged"
            )
        else:
            refused.append(one)
            _say(f"{seed:3d} {wood:14s} refused {one.code}: {one.text}")
    return found, refused


def test_ordinary_photographs_are_read() -> None:
    found, refused = campaign(FIRST_SEED, FIRST_SEED + PHOTOGRAPHS)
    told = figures(found)
    _say(str(told))
    assert len(refused) <= MOST_REFUSED * PHOTOGRAPHS
    assert told["gain_and_offset_out_95_L"] <= GAIN_AND_OFFSET_OUT_L
    assert told["flagged_share"] <= MOST_FLAGGED
    if CAMPAIGN:  # of two photographs these say nothing
        assert told["told_median_L"] <= 1.0
        assert told["within_two_sd"] >= 0.85  # issue 5


if __name__ == "__main__":
    read, left_out = campaign(int(sys.argv[1]), int(sys.argv[2]))
    _say(f"{figures(read)} {len(left_out)} refused")
    _say(f"peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB, the bench's own pictures included")
