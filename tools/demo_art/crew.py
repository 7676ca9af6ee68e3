"""The two crew plaques: notched border, oars crossed, and an eight seen from above."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from demo_art.ink import areas, blob, curve, document, fill, hatch, line_of, mirrored, moved, solid_of, swell, tidy
from demo_art.letters import Face

WIDTH_mm, HEIGHT_mm = 160.0, 95.0


def notched(inset_mm: float, *, notch_mm: float = 8.0, step_mm: float = 1.5) -> str:
    """Return the path of a frame whose corners are cut in by a step and a quarter circle."""
    i, n, s = inset_mm, notch_mm, step_mm
    w, h, r = WIDTH_mm - 2 * i, HEIGHT_mm - 2 * i, notch_mm - step_mm
    return (
        f"M{i + n:g} {i:g}h{w - 2 * n:g}v{s:g}a{r:g} {r:g} 0 0 0 {r:g} {r:g}h{s:g}v{h - 2 * n:g}h{-s:g}"
        f"a{r:g} {r:g} 0 0 0 {-r:g} {r:g}v{s:g}h{-(w - 2 * n):g}v{-s:g}a{r:g} {r:g} 0 0 0 {-r:g} {-r:g}h{-s:g}"
        f"v{-(h - 2 * n):g}h{s:g}a{r:g} {r:g} 0 0 0 {r:g} {-r:g}z"
    )


def star(radius_mm: float) -> str:
    """Return a compass star of four long and four short points."""
    points = []
    for k in range(16):
        r = radius_mm * (0.30 if k % 2 else (1.0 if k % 4 == 0 else 0.58))
        a = math.pi * k / 8
        points.append((r * math.sin(a), -r * math.cos(a)))
    return fill(tidy(Polygon(points)))


def border(inner_line_mm: float) -> str:
    """Return the double border and the stars in its notches."""
    places = [(x, y) for x in (3.6, WIDTH_mm - 3.6) for y in (3.6, HEIGHT_mm - 3.6)]
    stars = "".join(f'<use href="#star" x="{x:g}" y="{y:g}"/>' for x, y in places)
    return (
        f'<path class="rule" stroke-width="1.1" d="{notched(0.6)}"/>\n'
        f'<path class="rule" stroke-width="{inner_line_mm:g}" d="{notched(2.9)}"/>\n{stars}'
    )


DEFS = (
    "<style>.rule{{fill:none;stroke:#000;stroke-linejoin:miter}}.wave{{fill:none;stroke:#000;stroke-linecap:round}}</style>\n"
    '<defs><symbol id="star" overflow="visible">{star}</symbol>\n'
    '<path id="wave" class="wave" d="{wave}"/>\n</defs>\n'
)


def wave(count: int, *, length_mm: float = 5.0, height_mm: float = 1.05) -> str:
    """Return a rule of small waves that starts at x = 0."""
    half = length_mm / 2
    first = f"M0 0c{half * 0.36:.2f} 0 {half * 0.64:.2f} {-height_mm:.2f} {half:.2f} {-height_mm:.2f}"
    rest = f"s{half * 0.64:.2f} {height_mm:.2f} {half:.2f} {height_mm:.2f}"
    again = f"s{half * 0.64:.2f} {-height_mm:.2f} {half:.2f} {-height_mm:.2f}"
    return first + rest + (again + rest) * (count - 1)


def oar() -> tuple[BaseGeometry, BaseGeometry]:
    """Return an oar pointing down, crossing point at the origin: its ink, and all that it covers."""
    shaft = swell(np.column_stack([np.zeros(60), np.linspace(-19.0, 20.0, 60)]), [1.15, 1.4, 1.5, 1.45, 1.3])
    grip = swell(np.column_stack([np.zeros(20), np.linspace(-25.0, -19.0, 20)]), [1.9, 2.2, 2.25, 1.9, 1.6])
    cuts = [box(-3, y, 3, y + 0.42) for y in (-23.6, -21.9, -20.2)]
    grip = areas(grip.difference(shapely.union_all(cuts)))
    collar = box(-1.45, -9.6, 1.45, -6.6).buffer(0.2)
    collar = areas(collar.difference(shapely.union_all([box(-3, -8.85, 3, -8.43), box(-3, -7.75, 3, -7.33)])))
    outline = blob(
        [
            (-0.65, 15.2),
            (-1.4, 17.5),
            (-3.1, 21.0),
            (-3.75, 25.6),
            (-3.55, 30.3),
            (-2.8, 31.1),
            (0, 31.35),
            (2.8, 31.1),
            (3.55, 30.3),
            (3.75, 25.6),
            (3.1, 21.0),
            (1.4, 17.5),
            (0.65, 15.2),
        ],
        step_mm=0.12,
    )
    band = Polygon([(-6, 22.9), (0, 26.1), (6, 22.9), (6, 25.3), (0, 28.5), (-6, 25.3)])
    left = outline.intersection(box(-9, 0, -0.28, 60)).union(shaft.intersection(box(-3, -60, 3, 19.0)))
    light = outline.buffer(-0.5).difference(band)
    lines = [np.column_stack([np.full(240, x), np.linspace(14, 33, 240)]) for x in (0.65, 1.5, 2.35, 3.2)]
    shade = hatch(light, lines, lambda p: np.clip(0.8 - 0.2 * p[:, 0], 0.2, 1), pitch_mm=0.85)
    rim = outline.difference(outline.buffer(-0.5))
    blade = areas(shapely.union_all([left, rim, shade]).difference(band.intersection(outline.buffer(-0.5))))
    ink = areas(shapely.union_all([shaft.intersection(box(-3, -60, 3, 17)), grip, collar, blade]))
    cover = shapely.union_all([shaft.intersection(box(-3, -60, 3, 17)), grip.buffer(0.3), collar.buffer(0.3), outline])
    return ink, areas(cover)


def crossed_oars(tilt_deg: float) -> BaseGeometry:
    """Return two oars crossed at the origin and bound with cord."""
    ink, cover = oar()
    right, right_cover = moved(ink, turn_deg=-tilt_deg), moved(cover, turn_deg=-tilt_deg)
    left = mirrored(right)
    crossed = areas(left.difference(right_cover.buffer(0.45)).union(right))
    knot = blob([(-2.5, 0), (-1.8, -2.2), (0, -3.0), (1.8, -2.2), (2.5, 0), (1.8, 2.2), (0, 3.0), (-1.8, 2.2)])
    turns = [
        swell(curve([(-3.4, y + 0.9), (-1.2, y + 0.35), (1.2, y - 0.35), (3.4, y - 0.9)]), [0.5, 0.8, 0.8, 0.5])
        for y in (-2.35, -1.15, 0.05, 1.25, 2.45)
    ]
    cord = areas(shapely.union_all(turns).intersection(knot).union(knot.difference(knot.buffer(-0.42))))
    return areas(crossed.difference(knot.buffer(0.45)).union(cord))


def crew_svg(caps: Face) -> str:
    """Return the front of the novice fours plaque; the name in script is a mark of its own."""
    oars = moved(crossed_oars(53.0), dx_mm=80.0, dy_mm=68.4)
    first = moved(caps.line("FIRST CREW HOME", cap_mm=3.5, spread_mm=1.5, fatten_mm=0.17), dx_mm=80, dy_mm=47.6)
    club = moved(caps.line("SEDGEHOLM", cap_mm=3.2, spread_mm=0.85, fatten_mm=0.19), dx_mm=29.5, dy_mm=69.5)
    year = moved(caps.line("REGATTA 2026", cap_mm=3.2, spread_mm=0.75, fatten_mm=0.19), dx_mm=130.5, dy_mm=69.5)
    x0, _, x1, _ = first.bounds
    rules = areas(
        shapely.union_all(
            [
                swell([(x, 45.85) for x in np.linspace(a, b, 40)], [0.36, 0.8, 0.36])
                for a, b in ((x0 - 21.5, x0 - 3.5), (x1 + 3.5, x1 + 21.5))
            ]
        )
    )
    waves = "".join(
        f'<use href="#wave" x="{x + dx:g}" y="{y:g}" stroke-width="{width:g}"/>'
        for x in (14.5, 115.5)
        for dx, y, width in ((0, 75.2, 0.6), (0, 77.5, 0.45), (0, 79.8, 0.36))
    )
    body = (
        DEFS.format(star=star(2.3), wave=wave(6))
        + border(0.22)
        + f'\n<g id="words">{fill(shapely.union_all([first, club, year, rules]))}</g>\n<g id="water">{waves}</g>\n'
        f'<g id="oars">{fill(tidy(oars))}<use href="#star" transform="translate(80 57.6)"/>'
        '<use href="#star" transform="translate(80 81.5) scale(1.35)"/></g>'
    )
    return document(body, width_mm=WIDTH_mm, height_mm=HEIGHT_mm, title="Novice fours: border, crossed oars, water")


HALF_mm, PIN_mm, SEATS = 3.1, 6.4, np.linspace(-39.0, 35.3, 8)
SWING = math.radians(16.0)


def rower() -> BaseGeometry:
    """Return back and head of a rower from above, facing right (the stern), seat at the origin."""
    back = blob([(-1.0, -1.8), (0.0, -2.3), (0.8, -1.95), (0.95, 0), (0.8, 1.95), (0.0, 2.3), (-1.0, 1.8), (-1.3, 0)])
    head = Point(0.85, 0).buffer(0.95)
    return areas(back.difference(head.buffer(0.38)).union(head))


def blade() -> BaseGeometry:
    """Return an oar's blade along +x, its neck at the origin, with the club's band."""
    along = blob(
        [(0, -0.36), (1.4, -0.8), (3.4, -1.4), (6.0, -1.35), (6.5, 0), (6.0, 1.35), (3.4, 1.4), (1.4, 0.8), (0, 0.36)]
    )
    band = Polygon([(2.6, -3), (3.6, -3), (3.6, 3), (2.6, 3)])
    return areas(along.difference(band.intersection(along.buffer(-0.4))))


def hull() -> tuple[BaseGeometry, BaseGeometry]:
    """Return the shell from above, bow to the left, middle at the origin: its ink, and all that it covers."""
    x = np.linspace(-66, 66, 500)
    half = HALF_mm * np.clip(1 - (np.abs(x) / 66) ** 2.4, 0, 1) ** 0.85 + 0.02
    cover = Polygon(np.vstack([np.column_stack([x, -half]), np.column_stack([x, half])[::-1]])).buffer(0.2)
    well = areas(cover.buffer(-0.62).intersection(box(-44, -9, 50, 9)).buffer(-0.8).buffer(0.8))
    deck = cover.buffer(-0.5).difference(well.buffer(0.6))
    lines = [np.column_stack([np.linspace(-66, 66, 900), np.full(900, y)]) for y in np.arange(-2.4, 2.5, 0.8)]
    shade = hatch(deck, lines, lambda p: np.where(p[:, 1] > -0.4, 1.05, 0.3), pitch_mm=0.8)
    ball = Point(-66.6, 0).buffer(0.6)
    return areas(shapely.union_all([cover.difference(well).difference(deck), shade, ball])), areas(cover)


def eight() -> BaseGeometry:
    """Return an eight with its crew at the catch."""
    ink, _cover = hull()
    riggers, oars, crew = [], [], []
    for k, seat in enumerate(SEATS):
        side = 1 if k % 2 else -1
        reach = np.array([-math.sin(SWING), side * math.cos(SWING)])
        pin = np.array([seat + 1.9, side * PIN_mm])
        hands, neck = pin - 6.2 * reach, pin + 10.0 * reach
        riggers += [line_of(np.array([(seat + dx, side * HALF_mm), pin]), width_mm=0.42) for dx in (-0.6, 3.6)]
        loom = swell([hands + (neck - hands) * t for t in np.linspace(0, 1, 60)], [0.6, 0.8, 0.75, 0.7, 0.6])
        spoon = affinity.rotate(blade(), math.degrees(math.atan2(reach[1], reach[0])), origin=(0, 0))
        oars.append(
            areas(shapely.union_all([loom, affinity.translate(spoon, *(neck - 0.4 * reach)), Point(pin).buffer(0.7)]))
        )
        arms = [
            swell(
                curve(
                    np.array(
                        [(seat + 0.2, s * 1.9), (seat + 1.7, s * 1.75 + side * 0.15), hands + np.array([0.15, s * 0.5])]
                    )
                ),
                [0.85, 0.7, 0.6],
            )
            for s in (-1, 1)
        ]
        crew.append(areas(shapely.union_all([affinity.translate(rower(), seat, 0), *arms])))
    head = Point(43.2, 0).buffer(0.95)
    cox = areas(
        blob([(43.6, -1.6), (44.5, -1.7), (45.0, 0), (44.5, 1.7), (43.6, 1.6), (43.2, 0)])
        .difference(head.buffer(0.38))
        .union(head)
    )
    ink = areas(ink.union(shapely.union_all(riggers)))
    every_oar, every_man = shapely.union_all(oars), shapely.union_all([*crew, cox])
    ink = areas(ink.difference(every_oar.buffer(0.38)).union(every_oar))
    return areas(ink.difference(every_man.buffer(0.38)).union(every_man))


def water(boat: BaseGeometry) -> BaseGeometry:
    """Return engraver's water round the boat: long strokes that swell under the hull, and rings at the blades."""
    chance = np.random.default_rng(26)
    strokes: list[BaseGeometry] = []
    for y in np.arange(-20.5, 21.0, 1.45):
        near = math.exp(-((abs(y) / 10.5) ** 2))
        x = -68.0 + chance.uniform(0, 9)
        edge = 67.0 - 0.035 * y * y
        while x < edge:
            length = chance.uniform(5, 15) * (0.45 + near)
            if abs(x + length / 2) < edge and abs(y) > 3.9:
                sway = 0.12 * np.sin(np.linspace(0, 3.0, 40) + x)
                deep = 0.36 + (0.5 if y > 0 else 0.22) * near
                strokes.append(swell(np.column_stack([np.linspace(x, x + length, 40), y + sway]), [0.34, deep, 0.34]))
            x += length + chance.uniform(2.5, 13) * (1.35 - near)
    clear = areas(shapely.union_all([boat.buffer(0.85), *[solid_of(g.buffer(0.9)).buffer(0.2) for g in rings()]]))
    kept = shapely.union_all(strokes).difference(clear)
    long_ = [g for g in getattr(kept, "geoms", [kept]) if g.bounds[2] - g.bounds[0] > 1.6]
    return areas(shapely.union_all([*long_, *rings()]).difference(boat.buffer(0.6)))


def rings() -> list[BaseGeometry]:
    """Return the rings that the last stroke left in the water, one for each blade."""
    out: list[BaseGeometry] = []
    for k, seat in enumerate(SEATS):
        side = 1 if k % 2 else -1
        arcs = []
        for r, a, b in ((1.25, 20, 330), (2.5, 35, 165), (2.5, 205, 300)):
            t = np.radians(np.linspace(a, b, 60))
            arcs.append(swell(np.column_stack([r * 1.3 * np.cos(t), r * 0.62 * np.sin(t)]), [0.34, 0.52, 0.34]))
        if seat < 30:
            out.append(affinity.translate(areas(shapely.union_all(arcs)), seat + 7.5, side * 18.6))
    return out


def eights_svg(caps: Face) -> str:
    """Return the front of the mixed eights plaque; the name in script is a mark of its own."""
    boat = eight()
    scene = moved(areas(boat.union(water(boat))), dx_mm=80, dy_mm=59.6)
    words = moved(caps.line("SEDGEHOLM REGATTA 2026", cap_mm=3.0, spread_mm=0.95, fatten_mm=0.19), dx_mm=80, dy_mm=88.6)
    x0, _, x1, _ = words.bounds
    foot = "".join(f'<use href="#wave" x="{x:.2f}" y="87.7" stroke-width="0.5"/>' for x in (x0 - 24.5, x1 + 4.5))
    body = (
        DEFS.format(star=star(2.3), wave=wave(4))
        + border(0.4)
        + f'\n<g id="words">{fill(words)}{foot}</g>\n<g id="boat">{fill(tidy(scene))}</g>'
    )
    return document(body, width_mm=WIDTH_mm, height_mm=HEIGHT_mm, title="Mixed eights: an eight seen from above")
