"""The four slate coasters. On slate the burn is light, so the drawings are laid in solid, with lines left out."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from demo_art.crew import crossed_oars, star, wave
from demo_art.ink import Points, Sheet, areas, blob, curve, document, fill, line_of, mirrored, moved, swell, tidy
from demo_art.letters import Face

SIZE_mm = 68.0


def framed(body: str, *, title: str, ring_mm: float = 33.2, inner_mm: float = 31.2, defs: str = "") -> str:
    """Return a coaster's drawing inside its two rings."""
    return document(
        "<style>.ring{fill:none;stroke:#000}.wave{fill:none;stroke:#000;stroke-linecap:round}</style>\n"
        f'{defs}<g transform="translate(34 34)">\n'
        f'<g class="ring"><circle r="{ring_mm:g}" stroke-width="1.1"/>'
        f'<circle r="{inner_mm:g}" stroke-width="0.5"/></g>\n{body}\n</g>',
        width_mm=SIZE_mm,
        height_mm=SIZE_mm,
        title=title,
    )


def rope(spine: Points, *, width_mm: float = 1.9, lay_mm: float = 1.5) -> tuple[BaseGeometry, BaseGeometry]:
    """Return a rope along a line: its ink with the lay cut in, and what it covers."""
    cover = swell(spine, [width_mm, width_mm])
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(spine, axis=0).T))])
    t = np.gradient(spine, axis=0)
    t /= np.hypot(t[:, 0], t[:, 1])[:, None]
    cuts = []
    for at in np.arange(lay_mm, s[-1] - lay_mm * 0.5, lay_mm):
        i = int(np.searchsorted(s, at))
        n = np.array([-t[i, 1], t[i, 0]])
        cuts.append(
            line_of(
                [spine[i] - n * width_mm * 0.6 - t[i] * 0.75, spine[i] + n * width_mm * 0.6 + t[i] * 0.75], width_mm=0.4
            )
        )
    return areas(cover.difference(shapely.union_all(cuts))), cover


def anchor_svg() -> str:
    """Return the fouled anchor."""
    fluke = blob([(15.6, 6.0), (21.2, 1.6), (20.6, 8.6), (18.4, 12.0), (16.9, 9.4)], step_mm=0.15)
    fluke = areas(Polygon([(14.2, 7.4), (21.6, 1.0), (21.3, 11.4), (18.6, 9.9)]).buffer(-0.3).buffer(0.3))
    arm = swell(curve([(0, 22.0), (7.5, 20.4), (14.0, 15.8), (18.0, 9.0)]), [5.2, 4.0, 3.2, 2.6])
    shank = swell([(0, y) for y in np.linspace(-16, 22, 60)], [2.5, 2.8, 3.2, 3.9])
    crown = Polygon([(-3.4, 20.2), (3.4, 20.2), (0, 26.2)]).buffer(0.5)
    groove = areas(
        shapely.union_all(
            [
                line_of([(-0.55, -8.6), (-0.75, 16.5)], width_mm=0.4),
                line_of(curve([(4.4, 21.0), (9.2, 18.6), (13.4, 14.4)]), width_mm=0.4),
            ]
        )
    )
    iron = areas(shapely.union_all([arm, mirrored(arm), fluke, mirrored(fluke), shank, crown]).difference(groove))
    stock = swell(np.column_stack([np.linspace(-13.2, 13.2, 60), np.full(60, -11.4)]), [1.9, 2.6, 3.0, 2.6, 1.9])
    balls = areas(Point(-13.6, -11.4).buffer(1.75).union(Point(13.6, -11.4).buffer(1.75)))
    shackle = areas(Point(0, -20.4).buffer(4.3, 32).difference(Point(0, -20.4).buffer(2.6, 32)))
    sheet = Sheet()
    route = curve(
        [
            (1.6, -17.6),
            (8.6, -15.0),
            (12.6, -6.6),
            (6.0, -2.0),
            (-5.6, 1.0),
            (-9.0, 6.4),
            (-3.0, 11.2),
            (7.0, 12.4),
            (11.6, 16.4),
            (8.0, 24.2),
            (0.8, 28.0),
        ],
        step_mm=0.15,
    )
    s = np.arange(len(route)) / len(route)
    whole, whole_cover = rope(route)
    sheet.lay(whole, cover=whole_cover)
    sheet.lay(areas(iron.union(shackle)), halo_mm=0.55)
    sheet.lay(areas(stock.union(balls)), halo_mm=0.55)
    for a, b in ((0.0, 0.2), (0.33, 0.50), (0.70, 0.87)):
        _part, cover = rope(route[(s >= a) & (s <= b)])
        near = areas(cover.buffer(0.2))
        sheet.lay(areas(whole.intersection(near)), cover=areas(whole_cover.intersection(near)), halo_mm=0.55)
    return framed(fill(tidy(sheet.ink)), title="Anchor and rope")


def oars_svg(caps: Face) -> str:
    """Return the crossed oars with the year."""
    oars = moved(affinity.scale(crossed_oars(41.0), 0.88, 0.88, origin=(0, 0)), dy_mm=-0.6)
    digits = [
        moved(caps.line(text, cap_mm=4.6, spread_mm=0.6, fatten_mm=0.12), dx_mm=x, dy_mm=1.7)
        for text, x in (("20", -16.4), ("26", 16.4))
    ]
    body = (
        f"{fill(tidy(oars))}\n{fill(shapely.union_all(digits))}\n"
        '<use href="#star" transform="translate(0 -16)"/><use href="#star" transform="translate(0 17.6)"/>'
    )
    return framed(
        body,
        title="Crossed oars, 2026",
        defs=f'<defs><symbol id="star" overflow="visible">{star(4.2)}</symbol></defs>\n',
    )


def monogram_svg(caps: Face) -> str:
    """Return the club's letters inside its name."""
    letters = caps.line("S·R·C", cap_mm=12.5, spread_mm=0.9)
    letters = moved(letters, dy_mm=6.0)
    top = caps.round_("SEDGEHOLM", cap_mm=4.0, radius_mm=24.6, spread_mm=1.5, fatten_mm=0.16)
    foot = caps.round_("ROWING CLUB", cap_mm=4.0, radius_mm=24.6, spread_mm=1.3, fatten_mm=0.16, below=True)
    rules = [swell(np.column_stack([np.linspace(-12, 12, 50), np.full(50, y)]), [0.4, 1.1, 0.4]) for y in (-10.0,)]
    waves = "".join(
        f'<use href="#wave" x="{x:g}" y="{y:g}" stroke-width="{w:g}"/>'
        for x, y, w in ((-12.5, 11.6, 0.7), (-7.5, 14.2, 0.5))
    )
    waves = waves.replace('#wave" x="-7.5"', '#short" x="-7.5"')
    body = (
        f"{fill(shapely.union_all([letters, top, foot, *rules]))}\n{waves}"
        '<use href="#star" transform="translate(-26.6 0)"/><use href="#star" transform="translate(26.6 0)"/>'
    )
    defs = (
        f'<defs><path id="wave" class="wave" d="{wave(5)}"/><path id="short" class="wave" d="{wave(3)}"/>'
        f'<symbol id="star" overflow="visible">{star(2.6)}</symbol></defs>\n'
    )
    return framed(body, title="Sedgeholm Rowing Club", defs=defs)


def swan_svg() -> str:
    """Return a swan on the water."""
    sheet = Sheet()
    body = blob(
        [
            (-15.4, 5.0),
            (-13.6, -1.4),
            (-6.5, -4.2),
            (4, -4.6),
            (14, -2.5),
            (24.5, -5.2),
            (21.8, 2.0),
            (16.5, 9.0),
            (8, 12.2),
            (-6, 12.2),
            (-12.4, 10.4),
        ]
    )
    neck = swell(
        curve(
            [(-8.0, 5.0), (-12.2, -1.2), (-11.4, -8.4), (-7.4, -13.6), (-6.4, -19.0), (-9.8, -22.4), (-13.6, -21.2)],
            step_mm=0.2,
        ),
        [10.5, 7.4, 5.0, 4.0, 3.7, 3.8, 4.4, 4.2],
    )
    bill = blob(
        [(-15.0, -21.6), (-18.2, -19.6), (-21.6, -17.4), (-21.2, -16.5), (-17.2, -17.4), (-14.4, -18.8)], step_mm=0.12
    )
    mask = areas(Point(-14.4, -20.6).buffer(0.62))
    white = areas(body.union(neck).buffer(0.8).buffer(-0.8))
    sheet.lay(areas(white.difference(mask).difference(line_of([(-15.2, -19.6), (-16.0, -22.4)], width_mm=0.01))))
    sheet.lay(bill, halo_mm=0.5)
    rows = (  # root, middle and tip of the first feather of a row, steps to the next, count, width
        (((4, 3), (14, 3.2), (21.5, -1.6)), ((1.2, -1.0), (0.9, -2.1), (0.75, -3.2)), 5, 3.4),
        (((-1, 4.2), (7.6, 4.6), (15, 0.6)), ((1.0, -1.5), (1.0, -2.6), (1.0, -3.4)), 5, 3.6),
        (((-5.5, 4.2), (0.6, 5.2), (7.6, 2.4)), ((0.9, -1.9), (1.1, -2.9), (1.1, -3.6)), 4, 3.8),
    )
    for first, step, count, width in rows:
        for k in range(count):
            plume = curve(np.array(first) + k * np.array(step))
            sheet.lay(swell(plume, [w * width for w in (0.55, 0.9, 1.0, 0.95, 0.75, 0.3)]), halo_mm=0.5)
    shoulder = blob([(-8.6, 3.4), (-7.4, -1.6), (-3.0, -4.6), (1.5, -6.6), (2.6, -4.4), (-0.4, 1.2), (-4.2, 5.0)])
    sheet.lay(shoulder, halo_mm=0.5)
    waves: list[BaseGeometry] = []
    for y, spans in (
        (12.6, ((-25.5, -13.4), (10.5, 26.5))),
        (14.9, ((-22, 19.5),)),
        (17.2, ((-24.5, -7), (-3, 23.6))),
        (19.5, ((-19.5, 5.5), (9, 18))),
        (21.8, ((-14, -4), (0, 16.5))),
        (24.1, ((-9.5, 9),)),
    ):
        xs = [np.linspace(a, b, 90) for a, b in spans]
        waves += [swell(np.column_stack([x, y + 0.42 * np.sin(x * 1.05 + y)]), [0.4, 1.0, 0.95, 0.4]) for x in xs]
    ink = areas(
        sheet.ink.intersection(box(-40, -40, 40, 12.4))
        .difference(shapely.union_all(waves).buffer(0.45))
        .union(shapely.union_all(waves))
    )
    reeds = [
        swell(curve([(x, 11.2), (x + bend * 0.3, (11 + top) / 2), (x + bend, top)]), [1.3, 1.2, 0.4])
        for x, top, bend in ((26.6, -9.5, 1.2), (24.6, -0.5, 0.9), (-25.2, -5.5, -1.4), (-22.8, -11.0, -0.6))
    ]
    reeds_ = shapely.union_all(reeds).difference(sheet.cover.buffer(0.7))
    return framed(fill(tidy(areas(ink.union(reeds_)))), title="Swan")
