"""Photographs of every kind come out right: depth, colours, profiles, transparency, how the camera was held, crop, mask."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from evenburn.adapters.artwork.photo import KEPT_px, open_photo
from evenburn.core.errors import InvalidInput, UnreadableFile
from unit.adapters.artwork.picture_files import encoded, png, png16, profile, put

ROUNDING = 1e-4
EIGHT_BITS = 0.004  # a step of 8-bit sRGB is at most 0.0089 of light at white; half of it
JPEG_LOSS = 0.02
HALF_GREY = (
    0.21586  # linear light of sRGB 128, from memory of [iec61966-2-1]'s formula: ((128/255 + 0.055) / 1.055) ** 2.4
)
GREEN_LIGHT, BLUE_LIGHT = 0.7152, 0.0722  # [iec61966-2-1]


def light(folder: Path, content: bytes, *, width_px: int = 4, height_px: int = 4, **options: object) -> np.ndarray:
    photo = open_photo(put(folder, content), name="picture", **options)  # type: ignore[arg-type]
    return photo.light(width_px=width_px, height_px=height_px)


def flat(mode: str, colour: object) -> Image.Image:
    return Image.new(mode, (4, 4), colour)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("mode", "colour", "kind", "expected"),
    [
        ("L", 128, "PNG", HALF_GREY),
        ("L", 128, "BMP", HALF_GREY),
        ("L", 128, "TIFF", HALF_GREY),
        ("1", 1, "PNG", 1.0),
        ("1", 0, "TIFF", 0.0),
        ("P", 0, "PNG", 0.0),
        ("RGB", (0, 255, 0), "PNG", GREEN_LIGHT),
        ("RGB", (0, 255, 0), "TIFF", GREEN_LIGHT),
        ("LA", (0, 0), "PNG", 1.0),
        ("LA", (0, 255), "PNG", 0.0),
        ("RGBA", (0, 0, 0, 51), "PNG", 0.8),
        ("RGBA", (0, 0, 0, 51), "TIFF", 0.8),
        ("CMYK", (0, 0, 0, 0), "TIFF", 1.0),
        ("CMYK", (255, 0, 0, 0), "TIFF", GREEN_LIGHT + BLUE_LIGHT),
        ("CMYK", (0, 0, 0, 255), "TIFF", 0.0),
    ],
)
def test_every_kind_of_pixel_gives_its_light(
    tmp_path: Path, mode: str, colour: object, kind: str, expected: float
) -> None:
    assert light(tmp_path, encoded(flat(mode, colour), kind)) == pytest.approx(expected, abs=ROUNDING)


@pytest.mark.parametrize(
    ("mode", "colour", "options", "expected"),
    [
        ("L", 128, {}, HALF_GREY),
        ("L", 128, {"progressive": True}, HALF_GREY),
        ("RGB", (0, 255, 0), {"quality": 95}, GREEN_LIGHT),
        # written as painting programs do: inverted, with a note of it
        ("CMYK", (255, 0, 0, 0), {"quality": 95}, GREEN_LIGHT + BLUE_LIGHT),
        ("CMYK", (0, 0, 0, 255), {"quality": 95}, 0.0),
    ],
)
def test_jpeg_of_every_kind(tmp_path: Path, mode: str, colour: object, options: dict, expected: float) -> None:
    assert light(tmp_path, encoded(flat(mode, colour), "JPEG", **options)) == pytest.approx(expected, abs=JPEG_LOSS)


def test_webp_is_read(tmp_path: Path) -> None:
    assert light(tmp_path, encoded(flat("RGB", (128,) * 3), "WEBP", lossless=True)) == pytest.approx(
        HALF_GREY, abs=1e-4
    )


def test_sixteen_bits_of_grey_keep_their_steps(tmp_path: Path) -> None:
    values = np.array([[30000, 30010]], np.uint16)
    row = light(tmp_path, png16(values), width_px=2, height_px=1)[0]
    by_hand = ((values[0] / 65535.0 + 0.055) / 1.055) ** 2.4  # [iec61966-2-1]
    assert row == pytest.approx(by_hand, abs=1e-6)
    assert row[1] > row[0]


def test_sixteen_bits_of_colour_are_read_as_eight(tmp_path: Path) -> None:
    values = np.full((2, 2, 3), 32896, np.uint16)  # 128 · 257
    assert light(tmp_path, png16(values)) == pytest.approx(HALF_GREY, abs=EIGHT_BITS)


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_sixteen_bits_of_grey_in_either_file(tmp_path: Path, kind: str) -> None:
    deep = Image.fromarray(np.full((4, 4), 32896, np.uint16))
    assert light(tmp_path, encoded(deep, kind)) == pytest.approx(HALF_GREY, abs=ROUNDING)


def test_sixteen_bits_where_white_is_zero(tmp_path: Path) -> None:
    deep = Image.fromarray(np.full((4, 4), 65535 - 32896, np.uint16))
    assert light(tmp_path, encoded(deep, "TIFF", tiffinfo={262: 0})) == pytest.approx(HALF_GREY, abs=ROUNDING)


def test_a_palette_with_a_clear_colour_is_bare_there(tmp_path: Path) -> None:
    picture = Image.fromarray(np.array([[0, 1]], np.uint8), mode=None).convert("P")
    picture.putpalette([0, 0, 0, 0, 255, 0])
    path = put(tmp_path, encoded(picture, "PNG", transparency=0))
    photo = open_photo(path, name="picture")
    assert photo.light(width_px=2, height_px=1)[0] == pytest.approx([1.0, GREEN_LIGHT], abs=ROUNDING)
    assert photo.coverage(width_px=2, height_px=1)[0].tolist() == [0.0, 1.0]


def test_a_grey_that_counts_as_clear(tmp_path: Path) -> None:
    picture = Image.fromarray(np.array([[0, 128]], np.uint8))
    seen = light(tmp_path, encoded(picture, "PNG", transparency=0), width_px=2, height_px=1)
    assert seen[0] == pytest.approx([1.0, HALF_GREY], abs=ROUNDING)


# ---- profiles --------------------------------------------------------------------------------------------------------


def test_a_grey_profile_is_followed(tmp_path: Path) -> None:
    made = encoded(flat("L", 128), "PNG", icc_profile=profile(b"GRAY", gamma=1.8))
    assert light(tmp_path, made) == pytest.approx((128 / 255) ** 1.8, abs=EIGHT_BITS)


@pytest.mark.parametrize(("mode", "extra"), [("RGB", ()), ("RGBA", (255,))])
def test_a_colour_profile_is_followed(tmp_path: Path, mode: str, extra: tuple[int, ...]) -> None:
    made = encoded(flat(mode, (0, 128, 0, *extra)), "PNG", icc_profile=profile(b"RGB ", gamma=1.0))
    assert light(tmp_path, made) == pytest.approx(GREEN_LIGHT * 128 / 255, abs=EIGHT_BITS)


@pytest.mark.parametrize("broken", [b"nonsense", profile(b"RGB ", gamma=1.0), profile(b"GRAY", gamma=1.0)[:150]])
def test_a_profile_that_makes_no_sense_is_passed_over(tmp_path: Path, broken: bytes) -> None:
    made = encoded(flat("L", 128), "PNG", icc_profile=broken)
    assert light(tmp_path, made) == pytest.approx(HALF_GREY, abs=ROUNDING)


# ---- how it lies -----------------------------------------------------------------------------------------------------

# where the stored picture's first line and first column are seen, as Exif 2.3 has it (table of tag 274, from memory)
HELD = {
    1: ("top", "left"), 2: ("top", "right"), 3: ("bottom", "right"), 4: ("bottom", "left"),
    5: ("left", "top"), 6: ("right", "top"), 7: ("right", "bottom"), 8: ("left", "bottom"),
}  # fmt: skip


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP"])
@pytest.mark.parametrize("held", HELD)
def test_a_camera_held_any_way_gives_an_upright_picture(tmp_path: Path, held: int, kind: str) -> None:
    stored = np.zeros((2, 3), np.uint8)
    stored[0, :] = 255  # the first line is white
    stored[1, 0] = 128  # and the rest of the first column grey
    exif = Image.Exif()
    exif[274] = held
    options = {"lossless": True} if kind == "WEBP" else {}
    made = encoded(Image.fromarray(stored).convert("RGB"), kind, exif=exif, **options)
    wide, high = (3, 2) if held < 5 else (2, 3)

    seen = light(tmp_path, made, width_px=wide, height_px=high)

    at = {"top": seen[0], "bottom": seen[-1], "left": seen[:, 0], "right": seen[:, -1]}
    line, column = (at[side] for side in HELD[held])
    assert line == pytest.approx(1.0, abs=ROUNDING)
    assert np.sort(column) == pytest.approx([HALF_GREY, 1.0], abs=ROUNDING)


def test_a_crop_counts_from_the_lower_left_of_the_upright_picture(tmp_path: Path) -> None:
    picture = Image.fromarray(np.array([[0, 0, 255, 255], [0, 0, 128, 128]], np.uint8))
    made = encoded(picture, "PNG")
    low_right = light(tmp_path, made, crop=(0.5, 0.0, 1.0, 0.5), width_px=2, height_px=1)
    assert low_right == pytest.approx(HALF_GREY, abs=ROUNDING)
    assert light(tmp_path, made, crop=(0.5, 0.5, 1.0, 1.0), width_px=2, height_px=1) == pytest.approx(1.0)


@pytest.mark.parametrize(
    "crop", [(0.5, 0.0, 0.5, 1.0), (0.0, 0.9, 1.0, 0.1), (-0.1, 0.0, 1.0, 1.0), (0.0, 0.0, 1.0, float("nan"))]
)
def test_a_crop_that_is_no_part_of_the_picture_is_refused(
    tmp_path: Path, crop: tuple[float, float, float, float]
) -> None:
    path = put(tmp_path, encoded(flat("L", 0), "PNG"))
    with pytest.raises(InvalidInput, match=r"picture: crop: is .*left before right") as told:
        open_photo(path, name="picture", crop=crop)
    assert list(told.value.fields) == ["crop"]


def test_a_crop_smaller_than_a_pixel_still_shows_one(tmp_path: Path) -> None:
    assert light(tmp_path, encoded(flat("L", 128), "PNG"), crop=(0.5, 0.5, 0.501, 0.501)) == pytest.approx(
        HALF_GREY, abs=1e-4
    )


def test_a_mask_leaves_the_rest_white_and_uncovered(tmp_path: Path) -> None:
    def right_half(width_px: int, height_px: int) -> np.ndarray:
        kept = np.zeros((height_px, width_px), np.float32)
        kept[:, width_px // 2 :] = 1.0
        return kept

    photo = open_photo(put(tmp_path, encoded(flat("L", 0), "PNG")), name="picture", mask=right_half)
    assert photo.light(width_px=8, height_px=4)[2].tolist() == [1, 1, 1, 1, 0, 0, 1, 1]  # square in a wide box
    assert photo.coverage(width_px=8, height_px=4)[2].tolist() == [0, 0, 0, 0, 1, 1, 0, 0]
    assert photo.ink(width_px=8, height_px=4)[2].tolist() == [0, 0, 0, 0, 1, 1, 0, 0]


def test_a_photograph_has_no_outlines(tmp_path: Path) -> None:
    photo = open_photo(put(tmp_path, encoded(flat("L", 0), "PNG")), name="dawn.png")
    with pytest.raises(UnreadableFile, match=r"dawn\.png: .*no outlines to follow") as told:
        photo.outlines(width_mm=10.0, height_mm=10.0)
    assert "solid" in told.value.hint


# ---- small and large -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [(1, 1), (1, 5000), (5000, 1)])
def test_thin_pictures_can_be_drawn_at_any_size(tmp_path: Path, size: tuple[int, int]) -> None:
    path = put(tmp_path, encoded(Image.new("L", size, 128), "PNG"))
    photo = open_photo(path, name="picture")
    for width_px, height_px in ((1, 1), (7, 300), (300, 7)):
        seen = photo.light(width_px=width_px, height_px=height_px)
        assert seen.shape == (height_px, width_px)
        there = photo.coverage(width_px=width_px, height_px=height_px)
        assert seen[there > 0.5] == pytest.approx(HALF_GREY, abs=ROUNDING)
        assert (there > 0.5).any()


def test_a_very_large_picture_is_kept_smaller_and_looks_the_same(tmp_path: Path) -> None:
    side = 6401  # of 41 million pixels, and odd
    line = np.zeros((side + 7) // 8 * 8, np.uint8)
    line[: side // 2] = 1
    rows = (b"\0" + np.packbits(line).tobytes()) * side
    photo = open_photo(put(tmp_path, png(side, side, rows, depth=1)), name="picture")
    assert photo._light.size < KEPT_px
    seen = photo.light(width_px=8, height_px=8)
    assert seen[:, :3] == pytest.approx(1.0)
    assert seen[:, 5:] == pytest.approx(0.0)
