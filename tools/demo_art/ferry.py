"""The Ferry Cup: a gaff-rigged ferry under sail inside a ring of rope."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from demo_art.crew import star
from demo_art.ink import (
    Points,
    Sheet,
    areas,
    between,
    blob,
    curve,
    document,
    edge,
    fill,
    hatch,
    line_of,
    moved,
    sound,
    swell,
    tidy,
)
from demo_art.letters import Face

SIZE_mm = 120.0
SCENE_mm = 41.0
HORIZON_mm = 9.0


def strand(count: int, radius_mm: float, width_mm: float) -> BaseGeometry:
    """Return one strand of rope at the top of a ring of `count` strands."""
    step = 2 * math.pi * radius_mm / count
    lean = step * 0.95
    h = width_mm / 2
    body = blob(
        [
            (-lean, h * 0.82),
            (-lean * 0.62, h * 1.0),
            (-lean * 0.1, h * 0.55),
            (lean * 0.55, -h * 0.45),
            (lean * 1.0, -h * 0.78),
            (lean * 0.62, -h * 1.0),
            (lean * 0.1, -h * 0.62),
            (-lean * 0.55, h * 0.38),
        ],
        step_mm=0.08,
    )
    return moved(body.buffer(0.26), dy_mm=-radius_mm)


def sail(luff: Points, leech: Points, *, count: int, dark_at: float) -> tuple[BaseGeometry, BaseGeometry]:
    """Return a sail between two edges that run top to foot: its ink, and what it covers."""
    cover = sound(Polygon(np.vstack([luff, leech[::-1]])))
    lines = between(luff, leech, count=count)
    strokes = []
    for k, line in enumerate(lines[1:-1], start=1):
        u = k / (count - 1)
        belly = 0.1 + 0.62 * abs(u - dark_at) ** 1.1

        def tone(p: Points, belly: float = belly) -> Points:
            t = np.linspace(0, 1, len(p))
            return np.asarray(np.clip(belly * (0.55 + 0.75 * t), 0, 1), dtype=np.float64)

        strokes.append(hatch(cover.buffer(-0.7), [line], tone, pitch_mm=1.15))
    return areas(shapely.union_all([*strokes, edge(cover, thin_mm=0.4, heavy_mm=0.35)])), cover


def ferry() -> Sheet:
    """Return the boat, the waterline at y = 17."""
    sheet = Sheet()
    mast = swell([(6.0, y) for y in np.linspace(10, -36.5, 40)], [1.15, 1.1, 0.6])
    sheet.lay(mast)
    sheet.lay(line_of([(6.0, -31.0), (29.5, 2.6)], width_mm=0.38))
    sheet.lay(line_of([(6.0, -34.0), (-15.0, -31.6)], width_mm=0.36))
    stay, foot = curve([(7.3, -27.0), (17.5, -12.4), (28.0, 1.6)]), curve([(7.2, -26.6), (11.2, -11), (9.2, 4.2)])
    jib_cover = sound(Polygon(np.vstack([stay, foot[::-1]])))
    cloths = [stay + k * np.array([-1.0, 0.33]) for k in range(1, 24)]
    jib = areas(
        hatch(
            jib_cover.buffer(-0.5),
            cloths,
            lambda p: np.clip(0.62 - 0.036 * (p[:, 0] - 7) + 0.006 * p[:, 1], 0, 0.62),
            pitch_mm=1.0,
        ).union(edge(jib_cover, thin_mm=0.4, heavy_mm=0.35))
    )
    sheet.lay(jib, cover=jib_cover)
    luff = curve([(4.9, -18.5), (4.7, -7), (4.9, 4.2)])
    leech = curve([(-14.0, -31.0), (-20.6, -14), (-21.5, 3.2)])
    main, main_cover = sail(luff, leech, count=26, dark_at=0.62)
    sheet.lay(main, cover=main_cover)
    reefs = [line_of(curve([(4.4, y), (-8, y + 1.2), (-20.6, y - 0.6)]), width_mm=0.36) for y in (-1.6,)]
    points = [line_of([(x, -1.0), (x - 0.25, 0.9)], width_mm=0.34) for x in np.arange(-18, 4, 3.1)]
    sheet.lay(areas(shapely.union_all([*reefs, *points]).intersection(main_cover.buffer(-0.3))), halo_mm=0.3)
    sheet.lay(swell(curve([(5.4, -18.0), (-4.4, -25.0), (-15.2, -32.4)]), [1.0, 0.9, 0.6]))
    sheet.lay(swell([(x, 4.6 - 0.02 * (6 - x)) for x in np.linspace(6.0, -23.6, 40)], [1.0, 0.9, 0.65]))
    flag = blob(
        [
            (6.2, -36.2),
            (1.8, -37.6),
            (-2.6, -36.2),
            (-7.4, -37.0),
            (-3.6, -34.9),
            (-7.0, -33.2),
            (-2.2, -33.6),
            (2.0, -34.9),
            (6.2, -33.9),
        ]
    )
    sheet.lay(flag)
    sheet.lay(swell([(x, 6.3 - 0.19 * (x - 20)) for x in np.linspace(19, 31.0, 20)], [1.1, 0.9, 0.6]))
    man_body = blob([(-17.8, 9.8), (-17.6, 6.4), (-16.4, 4.9), (-14.7, 5.3), (-13.2, 7.4), (-12.6, 10.4)])
    arm = swell(curve([(-16.0, 6.2), (-17.4, 8.2), (-20.2, 7.7)]), [1.1, 0.9, 0.7])
    head = Point(-15.2, 3.2).buffer(1.25)
    hat = areas(
        box(-17.4, 2.25, -13.0, 2.75)
        .buffer(0.15)
        .union(blob([(-16.5, 2.5), (-16.3, 1.2), (-15.2, 0.8), (-14.1, 1.2), (-13.9, 2.5)]))
    )
    tiller = line_of([(-24.6, 7.4), (-18.9, 7.7)], width_mm=0.7)
    for part in (tiller, man_body, arm, head, hat):
        sheet.lay(part, halo_mm=0.34)
    sheer = curve([(-25.2, 7.2), (-12, 9.8), (4, 9.7), (16, 7.6), (25.6, 3.9)])
    keel = curve([(-22.6, 17.6), (-12, 17.9), (4, 18.0), (15, 17.6), (20.6, 15.0), (24.2, 9.2), (25.6, 3.9)])
    cover = sound(Polygon(np.vstack([sheer, keel[::-1]])))
    planks = between(sheer, keel, count=5)
    seams = [swell(line, [0.34, 0.5, 0.5, 0.34]) for line in planks[1:-1]]
    shades = []
    for k in range(1, 4):
        line = planks[k] + (planks[k + 1] - planks[k]) * 0.5

        def tone(p: Points, k: int = k) -> Points:
            return np.asarray(np.clip(0.17 * k + 0.026 * np.abs(p[:, 0] - 6) - 0.24, 0, 0.85), dtype=np.float64)

        shades.append(hatch(cover.buffer(-0.3), [line], tone, pitch_mm=1.0))
    strake = areas(
        sound(Polygon(np.vstack([planks[0], (planks[0] + (planks[1] - planks[0]) * 0.5)[::-1]]))).buffer(0.1)
    )
    hull = areas(
        shapely.union_all([*seams, *shades, strake, edge(cover, thin_mm=0.5, heavy_mm=0.7, away_deg=80)]).intersection(
            cover
        )
    )
    rail = swell(sheer + np.array([0.0, -0.25]), [0.7, 0.9, 0.9, 0.7])
    sheet.lay(areas(hull.union(rail)), cover=areas(cover.union(rail)))
    rudder = blob([(-25.4, 8.6), (-23.8, 9.0), (-22.0, 17.8), (-25.0, 17.8)], step_mm=0.15)
    sheet.lay(rudder)
    return sheet


def water(boat: BaseGeometry) -> BaseGeometry:
    """Return the river: rows of swelling strokes, dark under the hull, broken by the light."""
    chance = np.random.default_rng(1911)
    rows, y, k = [], HORIZON_mm + 0.9, 0
    while y < SCENE_mm:
        depth = (y - HORIZON_mm) / (SCENE_mm - HORIZON_mm)
        x = np.linspace(-SCENE_mm, SCENE_mm, 700)
        length = (3.6 + 9.5 * depth) * chance.uniform(0.8, 1.3)
        phase = chance.uniform(0, 6.28)
        crest = np.abs(np.sin(math.pi * x / length + phase + 0.5 * np.sin(x / 9 + k))) ** 0.8
        line = np.column_stack([x, y - (0.22 + 0.85 * depth) * crest])
        drift = np.sin(x / (2.6 + 3 * depth) + phase * 2) + 0.8 * np.sin(x / 5.3 + 2.1 * k) + 0.45 * np.sin(x / 1.9 + k)
        under = np.exp(-(((x - 1) / 23) ** 4)) * np.exp(-(((y - 19) / 8.5) ** 2))
        edge_fade = 1 - 0.5 * (np.abs(x) / SCENE_mm) ** 2
        t = 0.36 * edge_fade + 0.2 * drift * (1 - 0.75 * under) + 0.75 * under + 0.12 * depth
        pitch = 1.05 + 1.15 * depth

        def tone(p: Points, t: Points = t, x: Points = x) -> Points:
            return np.asarray(np.clip(np.interp(p[:, 0], x, t), 0, 1), dtype=np.float64)

        rows.append(hatch(Point(0, 0).buffer(SCENE_mm + 2), [line], tone, pitch_mm=pitch))
        y, k = y + pitch, k + 1
    bow = [
        swell(curve([(22.5, 16.8), (25.0, 15.3), (28.6, 16.6), (33.0, 17.2)]), [0.5, 0.9, 0.36]),
        swell(curve([(20.0, 18.6), (25.6, 17.9), (31.0, 19.4)]), [0.4, 0.8, 0.36]),
    ]
    crests = shapely.union_all(bow)
    shown = areas(shapely.union_all(rows).difference(boat.buffer(0.5)).difference(crests.buffer(0.45)))
    return areas(shown.union(crests))


def bank() -> tuple[BaseGeometry, BaseGeometry]:
    """Return the far bank with willows and the church: ink, and cover."""
    chance = np.random.default_rng(7)
    crowns = []
    x = -SCENE_mm
    while x < SCENE_mm:
        size = chance.uniform(1.6, 3.6) * (1.25 if abs(x) > 22 else 0.8)
        crowns.append(affinity.scale(Point(x, HORIZON_mm - size * 0.75).buffer(size), 1.25, 1.0))
        x += size * 1.35
    land = areas(
        shapely.union_all([*crowns, box(-50, HORIZON_mm - 1.6, 50, HORIZON_mm)]).intersection(
            box(-50, -50, 50, HORIZON_mm)
        )
    )
    tower = areas(
        shapely.union_all(
            [
                box(-36.6, -4.5, -32.4, 8),
                Polygon([(-37.1, -4.4), (-34.5, -13.5), (-31.9, -4.4)]),
                box(-34.68, -16.2, -34.32, -13),
                box(-35.4, -15.2, -33.6, -14.85),
            ]
        )
    )
    window = areas(Point(-34.5, -1.2).buffer(0.55).union(box(-35.05, -1.2, -33.95, 0.8)))
    lines = [
        np.column_stack([np.linspace(-45, 45, 900), np.full(900, y) + 0.12 * np.sin(np.linspace(-70, 70, 900) + y)])
        for y in np.arange(-2, HORIZON_mm, 0.86)
    ]

    def tone(p: Points) -> Points:
        leafy = 0.5 + 0.35 * np.sin(p[:, 0] * 1.35 + 1.3 * p[:, 1]) + 0.1 * (p[:, 1] - 3)
        return np.asarray(np.clip(leafy, 0, 0.95), dtype=np.float64)

    trees = areas(hatch(land, lines, tone, pitch_mm=0.86).union(edge(land, thin_mm=0.36, heavy_mm=0.1)))
    stone = areas(
        hatch(
            tower,
            [np.column_stack([np.full(120, x), np.linspace(-5, 9, 120)]) for x in np.arange(-36.2, -32, 0.78)],
            lambda p: 0.2 + 0.16 * (p[:, 0] + 36.6),
            pitch_mm=0.8,
        ).union(edge(tower))
    )
    stone = areas(
        stone.union(tower.intersection(box(-38, -20, -30, -4.4))).difference(window.buffer(0.3)).union(window)
    )
    ink = areas(stone.difference(land.buffer(0.3)).union(trees))
    return ink, areas(land.union(tower))


def sky(free: BaseGeometry) -> BaseGeometry:
    """Return ruled sky that leaves two clouds and the boat white."""
    puffs = [
        (-31, -12.5, 4.4),
        (-25.5, -15.6, 5.6),
        (-19, -13, 4.6),
        (-35, -10.6, 3.2),
        (19, -17.4, 4.2),
        (24.5, -20, 5.2),
        (30, -16.8, 4.6),
        (35.5, -14.6, 3.4),
        (14.6, -15.2, 2.6),
        (27, -14.8, 3.0),
    ]
    clouds = areas(shapely.union_all([affinity.scale(Point(x, y).buffer(r), 1.3, 0.62) for x, y, r in puffs]))
    lines = [np.column_stack([np.linspace(-45, 45, 500), np.full(500, y)]) for y in np.arange(-41, 3, 1.3)]

    def tone(p: Points) -> Points:
        return np.asarray(
            np.clip(
                0.66 - 0.0118 * (p[:, 1] + 41) - 0.1 * np.sin(p[:, 0] / 7 + p[:, 1] * 1.7) * (p[:, 1] > -22), 0.0, 0.8
            ),
            dtype=np.float64,
        )

    open_sky = Point(0, 0).buffer(SCENE_mm).difference(clouds).difference(free.buffer(0.9))
    return hatch(open_sky, lines, tone, pitch_mm=1.3)


def ferry_svg(caps: Face) -> str:
    """Return the round emblem of the Ferry Cup."""
    boat = ferry()
    land, land_cover = bank()
    gulls = [
        swell(
            curve(
                [
                    (x - 2.2 * s, y - 1.0 * s),
                    (x - 1.0 * s, y - 1.5 * s),
                    (x, y),
                    (x + 1.0 * s, y - 1.5 * s),
                    (x + 2.4 * s, y - 1.2 * s),
                ]
            ),
            [0.34, 0.6, 0.5, 0.6, 0.34],
        )
        for x, y, s in ((28.2, -8.2, 0.95), (32.6, -11.4, 0.7), (34.0, -4.6, 0.6))
    ]
    river = water(boat.cover)
    hidden = areas(boat.cover.union(land_cover).union(shapely.union_all([g.convex_hull for g in gulls])))
    scene = shapely.union_all([boat.ink, river, land.difference(boat.cover.buffer(0.55)), sky(hidden), *gulls])
    top = caps.round_("THE FERRY CUP", cap_mm=5.0, radius_mm=45.2, spread_mm=2.0, fatten_mm=0.12)
    foot = caps.round_("SEDGEHOLM 2026", cap_mm=4.2, radius_mm=45.6, spread_mm=1.5, fatten_mm=0.16, below=True)
    ropes = "".join(f'<use href="#strand" transform="rotate({360 / 76 * k:.3f})"/>' for k in range(76))
    stars = "".join(f'<use href="#star" transform="rotate({a}) translate(0 -47.7)"/>' for a in (-86, 86))
    body = (
        "<style>.ring{fill:none;stroke:#000}</style>\n"
        f'<defs><clipPath id="port"><circle r="{SCENE_mm:g}"/></clipPath>\n'
        f'<symbol id="star" overflow="visible">{star(3.6)}</symbol>\n'
        f'<g id="strand">{fill(tidy(strand(76, 56.4, 5.0), gap_mm=0.1))}</g></defs>\n'
        f'<g transform="translate(60 60)">\n<g id="rope">{ropes}</g>\n'
        '<g class="ring"><circle r="52.4" stroke-width="0.5"/><circle r="42.6" stroke-width="0.45"/>'
        f'<circle r="{SCENE_mm:g}" stroke-width="0.9"/></g>\n'
        f'<g id="words">{fill(shapely.union_all([top, foot]))}{stars}</g>\n'
        f'<g clip-path="url(#port)">{fill(tidy(scene))}</g>\n</g>'
    )
    return document(body, width_mm=SIZE_mm, height_mm=SIZE_mm, title="The Ferry Cup, Sedgeholm")
