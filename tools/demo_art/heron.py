"""The tea tray: a heron among reeds, the low sun behind it."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from demo_art.ink import Points, Sheet, areas, blob, curve, document, edge, fill, hatch, line_of, sound, swell, tidy

WIDTH_mm, HEIGHT_mm = 156.0, 118.0
WATER_mm = 103.0


def feather(
    root: tuple[float, float], tip: tuple[float, float], *, width_mm: float, bend_mm: float = 0.0, look: str = "half"
) -> tuple[BaseGeometry, BaseGeometry]:
    """Return a feather from root to tip, `solid`, `half` in shade, `lit` or `open`: its ink, and what it covers."""
    a, b = np.array(root), np.array(tip)
    d = b - a
    n = np.array([-d[1], d[0]]) / np.hypot(*d)
    spine = curve([a, a + 0.5 * d + bend_mm * n, b], step_mm=0.2)
    cover = swell(spine, [w * width_mm for w in (0.5, 0.82, 0.98, 1.0, 0.92, 0.74, 0.4)])
    shaft = swell(spine[: int(len(spine) * 0.86)], [0.45, 0.42, 0.34])
    if look == "solid":
        return areas(cover.difference(shaft)), cover
    rim = edge(cover, thin_mm=0.4, heavy_mm=0.15)
    if look == "open":
        return areas(rim.union(swell(spine[int(len(spine) * 0.3) : int(len(spine) * 0.8)], [0.36, 0.55, 0.36]))), cover
    t = np.gradient(spine, axis=0)
    t /= np.hypot(t[:, 0], t[:, 1])[:, None]
    shade = swell(
        spine + np.column_stack([-t[:, 1], t[:, 0]]) * width_mm * 0.5,
        [width_mm * (0.78 if look == "half" else 0.42)] * 2,
    )
    return areas(shapely.union_all([rim, shade.intersection(cover)])), cover


def shade_near(shape: BaseGeometry, p: Points, *, away: tuple[float, float], reach_mm: float) -> Points:
    """Return 0 in the light to 1 at the edge that lies away from the light."""
    probe = shapely.points(p[:, 0] + away[0], p[:, 1] + away[1])
    outside = shapely.distance(probe, shape)
    return np.asarray(np.clip(outside / reach_mm, 0, 1), dtype=np.float64)


def body() -> tuple[BaseGeometry, BaseGeometry]:
    """Return breast and belly with their soft shading."""
    cover = blob(
        [
            (71.5, 61.5),
            (74.0, 57.0),
            (80.0, 53.5),
            (89, 53.5),
            (99, 58.5),
            (109, 66.5),
            (120, 77.5),
            (123.5, 82.5),
            (117, 82.8),
            (107, 83.6),
            (97, 84.6),
            (87, 82),
            (78.0, 76),
            (72.4, 69),
        ]
    )
    lines = [
        curve([(70 + 1.25 * k, 52), (74 + 1.3 * k, 68), (86 + 1.3 * k, 84), (95 + 1.3 * k, 90)]) for k in range(-14, 30)
    ]
    ink = hatch(
        cover.buffer(-0.6), lines, lambda p: 0.85 * shade_near(cover, p, away=(3.0, 8.5), reach_mm=8.0), pitch_mm=1.15
    )
    return areas(ink.union(edge(cover, thin_mm=0.45, heavy_mm=0.5, away_deg=100))), cover


def neck_and_head() -> list[tuple[BaseGeometry, BaseGeometry]]:
    """Return neck, head, bill and plumes, back to front."""
    spine = curve(
        [(84.5, 63.5), (77.0, 57.5), (73.2, 50.0), (75.8, 41.5), (80.4, 34.5), (80.6, 27.5), (77.0, 22.4)], step_mm=0.2
    )
    neck = swell(spine, [15.5, 10.5, 7.2, 6.0, 5.4, 5.2, 5.4, 6.0])
    head = blob(
        [
            (66.2, 22.0),
            (69.6, 19.2),
            (74.5, 17.6),
            (79.4, 18.6),
            (82.4, 21.6),
            (82.6, 25.6),
            (79.6, 28.0),
            (74.6, 27.0),
            (69.2, 25.2),
            (66.4, 24.2),
        ]
    )
    cover = areas(neck.union(head).buffer(0.6).buffer(-0.6))
    lines = [np.column_stack([np.linspace(58, 96, 300), np.linspace(y, y + 9.5, 300)]) for y in np.arange(8, 80, 1.1)]
    soft = hatch(
        cover.buffer(-0.5).intersection(box(60, 27.5, 90, 61)),
        lines,
        lambda p: 0.75 * shade_near(cover, p, away=(2.2, 0.4), reach_mm=4.2),
        pitch_mm=1.1,
    )
    dashes = []
    for u in np.linspace(0.2, 0.84, 13):
        i = int(u * len(spine))
        t = spine[i + 4] - spine[i - 4]
        t = t / np.hypot(*t)
        at = spine[i] + np.array([-t[1], t[0]]) * (-1.0 if u > 0.3 else -1.6)
        dashes.append(swell([at + v * t for v in np.linspace(-1.0, 1.0, 10)], [0.36, 1.0, 0.5]))
    marks = areas(shapely.union_all(dashes).intersection(cover.buffer(-0.7)))
    outline = edge(cover, thin_mm=0.45, heavy_mm=0.35, away_deg=20)
    open_ = areas(outline.difference(Point(86.5, 64.5).buffer(7.2)))
    ink = areas(shapely.union_all([open_, soft.difference(marks.buffer(0.36)), marks]))
    bill_cover = sound(
        Polygon(
            np.vstack(
                [curve([(67.6, 20.6), (58, 24.4), (46.6, 29.4)]), curve([(46.6, 29.4), (58, 27.6), (67.8, 25.2)])]
            )
        )
    )
    split = swell(curve([(67.5, 23.4), (58, 26.2), (50.5, 28.4)]), [0.42, 0.4, 0.34])
    upper = bill_cover.intersection(
        Polygon(np.vstack([curve([(69, 23.0), (58, 26.2), (46.0, 29.6)]), [(46, 10), (69, 10)]]))
    )
    bill = areas(shapely.union_all([edge(bill_cover, thin_mm=0.4, heavy_mm=0.2), upper]).difference(split.buffer(0.05)))
    eye = areas(Point(70.9, 21.7).buffer(0.62))
    eye_ring = areas(Point(70.9, 21.7).buffer(1.1))
    crown = blob(
        [
            (71.6, 19.4),
            (75.6, 18.3),
            (80.4, 19.6),
            (84.4, 23.6),
            (92.0, 28.6),
            (99.5, 30.6),
            (91.0, 30.4),
            (84.0, 27.8),
            (79.0, 23.4),
            (74.4, 21.0),
        ]
    )
    plume = swell(curve([(82, 25.6), (88.6, 31.2), (96.8, 35.4)]), [1.5, 0.9, 0.36])
    crown = areas(crown.union(plume).difference(eye_ring.buffer(0.1)))
    return [(bill, bill_cover), (ink, cover), (crown, crown), (eye, eye)]


def wing() -> list[tuple[BaseGeometry, BaseGeometry]]:
    """Return the folded wing, feather by feather, tail first."""
    laid = [
        feather((112, 77), (125.8 - 2.6 * k, 87.0 + 0.6 * k), width_mm=3.4, bend_mm=0.5, look="solid") for k in range(2)
    ]
    laid += [
        feather(
            (99.0 + 1.6 * k, 70.0 - 0.4 * k), (114.0 + 2.9 * k, 88.6 - 2.3 * k), width_mm=3.9, bend_mm=1.2, look="solid"
        )
        for k in range(5)
    ]
    laid += [
        feather(
            (86.5 + 2.9 * k, 66.5 - 0.1 * k), (100.5 + 3.3 * k, 83.2 - 1.5 * k), width_mm=4.9, bend_mm=1.5, look="half"
        )
        for k in range(6)
    ]
    laid += [
        feather(
            (81.5 + 4.0 * k, 63.5 + 0.5 * k), (91.0 + 4.3 * k, 72.6 + 0.1 * k), width_mm=5.2, bend_mm=0.9, look="lit"
        )
        for k in range(6)
    ]
    laid += [
        feather(
            (82.0 + 4.3 * k, 58.5 + 1.6 * k), (90.5 + 4.3 * k, 65.8 + 1.2 * k), width_mm=5.0, bend_mm=0.6, look="open"
        )
        for k in range(5)
    ]
    return laid


def leg(points: list[tuple[float, float]]) -> BaseGeometry:
    """Return a leg with its joint."""
    line = curve(points, step_mm=0.2)
    joint = affinity.scale(Point(points[2]).buffer(1.15), 0.9, 1.2)
    return areas(swell(line, [3.0, 1.5, 1.1, 1.15, 1.0, 0.95, 0.95]).union(joint))


def reed(
    foot: tuple[float, float], head: tuple[float, float], *, bend_mm: float, spike_mm: float = 0.0
) -> list[BaseGeometry]:
    """Return a stalk, with a reedmace spike if it has a length."""
    a, b = np.array(foot), np.array(head)
    line = curve([a, a + 0.55 * (b - a) + np.array([bend_mm, 0.0]), b])
    parts: list[BaseGeometry] = [swell(line, [1.15, 0.95, 0.7, 0.5])]
    if spike_mm:
        d = line[-1] - line[-8]
        d = d / np.hypot(*d)
        low, high = line[-1] - d * 1.0, line[-1] + d * (spike_mm - 1.0)
        body_ = line_of([low, high], width_mm=3.3)
        n = np.array([-d[1], d[0]])
        shine = swell([low + n * 0.72 + d * t for t in np.linspace(0.6, spike_mm - 2.0, 20)], [0.34, 0.46, 0.34])
        parts += [
            areas(body_.difference(shine)),
            swell([high + d * t for t in np.linspace(1.2, 6.5, 16)], [0.7, 0.45, 0.36]),
        ]
    return parts


def leaf(
    points: list[tuple[float, float]], *, width_mm: float, dark: bool = False
) -> tuple[BaseGeometry, BaseGeometry]:
    """Return a long reed leaf, half in shade."""
    line = curve(points, step_mm=0.25)
    widths = [w * width_mm for w in (0.62, 0.9, 1.0, 0.9, 0.66, 0.36)] + [0.36]
    cover = swell(line, widths)
    if dark:
        return cover, cover
    t = np.gradient(line, axis=0)
    t /= np.hypot(t[:, 0], t[:, 1])[:, None]
    off = line + np.column_stack([-t[:, 1], t[:, 0]]) * width_mm * 0.5
    half = swell(off, [width_mm * 0.86] * 2)
    return areas(cover.intersection(half).union(edge(cover, thin_mm=0.38, heavy_mm=0.1))), cover


def reeds(sheet: Sheet) -> None:
    """Lay the reeds: a tall stand on the left, a low one on the right."""
    stalks = [
        ((19, WATER_mm), (11, 38), -2.0, 15.0),
        ((27, WATER_mm + 1), (29.5, 29), 1.5, 17.0),
        ((36, WATER_mm), (42, 50), 0.5, 13.0),
        ((12, WATER_mm - 1), (4.0, 66), -1.0, 0.0),
        ((136, WATER_mm), (144, 54), 1.5, 14.0),
        ((143, WATER_mm + 1), (150, 70), 1.0, 10.0),
        ((131, WATER_mm), (134.5, 73), 0.5, 0.0),
    ]
    for foot, head, bend, spike in stalks:
        for part in reed(foot, head, bend_mm=bend, spike_mm=spike):
            sheet.lay(part, halo_mm=0.45)
    leaves: list[tuple[list[tuple[float, float]], float, bool]] = [
        ([(15, 103), (9, 78), (5, 58), (1.5, 40)], 3.0, True),
        ([(17, 104), (16, 76), (20, 52), (27.5, 33)], 3.4, False),
        ([(25, 104), (20, 82), (12, 66), (2.5, 60)], 3.2, False),
        ([(30, 104), (33.5, 80), (40, 62), (50.5, 50)], 3.2, True),
        ([(23, 104), (26.5, 70), (25.0, 46), (20.5, 31)], 3.2, True),
        ([(35, 104), (40, 88), (47, 78), (57.5, 75)], 3.2, False),
        ([(33, 104), (35.5, 78), (36.5, 60), (33, 42)], 3.0, False),
        ([(21, 104), (14, 92), (8, 88), (1.5, 90)], 2.8, True),
        ([(38, 104), (44, 95), (50, 91.5), (57, 92.5)], 2.4, True),
        ([(134, 104), (131, 88), (131.5, 74), (128, 64)], 2.8, True),
        ([(139, 104), (141.5, 82), (148, 68), (154.5, 62)], 3.0, False),
        ([(141, 104), (147, 93), (151, 89), (155, 90)], 2.6, True),
        ([(133, 104), (127, 95), (122, 92.5), (117, 94)], 2.2, False),
        ([(137, 104), (138.5, 80), (136.5, 66), (139.5, 51)], 2.6, False),
    ]
    for points, width, dark in leaves:
        ink, cover = leaf(points, width_mm=width, dark=dark)
        sheet.lay(ink, cover=cover, halo_mm=0.5)


def water() -> BaseGeometry:
    """Return the water: rings round legs and stalks, and long strokes between them."""
    chance = np.random.default_rng(5)
    strokes: list[BaseGeometry] = []
    for x, y, size in ((92.5, 106, 1.0), (103.5, 107.5, 0.95), (27, 105, 1.5), (138, 105, 1.1)):
        for k, (a, b) in enumerate(((-160, 140), (20, 170), (200, 345))):
            t = np.radians(np.linspace(a, b, 90))
            r = size * (4.4 + 2.6 * k)
            strokes.append(
                swell(np.column_stack([x + r * 1.25 * np.cos(t), y + r * 0.27 * np.sin(t)]), [0.36, 0.62, 0.36])
            )
    rings = areas(shapely.union_all(strokes))
    clear = areas(shapely.union_all([g.convex_hull.buffer(1.3) for g in getattr(rings, "geoms", [rings])]))
    free: list[BaseGeometry] = []
    for y in np.arange(104.5, 117, 1.75):
        span = 77 - 1.3 * (y - 104)
        x = 78 - span + chance.uniform(0, 6)
        while x < 78 + span - 4:
            length = min(chance.uniform(6, 22), 78 + span - x)
            free.append(
                swell(
                    np.column_stack([np.linspace(x, x + length, 50), y + 0.22 * np.sin(np.linspace(0, 5, 50) + x)]),
                    [0.36, 0.85, 0.36],
                )
            )
            x += length + chance.uniform(2, 12)
    kept = shapely.union_all(free).difference(clear)
    return areas(
        shapely.union_all([rings, *[g for g in getattr(kept, "geoms", [kept]) if g.bounds[2] - g.bounds[0] > 2.5]])
    )


def sun() -> BaseGeometry:
    """Return the low sun as ruled lines, closer and stronger at the top."""
    disc = Point(111, 42).buffer(25, 64)
    lines = [np.column_stack([np.linspace(80, 142, 400), np.full(400, y)]) for y in np.arange(16, 70, 1.55)]
    return hatch(disc, lines, lambda p: np.clip(0.92 - 0.0165 * (p[:, 1] - 17), 0.16, 1), pitch_mm=1.55)


def hills() -> BaseGeometry:
    """Return the far bank as a few lying strokes."""
    parts = []
    for y, spans in (
        (88.5, ((48, 74),)),
        (91.0, ((55, 88), (113, 130))),
        (93.5, ((62, 90), (107, 128))),
        (96.2, ((45, 86), (108, 133))),
    ):
        for a, b in spans:
            x = np.linspace(a, b, 80)
            parts.append(swell(np.column_stack([x, y + 0.35 * np.sin(x / 7)]), [0.36, 0.75, 0.36]))
    return areas(shapely.union_all(parts))


def heron_svg() -> str:
    """Return the heron of the tea tray."""
    sheet = Sheet()
    for points in (
        [(102.0, 82), (103.2, 88), (104.6, 93.5), (104.2, 100), (103.4, 107.5)],
        [(93.5, 83), (93.4, 88), (93.6, 94.0), (93.0, 100.5), (92.3, 106)],
    ):
        sheet.lay(leg(points))
    for part, cover in [body(), *wing(), *neck_and_head()]:
        sheet.lay(part, cover=cover, halo_mm=0.4)
    for k, (dx, dy) in enumerate(((0, 0), (1.8, 2.4), (3.9, 4.2), (6.4, 5.4))):
        line = curve([(73.0 + dx, 63.5 + dy), (74.6 + dx, 71 + dy), (78.6 + dx, 79.5 + dy - k * 0.8)])
        sheet.lay(swell(line, [0.6, 1.25, 0.36]), halo_mm=0.4)
    bird = sheet.ink, sheet.cover
    stand = Sheet()
    reeds(stand)
    stand.lay(bird[0], cover=bird[1], halo_mm=0.7)
    stand.behind(hills(), halo_mm=0.8)
    stand.behind(sun(), halo_mm=0.9)
    water_ = water().difference(areas(stand.cover.intersection(box(0, 0, 200, 106))).buffer(0.55))
    drowned = box(-5, 108.2, 170, 140)
    ink = areas(stand.ink.difference(drowned).union(water_))
    body_ = f'<g id="heron" transform="translate(0 0)">{fill(tidy(ink, gap_mm=0.28))}</g>'
    return document(body_, width_mm=WIDTH_mm, height_mm=HEIGHT_mm, title="Heron among reeds")
