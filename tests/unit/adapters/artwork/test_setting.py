"""Text at a true size: what it measures in mm, where it stands in its box, and what is told when it does not fit."""

import re
from typing import Any

import numpy as np
import pytest
import shapely

from evenburn.adapters.artwork.along import Along, Circle, Tops
from evenburn.adapters.artwork.faces import face_file, list_faces
from evenburn.adapters.artwork.ink import render_lettering
from evenburn.adapters.artwork.lettering import set_text
from evenburn.adapters.artwork.setting import PlacedText, TextSetting, artwork_from_setting, fit_of
from evenburn.core.errors import InvalidInput, NotFound, OutOfRange
from evenburn.core.nouns.path import FLATNESS_mm, Polyline

SAME_mm = 1e-6
BOX_mm = (120.0, 40.0)
LONG = "Awarded to the winners of the Novice Fours at the Sedgeholm Rowing Club regatta, for a well-steered race"


def placed(text: str, *, size_mm: tuple[float, float] = BOX_mm, face: str = "montserrat", **how: Any) -> PlacedText:
    return artwork_from_setting(TextSetting(text=text, face=face, **how), size_mm=size_mm)


def box_of(art: PlacedText) -> tuple[float, float, float, float]:
    rings = art.outlines(width_mm=art.size_mm[0], height_mm=art.size_mm[1])
    points = np.vstack([ring.points_mm for ring in rings])
    return (*points.min(axis=0), *points.max(axis=0))


def test_capitals_are_as_high_as_asked() -> None:
    x0, y0, x1, y1 = box_of(placed("H", letter_mm=8.0))  # Montserrat's H is 700 of 1000, and so are its capitals
    assert y1 - y0 == pytest.approx(8.0, abs=SAME_mm)
    assert (x0 + x1) / 2.0 == pytest.approx(60.0, abs=SAME_mm)
    assert (y0 + y1) / 2.0 == pytest.approx(20.0, abs=SAME_mm)


@pytest.mark.parametrize("face", [face.id for face in list_faces()])
def test_each_faces_capitals_are_near_what_is_asked(face: str) -> None:
    x0, y0, x1, y1 = box_of(placed("E", letter_mm=10.0, face=face))
    assert 8.0 < y1 - y0 < 15.0  # swashes and serifs past the height of the capitals
    assert x1 > x0


@pytest.mark.parametrize("align", ["left", "centre", "right"])
def test_text_stands_left_middle_or_right(align: str) -> None:
    x0, _, x1, _ = box_of(placed("Novice", letter_mm=6.0, align=align))
    at = {"left": x0, "centre": (x0 + x1) / 2.0 - 60.0, "right": x1 - 120.0}[align]
    assert at == pytest.approx(0.0, abs=SAME_mm)


def test_names_of_a_list_stand_at_one_height() -> None:
    bottoms = {name: box_of(placed(name, letter_mm=6.0))[1] for name in ("Hill", "Fell", "Till")}
    assert max(bottoms.values()) - min(bottoms.values()) < 0.15  # overshoot of round letters
    assert box_of(placed("Peggy", letter_mm=6.0))[1] < min(bottoms.values()) - 1.0  # descenders hang


def test_ink_never_leaves_a_box_it_fits() -> None:
    _, y0, _, y1 = box_of(placed("gy", letter_mm=6.0, size_mm=(40.0, 6.6)))  # descenders would hang out
    assert y0 >= -SAME_mm
    assert y1 <= 6.6 + SAME_mm


def test_as_large_as_fits_is_what_fitting_to_a_grid_gives() -> None:
    art = placed("Novice Fours")
    ours = art.ink(width_px=480, height_px=160)
    theirs = render_lettering(
        set_text("Novice Fours", face_file("montserrat"), face_name="montserrat"), width_px=480, height_px=160
    )
    assert np.abs(ours - theirs).max() < 1e-3  # finer chords, the same letters
    assert np.allclose(art.light(width_px=480, height_px=160), 1.0 - ours)


def test_pixels_hold_the_area_of_the_outlines() -> None:
    art = placed("Sedgeholm", letter_mm=7.3, align="right")
    pixels = art.ink(width_px=1200, height_px=400)
    rings = art.outlines(width_mm=120.0, height_mm=40.0)
    signed = sum(
        float(np.dot(p[:, 0], np.roll(p[:, 1], -1)) - np.dot(p[:, 1], np.roll(p[:, 0], -1))) / 2.0
        for p in (ring.points_mm for ring in rings)
    )
    assert float(pixels.sum(dtype=np.float64)) * 0.01 == pytest.approx(signed, rel=1e-5)
    assert all(ring.closed for ring in rings)
    columns = np.flatnonzero(pixels.any(axis=0))
    x0, _, x1, _ = box_of(art)
    assert columns[0] == int(x0 * 10.0)
    assert columns[-1] == int(np.ceil(x1 * 10.0)) - 1


def test_a_grid_of_whole_pixels_keeps_the_true_size() -> None:
    # pixels of 0.1 mm in 120.07 × 40.01 mm: 1200 × 400 of them, in the middle
    art = placed("HHHH", letter_mm=8.0, size_mm=(120.07, 40.01))
    rows = art.ink(width_px=1200, height_px=400).max(axis=1)
    assert float(rows.sum()) == pytest.approx(80.0, abs=0.08)  # a part in a thousand: less than a pixel over the box


def test_ink_outside_the_grid_is_left_out_not_squeezed() -> None:
    whole = placed("Novice Fours", size_mm=(100.04, 100.0))  # touches both sides
    pixels = whole.ink(width_px=1000, height_px=1000)  # the grid leaves out 0.02 mm on each side
    inside = placed("Novice Fours", size_mm=(100.0, 100.0)).ink(width_px=1000, height_px=1000)
    assert float(pixels.sum()) == pytest.approx(float(inside.sum()), rel=2e-3)


def test_outlines_of_large_letters_are_as_smooth_as_those_of_small_ones() -> None:
    (outer, _) = placed("O", letter_mm=300.0, size_mm=(500.0, 400.0), face="quicksand").outlines(
        width_mm=500.0, height_mm=400.0
    )
    points = outer.points_mm
    steps = np.roll(points, -1, axis=0) - points
    turns = np.abs(np.angle(np.exp(1j * np.diff(np.arctan2(steps[:, 1], steps[:, 0])))))
    sagitta = np.hypot(*steps[1:].T) * turns / 8.0  # of a chord whose arc turns by so much
    assert sagitta.max() < 2.0 * FLATNESS_mm
    assert sagitta.max() > FLATNESS_mm / 8.0  # and not smoother than there is use for


def test_another_box_scales_the_outlines_about_its_middle() -> None:
    art = placed("H", letter_mm=8.0)
    (ring,) = art.outlines(width_mm=60.0, height_mm=20.0)
    assert np.ptp(ring.points_mm[:, 1]) == pytest.approx(4.0, abs=SAME_mm)
    assert ring.points_mm.mean(axis=0) == pytest.approx([30.0, 10.0], abs=0.2)


# --- what does not fit ---


def test_too_wide_says_by_how_much_and_at_what_size_it_fits() -> None:
    with pytest.raises(InvalidInput) as caught:
        placed("Sedgeholm Rowing Club", letter_mm=8.0)
    message = caught.value.fields["letter_mm"]
    found = re.fullmatch(
        r"at 8 mm capitals it is ([\d.]+) mm wide and the box is 120 mm; it fits at ([\d.]+) mm", message
    )
    assert found is not None, message
    assert float(found[1]) / 120.0 == pytest.approx(8.0 / float(found[2]), rel=2e-3)  # digits printed
    placed("Sedgeholm Rowing Club", letter_mm=float(found[2]))  # what it says does fit
    with pytest.raises(InvalidInput):
        placed("Sedgeholm Rowing Club", letter_mm=float(found[2]) + 0.02)


def test_too_high_and_too_large_both_ways_say_so() -> None:
    with pytest.raises(InvalidInput, match=r"mm high and the box is 40 mm"):
        placed("A\nB\nC\nD", letter_mm=9.0)
    with pytest.raises(InvalidInput, match=r"× [\d.]+ mm and the box is 120 × 40 mm"):
        placed("Sedgeholm Club\nNovice Fours", letter_mm=25.0)


def test_fit_tells_without_drawing() -> None:
    fit = fit_of(TextSetting(text="Sedgeholm", face="montserrat", letter_mm=8.0), BOX_mm)
    assert fit.fits
    x0, y0, x1, y1 = box_of(placed("Sedgeholm", letter_mm=8.0))
    assert (fit.width_mm, fit.height_mm) == pytest.approx((x1 - x0, y1 - y0), abs=2.0 / 2000.0 * 8.0 / 0.7)
    assert not fit_of(TextSetting(text="Sedgeholm", face="montserrat", letter_mm=20.0), BOX_mm).fits
    free = fit_of(TextSetting(text="Sedgeholm", face="montserrat"), BOX_mm)
    assert free.fits
    assert free.letter_mm == pytest.approx(fit.letter_fits_mm)
    assert max(free.width_mm / 120.0, free.height_mm / 40.0) == pytest.approx(1.0)


# --- broken into lines ---


def test_wrapped_text_fills_its_box_better_than_any_number_of_lines_by_hand() -> None:
    art = placed(LONG, wrap=True, size_mm=(90.0, 60.0), face="eb-garamond")
    words = LONG.split()
    for per_line in range(1, len(words) + 1):  # so many words a line
        by_hand = "\n".join(" ".join(words[at : at + per_line]) for at in range(0, len(words), per_line))
        assert placed(by_hand, size_mm=(90.0, 60.0), face="eb-garamond").letter_mm <= art.letter_mm * 1.1


def test_wrapped_text_of_a_given_size_fits_or_says_what_does() -> None:
    best = placed(LONG, wrap=True, size_mm=(90.0, 60.0)).letter_mm
    for share in (0.3, 0.6, 0.9, 0.999):
        x0, y0, x1, y1 = box_of(placed(LONG, wrap=True, size_mm=(90.0, 60.0), letter_mm=share * best))
        assert min(x0, y0) >= -SAME_mm
        assert x1 <= 90.0 + SAME_mm
        assert y1 <= 60.0 + SAME_mm
    with pytest.raises(InvalidInput, match="it fits at") as caught:
        placed(LONG, wrap=True, size_mm=(90.0, 60.0), letter_mm=1.3 * best)
    fits = float(caught.value.fields["letter_mm"].split()[-2])
    placed(LONG, wrap=True, size_mm=(90.0, 60.0), letter_mm=fits)


@pytest.mark.parametrize("text", ["\u200d", "\u00ad", "\u200b\u200b"])
def test_text_without_ink_is_refused(text: str) -> None:
    for wrap in (True, False):
        with pytest.raises(InvalidInput, match="no ink"):
            placed(text, wrap=wrap)


# --- along a circle or a path ---


def on_circle(text: str, **how: Any) -> shapely.MultiPoint:
    art = placed(text, size_mm=(100.0, 100.0), letter_mm=6.0, along=Circle(**how))
    points = np.vstack([ring.points_mm for ring in art.outlines(width_mm=100.0, height_mm=100.0)])
    return points - 50.0


@pytest.mark.parametrize(
    ("side", "tops", "low_mm", "high_mm"),
    [
        ("outside", "outward", 35.0, 41.0),
        ("inside", "outward", 29.0, 35.0),
        ("outside", "inward", 35.0, 41.0),
        ("inside", "inward", 29.0, 35.0),
    ],
)
@pytest.mark.parametrize("middle_deg", [90.0, 200.0, -45.0])
def test_capitals_stand_between_the_circle_and_their_height(
    side: str, tops: str, low_mm: float, high_mm: float, middle_deg: float
) -> None:
    points = on_circle("HIH", diameter_mm=70.0, side=side, tops=tops, middle_deg=middle_deg)
    radii = np.hypot(points[:, 0], points[:, 1])
    # flat letters touch the circle with their middles and leave it at their sides: by 6² / (8 r) at most
    assert radii.min() == pytest.approx(low_mm, abs=0.2)
    assert radii.max() == pytest.approx(high_mm, abs=0.2)
    middle = np.arctan2(*points.mean(axis=0)[::-1])
    assert np.angle(np.exp(1j * (middle - np.radians(middle_deg)))) == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize("tops", ["outward", "inward"])
def test_at_the_bottom_text_runs_to_the_left_with_its_tops_outward(tops: Tops) -> None:
    # clockwise along the bottom is from right to left, the letters on their heads
    art = placed(
        "I.", size_mm=(100.0, 100.0), letter_mm=6.0, along=Circle(diameter_mm=70.0, tops=tops, middle_deg=270.0)
    )
    rings = [ring.points_mm for ring in art.outlines(width_mm=100.0, height_mm=100.0)]
    stop, letter = sorted(rings, key=lambda points: float(np.ptp(points[:, 1])))
    assert (stop[:, 0].mean() < letter[:, 0].mean()) == (tops == "outward")
    foot_is_low = stop[:, 1].mean() < letter[:, 1].mean()
    assert foot_is_low == (tops == "inward")


def test_auto_is_upright_at_the_top_and_at_the_bottom() -> None:
    for middle_deg, tops in ((90.0, "outward"), (270.0, "inward"), (0.0, "outward"), (-90.0, "inward")):
        auto = on_circle("Club", diameter_mm=70.0, middle_deg=middle_deg)
        assert auto == pytest.approx(on_circle("Club", diameter_mm=70.0, middle_deg=middle_deg, tops=tops))


def test_a_circle_may_have_its_middle_outside_the_box() -> None:
    arch = Circle(diameter_mm=300.0, centre_mm=(60.0, -140.0))
    x0, y0, x1, y1 = box_of(placed("Sedgeholm", letter_mm=8.0, along=arch))
    assert y0 == pytest.approx(10.0 - (x1 - x0) ** 2 / (8.0 * 150.0), abs=1.0)  # sagitta of the arc
    assert y1 < 20.0
    assert x0 > 0.0


def test_as_large_as_fits_on_a_circle_is_just_inside_length_and_box() -> None:
    free = placed("Sedgeholm Rowing Club", size_mm=(100.0, 100.0), along=Circle(diameter_mm=80.0))
    x0, y0, x1, y1 = box_of(free)
    assert max(-x0, -y0, x1 - 100.0, y1 - 100.0) == pytest.approx(0.0, abs=0.01)  # the box binds
    full = placed("Sedgeholm Rowing Club", size_mm=(300.0, 300.0), along=Circle(diameter_mm=80.0))
    fit = fit_of(
        TextSetting(text="Sedgeholm Rowing Club", face="montserrat", along=Circle(diameter_mm=80.0)), (300.0, 300.0)
    )
    em_mm = full.letter_mm / 0.7
    assert fit.width_mm == pytest.approx(np.pi * 80.0 - 0.25 * em_mm, rel=1e-6)  # the circle binds


@pytest.mark.parametrize(
    ("along", "size_mm", "words"),
    [
        (Circle(diameter_mm=40.0), (120.0, 120.0), r"mm long and the circle has room for [\d.]+ mm; it fits at [\d.]+ mm"),
        (Circle(diameter_mm=70.0), (80.0, 80.0), r"reaches 3\.\d mm outside the box of 80 × 80 mm; it fits at"),
        (Circle(diameter_mm=200.0), (80.0, 80.0), "it fits at no size"),
        (Circle(diameter_mm=100.0, span_deg=60.0), (150.0, 150.0), "has room for 52.3"),  # 100 π / 6
        (
            Along(path=Polyline(points_mm=np.array([[0.0, 10.0], [60.0, 10.0]]), closed=False)),
            (100.0, 100.0),
            "the path has room for 60 mm",
        ),
    ],
)  # fmt: skip
def test_too_long_for_its_path_says_by_how_much(along: Any, size_mm: tuple[float, float], words: str) -> None:
    with pytest.raises(InvalidInput, match=words):
        placed("Sedgeholm Rowing Club", letter_mm=8.0, size_mm=size_mm, along=along)


@pytest.mark.parametrize(("align", "at_mm"), [("left", 20.0), ("centre", 70.0), ("right", 120.0)])
def test_text_is_aligned_along_what_is_left_of_its_path(align: str, at_mm: float) -> None:
    path = Polyline(points_mm=np.array([[0.0, 10.0], [50.0, 10.0], [120.0, 10.0]]), closed=False)
    x0, y0, x1, _ = box_of(placed("HH", letter_mm=5.0, align=align, along=Along(path=path, start_mm=20.0)))
    side_mm = 0.105 * 5.0 / 0.7  # Montserrat's H begins 105 of 1000 after its origin, and ends so before its advance
    at = {"left": x0 - side_mm, "centre": (x0 + x1) / 2.0, "right": x1 + side_mm}[align]
    assert at == pytest.approx(at_mm, abs=0.05)
    assert y0 == pytest.approx(10.0, abs=SAME_mm)


def test_backward_and_raised_text_stands_on_the_other_side() -> None:
    path = Polyline(points_mm=np.array([[10.0, 20.0], [110.0, 20.0]]), closed=False)
    below = box_of(placed("H", letter_mm=5.0, along=Along(path=path, backward=True, raise_mm=1.0)))
    assert (below[1], below[3]) == pytest.approx((14.0, 19.0), abs=SAME_mm)


def test_a_closed_path_is_gone_round_once() -> None:
    square = Polyline(points_mm=np.array([[20.0, 20.0], [20.0, 80.0], [80.0, 80.0], [80.0, 20.0]]), closed=True)
    art = placed("SEDGEHOLM ROWING CLUB REGATTA", size_mm=(100.0, 100.0), along=Along(path=square))
    x0, y0, x1, y1 = box_of(art)
    assert x0 < 20.0
    assert x1 > 80.0  # letters stand outside a square gone round clockwise
    assert min(x0, y0, 100.0 - x1, 100.0 - y1) >= -SAME_mm


def test_letters_that_join_are_refused_on_a_path_in_words() -> None:
    for text in ("سلام", "abc سلام"):
        with pytest.raises(InvalidInput, match="Arabic letters join"):
            TextSetting(text=text, face="own", along=Circle(diameter_mm=50.0))
    TextSetting(text="سلام", face="own")  # straight it may be set


def test_more_than_a_line_is_refused_on_a_path() -> None:
    with pytest.raises(InvalidInput, match="one line"):
        TextSetting(text="a\nb", face="montserrat", along=Circle(diameter_mm=50.0))


# --- what cannot be ---


def test_all_faults_of_a_setting_are_told_at_once() -> None:
    with pytest.raises(InvalidInput) as caught:
        TextSetting(text="", face="x", align="middle", tracking_em=9.0, letter_mm=float("nan"))  # type: ignore[arg-type]
    assert set(caught.value.fields) == {"text", "align", "tracking_em", "letter_mm"}


def test_all_faults_of_a_circle_are_told_at_once() -> None:
    with pytest.raises(InvalidInput) as caught:
        Circle(diameter_mm=-1.0, middle_deg=float("nan"), side="in", tops="up", span_deg=0.0, centre_mm=(0.0, np.inf))  # type: ignore[arg-type]
    assert set(caught.value.fields) == {"diameter_mm", "middle_deg", "side", "tops", "span_deg", "centre_mm"}


def test_a_path_without_length_and_a_start_past_its_end_are_refused() -> None:
    point = Polyline(points_mm=np.array([[1.0, 1.0], [1.0, 1.0]]), closed=False)
    with pytest.raises(InvalidInput, match="no length"):
        Along(path=point)
    path = Polyline(points_mm=np.array([[0.0, 0.0], [5.0, 0.0]]), closed=False)
    with pytest.raises(InvalidInput, match=r"the path is 5\.0 mm long"):
        Along(path=path, start_mm=5.0)


@pytest.mark.parametrize("size_mm", [(0.0, 10.0), (10.0, float("nan")), (float("inf"), 1.0)])
def test_a_box_that_cannot_be_is_refused(size_mm: tuple[float, float]) -> None:
    with pytest.raises(OutOfRange):
        placed("a", size_mm=size_mm)


def test_an_unknown_face_is_not_found_and_a_missing_letter_named() -> None:
    with pytest.raises(NotFound):
        placed("a", face="no-such-face")
    with pytest.raises(InvalidInput, match=r"U\+6F22"):
        placed("漢", wrap=True)
