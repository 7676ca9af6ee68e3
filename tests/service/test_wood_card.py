"""`evenburn card wood` from end to end: files, errors, exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image

from evenburn.adapters.formats.card_json import read_card
from evenburn.cli.main import main
from evenburn.services.verify_program import verify_program
from service.conftest import DATE, MACHINE

ROOT = Path(__file__).resolve().parents[2]
FILES = {"card.json", "card.ngc", "card.png", "mat.pdf"}


@pytest.fixture(name="machine")
def _machine(tmp_path: Path) -> Path:
    path = tmp_path / "machine.toml"
    path.write_text(MACHINE, encoding="utf-8")
    return path


def card(machine: Path, to: Path, *more: str, wood: str = "hard-maple") -> int:
    return main(["card", "wood", "--machine", str(machine), "--wood", wood, "--to", str(to), "--date", DATE, *more])


def test_a_card_is_whole_and_passes(machine: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    to = tmp_path / "card"
    assert card(machine, to) == 0
    shown = capsys.readouterr().out

    assert {p.name for p in to.iterdir()} == FILES
    report = verify_program(to / "card.ngc", machine)
    assert report.passed
    assert [f for f in report.findings if f.level == "stop"] == []
    made = read_card(to / "card.json", name="card.json")
    assert report.burn_box_mm is not None
    x0, y0, x1, y1 = report.burn_box_mm
    ox, oy = made.origin_bed_mm
    assert ox < x0 < x1 < ox + 90.0
    assert oy < y0 < y1 < oy + 60.0
    assert "burns for" in shown
    assert "Never leave it burning alone" in shown
    assert "eye protection" in shown
    assert "Local rules and the machine" in shown
    with Image.open(to / "card.png") as picture:
        grey = np.asarray(picture)
        spacing = made.patches[0].line_spacing_mm
        assert picture.size == (round(90.0 / spacing), round(60.0 / spacing))
        assert picture.info["dpi"][0] == pytest.approx(25.4 / spacing, rel=1e-3)  # pHYs holds whole pixels per metre
    assert grey.min() == 0
    assert grey[0, 0] == 255
    box = next(p.box_mm for p in made.patches if p.power_W == max(q.power_W for q in made.patches))
    middle = (round((60.0 - 0.5 * (box[1] + box[3])) / spacing), round(0.5 * (box[0] + box[2]) / spacing))
    assert grey[middle] == 0  # black burns; y of the card upwards


def test_the_published_schema_takes_it(machine: Path, tmp_path: Path) -> None:
    schema = json.loads((ROOT / "docs" / "reference" / "card.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    for name, more in (("wood", ()), ("strip", ("--strip",))):
        assert card(machine, tmp_path / name, *more) == 0
        document = json.loads((tmp_path / name / "card.json").read_text(encoding="utf-8"))
        assert [e.json_path for e in jsonschema.Draft202012Validator(schema).iter_errors(document)] == []


def test_same_input_same_bytes_and_another_seed_another_card(machine: Path, tmp_path: Path) -> None:
    for name, seed in (("a", "1"), ("b", "1"), ("c", "2")):
        assert card(machine, tmp_path / name, "--strip", "--seed", seed) == 0
    for file in FILES:
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()
    assert (tmp_path / "a" / "card.ngc").read_bytes() != (tmp_path / "c" / "card.ngc").read_bytes()


def test_json_is_alone_on_the_output(machine: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert card(machine, tmp_path / "c", "--strip", "--page", "Letter", "--at", "200,150", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["card"] == json.loads((tmp_path / "c" / "card.json").read_text(encoding="utf-8"))
    assert told["card"]["card"] == {"kind": "strip", "size_mm": [60.0, 15.0], "origin_bed_mm": [200.0, 150.0]}
    assert told["card"]["mat"]["page"] == "Letter"
    assert set(told["files"]) == FILES
    assert told["time_s"] > 10.0


@pytest.mark.parametrize(
    ("more", "wood", "told"),
    [
        (("--at", "0,150"), "hard-maple", "allowed is X "),
        (("--at", "560,150"), "hard-maple", "allowed is X "),
        (("--at", "5"), "hard-maple", "two numbers"),
        (("--page", "A3"), "hard-maple", "allowed are A4 and Letter"),
        (("--lens", "4 inch"), "hard-maple", "4 inch"),
        (("--focus-offset-mm", "40"), "hard-maple", "allowed is"),
        (("--focus-offset-mm", "nan"), "hard-maple", "allowed is"),
        (("--seed", "-1"), "hard-maple", "--seed"),
        ((), "Hard Maple", "an id is"),
        ((), "hard-mapel", "Did you mean hard-maple?"),
        ((), "hornbeam", "--like hard-maple"),
        (("--like", "lime"), "hornbeam", "shipped are"),
        (("--like", "oak"), "hard-maple", "known by itself"),
        (("--like", "oak"), "pvc", "must not be burnt"),
        ((), "vinyl", "must not be burnt"),
        ((), "mdf", "confirmed_by"),
        (("--like", "beech"), "mdf", "confirmed_by"),
        (("--folder", "nowhere"), "hard-maple", "not a folder"),
        (("--date", "soon"), "hard-maple", "no date"),
    ],
)
def test_what_does_not_hold_is_told_and_nothing_is_written(
    machine: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    *,
    more: tuple[str, ...],
    wood: str,
    told: str,
) -> None:
    to = tmp_path / "card"
    assert card(machine, to, *more, wood=wood) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.startswith("error: ")
    assert told in " ".join(shown.err.split())
    assert not to.exists()


def test_the_allowed_place_that_is_told_is_one(
    machine: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert card(machine, tmp_path / "c", "--at", "0,0") == 2
    words = " ".join(capsys.readouterr().err.split())
    x = int(words.split("allowed is X ")[1].split()[0])
    assert card(machine, tmp_path / "c", "--at", f"{x},0") == 0
    assert card(machine, tmp_path / "d", "--at", f"{x - 1},0") == 2


def test_a_bed_too_small_is_told(machine: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    machine.write_text(MACHINE.replace("bed_x_mm = 600.0", "bed_x_mm = 80.0"), encoding="utf-8")
    assert card(machine, tmp_path / "c") == 2
    assert "--strip" in capsys.readouterr().err


def test_a_small_bed_gets_slower_lines(machine: Path, tmp_path: Path) -> None:
    machine.write_text(MACHINE.replace("bed_x_mm = 600.0", "bed_x_mm = 120.0"), encoding="utf-8")
    assert card(machine, tmp_path / "c") == 0
    made = read_card(tmp_path / "c" / "card.json", name="card.json")
    # v²/2a of 16 mm at 5000 mm/s² is 400 mm/s: the head has no more room than that
    assert 100.0 < max(p.speed_mm_per_s for p in made.patches) < 400.0


def test_a_wood_by_its_likeness_and_one_that_is_confirmed(machine: Path, tmp_path: Path) -> None:
    assert card(machine, tmp_path / "c", "--strip", "--like", "beech", wood="hornbeam") == 0
    assert read_card(tmp_path / "c" / "card.json", name="card.json").wood_id == "hornbeam"
    woods = tmp_path / "prizes" / "woods"
    woods.mkdir(parents=True)
    (woods / "our-mdf.toml").write_text('name = "MDF"\nconfirmed_by = "the boatman"\n', encoding="utf-8")
    more = ("--strip", "--folder", str(tmp_path / "prizes"), "--like", "beech")
    assert card(machine, tmp_path / "d", *more, wood="our-mdf") == 0
    (woods / "our-mdf.toml").write_text('name = "MDF"\n', encoding="utf-8")
    assert card(machine, tmp_path / "e", *more, wood="our-mdf") == 2


def test_a_card_beside_a_plan_leaves_the_plan(machine: Path, tmp_path: Path) -> None:
    to = tmp_path / "out"
    to.mkdir()
    (to / "plan.json").write_text("{}", encoding="utf-8")
    (to / "card.json").write_text("{}", encoding="utf-8")
    (to / "card-2.ngc").write_text("M2\n", encoding="utf-8")
    assert card(machine, to, "--strip") == 0
    assert {p.name for p in to.iterdir()} == {*FILES, "plan.json"}  # the former card's program is gone


def test_a_folder_that_cannot_be_is_told(machine: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "taken").write_text("", encoding="utf-8")
    assert card(machine, tmp_path / "taken", "--strip") == 4
    assert capsys.readouterr().err.startswith("error: ")
