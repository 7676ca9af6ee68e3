"""Figures of what is planned: run-up, the narrowest stroke, the recipe search."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy.special import erf

from evenburn.core.art.detail import narrowest_kept_mm
from evenburn.core.motion.profile import run_up_mm, time_to_speed_s
from evenburn.core.optics.beam import beam_of_lens, beam_radius_mm
from evenburn.core.planning.candidates import CONSTRAINTS, SPACINGS_mm, offsets_mm
from evenburn.core.planning.recipe import search
from figures.bench import bench, demo_wish
from figures.paper import DEED, INK2, NB, RULE, RULE2, TICK, FloatArray, Paper, Plot

SHORT = {
    "detail": "D",
    "sharpness": "S",
    "banding": "B",
    "warp": "W",
    "known range": "K",
    "photo range": "F",
    "char": "C",
    "tone": "T",
    "run-up": "R",
    "power": "P",
}


def motion() -> Paper:
    """One scan line with its run-up, and how far the run-up is."""
    machine = bench().machine
    paper = Paper(
        760,
        330,
        "A scan line and its run-up",
        "Left: speed over place along one line of 60 mm at 300 mm/s, with and without limited jerk. Right: run-up against speed "
        "for the axes of the demo's bench.",
    )
    speed, jerk = 300.0, machine.jerk_mm_per_s3
    ways = (("x", machine.accel_x_mm_per_s2), ("y", machine.accel_y_mm_per_s2))
    left = Plot(paper, 54, 48, 290, 222, (-20.0, 80.0), (0.0, 400.0))
    left.axes("along the line, mm", "speed, mm/s", x_ticks=(0, 20, 40, 60), y_ticks=(0, 100, 200, 300, 400))
    burn = (left.place(0.0, 0.0), left.place(60.0, 300.0))
    paper.box(burn[0][0], burn[1][1], burn[1][0] - burn[0][0], burn[0][1] - burn[1][1], fill="#EAD3A9")
    left.say(30.0, 150, "burns", dx=0, anchor=0.5)
    for limit, dash, width in ((None, "4 3", 1.0), (jerk, "", 2.0)):
        place, reached = ramp(speed, accel_mm_per_s2=ways[0][1], jerk_mm_per_s3=limit)
        line = np.concatenate([place - place[-1], 60.0 + place[-1] - place[::-1]])
        left.draw(line, np.concatenate([reached, reached[::-1]]), dash=dash, width=width)
        need = float(run_up_mm(speed, accel_mm_per_s2=ways[0][1], jerk_mm_per_s3=limit))
        left.say(
            -19.0,
            372 if limit is None else 400,
            f"{'without' if limit is None else 'with'} jerk limit: {need:.1f}{NB}mm of run-up",
            dx=0,
            dy=10,
        )
    right = Plot(paper, 430, 48, 230, 222, (0.0, 600.0), (0.0, 75.0))
    right.axes("speed, mm/s", "run-up, mm", x_ticks=(0, 200, 400, 600), y_ticks=(0, 25, 50, 75))
    speeds = np.linspace(0.0, 600.0, 121)
    for name, accel in ways:
        for limit, dash, width in ((None, "4 3", 1.0), (jerk, "", 2.0)):
            need = run_up_mm(speeds, accel_mm_per_s2=accel, jerk_mm_per_s3=limit)
            right.draw(speeds, need, dash=dash, width=width)
            right.say(
                600.0,
                float(need[-1]),
                f"{name}, {'v²/2a' if limit is None else 'limited jerk'}",
                dy=4.5 + (6 if name == "x" and limit is None else 0) - (2 if name == "y" and limit is None else 0),
            )
    return paper


def ramp(
    speed_mm_per_s: float, *, accel_mm_per_s2: float, jerk_mm_per_s3: float | None
) -> tuple[FloatArray, FloatArray]:
    """Return place [mm] and speed [mm/s] on the way from rest to a speed, by stepping through the acceleration."""
    whole_s = float(time_to_speed_s(speed_mm_per_s, accel_mm_per_s2=accel_mm_per_s2, jerk_mm_per_s3=jerk_mm_per_s3))
    time = np.linspace(0.0, whole_s, 241)
    if jerk_mm_per_s3 is None:
        accel = np.full(time.shape, accel_mm_per_s2)
    else:
        accel = np.minimum(accel_mm_per_s2, jerk_mm_per_s3 * np.minimum(time, whole_s - time))
    step = whole_s / 240.0
    reached = np.concatenate([[0.0], np.cumsum(0.5 * (accel[1:] + accel[:-1]) * step)])
    place = np.concatenate([[0.0], np.cumsum(0.5 * (reached[1:] + reached[:-1]) * step)])
    return place, reached


def detail() -> Paper:
    """Dose in the middle of strokes and gaps, and the narrowest that is kept."""
    paper = Paper(
        760,
        330,
        "The narrowest stroke and gap",
        "Left: dose in the middle of a stroke and of a gap against its width over the beam radius. Right: narrowest stroke and gap "
        "kept against focus offset for three line spacings on the demo's bench.",
    )
    share = 0.6
    left = Plot(paper, 54, 48, 280, 222, (0.0, 2.5), (0.0, 1.0))
    left.axes(
        "width over beam radius",
        "dose in the middle over that of a wide area",
        x_ticks=(0, 0.5, 1, 1.5, 2, 2.5),
        y_ticks=(0, 0.25, 0.5, 0.75, 1),
    )
    width = np.linspace(0.0, 2.5, 121)
    left.draw(width, erf(width / math.sqrt(2.0)), width=2.0)
    left.draw(width, 1.0 - erf(width / math.sqrt(2.0)), width=2.0, dash="7 4")
    left.say(1.75, 0.95, "stroke", dx=0, dy=22)
    left.say(1.45, 0.12, "gap", dx=14, dy=-6)
    left.draw(np.array([0.0, 2.5]), np.array([share, share]), ink=DEED, width=1.0, dash="2 3")
    left.say(2.5, share, "half of the tone, f = 0.6", dx=0, dy=-6, anchor=1.0, ink=DEED)
    kept = float(
        narrowest_kept_mm(beam_radius_mm=1.0, smear_mm=0.0, line_spacing_mm=0.0, half_tone_dose_fraction=share)
    )
    left.dot(kept, share)
    left.say(kept, share, f"{kept:.2f}{NB}w", dx=8, dy=16)
    right = Plot(paper, 440, 48, 210, 222, (0.0, 3.0), (0.0, 0.4))
    right.axes("focus offset, mm", "narrowest kept, mm", x_ticks=(0, 1, 2, 3), y_ticks=(0, 0.1, 0.2, 0.3, 0.4))
    offsets = np.linspace(0.0, 3.0, 61)
    radii = beam_radius_mm(beam_of_lens(bench().lens), offset_mm=offsets)
    for spacing in (0.06, 0.10, 0.16):
        narrowest = narrowest_kept_mm(
            beam_radius_mm=radii,
            smear_mm=300.0 * bench().machine.rise_time_s,
            line_spacing_mm=spacing,
            half_tone_dose_fraction=share,
        )
        right.draw(offsets, narrowest, width=2.0)
        inside = int(np.flatnonzero(narrowest <= 0.4)[-1])
        at, value = float(offsets[inside]), float(narrowest[inside])
        right.say(at, value, f"{spacing:.2f}{NB}mm apart" if spacing == 0.10 else f"{spacing:.2f}", dx=5)
    right.draw(np.array([0.0, 3.0]), np.array([0.25, 0.25]), ink=DEED, width=1.0, dash="2 3")
    right.say(0.0, 0.25, "wished, 0.25", dx=8, dy=-6, ink=DEED)
    return paper


def recipe() -> Paper:
    """Least time for each line spacing and focus offset, or what gives way there."""
    wish = demo_wish("mixed-eights", "front")
    offsets = [float(z) for z in offsets_mm(wish.beam) if z <= 4.0]
    best = search(wish)
    cell, high, left, top = 43.0, 25.0, 84.0, 74.0
    paper = Paper(
        left + cell * len(SPACINGS_mm) + 22,
        top + high * len(offsets) + 62,
        "What the recipe search finds",
        "Least time in minutes for each line spacing and focus offset of the demo's mixed eights plaque, or the constraint that "
        "gives way there; the recipe taken is framed.",
    )
    paper.text(
        14,
        26,
        "least time, min, of the mark on the mixed eights plaque; speed, passes, scan axis and power are free",
        ink=INK2,
    )
    paper.text(14, top - 12, "offset, mm", size=TICK, ink=INK2)
    for i, spacing in enumerate(SPACINGS_mm):
        paper.text(left + cell * (i + 0.5), top - 12, f"{spacing:.2f}", size=TICK, anchor=0.5, ink=INK2)
    paper.text(left, top - 30, "line spacing, mm", size=TICK, ink=INK2)
    met: set[str] = set()
    for j, offset in enumerate(offsets):
        middle = top + high * j + 17
        paper.text(left - 12, middle, f"+{offset:.1f}", size=TICK, anchor=1.0, ink=INK2)
        paper.path([(14, top + high * j), (left + cell * len(SPACINGS_mm), top + high * j)], ink=RULE, width=1.0)
        for i, spacing in enumerate(SPACINGS_mm):
            held = replace(wish.hold, line_spacing_mm=float(spacing), focus_offset_mm=offset)
            found = search(replace(wish, hold=held))
            at = left + cell * (i + 0.5)
            if found.gave_way:
                worst = max(found.gave_way, key=CONSTRAINTS.index)
                met.add(worst)
                paper.text(at, middle, SHORT[worst], size=TICK, anchor=0.5, ink=RULE2)
            else:
                paper.text(at, middle, f"{found.time_s / 60.0:.1f}", size=TICK, anchor=0.5, bold=True)
            if (float(spacing), offset) == (best.line_spacing_mm, best.focus_offset_mm):
                paper.box(left + cell * i + 2, top + high * j + 1.5, cell - 4, high - 3, fill="none", edge=DEED)
    told = ", ".join(f"{SHORT[name]} {name}" for name in CONSTRAINTS if name in met)
    foot = top + high * len(offsets)
    paper.path([(14, foot), (left + cell * len(SPACINGS_mm), foot)], ink=RULE2, width=1.0)
    paper.text(14, foot + 24, f"a letter names the worst that gives way there: {told}", ink=INK2)
    paper.text(
        14,
        foot + 46,
        f"taken: {best.speed_mm_per_s:.0f}{NB}mm/s along {best.axis}, {best.passes} pass{'es' if best.passes > 1 else ''}, "
        f"{best.line_spacing_mm:.2f}{NB}mm, +{best.focus_offset_mm:.1f}{NB}mm; its events then give the time that is shown",
        ink=DEED,
    )
    return paper
