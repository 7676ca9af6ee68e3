"""Wishes for the recipe search, at hand to be changed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from evenburn.core.art.detail import Widths
from evenburn.core.art.ink import InkProfile
from evenburn.core.nouns.mark import Axis, Hold
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.planning.wish import Wish
from unit.core.examples import CURVE, LENS, machine

AXES: tuple[Axis, ...] = ("x", "y")

# a slow bench keeps the loops of `brute` short
BENCH = machine(speed_max_mm_per_s=160.0)

WISH = Wish(
    machine=BENCH,
    lens=LENS,
    beam=beam_of_lens(LENS),
    curve=CURVE,
    tone_L=40.0,
    faint_L=None,
    profiles={
        "x": InkProfile(axis="x", hull_mm2=3000.0, rows_mm=40.0, wander_mm=60.0),
        "y": InkProfile(axis="y", hull_mm2=2600.0, rows_mm=90.0, wander_mm=80.0),
    },
    room_mm={"x": (100.0, 120.0), "y": (80.0, 90.0)},
    widths=Widths(stroke_mm=0.6, gap_mm=0.5),
    unevenness_mm=0.0,
    sharpness_mm=0.3,
    reading_distance_mm=300.0,
    hold=Hold(),
)


def wish(**changes: Any) -> Wish:
    """Return the wish with some of it changed."""
    return replace(WISH, **changes)
