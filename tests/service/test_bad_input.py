"""Bad input: one clear error each, all errors of a file at once, exit code 2, nothing half-written."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from evenburn.cli.main import main

Edit = Callable[..., Path]

_HEADER = b"IHDR" + struct.pack(">IIBBBBB", 60000, 60000, 8, 0, 0, 0, 0)
GIANT_PNG = (  # header of a 60000 × 60000 picture, and next to nothing after it
    b"\x89PNG\r\n\x1a\n"
    + struct.pack(">I", 13)
    + _HEADER
    + struct.pack(">I", zlib.crc32(_HEADER))
    + struct.pack(">I", 4)
    + b"IDAT"
    + b"\0\0\0\0"
    + struct.pack(">I", zlib.crc32(b"IDAT\0\0\0\0"))
)


def refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """Return what is printed when a folder is refused; checks exit code, shape of the error, and that nothing is left."""
    target = folder.parent / "out"

    code = main(["plan", str(folder), "--to", str(target)])

    shown = capsys.readouterr()
    assert code == 2, shown.err
    assert shown.out == ""
    lines = shown.err.strip().splitlines()
    assert lines, "no error line"
    assert all(line.startswith(("error: ", "try: ")) for line in lines), shown.err
    assert "Traceback" not in shown.err
    assert not target.exists() or not any(target.iterdir())
    return shown.err


CASES = [
    # file, old text, new text, what the error has to name
    ("batch.toml", 'wood = "hard-maple"', 'wood = "hard-mapel"', ["piece[1].wood", "hard-mapel", "hard-maple"]),
    ("batch.toml", "size_mm = [60.0, 30.0]", "size_mm = [-60.0, 30.0]", ["mark[1].size_mm[1]", "-60", "more than 0"]),
    ("batch.toml", "size_mm = [60.0, 30.0]", 'size_mm = ["60 mm", 30.0]', ["size_mm[1]", '"60 mm"', "number"]),
    ("batch.toml", "size_mm = [60.0, 30.0]", "size_mm = [nan, 30.0]", ["size_mm[1]", "finite"]),
    ("batch.toml", "size_mm = [60.0, 30.0]", "size_mm = [inf, 30.0]", ["size_mm[1]"]),
    ("batch.toml", "size_mm = [60.0, 30.0]", "size_mm = [60.0]", ["size_mm"]),
    ("batch.toml", "size_mm = [60.0, 30.0]", "size_cm = [6.0, 3.0]", ["size_cm", "did you mean size_mm"]),
    ("batch.toml", "tone_L = 40.0", "tone_L = 140.0", ["tone_L", "140", "100"]),
    ("batch.toml", "tone_L = 40.0", "tone_L = true", ["tone_L", "true", "number"]),
    ("batch.toml", "tone_L = 40.0", 'tone_L = 40.0\ntretment = "x"', ["tretment", "did you mean treatment"]),
    ("batch.toml", 'treatment = "solid"', 'treatment = "paint"', ["treatment", '"paint"', "solid", "photo"]),
    ("batch.toml", 'art = "art.svg"', 'art = "../art.svg"', ["mark[1].art", "../art.svg", "outside"]),
    ("batch.toml", 'art = "art.svg"', 'art = "/etc/hostname"', ["mark[1].art", "outside"]),
    ("batch.toml", 'art = "art.svg"', 'art = "none.svg"', ["mark[1].art", "none.svg", "not in the batch folder"]),
    ("batch.toml", 'art = "art.svg"', 'text = "Oars"', ["mark[1]", "face is missing"]),
    ("batch.toml", 'art = "art.svg"', 'text = "Oars"\nface = "great-vibe"', ["face", "great-vibe", "great-vibes"]),
    ("batch.toml", 'art = "art.svg"', 'text = "漢"\nface = "great-vibes"', ["U+6F22", "great-vibes"]),
    ("batch.toml", 'art = "art.svg"', "", ["mark[1]", "either art or text"]),
    ("batch.toml", 'id = "plaque"', 'id = "Plaque 1"', ["piece[1].id", '"Plaque 1"', "a–z"]),
    ("batch.toml", "tone_L = 40.0", "tone_L = 40.0\nhold = { speed_mm_per_s = 900.0 }", ["hold.speed", "900", "600"]),
    ("batch.toml", 'lens = "2 inch"', 'lens = "3 inch"', ["lens", '"3 inch"', '"2 inch"']),
    ("batch.toml", 'machine = "machine.toml"', 'machine = "other.toml"', ["machine", "other.toml"]),
    ("batch.toml", "thickness_mm = 12.0", "thickness_mm = 0.0", ["thickness_mm", "more than 0"]),
    ("batch.toml", 'shape = "rectangle"', 'shape = "rounded"', ["blank", "radius_mm is missing"]),
    ("batch.toml", 'shape = "rectangle"', 'shape = "outline"', ["blank", "outline is missing"]),
    ("batch.toml", 'shape = "rectangle"', 'shape = "star"', ["blank.shape", '"star"', "rectangle"]),
    ("batch.toml", 'name = "One plaque"', "name = One plaque", ["batch.toml", "not TOML"]),
    (
        "machine.toml",
        "accel_x_mm_per_s2 = 5000.0",
        "accel_x_mm_per_s2 = 0.0",
        ["machine.toml", "accel_x_mm_per_s2", "0"],
    ),
    ("machine.toml", "bed_x_mm = 600.0", "bed_x_inch = 24.0", ["machine.toml", "bed_x_inch", "bed_x_mm"]),
    (
        "machine.toml",
        "power_cap_fraction = 0.80",
        "power_cap_fraction = 0.05",
        ["power_least_fraction", "power_cap_fraction"],
    ),
    ("machine.toml", "[0.5, 31.0], ", "[0.5, 31.0], [0.4, 33.0], ", ["power_curve", "rising"]),
    ("machine.toml", "beam_diameter_mm = 6.0", "beam_diameter_mm = 0.0", ["lens[1].beam_diameter_mm", "more than 0"]),
    ("machine.toml", "[[lens]]", "[lens]", ["machine.toml", "lens"]),
    (
        "art.svg",
        '<rect x="2"',
        '<image href="/etc/passwd" width="9" height="9"/><rect x="2"',
        ["art.svg", "outside itself"],
    ),
    ("art.svg", '<rect x="2"', '<image href="http://example.org/a.png"/><rect x="2"', ["art.svg", "outside itself"]),
    ("art.svg", '<rect x="2"', '<style>@import url(other.css);</style><rect x="2"', ["art.svg", "outside"]),
    ("art.svg", '<rect x="2"', '<rect fill="url(http://example.org/#a)" x="2"', ["art.svg", "outside itself"]),
    ("art.svg", "<svg ", '<!DOCTYPE svg [<!ENTITY a "b">]><svg ', ["art.svg", "entities"]),
    ("art.svg", "<svg ", '<?xml-stylesheet href="a.css"?><svg ', ["art.svg", "style sheet"]),
    ("art.svg", "</svg>", "", ["art.svg", "not well-formed"]),
    ("art.svg", 'viewBox="0 0 60 30"', 'viewBox="0 0 nan 30"', ["art.svg", "viewBox"]),
    ("art.svg", 'viewBox="0 0 60 30"', 'viewBox="0 0 0 0"', ["art.svg", "viewBox"]),
]


@pytest.mark.parametrize("case", CASES, ids=[f"{c[0]}: {c[2][:40]}" for c in CASES])
def test_one_fault_is_named(
    edit: Edit, capsys: pytest.CaptureFixture[str], case: tuple[str, str, str, list[str]]
) -> None:
    name, old, new, named = case
    folder = edit(name, old, new)

    shown = refused(folder, capsys)

    for text in named:
        assert text in shown


def test_all_faults_of_a_file_are_told_at_once(edit: Edit, capsys: pytest.CaptureFixture[str]) -> None:
    edit("batch.toml", "tone_L = 40.0", "tone_L = 140.0")
    edit("batch.toml", "thickness_mm = 12.0", "thickness_mm = -1.0")
    folder = edit("batch.toml", 'id = "plaque"', 'id = "Plaque!"')

    shown = refused(folder, capsys)

    assert shown.count("error: ") == 3


def test_faults_of_several_files_are_told_at_once(edit: Edit, capsys: pytest.CaptureFixture[str]) -> None:
    edit("batch.toml", 'wood = "hard-maple"', 'wood = "unobtainium"')
    edit("batch.toml", 'art = "art.svg"', 'art = "../a.svg"')
    folder = edit("machine.toml", "bed_x_mm = 600.0", "bed_x_mm = -1.0")

    shown = refused(folder, capsys)

    assert shown.count("error: ") == 3


@pytest.mark.parametrize("twice", ["piece", "mark"])
def test_a_double_id_is_named(folder: Path, capsys: pytest.CaptureFixture[str], twice: str) -> None:
    path = folder / "batch.toml"
    text = path.read_text()
    start = text.index("[[piece]]") if twice == "piece" else text.index("[[piece.mark]]")
    path.write_text(text + text[start:])

    shown = refused(folder, capsys)

    assert "stands twice" in shown
    assert ("plaque" if twice == "piece" else "front") in shown


@pytest.mark.parametrize(
    ("ending", "data", "named"),
    [
        ("png", b"", "is no picture that can be read"),
        ("png", b"not a picture", "is no picture that can be read"),
        ("png", GIANT_PNG, "absurdly large"),
        ("gif", b"GIF89a", ".gif"),
    ],
)
def test_an_unreadable_picture_is_named(
    edit: Edit, capsys: pytest.CaptureFixture[str], ending: str, data: bytes, named: str
) -> None:
    folder = edit("batch.toml", "art.svg", f"photo.{ending}")
    (folder / f"photo.{ending}").write_bytes(data)

    shown = refused(folder, capsys)

    assert f"photo.{ending}" in shown
    assert named in shown


def test_a_truncated_picture_is_named(edit: Edit, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = edit("batch.toml", "art.svg", "photo.png")
    noise = np.random.default_rng(1).integers(0, 255, (200, 300), dtype=np.uint8)
    Image.fromarray(noise).save(tmp_path / "whole.png")
    whole = (tmp_path / "whole.png").read_bytes()
    (folder / "photo.png").write_bytes(whole[: len(whole) // 2])

    assert "damaged" in refused(folder, capsys)


def test_a_missing_folder_and_a_missing_batch(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "not a folder" in refused(tmp_path / "nowhere", capsys)
    empty = tmp_path / "empty"
    empty.mkdir()
    assert "batch.toml" in refused(empty, capsys)


def test_a_link_out_of_the_folder_is_refused(edit: Edit, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = edit("batch.toml", "art.svg", "link.svg")
    (tmp_path / "outside.svg").write_text((folder / "art.svg").read_text())
    (folder / "link.svg").symlink_to(tmp_path / "outside.svg")

    assert "outside" in refused(folder, capsys)


def test_a_wood_file_that_does_not_hold(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "woods").mkdir()
    (folder / "woods" / "hard-maple.toml").write_text('name = "hard maple"\nsurface = "wet"\ncurve = "../../x.json"\n')

    shown = refused(folder, capsys)

    assert "surface" in shown
    assert '"wet"' in shown


@pytest.mark.parametrize("arguments", [["plam"], ["plan"], ["plan", "x", "--too", "y"], ["demo", "--date", "tomorrow"]])
def test_wrong_usage_has_the_same_shape(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    code = main(arguments)

    shown = capsys.readouterr()
    assert code == 2
    assert shown.err.startswith("error: ")
    assert "try: " in shown.err


def test_no_verb_shows_the_verbs(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 0
    assert "plan" in capsys.readouterr().out
