"""The captain's oar: a cartouche whose ends follow the tip of the blade; the lettering is a mark of its own."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from demo_art.crew import star, wave
from demo_art.ink import curve, document, fill, mirrored, moved, swell, tidy

WIDTH_mm, HEIGHT_mm = 190.0, 84.0


def barrel(inset_mm: float, *, notch_mm: float = 8.0) -> str:
    """Return a frame with bowed ends and corners cut in by a quarter circle."""
    i, r = inset_mm, notch_mm
    x0, x1, y0 = 3.0 + i, WIDTH_mm - 3.0 - i, i
    half = (HEIGHT_mm - 2 * i - 2 * r) / 2
    corner = f"a{r:g} {r:g} 0 0 0"
    return (
        f"M{x0 + r:g} {y0:g}H{x1 - r:g}{corner} {r:g} {r:g}q6 {half:g} 0 {2 * half:g}{corner} {-r:g} {r:g}"
        f"H{x0 + r:g}{corner} {-r:g} {-r:g}q-6 {-half:g} 0 {-2 * half:g}{corner} {r:g} {-r:g}z"
    )


def willow() -> BaseGeometry:
    """Return a spray of willow from the origin to the right."""
    stem = curve([(0, 0), (12, -1.6), (24, -1.2), (34, 1.6)])
    parts = [swell(stem, [0.85, 0.7, 0.45, 0.36])]
    for k in range(8):
        i = int(len(stem) * (0.12 + 0.115 * k))
        for side in (-1, 1):
            root = stem[min(i + (8 if side > 0 else 0), len(stem) - 1)]
            length = 7.0 - 0.3 * k
            tip = root + np.array([length * 0.88, side * length * 0.46])
            bow = (root + tip) / 2 + np.array([-0.2, side * 0.35])
            parts.append(swell(curve([root, bow, tip], step_mm=0.15), [0.4, 1.2, 1.5, 1.0, 0.36]))
    return shapely.union_all(parts)


def captain_svg() -> str:
    """Return the cartouche of the captain's oar."""
    spray = moved(willow(), dx_mm=6.5)
    sprays = tidy(shapely.union_all([spray, mirrored(spray)]), gap_mm=0.2)
    rules = tidy(
        shapely.union_all(
            [swell([(x, 0.0) for x in np.linspace(a, b, 40)], [0.4, 1.0, 0.4]) for a, b in ((-58, -20.5), (20.5, 58))]
        )
    )
    corners = "".join(
        f'<use href="#star" x="{x:g}" y="{y:g}"/>' for x in (5.4, WIDTH_mm - 5.4) for y in (2.9, HEIGHT_mm - 2.9)
    )
    body = (
        "<style>.rule{fill:none;stroke:#000}.wave{fill:none;stroke:#000;stroke-linecap:round}</style>\n"
        f'<defs><symbol id="star" overflow="visible">{star(2.4)}</symbol>'
        f'<path id="wave" class="wave" d="{wave(7)}"/></defs>\n'
        f'<path class="rule" stroke-width="1.2" d="{barrel(0.6)}"/>'
        f'<path class="rule" stroke-width="0.45" d="{barrel(3.2)}"/>{corners}\n'
        f'<g transform="translate(95 13)">{fill(sprays)}<use href="#star" transform="scale(1.35)"/></g>\n'
        f'<g transform="translate(95 73.2)">{fill(rules)}<use href="#wave" x="-17.5" y="-0.2" stroke-width="0.7"/>'
        '<use href="#wave" x="-17.5" y="2.2" stroke-width="0.5"/></g>'
    )
    return document(body, width_mm=WIDTH_mm, height_mm=HEIGHT_mm, title="Captain of Boats: cartouche, willow, water")
