"""Figures of the light and what it does: dose across lines, characteristic curve, banding, an edge."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from evenburn.core.motion.raster import raster_events
from evenburn.core.nouns.machine import Machine
from evenburn.core.optics.lines import ripple_factor, ripple_modulation
from evenburn.core.planning.wide_area import banding_L
from evenburn.core.proof.dose import DoseGrid, collect, dose_map_J_per_mm2
from evenburn.core.response.curve import exposure_for_tone, tone_L, tone_sd_L, usable_range
from evenburn.core.tone.colour import lightness_L, luminance
from evenburn.core.tone.vision import (
    PEAK_CONTRAST_SENSITIVITY,
    contrast_sensitivity,
    cycles_per_degree,
    unseen_banding_L,
)
from figures.bench import bench, demo_wish, radius
from figures.paper import DEED, INK, INK2, NB, STOP, FloatArray, Paper, Plot

BURNT = (
    (86, "#EAD3A9"),
    (76, "#D8B585"),
    (63, "#BD8F5C"),
    (48, "#98693D"),
    (34, "#704827"),
    (22, "#4A2D18"),
    (11, "#2A190F"),
)


def exposure() -> Paper:
    """Dose across the lines at three focus offsets, and its modulation against spacing over radius."""
    paper = Paper(
        760,
        330,
        "Dose across scan lines",
        "Left: dose over mean dose across lines 0.1 mm apart, at focus offsets of 0, 1 and 2 mm, for the demo's 2 inch lens. "
        "Right: modulation of the dose against line spacing over beam radius.",
    )
    left = Plot(paper, 54, 48, 250, 222, (0.0, 0.3), (0.8, 1.2))
    left.axes(
        "across the lines, mm",
        "dose over mean dose; lines 0.1 mm apart",
        x_ticks=(0, 0.1, 0.2, 0.3),
        y_ticks=(0.8, 0.9, 1, 1.1, 1.2),
    )
    across = np.linspace(0.0, 0.3, 241)
    for offset, width in ((0.0, 1.5), (1.0, 2.0), (2.0, 2.5)):
        dose = ripple_factor(beam_radius_mm=radius(offset), line_spacing_mm=0.1, phase=across / 0.1)
        left.draw(across, dose, width=width)
        spread = 100.0 * ripple_modulation(beam_radius_mm=radius(offset), line_spacing_mm=0.1)
        left.say(
            0.3, float(dose[-1]), f"{offset:.0f}{NB}mm, ±{NB}{spread:.2g}{NB}%", dy=4.5 + (5 if offset == 2.0 else -3)
        )
    right = Plot(paper, 470, 48, 270, 222, (0.5, 4.0), (1e-3, 1.0), log_y=True)
    right.axes(
        "line spacing over beam radius, p/w",
        "modulation (max − min)/(max + min)",
        x_ticks=(0.5, 1, 2, 3, 4),
        y_ticks=(0.001, 0.01, 0.1, 1),
    )
    ratio = np.linspace(0.5, 4.0, 211)
    exact = np.array([ripple_modulation(beam_radius_mm=1.0, line_spacing_mm=float(r)) for r in ratio])
    right.draw(ratio, 2.0 * np.exp(-0.5 * (math.pi / ratio) ** 2), ink=INK2, width=1.0, dash="4 3")
    right.draw(ratio, exact, width=2.0)
    right.say(4.0, 0.45, "dashed: leading term", dx=0, anchor=1.0, ink=INK2)
    for offset in (0.0, 1.0):
        at = 0.1 / radius(offset)
        value = ripple_modulation(beam_radius_mm=radius(offset), line_spacing_mm=0.1)
        right.dot(at, value)
        right.say(at, value, f"0.1{NB}mm apart, {offset:.0f}{NB}mm off", dx=10, dy=19)
    return paper


def curve() -> Paper:
    """The starting value of hard maple, with what is not known of it."""
    wood = next(w for w in bench().woods.values() if w.id == "hard-maple")
    paper = Paper(
        760,
        390,
        "Characteristic curve of hard maple, a starting value",
        "Tone in L* against dose at a dwell of 1 ms, with one standard deviation of what a person will meet, the char limit and "
        "the dose that gives L* 38.",
    )
    plot = Plot(paper, 84, 48, 600, 282, (0.06, 3.0), (10, 95), log_x=True)
    plot.axes("dose at a dwell of 1 ms, J/mm²", "", x_ticks=(0.1, 0.2, 0.5, 1, 2), y_ticks=(20, 40, 60, 80))
    paper.text(38, 34, "tone, L*", ink=INK2)
    for level in range(10, 95):  # the axis carries the tones themselves
        low, high = plot.place(0.06, level), plot.place(0.06, level + 1)
        paper.box(low[0] - 46, high[1], 14, low[1] - high[1] + 0.4, fill=burnt(level + 0.5))
    x = np.log10(np.geomspace(0.06, 3.0, 201))
    tone = tone_L(wood.curve, x)
    low_x, high_x = usable_range(wood.curve)
    within = (x >= low_x) & (x <= high_x)
    spread = np.array([tone_sd_L(wood.curve, log10_dose=float(v), dwell_ms=1.0) for v in x[within]])
    upper = [plot.place(10.0**a, b) for a, b in zip(x[within], np.minimum(tone[within] + spread, 95.0), strict=True)]
    lower = [plot.place(10.0**a, b) for a, b in zip(x[within], tone[within] - spread, strict=True)]
    paper.path([*upper, *lower[::-1]], fill=INK)
    plot.draw(10.0 ** x[within], tone[within], width=2.5)
    plot.draw(10.0 ** x[~within & (x < low_x)], tone[~within & (x < low_x)], ink=INK2, dash="4 3")
    plot.draw(10.0 ** x[~within & (x > high_x)], tone[~within & (x > high_x)], ink=INK2, dash="4 3")
    char = 10.0**wood.curve.x_char
    plot.draw(np.array([char, char]), np.array([10.0, 95.0]), ink=STOP, width=1.0)
    plot.say(char, 91, "char limit", ink=STOP)
    dose = 10.0 ** exposure_for_tone(wood.curve, 38.0)
    plot.draw(np.array([0.06, dose, dose]), np.array([38.0, 38.0, 10.0]), ink=DEED, width=1.0, dash="2 3")
    plot.say(0.065, 38, f"L*{NB}38 wished", dx=0, dy=-6, ink=DEED)
    plot.say(dose, 12, f"{dose:.2f}{NB}J/mm²", dx=-6, anchor=1.0, ink=DEED)
    plot.say(0.07, 64, "band: ± one standard deviation of what you meet", dx=0, ink=INK2)
    plot.say(3.0, 20, "dashed: not predicted", dx=-6, dy=-14, anchor=1.0, ink=INK2)
    return paper


def burnt(level: float) -> str:
    """Return the colour of a tone on the exposure scale."""
    levels = np.array([v for v, _ in BURNT[::-1]], dtype=np.float64)
    channels = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] for _, c in BURNT[::-1]], dtype=np.float64)
    return "#" + "".join(f"{round(float(np.interp(level, levels, channels[:, k]))):02X}" for k in range(3))


def banding() -> Paper:
    """What goes unseen, and what a recipe leaves."""
    wish = demo_wish("mixed-eights", "front")
    paper = Paper(
        760,
        330,
        "Banding: what is seen and what there is",
        "Left: least visible peak to valley against line spacing at 300 mm and 1000 mm, with and without the ceiling of 1 L*. "
        "Right: predicted banding of hard maple at L* 38 against focus offset for four line spacings.",
    )
    left = Plot(paper, 54, 48, 270, 222, (0.04, 1.0), (0.1, 10.0), log_x=True, log_y=True)
    left.axes(
        "line spacing, mm",
        "least banding seen from a distance, L*",
        x_ticks=(0.05, 0.1, 0.2, 0.5, 1),
        y_ticks=(0.1, 0.3, 1, 3, 10),
    )
    period = np.geomspace(0.04, 1.0, 161)
    for distance, at in ((300.0, 0.128), (1000.0, 0.42)):
        seen = contrast_sensitivity(cycles_per_degree(period_mm=period, distance_mm=distance))
        contrast = np.minimum(0.5, 1.0 / (PEAK_CONTRAST_SENSITIVITY * np.maximum(seen, 1e-6)))
        mean = luminance(38.0)
        eye = lightness_L(mean * (1.0 + contrast)) - lightness_L(mean * (1.0 - contrast))
        left.draw(period, eye, ink=INK2, width=1.0, dash="4 3")
        left.draw(period, unseen_banding_L(tone=38.0, period_mm=period, distance_mm=distance), width=2.0)
        left.say(at, 5.0, f"{distance:.0f}{NB}mm", dx=0, ink=INK2)
    left.say(0.042, 1.0, f"ceiling, 1{NB}L*", dx=0, dy=18)
    right = Plot(paper, 440, 48, 210, 222, (0.0, 3.0), (0.1, 30.0), log_y=True)
    right.axes(
        "focus offset, mm",
        f"banding of hard maple at L*{NB}38, L*",
        x_ticks=(0, 1, 2, 3),
        y_ticks=(0.1, 0.3, 1, 3, 10, 30),
    )
    offsets = np.linspace(0.0, 3.0, 121)
    for spacing in (0.08, 0.10, 0.12, 0.16):
        left_over = np.array([banding_L(wish, focus_offset_mm=float(z), line_spacing_mm=spacing) for z in offsets])
        right.draw(offsets, left_over, width=2.0)
        if spacing < 0.16:
            right.say(0.0, float(left_over[0]), f"{spacing:.2f}", dx=5, dy=-5)
        else:
            right.say(3.0, float(left_over[-1]), f"{spacing:.2f}{NB}mm apart")
    right.draw(np.array([0.0, 3.0]), np.array([1.0, 1.0]), ink=DEED, width=1.0, dash="2 3")
    right.say(3.0, 1.0, "unseen below", ink=DEED)
    return paper


def proof() -> Paper:
    """The edge of a stroke burnt forward and backward, as the dose map has it."""
    paper = Paper(
        760,
        330,
        "An edge burnt both ways",
        "Dose along the line near the left edge of a stroke, lines burnt to the right and to the left, without and with the lead.",
    )
    frames = (
        ("edges commanded where they are drawn", 54.0, False),
        ("edges commanded early by v times rise time", 440.0, True),
    )
    for words, left, lead in frames:
        plot = Plot(paper, left, 70, 280, 200, (-0.3, 0.5), (0.0, 1.0))
        plot.axes(
            "from the drawn edge, mm", "dose over that of a wide area", x_ticks=(-0.2, 0, 0.2, 0.4), y_ticks=(0, 0.5, 1)
        )
        paper.text(left - 34, 30, words, bold=True)
        plot.draw(np.array([0.0, 0.0]), np.array([0.0, 1.0]), ink=DEED, width=1.0, dash="2 3")
        for forward, dash in ((True, ""), (False, "7 4")):
            place, dose = edge(bench().machine, lead=lead, forward=forward)
            plot.draw(place, dose, width=2.0, dash=dash)
        plot.say(0.23, 0.30, "burnt to the right", dx=0)
        plot.say(0.23, 0.17, "burnt to the left", dx=0)
        for y, dash in ((0.30, ""), (0.17, "7 4")):
            plot.draw(np.array([0.14, 0.215]), np.array([y, y]), width=2.0, dash=dash)
    return paper


def edge(machine: Machine, *, lead: bool, forward: bool) -> tuple[FloatArray, FloatArray]:
    """Return places along the line [mm] and dose over that of a wide area near the left edge of a stroke."""
    pixel, speed, spacing, begin = 0.01, 400.0, 0.1, 100.0
    picture = np.full((80, 40), 30.0, np.float32)  # 80 lines, 4 mm long
    led = machine if lead else replace(machine, rise_time_s=0.0)
    events = raster_events(
        led,
        picture,
        axis="x",
        along_origin_mm=begin,
        cross_origin_mm=0.0,
        line_spacing_mm=spacing,
        speed_mm_per_s=speed,
        passes=1,
    )
    grid = DoseGrid(x0_mm=begin - 1.0, y0_mm=0.0, pixel_x_mm=pixel, pixel_y_mm=0.05, rows=160, columns=300)
    lines = collect(events, grid)
    none = np.zeros_like(lines.forward_J)
    one_way = replace(lines, backward_J=none) if forward else replace(lines, forward_J=none)
    dose = dose_map_J_per_mm2(one_way, beam_radius_mm=radius(0.5), rise_time_s=machine.rise_time_s)[60:100].mean(axis=0)
    place = (np.arange(300) + 0.5) * pixel - 1.0
    wide = dose[180:200].mean()
    kept = (place >= -0.3) & (place <= 0.5)
    return place[kept], np.asarray(dose[kept] / wide, np.float64)
