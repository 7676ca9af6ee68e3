"""Perspective, lens and the page rectified, against a camera written down here and OpenCV's own projection."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from evenburn.core.card.mat_geometry import mat_for_card
from evenburn.core.card.page_view import PageView, flattened, page_view

FloatArray = NDArray[np.float64]
SIZE_px = (4000, 3000)
NEAR_px = 0.25  # two radial terms about the middle stand for a lens; a tenth of what a patch's edge leaves out


def corners() -> tuple[FloatArray, FloatArray]:
    mat = mat_for_card((90.0, 60.0), kind="wood")
    inward = np.tile([[1.0, -1.0], [-1.0, -1.0], [-1.0, 1.0], [1.0, 1.0]], (len(mat.markers), 1))
    return np.array([c for m in mat.markers for c in m.corners_mm]), inward


def projected(places_mm: FloatArray, *, tilt_deg: float, k1: float) -> FloatArray:
    """OpenCV's projectPoints: a pinhole and k1, from 330 mm above the page's middle."""
    focal = 0.76 * SIZE_px[0]
    camera = np.array([[focal, 0.0, 1999.5], [0.0, focal, 1499.5], [0.0, 0.0, 1.0]])
    turn = cv2.Rodrigues(np.deg2rad([180.0, 0.0, 0.0]))[0]
    tilt = cv2.Rodrigues(np.deg2rad([0.6 * tilt_deg, 0.8 * tilt_deg, 3.0]))[0]
    flat = np.column_stack([places_mm - np.array([105.0, 148.5]), np.zeros(len(places_mm))])
    lens = np.array([k1, 0.0, 0.0, 0.0])
    px, _ = cv2.projectPoints(flat[:, None], cv2.Rodrigues(tilt @ turn)[0], np.array([0.0, 0.0, 330.0]), camera, lens)
    return np.asarray(px, np.float64).reshape(-1, 2)


@pytest.mark.parametrize("tilt_deg", [0.0, 12.0, 25.0])
@pytest.mark.parametrize("k1", [-0.2, 0.0, 0.1])
def test_places_between_the_markers_are_where_opencv_projects_them(tilt_deg: float, k1: float) -> None:
    places, inward = corners()
    seen = projected(places, tilt_deg=tilt_deg, k1=k1)
    view = page_view(places, seen, inward=inward, size_px=SIZE_px)
    x, y = np.meshgrid(np.linspace(60.0, 150.0, 7), np.linspace(118.5, 178.5, 7))
    card = np.column_stack([x.ravel(), y.ravel()])
    assert np.linalg.norm(view.places_px(card) - projected(card, tilt_deg=tilt_deg, k1=k1), axis=1).max() < NEAR_px
    assert view.rms_px < NEAR_px


def test_corners_drawn_inwards_by_blur_do_not_shrink_the_page() -> None:
    places, inward = corners()
    seen = projected(places + 0.06 * inward, tilt_deg=10.0, k1=0.0)
    view = page_view(places, seen, inward=inward, size_px=SIZE_px)
    card = np.array([[60.0, 118.5], [150.0, 118.5], [150.0, 178.5], [60.0, 178.5]])
    assert np.linalg.norm(view.places_px(card) - projected(card, tilt_deg=10.0, k1=0.0), axis=1).max() < 0.3


def test_pixels_per_millimetre_from_straight_above() -> None:
    """Pinhole: focal length over distance, 3040 px over 330 mm, by hand."""
    places, inward = corners()
    view = page_view(places, projected(places, tilt_deg=0.0, k1=0.0), inward=inward, size_px=SIZE_px)
    assert view.px_per_mm((105.0, 148.5)) == pytest.approx(3040.0 / 330.0, rel=1e-3)


def plain_view() -> PageView:
    """10 px to the mm, the page's middle in the picture's middle, y up."""
    half = 0.5 * float(np.hypot(400, 300))
    scale = 10.0 * 100.0 / half
    return PageView(
        homography=np.diag([scale, -scale, 1.0]),
        barrel=(0.0, 0.0),
        middle_mm=(0.0, 0.0),
        size_px=(400, 300),
        rms_px=0.0,
    )


def test_a_rectified_part_keeps_up_upwards_and_left_left() -> None:
    picture = np.zeros((300, 400, 3), np.uint8)
    picture[100:110, 250:260] = 200  # x 5 to 6 mm, y 4 to 5 mm
    flat = flattened(picture, plain_view(), box_mm=(-10.0, -10.0, 10.0, 10.0), px_per_mm=10)
    assert flat.part((5.0, 4.0, 6.0, 5.0)).shape == (10, 10, 3)
    assert flat.part((5.2, 4.2, 5.8, 4.8)).min() == 200
    assert int(flat.pixels.astype(int).sum()) == pytest.approx(3 * 200 * 100, rel=0.02)


def test_a_rectified_part_in_the_mm_of_what_lies_on_the_page() -> None:
    picture = np.zeros((300, 400, 3), np.uint8)
    picture[100:110, 250:260] = 200
    quarter = np.array([[0.0, -1.0, 5.0], [1.0, 0.0, 4.0]])  # a quarter turn, its origin at 5, 4
    flat = flattened(picture, plain_view(), box_mm=(-2.0, -2.0, 2.0, 2.0), px_per_mm=10, to_page=quarter)
    assert flat.part((0.2, -0.8, 0.8, -0.2)).min() == 200
    assert flat.part((0.2, 0.2, 0.8, 0.8)).max() == 0


def test_a_box_smaller_than_a_pixel_has_none() -> None:
    flat = flattened(np.zeros((300, 400, 3), np.uint8), plain_view(), box_mm=(-1.0, -1.0, 1.0, 1.0), px_per_mm=10)
    assert flat.part((0.01, 0.01, 0.05, 0.05)).size == 0
    assert flat.part((50.0, 50.0, 60.0, 60.0)).size == 0
