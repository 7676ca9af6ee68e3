"""Lines, cuts, names, photographs and lettering, from the folder a person writes to what is written and said."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from evenburn.cli.main import main
from evenburn.core.errors import InvalidInput
from evenburn.services.check_batch import check_batch
from evenburn.services.plan_batch import Planned, plan_batch
from service.conftest import DATE
from service.second_reader import interpret, time_s

SQUARE_IN_SQUARE = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="30mm" viewBox="0 0 60 30">
<g fill="none" stroke="#000"><rect x="10" y="5" width="20" height="20"/><rect x="15" y="10" width="8" height="8"/></g></svg>
"""
NAMES = "name,seat\nAda,Bow\nBea Longfellow-Cartwright-Osbourne,Cox\nZoë,Two\n漢字,Three\n"


def _cut(edit: Callable[..., Path], *, extra: str = "", wood: str = "birch-plywood", thickness: str = "3.0") -> Path:
    folder = edit("batch.toml", 'treatment = "solid"\ntone_L = 40.0', f'treatment = "cut"\n{extra}')
    edit("batch.toml", 'wood = "hard-maple"', f'wood = "{wood}"')
    edit("batch.toml", "thickness_mm = 12.0", f"thickness_mm = {thickness}")
    (folder / "art.svg").write_text(SQUARE_IN_SQUARE)
    return folder


def _burnt_boxes(program: Path) -> list[tuple[float, float, float, float]]:
    """Return the box of each path that is burnt without a rapid in between, by the second reader."""
    boxes: list[list[tuple[float, float]]] = []
    apart = True
    for stroke in interpret(program.read_text(), rapid_mm_per_s=600.0):
        if stroke.rapid:
            apart = True
        elif stroke.power_word > 0.0:
            if apart:
                boxes.append([])
            boxes[-1] += [stroke.start, stroke.end]
            apart = False
    return [(min(x for x, _ in b), min(y for _, y in b), max(x for x, _ in b), max(y for _, y in b)) for b in boxes]


def test_a_cut_keeps_the_part_at_its_size_and_does_the_hole_first(edit: Callable[..., Path], tmp_path: Path) -> None:
    planned = plan_batch(_cut(edit), to=tmp_path / "out", date=DATE)
    mark = planned.plan.pieces[0].marks[0]
    kerf = mark.recipe.line_spacing_mm
    hole, part = _burnt_boxes(tmp_path / "out" / "plaque-front.ngc")
    assert hole[2] - hole[0] == pytest.approx(8.0 - kerf, abs=0.005)
    assert part[2] - part[0] == pytest.approx(20.0 + kerf, abs=0.005)
    # place: blank at 200, 150; mark at 30, 25 on it; the square at 10, 5 from the lower left (drawn with y down)
    assert part[0] == pytest.approx(200.0 + 30.0 + 10.0 - kerf / 2.0, abs=0.005)
    assert part[1] == pytest.approx(150.0 + 25.0 + 5.0 - kerf / 2.0, abs=0.005)


def test_bridges_leave_the_laser_off(edit: Callable[..., Path], tmp_path: Path) -> None:
    folder = _cut(edit, extra="bridges = { count = 2, width_mm = 1.0 }")
    planned = plan_batch(folder, to=tmp_path / "out", date=DATE)
    kerf = planned.plan.pieces[0].marks[0].recipe.line_spacing_mm
    strokes = interpret((tmp_path / "out" / "plaque-front.ngc").read_text(), rapid_mm_per_s=600.0)
    dark = sum(s.length_mm for s in strokes if not s.rapid and s.power_word == 0.0)
    assert dark == pytest.approx(2 * 2 * (1.0 + kerf), abs=0.02)


def test_slate_and_thick_boards_are_not_cut(edit: Callable[..., Path], tmp_path: Path) -> None:
    planned = plan_batch(_cut(edit, wood="slate", thickness="25.0"), to=tmp_path / "out", date=DATE)
    piece = planned.plan.pieces[0]
    assert {c.code for c in piece.checks if c.level == "stop"} == {"cannot-cut"}
    assert piece.marks[0].program_file is None


def test_a_cut_says_its_cautions(edit: Callable[..., Path], tmp_path: Path) -> None:
    checks = plan_batch(_cut(edit), to=tmp_path / "out", date=DATE).plan.pieces[0].checks
    assert {"cut-may-flame", "cut-energy-unsure", "parts-drop"} <= {c.code for c in checks}
    assert plan_air(tmp_path / "out") == 200.0  # plenty, as much as this machine sets


def plan_air(out: Path) -> float:
    return float(json.loads((out / "plan.json").read_text())["pieces"][0]["marks"][0]["recipe"]["air_kPa"])


def test_a_line_takes_the_time_and_energy_that_are_promised(edit: Callable[..., Path], tmp_path: Path) -> None:
    folder = edit("batch.toml", 'treatment = "solid"', 'treatment = "line"')
    (folder / "art.svg").write_text(SQUARE_IN_SQUARE)
    planned = plan_batch(folder, to=tmp_path / "out", date=DATE)
    mark = planned.plan.pieces[0].marks[0]
    strokes = interpret((tmp_path / "out" / "plaque-front.ngc").read_text(), rapid_mm_per_s=600.0)
    assert time_s(strokes, accel=(5000.0, 3000.0), jerk=None) == pytest.approx(mark.predicted.time_s, rel=0.005)
    burnt = sum(s.length_mm for s in strokes if s.power_word > 0.0)
    assert burnt == pytest.approx(4 * 20.0 + 4 * 8.0, abs=0.01)
    assert not [c for c in planned.plan.pieces[0].checks if c.level == "stop"]


def test_a_script_too_small_is_told_with_the_size_and_the_faces_that_would_hold(edit: Callable[..., Path]) -> None:
    folder = edit("batch.toml", 'art = "art.svg"', 'text = "Sedgeholm"\nface = "great-vibes"\nletter_mm = 4.0')
    edit("batch.toml", "[[piece.mark]]", "[[piece.mark]]\nhold = { focus_offset_mm = 2.5 }")
    told = next(c for c in check_batch(folder).pieces[0].checks if c.code == "detail-lost")
    needed = re.search(r"need capitals of ([\d.]+) mm here; they have 4.0", told.remedy)
    assert needed is not None
    assert float(needed[1]) > 4.0
    assert "Set it in" in told.remedy  # another face, at the same size


def test_a_photograph_has_no_outlines_to_follow(edit: Callable[..., Path]) -> None:
    folder = edit("batch.toml", 'art = "art.svg"\ntreatment = "solid"', 'art = "grey.png"\ntreatment = "line"')
    Image.fromarray(np.full((20, 30), 128, np.uint8)).save(folder / "grey.png")
    with pytest.raises(InvalidInput) as caught:
        check_batch(folder)
    assert any("outlines" in text for text in caught.value.fields.values())


def _named(edit: Callable[..., Path], names: str = NAMES, *, mark: str = "letter_mm = 5.0") -> Path:
    folder = edit("batch.toml", 'art = "art.svg"', f'column = "name"\nface = "montserrat"\n{mark}')
    edit("batch.toml", "[[piece.mark]]", 'names = { file = "crew.csv", label = "name" }\n[[piece.mark]]')
    (folder / "crew.csv").write_text(names, encoding="utf-8")
    return folder


def test_a_list_makes_a_piece_of_each_name_and_tells_the_odd_ones(edit: Callable[..., Path]) -> None:
    checked = check_batch(_named(edit))
    assert [p.piece.id for p in checked.pieces] == ["plaque-01", "plaque-02", "plaque-03", "plaque-04"]
    stops = [{c.code for c in p.checks if c.level == "stop"} for p in checked.pieces]
    assert stops == [set(), {"text-too-long"}, set(), {"text-cannot-be-set"}]
    told = next(c for c in checked.pieces[1].checks if c.code == "text-too-long")
    assert "line 3" in told.text  # of the file
    assert "Longfellow" in told.text
    fits = re.search(r"fits at ([\d.]+)", told.text)
    assert fits is not None
    assert 1.0 < float(fits[1]) < 5.0
    assert "U+6F22" in next(c for c in checked.pieces[3].checks if c.level == "stop").text  # the character it lacks


def test_a_size_that_is_told_to_fit_does(edit: Callable[..., Path]) -> None:
    told = next(c for c in check_batch(_named(edit)).pieces[1].checks if c.code == "text-too-long")
    fits = re.search(r"fits at ([\d.]+)", told.text)
    assert fits is not None
    folder = edit("batch.toml", "letter_mm = 5.0", f"letter_mm = {fits[1]}")
    assert not [c for c in check_batch(folder).pieces[1].checks if c.code == "text-too-long"]


def test_without_a_height_all_of_a_list_get_the_same(edit: Callable[..., Path]) -> None:
    names = (
        "name\n" + "".join(f"Oar {n}\n" for n in range(1, 12)) + "A name so long that it alone would make all small\n"
    )
    folder = _named(edit, names, mark="")
    checked = check_batch(folder)
    stopped = [p.piece.name for p in checked.pieces if p.stopped()]
    assert len(stopped) == 1
    assert "so long" in stopped[0]


@pytest.mark.parametrize(
    ("names", "words"),
    [("seat\nBow\n", 'no column "name"'), ("name\n", "no row"), ("name\n\xff", None)],
)
def test_a_list_that_does_not_hold_is_refused(edit: Callable[..., Path], names: str, words: str | None) -> None:
    folder = _named(edit, names)
    if words is None:
        (folder / "crew.csv").write_bytes(b"name\n\xff\xfe\n")
        words = "UTF-8"
    with pytest.raises(InvalidInput) as caught:
        check_batch(folder)
    assert any(words in text for text in caught.value.fields.values())


def test_an_empty_cell_is_told(edit: Callable[..., Path]) -> None:
    checked = check_batch(_named(edit, "name,seat\nAda,Bow\n,Cox\n"))
    assert {c.code for c in checked.pieces[1].checks if c.level == "stop"} == {"name-missing"}


def test_check_writes_nothing_and_says_how_many(edit: Callable[..., Path], capsys: pytest.CaptureFixture[str]) -> None:
    folder = _named(edit)
    before = sorted(p.name for p in folder.parent.rglob("*"))
    assert main(["check", str(folder)]) == 0
    out = capsys.readouterr().out
    assert "4 pieces checked: 2 may be burnt, 2 stopped" in out
    assert sorted(p.name for p in folder.parent.rglob("*")) == before
    assert main(["check", str(folder), "--json"]) == 0
    assert [p["stopped"] for p in json.loads(capsys.readouterr().out)["pieces"]] == [False, True, False, True]


@pytest.mark.parametrize("name", ["floyd-steinberg", "jarvis", "stucki", "ordered", "blue-noise", "clustered"])
def test_a_halftone_named_is_the_halftone_used(edit: Callable[..., Path], tmp_path: Path, name: str) -> None:
    folder = edit(
        "batch.toml",
        'art = "art.svg"\ntreatment = "solid"',
        f'art = "ramp.png"\ntreatment = "photo"\nreproduction = "{name}"',
    )
    Image.fromarray(np.tile(np.arange(256, dtype=np.uint8), (64, 1))).save(folder / "ramp.png")
    plan_batch(folder, to=tmp_path / "out", date=DATE)
    mark = json.loads((tmp_path / "out" / "plan.json").read_text())["pieces"][0]["marks"][0]
    assert (mark["reproduction"], mark["reproduction_why"]) == (name, "")
    with Image.open(tmp_path / "out" / "plaque-front.png") as image:
        assert image.mode == "1"  # dots of one power


def test_left_to_choose_it_says_why(demo: Planned) -> None:
    photos = [m for p in demo.plan.pieces for m in p.marks if m.mark.treatment == "photo"]
    assert len(photos) == 3
    auto = [m for m in photos if m.mark.reproduction in ("auto", "halftone")]
    assert auto
    assert all(re.search(r"\d", m.reproduction_why) for m in auto)


def test_the_demo_uses_each_treatment(demo: Planned) -> None:
    marks = [m for p in demo.plan.pieces for m in p.marks]
    assert {m.mark.treatment for m in marks} == {"solid", "photo", "line", "cut"}
    assert {m.reproduction for m in marks} >= {None, "continuous"}
    assert any(m.reproduction not in (None, "continuous") for m in marks)


def test_solid_art_comes_out_at_its_drawn_size(edit: Callable[..., Path], tmp_path: Path) -> None:
    """The commanded square is smaller or larger than drawn by what the burn grows; never by more than a beam."""
    planned = plan_batch(edit("batch.toml", "tone_L = 40.0", "tone_L = 45.0"), to=tmp_path / "out", date=DATE)
    mark = planned.plan.pieces[0].marks[0]
    with Image.open(tmp_path / "out" / "plaque-front.png") as image:
        burnt = ~np.asarray(image.convert("1"), dtype=np.bool_)
    wide = burnt[burnt.shape[0] // 2, : burnt.shape[1] // 2].sum() * mark.recipe.line_spacing_mm
    assert abs(wide - 20.0) < 2.0 * mark.predicted.beam_radius_mm
    assert wide != pytest.approx(20.0, abs=1e-6)
