"""How a camera saw a flat page: perspective and the lens's barrel or cushion, from points known on the page.

A pinhole camera maps a plane by a homography, and a lens draws each point towards or away from the picture's middle; so
eight numbers and two hold all of it, and the focal length need not be known, which a photograph taken square on cannot tell.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from evenburn.core.nouns.card import Box

FloatArray = NDArray[np.float64]
Picture = NDArray[np.uint8]

SCALE_mm = 100.0  # page lengths are counted in these while solving
BARREL_SD, BARREL2_SD = 0.2, 0.05  # of k1 and k2 over the half diagonal: camera lenses stay well below
INWARD_SD_mm = 0.1  # of what blur draws a marker's corner inwards
CORNER_SD_px = 0.3  # of a marker's corner, twice what was measured on sharp pictures
GRID_px = 16  # the map of a rectified picture is worked out on every so many pixels and interpolated
_HOMOGRAPHY = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PageView:
    """The camera's view of a page.

    Attributes
    ----------
    homography : (3, 3) page in units of SCALE_mm from `middle_mm` to the picture before the lens, its half diagonal 1.
    barrel : k1 and k2 of x (1 + k1 r² + k2 r⁴), r over the half diagonal.
    rms_px : what the known points miss by.
    """

    homography: FloatArray
    barrel: tuple[float, float]
    middle_mm: tuple[float, float]
    size_px: tuple[int, int]
    rms_px: float

    def places_px(self, places_mm: FloatArray) -> FloatArray:
        """Return where points of the page are in the picture; the middle of the first pixel is 0, 0.

        Parameters
        ----------
        places_mm : (N, 2) on the page. [mm]

        Returns
        -------
        (N, 2) column and row. [px]

        Source
        ------
        Definition of the pinhole camera and of radial distortion.
        """
        return _seen(self.homography, self.barrel, places_mm, middle_mm=self.middle_mm, size_px=self.size_px)

    def px_per_mm(self, place_mm: tuple[float, float]) -> float:
        """Return how many pixels a millimetre takes up at a place of the page, the smaller of both ways. Definition."""
        x, y = place_mm
        points = np.array([[x - 0.5, y], [x + 0.5, y], [x, y - 0.5], [x, y + 0.5]])
        p = self.places_px(points)
        jacobian = np.column_stack([p[1] - p[0], p[3] - p[2]])
        return float(np.linalg.svd(jacobian, compute_uv=False)[-1])


def _seen(
    homography: FloatArray,
    barrel: tuple[float, float],
    places_mm: FloatArray,
    *,
    middle_mm: tuple[float, float],
    size_px: tuple[int, int],
) -> FloatArray:
    unit = np.column_stack([(places_mm - np.asarray(middle_mm)) / SCALE_mm, np.ones(len(places_mm))]) @ homography.T
    flat = unit[:, :2] / unit[:, 2:]
    r2 = np.minimum(np.square(flat).sum(axis=1, keepdims=True), 4.0)  # far outside the picture no polynomial holds
    bent = flat * (1.0 + barrel[0] * r2 + barrel[1] * r2**2)
    wide, high = size_px
    return np.asarray(bent * _half_diagonal_px(size_px) + 0.5 * (np.array([wide, high]) - 1.0))


def _half_diagonal_px(size_px: tuple[int, int]) -> float:
    return 0.5 * float(np.hypot(*size_px))


def page_view(
    places_mm: FloatArray, places_px: FloatArray, *, inward: FloatArray, size_px: tuple[int, int]
) -> PageView:
    """Return the view that explains where corners of markers were seen.

    Blur draws every corner of a dark square inwards by the same length, which is solved for beside the view.

    Parameters
    ----------
    places_mm, places_px : (N, 2) on the page and in the picture, N at least 8.
    inward : (N, 2) from each corner towards the middle of its marker, ±1 each way.

    Source
    ------
    Own derivation, docs/how-it-works/card.md: least squares of homography and two radial terms about the picture's middle.
    """
    middle = places_mm.mean(axis=0)
    middle_mm = (float(middle[0]), float(middle[1]))
    half = _half_diagonal_px(size_px)
    unit_px = (places_px - 0.5 * (np.array(size_px) - 1.0)) / half
    first, _ = cv2.findHomography((places_mm - middle) / SCALE_mm, unit_px, 0)
    start = np.concatenate([(first / first[2, 2]).ravel()[:_HOMOGRAPHY], [0.0, 0.0, 0.0]])
    sd = CORNER_SD_px / half

    def misses(vector: FloatArray) -> FloatArray:
        homography = np.append(vector[:_HOMOGRAPHY], 1.0).reshape(3, 3)
        barrel = (vector[8], vector[9])
        drawn_mm = places_mm + vector[10] * inward
        seen = _seen(homography, barrel, drawn_mm, middle_mm=middle_mm, size_px=size_px)
        off = ((seen - places_px) / half / sd).ravel()
        return np.concatenate([off, vector[8:] / (BARREL_SD, BARREL2_SD, INWARD_SD_mm)])

    solved = least_squares(misses, start, method="trf", x_scale="jac", loss="soft_l1", f_scale=3.0)
    off = misses(solved.x)[:-3] * CORNER_SD_px
    return PageView(
        homography=np.append(solved.x[:_HOMOGRAPHY], 1.0).reshape(3, 3),
        barrel=(float(solved.x[8]), float(solved.x[9])),
        middle_mm=middle_mm,
        size_px=size_px,
        rms_px=float(np.sqrt(2.0 * np.mean(np.square(off)))),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Flat:
    """A part of the page as if photographed square on: rows down, row 0 at the box's upper edge.

    Attributes
    ----------
    pixels : (rows, columns, 3) encoded as the camera wrote them.
    """

    pixels: Picture
    box_mm: Box
    px_per_mm: int

    def part(self, box_mm: Box) -> Picture:
        """Return the whole pixels inside a box on the page, none where it is smaller than a pixel. Definition."""
        x0, _, _, y1 = self.box_mm
        u = self.px_per_mm
        left, right = int(np.ceil((box_mm[0] - x0) * u - 1e-6)), int(np.floor((box_mm[2] - x0) * u + 1e-6))
        top, bottom = int(np.ceil((y1 - box_mm[3]) * u - 1e-6)), int(np.floor((y1 - box_mm[1]) * u + 1e-6))
        return self.pixels[max(top, 0) : max(bottom, 0), max(left, 0) : max(right, 0)]


def flattened(
    picture: Picture, view: PageView, *, box_mm: Box, px_per_mm: int, to_page: FloatArray | None = None
) -> Flat:
    """Return a part of the page rectified, or with `to_page` (2, 3) of what lies on it, in its own mm.

    Source
    ------
    `PageView`, each pixel interpolated between its four neighbours.
    """
    x0, y0, x1, y1 = box_mm
    columns, rows = (max(1, round(side * px_per_mm)) for side in (x1 - x0, y1 - y0))
    coarse_c = np.arange(0, columns + 2 * GRID_px, GRID_px)
    coarse_r = np.arange(0, rows + 2 * GRID_px, GRID_px)
    cc, rr = np.meshgrid(x0 + (coarse_c + 0.5) / px_per_mm, y1 - (coarse_r + 0.5) / px_per_mm)
    places = np.column_stack([cc.ravel(), rr.ravel()])
    if to_page is not None:
        places = places @ to_page[:, :2].T + to_page[:, 2]
    seen = view.places_px(places).reshape(*cc.shape, 2).astype(np.float32)
    flat = np.empty((rows, columns, 3), np.uint8)
    across = np.arange(columns, dtype=np.float32) / GRID_px
    for top in range(0, rows, 512):
        down = np.arange(top, min(top + 512, rows), dtype=np.float32) / GRID_px
        gx, gy = np.meshgrid(across, down)
        maps = cv2.remap(seen, gx, gy, cv2.INTER_LINEAR)
        flat[top : top + 512] = cv2.remap(
            picture, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT
        )
    return Flat(pixels=flat, box_mm=box_mm, px_per_mm=px_per_mm)
