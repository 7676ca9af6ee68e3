"""Rescue: a spoilt piece of the demo, from the command line to a program that burns where two points say."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from shapely import Polygon

from evenburn.adapters.formats.batch_text import batch_text
from evenburn.adapters.formats.batch_toml import read_batch
from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.ngc_reader import verify_file
from evenburn.cli.main import main
from evenburn.services.plan_batch import Planned
from evenburn.services.verify_program import limits_of
from service.conftest import DATE
from service.second_reader import interpret

TURN_deg, SHIFT_mm = 3.0, (75.0, 62.0)
PLACE_mm, SIZE_mm = (20.0, 27.5), (160.0, 95.0)  # of novice-fours' front, as batch.toml has it
PIXELS_mm = 0.07  # both burn images are cut into lines of 0.14 mm, each in its own way: half a line
WRITTEN_mm = 0.001  # coordinates typed in below, and those of a program


def on_bed(x: float, y: float) -> tuple[float, float]:
    """Where a place of the drawing was laid, by plain trigonometry."""
    c, s = math.cos(math.radians(TURN_deg)), math.sin(math.radians(TURN_deg))
    return c * x - s * y + SHIFT_mm[0], s * x + c * y + SHIFT_mm[1]


def point(x: float, y: float) -> str:
    return f"{x:g},{y:g}={on_bed(x, y)[0]:.4f},{on_bed(x, y)[1]:.4f}"


def burnt_middle(program: Path, *, rapid_mm_per_s: float) -> tuple[float, float]:
    """Return the middle of all energy that a program puts down, by the reader the tests have of their own."""
    strokes = [s for s in interpret(program.read_text(), rapid_mm_per_s=rapid_mm_per_s) if s.power_word > 0.0]
    weight = [s.length_mm * s.power_word / s.speed_mm_per_s for s in strokes]
    x, y = (
        sum(w * (s.start[i] + s.end[i]) for w, s in zip(weight, strokes, strict=True)) / (2.0 * sum(weight))
        for i in (0, 1)
    )
    return x, y


def test_a_re_run_burns_where_two_points_say(
    demo_batch: Path, demo: Planned, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    to = tmp_path / "again"
    code = main(
        ["rescue", str(demo_batch), "mixed-eights", "--mark", "front", "--point", point(20.0, 27.5),
         "--point", point(180.0, 122.5), "--to", str(to), "--date", DATE]
    )  # fmt: skip
    out = capsys.readouterr().out
    assert code == 0
    assert "turn_deg = 3.0000" in out

    plan = json.loads((to / "plan.json").read_text())
    (piece,) = plan["pieces"]
    (mark,) = piece["marks"]
    assert (piece["id"], mark["id"]) == ("mixed-eights", "front")
    corners = [
        on_bed(PLACE_mm[0] + dx * SIZE_mm[0], PLACE_mm[1] + dy * SIZE_mm[1])
        for dx, dy in ((0, 0), (1, 0), (1, 1), (0, 1))
    ]
    box = Polygon(corners).bounds  # the drawn box, carried to the bed by the points
    assert mark["box_bed_mm"] == pytest.approx(box, abs=WRITTEN_mm)

    # the program itself, read by the independent reader: the middle of all it burns is the first program's, carried along
    # (a piece without hair lines: those fall on one scan line or on two)
    machine = read_machine(demo_batch / "machine.toml", name="machine.toml")
    report = verify_file(to / mark["files"]["program"], limits_of(machine))
    assert not [f for f in report.findings if f.level == "stop"]
    upright = burnt_middle(demo.folder / "mixed-eights-front.ngc", rapid_mm_per_s=machine.rapid_mm_per_s)
    turned = burnt_middle(to / mark["files"]["program"], rapid_mm_per_s=machine.rapid_mm_per_s)
    assert turned == pytest.approx(on_bed(upright[0] - 60.0, upright[1] - 60.0), abs=PIXELS_mm)  # laid at 60, 60

    # the settings of the first plan are kept
    before = next(m for p in demo.plan.pieces if p.piece.id == "mixed-eights" for m in p.marks if m.mark.id == "front")
    assert mark["recipe"]["speed_mm_per_s"] == before.recipe.speed_mm_per_s
    assert mark["recipe"]["power_W"] == pytest.approx(before.recipe.power_W)
    assert mark["recipe"]["line_spacing_mm"] == before.recipe.line_spacing_mm


def test_points_may_be_drawn_from_the_mark(demo_batch: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pairs = [
        f"{dx:g},{dy:g}={on_bed(20.0 + dx, 27.5 + dy)[0]:.4f},{on_bed(20.0 + dx, 27.5 + dy)[1]:.4f}"
        for dx, dy in ((0.0, 0.0), (160.0, 95.0))
    ]
    arguments = ["rescue", str(demo_batch), "novice-fours", "--mark", "front", "--on-mark", "--json"]
    assert main([*arguments, "--point", pairs[0], "--point", pairs[1]]) == 0
    rerun = json.loads(capsys.readouterr().out)["rerun"]

    assert rerun["turn_deg"] == pytest.approx(TURN_deg, abs=1e-3)
    assert rerun["residual_mm"] == pytest.approx([0.0, 0.0], abs=1e-3)
    assert rerun["folder"] is None


def test_a_name_of_a_list_is_re_run_alone(demo_batch: Path, tmp_path: Path) -> None:
    to = tmp_path / "plate"
    arguments = ["rescue", str(demo_batch), "crew-plates-02", "--point", "6,5=256,185", "--point", "84,29=334,209"]
    assert main([*arguments, "--to", str(to), "--date", DATE]) == 0

    (piece,) = json.loads((to / "plan.json").read_text())["pieces"]
    assert piece["id"] == "crew-plates-02"
    assert [m["id"] for m in piece["marks"]] == ["name", "seat"]


def test_depth_and_sanding_on_the_terminal(demo_batch: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rescue", str(demo_batch), "starter-board", "--speed", "60"]) == 0
    out = " ".join(capsys.readouterr().out.split())

    for words in ("how deep", "energy balance", "± 30 %", "face veneer", "glue and the next ply", "mask", "char glows"):
        assert words in out


def test_depth_as_json_holds_ranges(demo_batch: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rescue", str(demo_batch), "novice-fours", "--mark", "front", "--dose", "4", "--json"]) == 0
    (mark,) = json.loads(capsys.readouterr().out)["marks"]

    low, high = mark["gone_mm"]
    assert mark["dose_J_per_mm2"] == 4.0
    assert 0.0 < low < 4.0 / 3.78 < high  # 4 J/mm² over 0.63 g/cm³ × 6 kJ/g, by hand, lies between


def test_the_same_art_darker_lies_over_it_but_shows(demo_batch: Path, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ["rescue", str(demo_batch), "novice-fours", "--mark", "front", "--json"]
    assert main([*arguments, "--grow-mm", "1", "--dose", "0.5"]) == 0
    cover = json.loads(capsys.readouterr().out)["cover"]

    assert cover["size_mm"] == [162.0, 97.0]
    assert cover["beside_mm"] is None
    assert cover["covers"] is False
    assert cover["through_L"] > 2.3


def test_another_mark_that_lies_elsewhere_leaves_it_in_sight(
    demo_batch: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["rescue", str(demo_batch), "novice-fours", "--mark", "front", "--cover", "name", "--at", "41,85"]
    assert main([*arguments, "--json"]) == 0
    cover = json.loads(capsys.readouterr().out)["cover"]

    assert cover["beside_share"] > 0.5
    assert cover["grow_mm"] > 20.0


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["nobody"], 'piece "nobody" is not in this batch'),
        (["plaque", "--mark", "rear"], 'mark "rear" is not on plaque'),
        (["plaque", "--power-w", "nan"], "power_W: is nan"),
        (["plaque", "--dose", "-1"], "dose_J_per_mm2: is -1"),
        (["plaque", "--veneer-mm", "0"], "veneer_mm: is 0"),
        (["plaque", "--grow-mm", "inf"], "grow_mm: is inf"),
        (["plaque", "--at", "1"], '--at: is "1"'),
        (["plaque", "--tone", "101"], "tone_L: is 101"),
        (["plaque", "--cover", "plaque/back"], 'mark "back" is not on plaque'),
        (["plaque", "--cover", "tray/back"], 'piece "tray" is not in this batch'),
        (["plaque", "--point", "1,2"], '--point 1: is "1,2", without "="'),
        (["plaque", "--point", "1,2=3,x"], '--point 1: is "3,x", which is not two numbers'),
        (["plaque", "--point", "1,2=3,nan"], '--point 1: is "3,nan", which is not two numbers'),
        (["plaque", "--point", "1,2=63,64"], "points: are 1; two at least"),
        (["plaque", "--point", "1,2=63,64", "--point", "1,2=90,90"], "1 and 2 are the same place"),
        (["plaque", "--point", "1,2=63,64", "--point", "100,2=900,64"], "--point 2: was found at 900, 64"),
        (["plaque", "--point", "1,2=63,64", "--point", "101,2=170,64"], "do not fit one another"),
        (["plaque", "--to", "somewhere"], "--to: is given, but no --point"),
    ],
)
def test_bad_input_is_told(folder: Path, capsys: pytest.CaptureFixture[str], options: list[str], says: str) -> None:
    assert main(["rescue", str(folder), *options]) == 2
    err = capsys.readouterr().err
    assert says in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["novice-fours", "--tone", "30"], "--mark: is missing"),
        (["medals", "--mark", "outline", "--tone", "30"], "what is cut through cannot be covered"),
        (["boathouse", "--mark", "front", "--grow-mm", "1"], "only solid ink can be grown"),
    ],
)
def test_a_cover_that_makes_no_sense_is_told(
    demo_batch: Path, capsys: pytest.CaptureFixture[str], options: list[str], says: str
) -> None:
    assert main(["rescue", str(demo_batch), *options]) == 2
    assert says in capsys.readouterr().err


def test_swapped_points_are_asked_about(demo_batch: Path, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ["rescue", str(demo_batch), "novice-fours", "--point", "20,75=240,135", "--point", "180,75=80,135"]
    assert main(arguments) == 0
    assert "two points are swapped" in " ".join(capsys.readouterr().out.split())


def test_a_batch_written_down_is_read_back_the_same(demo_batch: Path, tmp_path: Path) -> None:
    table = read_batch(demo_batch / "batch.toml")
    written = tmp_path / "batch.toml"
    written.write_text(batch_text(table), encoding="utf-8")

    assert read_batch(written) == table


def test_odd_characters_survive_being_written_down(edit: Callable[..., Path]) -> None:
    folder = edit("batch.toml", '"One plaque"', '"One \\"plaque\\" \\\\ ü – 🛶"')
    table = read_batch(folder / "batch.toml")

    assert tomllib.loads(batch_text(table))["name"] == table.name == 'One "plaque" \\ ü – 🛶'
