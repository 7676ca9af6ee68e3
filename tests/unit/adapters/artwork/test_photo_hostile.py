"""Files that are damaged, absurd or not pictures: one clear UnreadableFile, quickly, in little memory."""

from __future__ import annotations

import struct
import time
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from evenburn.adapters.artwork.photo import PhotoArt, open_photo
from evenburn.core.errors import UnreadableFile
from unit.adapters.artwork.picture_files import encoded, png, profile, put

AT_ONCE_s = 2.0  # a header is told apart in milliseconds; the rest is for a busy computer


def refused(folder: Path, content: bytes, *, name: str = "picture.bin") -> UnreadableFile:
    path = put(folder, content, name=name)
    begun = time.perf_counter()
    with pytest.raises(UnreadableFile) as told:
        open_photo(path, name="crew.png")
    assert time.perf_counter() - begun < AT_ONCE_s
    message = str(told.value)
    assert message.startswith("crew.png: ")
    assert str(folder) not in message  # the name as the person wrote it, not the path of this computer
    assert "\n" not in message
    return told.value


@pytest.mark.parametrize(
    "content", [b"", b"P", b"Novice fours, 1911\n" * 50, b"<svg xmlns='http://www.w3.org/2000/svg'/>", bytes(4096)]
)
def test_what_is_no_picture_is_told(tmp_path: Path, content: bytes) -> None:
    assert "no picture that can be read; PNG, JPEG" in str(refused(tmp_path, content, name="crew.png"))


@pytest.mark.parametrize(("width", "height"), [(100_000, 100_000), (60_000, 60_000), (2**31 - 1, 2**31 - 1)])
@pytest.mark.parametrize("depth", [1, 8, 16])
def test_a_giant_that_is_only_a_header_is_refused_at_once(tmp_path: Path, width: int, height: int, depth: int) -> None:
    assert "100 million" in str(refused(tmp_path, png(width, height, b"\0" * 100, depth=depth)))


def test_a_giant_just_above_the_limit_is_told_with_its_size(tmp_path: Path) -> None:
    assert "has 11000 × 10000 pixels" in str(refused(tmp_path, png(11_000, 10_000, None)))


@pytest.mark.parametrize(("width", "height"), [(1, 50_000_000), (50_000_000, 1)])
def test_a_giant_in_one_direction_is_refused(tmp_path: Path, width: int, height: int) -> None:
    assert "100000 on a side" in str(refused(tmp_path, png(width, height, None)))


def test_a_giant_in_other_formats_is_refused(tmp_path: Path) -> None:
    gif = (
        b"GIF89a"
        + struct.pack("<HHBBB", 65535, 65535, 0, 0, 0)
        + b"\x2c"
        + struct.pack("<HHHHB", 0, 0, 65535, 65535, 0)
    )
    bmp = b"BM" + struct.pack("<IHHIIiiHHIIiiII", 200, 0, 0, 54, 40, 90_000, 90_000, 1, 24, 0, 0, 0, 0, 0, 0)
    for content in (gif + b"\x02\x00\x3b", bmp):
        assert "100 million" in str(refused(tmp_path, content))


def test_many_pixels_from_few_bytes_are_read_within_bounds(tmp_path: Path) -> None:
    side = 9_900
    pack = zlib.compressobj(9)
    row = b"\0" + bytes((side + 7) // 8)
    data = pack.compress(row * side) + pack.flush()
    made = png(side, side, None, depth=1)
    chunk = struct.pack(">I", len(data)) + b"IDAT" + data + struct.pack(">I", zlib.crc32(b"IDAT" + data))
    photo = open_photo(put(tmp_path, made[:33] + chunk + made[33:]), name="crew.png")
    assert len(data) < 20_000
    assert photo._light.nbytes < 160e6
    assert photo.light(width_px=10, height_px=10).max() == 0.0


def test_a_picture_without_data_is_refused(tmp_path: Path) -> None:
    refused(tmp_path, png(40, 40, None))
    refused(tmp_path, png(0, 0, None))
    refused(tmp_path, png(40, 0, b""))


NOISE = np.random.default_rng(7).integers(0, 256, (24, 31, 3), dtype=np.uint8)
PICTURE = Image.fromarray(NOISE)
EXIF = Image.Exif()
EXIF[274] = 6
WHOLE = {
    "png": encoded(PICTURE, "PNG", icc_profile=profile(b"RGB ", gamma=1.8), exif=EXIF),
    "palette png": encoded(PICTURE.convert("P"), "PNG", transparency=3),
    "jpeg": encoded(PICTURE, "JPEG", exif=EXIF, icc_profile=profile(b"RGB ", gamma=1.8)),
    "progressive jpeg": encoded(PICTURE, "JPEG", progressive=True),
    "cmyk jpeg": encoded(PICTURE.convert("CMYK"), "JPEG"),
    "tiff": encoded(PICTURE, "TIFF", exif=EXIF),
    "packed tiff": encoded(PICTURE, "TIFF", compression="tiff_lzw"),
    "webp": encoded(PICTURE, "WEBP", exif=EXIF),
    "gif": encoded(PICTURE.convert("P"), "GIF", transparency=3),
    "bmp": encoded(PICTURE, "BMP"),
}


@pytest.mark.parametrize("kind", WHOLE)
def test_what_was_cut_short_is_refused(tmp_path: Path, kind: str) -> None:
    whole = WHOLE[kind]
    assert isinstance(open_photo(put(tmp_path, whole), name="crew.png"), PhotoArt)
    for share in (0.05, 0.3, 0.6, 0.9):
        refused(tmp_path, whole[: int(len(whole) * share)])


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    kind=st.sampled_from(sorted(WHOLE)),
    faults=st.lists(st.tuples(st.floats(0.0, 0.999), st.integers(0, 255)), min_size=1, max_size=12),
    end=st.floats(0.2, 1.0),
)
def test_damage_anywhere_gives_a_picture_or_one_clear_error(
    tmp_path: Path, kind: str, faults: list[tuple[float, int]], end: float
) -> None:
    content = bytearray(WHOLE[kind])
    for place, value in faults:
        content[int(place * len(content))] = value
    path = put(tmp_path, bytes(content[: int(end * len(content))]))
    try:
        photo = open_photo(path, name="crew.png")
    except UnreadableFile as error:
        assert str(error).startswith("crew.png: ")  # noqa: PT017
        return
    seen = photo.light(width_px=9, height_px=9)
    assert np.isfinite(seen).all()
    assert seen.min() >= 0.0
    assert seen.max() <= 1.0


@pytest.mark.parametrize("mode", ["F", "I"])
def test_numbers_without_a_white_are_refused(tmp_path: Path, mode: str) -> None:
    error = refused(tmp_path, encoded(Image.new(mode, (5, 5), 1), "TIFF"))
    assert "white is not told" in str(error)
    assert "8 or 16 bits" in error.hint


def test_kinds_of_colour_that_are_not_read_are_named(tmp_path: Path) -> None:
    assert "pixels of the kind LAB" in str(refused(tmp_path, encoded(Image.new("LAB", (5, 5)), "TIFF")))


@pytest.mark.parametrize("kind", ["GIF", "PNG", "WEBP", "TIFF"])
def test_of_several_pictures_the_first_is_taken(tmp_path: Path, kind: str) -> None:
    frames = [Image.new("RGB", (6, 6), (grey,) * 3) for grey in (0, 255, 255)]
    options = {"lossless": True} if kind == "WEBP" else {}
    made = encoded(frames[0], kind, save_all=True, append_images=frames[1:], **options)
    assert open_photo(put(tmp_path, made), name="crew").light(width_px=3, height_px=3).max() == 0.0


def test_a_broken_note_of_how_the_camera_was_held_is_passed_over(tmp_path: Path) -> None:
    for exif in (b"Exif\0\0MM\0*\0\0\0\x08\xff\xff", b"Exif\0\0", b"nonsense" * 5):
        made = encoded(Image.new("L", (4, 2), 0), "JPEG", exif=exif)
        photo = open_photo(put(tmp_path, made), name="crew")
        assert photo.coverage(width_px=4, height_px=2).min() == 1.0  # still lying, not upright


@pytest.mark.parametrize("held", [0, 9, 65535])
def test_an_unknown_way_of_holding_the_camera_is_passed_over(tmp_path: Path, held: int) -> None:
    exif = Image.Exif()
    exif[274] = held
    photo = open_photo(put(tmp_path, encoded(Image.new("L", (4, 2), 0), "JPEG", exif=exif)), name="crew")
    assert photo.coverage(width_px=4, height_px=2).min() == 1.0


def test_a_folder_and_a_missing_file_are_told(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "none.png"):
        with pytest.raises(UnreadableFile, match=r"^crew\.png: "):
            open_photo(path, name="crew.png")
