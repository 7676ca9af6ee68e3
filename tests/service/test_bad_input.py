"""Bad input: one clear error each, all errors of a file at once, exit code 2, nothing half-written."""

from __future__ import annotations

import json
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
    ("batch.toml", "size_mm = [60.0, 30.0]", "size_mm = [-60.0, 30.0]", ["mark[1].size_mm[1]", "-60", "0.05 or more"]),
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
    ("batch.toml", 'art = "art.svg"', 'text = "漢"\nface = "great-vibes"', ["U+6F22", "Great Vibes has no glyph"]),
    ("batch.toml", 'art = "art.svg"', "", ["mark[1]", "either art or text"]),
    ("batch.toml", 'id = "plaque"', 'id = "Plaque 1"', ["piece[1].id", '"Plaque 1"', "a–z"]),
    ("batch.toml", "tone_L = 40.0", "tone_L = 40.0\nhold = { speed_mm_per_s = 900.0 }", ["hold.speed", "900", "600"]),
    ("batch.toml", 'lens = "2 inch"', 'lens = "3 inch"', ["lens", '"3 inch"', '"2 inch"']),
    ("batch.toml", 'machine = "machine.toml"', 'machine = "other.toml"', ["machine", "other.toml"]),
    ("batch.toml", "thickness_mm = 12.0", "thickness_mm = 0.0", ["thickness_mm", "0.001 or more"]),
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
    ("machine.toml", "beam_diameter_mm = 6.0", "beam_diameter_mm = 0.0", ["lens[1].beam_diameter_mm", "0.001 or more"]),
    ("machine.toml", "[[lens]]", "[lens]", ["machine.toml", "lens"]),
    # limits that contradict one another, motion that is none, lenses without a beam: numbers, and the page to look at
    (
        "machine.toml",
        "power_least_fraction = 0.10",
        "power_least_fraction = 0.80",
        ["power_least_fraction 0.8", "power_cap_fraction 0.8", "machine.md"],
    ),
    (
        "machine.toml",
        "power_least_fraction = 0.10",
        "power_least_fraction = 0.7995",
        ["0.7995", "0.8", "S word", "0.001"],
    ),
    (
        "machine.toml",
        "accel_y_mm_per_s2 = 3000.0",
        "accel_y_mm_per_s2 = -1.0",
        ["accel_y_mm_per_s2", "-1", "0.1 or more"],
    ),
    (
        "machine.toml",
        "line_overhead_s",
        "jerk_mm_per_s3 = 0.0\nline_overhead_s",
        ["jerk_mm_per_s3", "is 0", "0.1 or more"],
    ),
    (
        "machine.toml",
        "line_overhead_s",
        "jerk_mm_per_s3 = -9.0\nline_overhead_s",
        ["jerk_mm_per_s3", "-9", "0.1 or more"],
    ),
    ("machine.toml", "rapid_mm_per_s = 600.0", "rapid_mm_per_s = 0.001", ["rapid_mm_per_s", "0.001", "0.2 or more"]),
    ("machine.toml", "speed_max_mm_per_s = 600.0", "speed_max_mm_per_s = 0.0", ["speed_max_mm_per_s", "0.2 or more"]),
    ("machine.toml", "beam_quality_m2 = 1.3", "beam_quality_m2 = 0.5", ["beam_quality_m2", "0.5", "1 or more"]),
    ("machine.toml", "wavelength_um = 10.6", "wavelength_um = 0.0", ["wavelength_um", "is 0", "more than 0.1"]),
    # 4 M² λ f / (π D) with D = 1 µm is 891 mm
    (
        "machine.toml",
        "beam_diameter_mm = 6.0",
        "beam_diameter_mm = 0.001",
        ["lens[1]", "891 mm", "0.001 mm", "no lens"],
    ),
    ("machine.toml", "beam_diameter_mm = 6.0", "beam_diameter_mm = 600.0", ["lens[1]", "600 mm", "no lens"]),
    (
        "machine.toml",
        "focus_stand_off_mm = 9.5",
        "focus_stand_off_mm = 9.5\nwaist_radius_mm = 60.0",
        ["120 mm", "no lens"],
    ),
    # π w0 D / (2 f λ) with w0 = 0.02 mm is 0.35
    (
        "machine.toml",
        "focus_stand_off_mm = 9.5",
        "focus_stand_off_mm = 9.5\nwaist_radius_mm = 0.02",
        ["waist radius of 0.02 mm", "M² of 0.35", "better than 1"],
    ),
    ("machine.toml", "bed_x_mm = 600.0", "bed_x_mm = nan", ["bed_x_mm", "nan", "finite"]),
    ("machine.toml", "bed_x_mm = 600.0", "bed_x_mm = inf", ["bed_x_mm", "inf", "finite"]),
    (
        "batch.toml",
        "tone_L = 40.0",
        "tone_L = 40.0\nhold = { speed_mm_per_s = 0.01 }",
        ["speed_mm_per_s", "0.2 or more"],
    ),
    (
        "batch.toml",
        "tone_L = 40.0",
        "tone_L = 40.0\nhold = { speed_mm_per_s = nan }",
        ["speed_mm_per_s", "nan", "finite"],
    ),
    ("batch.toml", "tone_L = 40.0", "tone_L = 40.0\nhold = { power_W = 0.0 }", ["power_W", "is 0", "0.001 or more"]),
    (
        "batch.toml",
        "tone_L = 40.0",
        "tone_L = 40.0\nhold = { line_spacing_mm = 0.0 }",
        ["line_spacing_mm", "0.01 or more"],
    ),
    ("batch.toml", "tone_L = 40.0", "tone_L = 40.0\nhold = { line_spacing_mm = -0.1 }", ["-0.1", "0.01 or more"]),
    ("batch.toml", "tone_L = 40.0", "tone_L = 40.0\nhold = { line_spacing_mm = 10.0 }", ["is 10", "5 or less"]),
    ("batch.toml", "tone_L = 40.0", "tone_L = 40.0\nhold = { passes = 0 }", ["passes", "is 0", "1 or more"]),
    ("batch.toml", "tone_L = 40.0", "tone_L = 40.0\nhold = { passes = 1.5 }", ["passes", "1.5", "whole number"]),
    ("batch.toml", "tone_L = 40.0", "tone_L = 40.0\nhold = { focus_offset_mm = 60.0 }", ["is 60", "50 or less"]),
    (
        "batch.toml",
        'treatment = "solid"\ntone_L = 40.0',
        'treatment = "cut"\nhold = { line_spacing_mm = 0.1 }',
        ["hold.line_spacing_mm", "followed", "leave it out"],
    ),
    ("batch.toml", "tone_L = 40.0", "tone_L = 40.0\nsharpness_mm = 0.0", ["sharpness_mm", "is 0", "0.05 or more"]),
    ("batch.toml", "tone_L = 40.0", "tone_L = 40.0\nreading_distance_mm = 0.0", ["reading_distance_mm", "50 or more"]),
    ("batch.toml", "unevenness_mm = 0.4", "unevenness_mm = nan", ["unevenness_mm", "nan", "finite"]),
    ("batch.toml", "unevenness_mm = 0.4", "unevenness_mm = 60.0", ["unevenness_mm", "is 60", "50 or less"]),
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


STOPPED = [
    # file, old text, new text, code of the check, what text and remedy have to name
    ("batch.toml", "tone_L = 40.0", "tone_L = 95.0", "tone-out-of-range", ["95", "82.9", "32.1"]),
    ("batch.toml", "tone_L = 40.0", "tone_L = 5.0", "tone-out-of-range", ["L* 5 is", "82.9", "32.1"]),
    ("batch.toml", "size_mm = [60.0, 30.0]", "size_mm = [900.0, 450.0]", "larger-than-bed", ["600 × 400", "%"]),
    ("batch.toml", "size_mm = [60.0, 30.0]", "size_mm = [150.0, 75.0]", "does-not-fit", ["%", "size"]),
    ("batch.toml", "[200.0, 150.0]", "[550.0, 350.0]", "outside-travel", ["600 × 400", "lower left corner"]),
    ("batch.toml", "= 40.0", "= 40.0\nhold = { power_W = 55.0 }", "power-above-cap", ["55", "48.4", "held power"]),
    ("batch.toml", "= 40.0", "= 40.0\nhold = { power_W = 90.0 }", "power-above-cap", ["90", "48.4", "60"]),
    ("batch.toml", "= 40.0", "= 40.0\nhold = { power_W = 0.001 }", "power-below-least", ["0.001", "4.0", "held power"]),
    # 9.5 mm of stand-off less 12, and 0.4 mm more where the blank stands up: 2.9 mm inside it
    (
        "batch.toml",
        "= 40.0",
        "= 40.0\nhold = { focus_offset_mm = -12.0 }",
        "nozzle-touches",
        ["-2.5", "2.9", "-9.1"],
    ),
    ("batch.toml", "unevenness_mm = 0.4", "unevenness_mm = 50.0", "nozzle-touches", ["50", "pin the blank flat"]),
    # both shapes are narrower than the kerf
    (
        "batch.toml",
        'treatment = "solid"\ntone_L = 40.0\nplace_mm = [30.0, 25.0]\nsize_mm = [60.0, 30.0]',
        'treatment = "cut"\nkeeps = "opening"\nplace_mm = [30.0, 25.0]\nsize_mm = [0.6, 0.3]',
        "nothing-to-burn",
        ["0.6 × 0.3", "larger"],
    ),
]


@pytest.mark.parametrize("case", STOPPED, ids=[f"{c[3]}: {c[2][-35:]}" for c in STOPPED])
def test_what_cannot_be_burnt_is_stopped_with_numbers_and_a_way_out(
    edit: Edit, capsys: pytest.CaptureFixture[str], case: tuple[str, str, str, str, list[str]]
) -> None:
    name, old, new, code, named = case
    folder = edit(name, old, new)
    target = folder.parent / "out"

    assert main(["plan", str(folder), "--to", str(target)]) == 0

    shown = capsys.readouterr()
    assert "Traceback" not in shown.err
    (piece,) = json.loads((target / "plan.json").read_text())["pieces"]
    (check,) = (c for c in piece["checks"] if c["code"] == code)
    assert check["level"] == "stop"
    for words in named:
        assert words in f"{check['text']} {check['remedy']}"
    assert piece["marks"][0]["files"]["program"] is None
    assert not (target / "plaque-front.ngc").exists()


def test_slate_has_its_tones_the_other_way_round(edit: Edit, capsys: pytest.CaptureFixture[str]) -> None:
    edit("batch.toml", "tone_L = 40.0", "tone_L = 10.0")
    folder = edit("batch.toml", 'wood = "hard-maple"', 'wood = "slate"')
    target = folder.parent / "out"

    assert main(["plan", str(folder), "--to", str(target)]) == 0

    capsys.readouterr()
    (piece,) = json.loads((target / "plan.json").read_text())["pieces"]
    (check,) = (c for c in piece["checks"] if c["code"] == "tone-out-of-range")
    assert "35.1" in check["text"]
    assert "35.2" in check["remedy"]  # the bare slate is the nearest: 35.14, so that 35.1 would lie out of reach again


def test_air_that_the_machine_cannot_set_is_told(edit: Edit, capsys: pytest.CaptureFixture[str]) -> None:
    folder = edit("batch.toml", "tone_L = 40.0", "tone_L = 40.0\nair_kPa = 5.0")
    target = folder.parent / "out"

    assert main(["plan", str(folder), "--to", str(target)]) == 0

    capsys.readouterr()
    (piece,) = json.loads((target / "plan.json").read_text())["pieces"]
    (check,) = (c for c in piece["checks"] if c["code"] == "air-not-settable")
    assert check["level"] == "warn"
    assert "20 to 200" in check["text"]
    assert "Ask for 20" in check["remedy"]


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
