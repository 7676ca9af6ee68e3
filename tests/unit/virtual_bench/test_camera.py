"""The virtual camera against known places and known light."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest

from virtual_bench import flat_target, something_else
from virtual_bench.camera import Shot, View, tone_curve
from virtual_bench.colour import BANDS_nm, L_of, camera_rgb, eye_rgb, light_of_K, srgb_linear
from virtual_bench.printer import Mat, Printer

EIGHT_BIT_L = 0.4  # a code step is 0.36 L* at L* 50


def small_mat() -> dict[str, Any]:
    """A mat in the form of a card.json, of this test's own making."""
    places = [(25.0, 135.0), (125.0, 135.0), (125.0, 45.0), (25.0, 45.0), (75.0, 135.0)]
    markers = [
        {
            "id": 3 + n,
            "dictionary": "DICT_APRILTAG_36h11",
            "corners_mm": [[x - 7, y + 7], [x + 7, y + 7], [x + 7, y - 7], [x - 7, y - 7]],
        }
        for n, (x, y) in enumerate(places)
    ]
    steps = [
        {"box_mm": [40.0 + 9 * n, 112.0, 47.0 + 9 * n, 119.0], "nominal_L": tone}
        for n, tone in enumerate((0, 25, 50, 75, 95))
    ]
    return {"page_mm": [150.0, 180.0], "window_mm": [40.0, 70.0, 110.0, 105.0], "markers": markers, "grey_steps": steps}


def tone_at(image: Any, px: Any) -> float:
    column, row = np.rint(px[0]).astype(int)
    code = image[row - 12 : row + 13, column - 12 : column + 13].astype(float) / 255.0
    return float(L_of(float((srgb_linear(code) @ [0.2126, 0.7152, 0.0722]).mean())))


def test_a_noise_free_flat_target_comes_back() -> None:
    target = flat_target({(20.0, 20.0, 30.0, 30.0): 40.0, (45.0, 20.0, 55.0, 30.0): 65.0}, (75.0, 50.0), warmth=0.0)
    photo = target.photograph(small_mat(), plain=True, exposure=1.0)
    seen = [tone_at(photo.image, photo.board_to_px(np.array([p]))) for p in ([25.0, 25.0], [50.0, 25.0], [37.0, 25.0])]
    assert seen == pytest.approx([40.0, 65.0, 80.0], abs=EIGHT_BIT_L)
    assert tone_at(photo.image, photo.page_to_px(np.array([[75.0, 60.0]]))) == pytest.approx(95.0, abs=EIGHT_BIT_L)
    for step in small_mat()["grey_steps"]:
        middle = np.array(
            [[0.5 * (step["box_mm"][0] + step["box_mm"][2]), 0.5 * (step["box_mm"][1] + step["box_mm"][3])]]
        )
        true = float(L_of(photo.printer.printed_luminance(step["nominal_L"])))
        assert tone_at(photo.image, photo.page_to_px(middle)) == pytest.approx(true, abs=2.0 * EIGHT_BIT_L)


@pytest.mark.parametrize("options", [{}, {"rotated_deg": 90}, {"rotated_deg": 180}])
def test_markers_are_found_where_they_were_put(options: dict[str, Any]) -> None:
    """OpenCV finds them; it shares no code with the drawing of them but the cells of the dictionary."""
    photo = flat_target({}, (75.0, 50.0)).photograph(
        small_mat(), plain=True, tilt_deg=22.0, tilt_towards_deg=70.0, k1=-0.15, print_scale=0.97, **options
    )
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    found, ids, _ = cv2.aruco.ArucoDetector(dictionary, settings).detectMarkers(
        cv2.cvtColor(photo.image, cv2.COLOR_RGB2GRAY)
    )
    assert ids is not None
    assert sorted(ids.ravel().tolist()) == [3, 4, 5, 6, 7]
    known = {m["id"]: np.array(m["corners_mm"]) for m in small_mat()["markers"]}
    for corners, number in zip(found, ids.ravel().tolist(), strict=True):
        off = corners[0] - photo.page_to_px(known[number])
        assert np.linalg.norm(off.mean(axis=0)) < 0.2, f"marker {number} is off by {off} px"
        assert np.linalg.norm(off, axis=1).max() < 0.9  # light spreads over dark where it is seen through a gamma


def test_a_known_point_is_projected_as_by_hand() -> None:
    """Straight from above: so many pixels to the mm, and the lens takes k1 r² of it, r in focal lengths."""
    view = View(Shot(k1=-0.1), [Mat(small_mat(), Printer())])
    middle, step = view.to_px(np.array([view.middle, view.middle + np.array([40.0, 0.0])]))
    r = 40.0 / view.distance_mm
    assert step[0] - middle[0] == pytest.approx(view.focal * r * (1.0 - 0.1 * r * r), abs=0.1)
    assert view.to_mm(view.to_px(np.array([[33.0, 44.0]])))[0] == pytest.approx([33.0, 44.0], abs=1e-6)


def test_light_falls_off_by_what_was_asked_for() -> None:
    photo = flat_target({}, (75.0, 50.0)).photograph(
        small_mat(), plain=True, light_across=0.35, light_towards_deg=30.0, light_bent=0.3
    )
    x, y = np.meshgrid(np.linspace(14.0, 136.0, 40), np.linspace(34.0, 146.0, 40))
    light = photo.light_at(np.column_stack([x.ravel(), y.ravel()]))
    assert light.min() / light.max() == pytest.approx(0.65, abs=0.02)


def test_glare_and_shadow_are_where_they_were_put() -> None:
    dark = flat_target({}, (75.0, 50.0), ground_L=40.0)
    at = np.array([[75.0, 87.0]])
    plain = dark.photograph(small_mat(), plain=True)
    shiny = dark.photograph(small_mat(), plain=True, glare=(75.0, 87.0, 6.0, 0.4))
    shaded = dark.photograph(small_mat(), plain=True, shadow=(70.0, 87.0, 0.0, 0.5))
    tones = [tone_at(p.image, p.page_to_px(at)) for p in (plain, shiny, shaded)]
    assert tones[1] > tones[0] + 15.0
    assert tones[2] < tones[0] - 8.0


def test_cameras_see_greys_alike_and_colours_a_little_apart() -> None:
    brown = 0.5 * np.exp((BANDS_nm - 640.0) / 130.0)
    for kelvin in (2800.0, 5000.0, 7500.0):
        see = camera_rgb(light_of_K(kelvin), believed=light_of_K(1.2 * kelvin))
        assert see @ np.full(6, 0.4) == pytest.approx(0.4 * np.ones(3), abs=1e-9)
        off = see @ brown / (eye_rgb() @ brown) - 1.0
        assert 0.0 < np.abs(off).max() < 0.2


def test_every_tone_curve_rises() -> None:
    for seed in range(20):
        shot = Shot.drawn(np.random.default_rng(seed))
        assert all(np.diff(tone_curve(shot)(np.linspace(0.0, 1.0, 400))) >= 0.0)


def test_the_same_seed_gives_the_same_picture_and_jpeg() -> None:
    target = flat_target({}, (75.0, 50.0))
    one, two = (target.photograph(small_mat(), seed=4, size_px=(800, 600)) for _ in range(2))
    assert one.jpeg() == two.jpeg()
    assert one.jpeg() != target.photograph(small_mat(), seed=5, size_px=(800, 600)).jpeg()


def test_pictures_of_something_else_have_no_marker() -> None:
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for kind in ("desk", "text", "checks", "night"):
        picture = something_else(kind, size_px=(1200, 900))
        assert picture.shape == (900, 1200, 3)
        assert cv2.aruco.ArucoDetector(dictionary).detectMarkers(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY))[1] is None
