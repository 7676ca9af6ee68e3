"""The output folder of a plan: every file exists, opens, and agrees with plan.json and with the machine."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pypdf
import pytest
from PIL import Image

from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.plan_json import plan_schema
from evenburn.core.planning.power import delivered_power_W
from evenburn.services.plan_batch import Planned, plan_batch
from service.conftest import DATE
from service.second_reader import interpret, time_s

Marks = list[tuple[dict[str, Any], dict[str, Any]]]


@pytest.fixture(scope="session")
def document(demo: Planned) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads((demo.folder / "plan.json").read_text(encoding="utf-8"))
    return loaded


@pytest.fixture(scope="session")
def marks(document: dict[str, Any]) -> Marks:
    return [(p, m) for p in document["pieces"] for m in p["marks"]]


def test_plan_agrees_with_its_published_schema(document: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator(plan_schema()).validate(document)


def test_the_folder_holds_what_the_plan_lists_and_nothing_else(
    demo: Planned, document: dict[str, Any], marks: Marks
) -> None:
    listed = {name for _, m in marks for name in m["files"].values() if name} | {"plan.json", "run-sheet.pdf"}
    listed |= {run["file"] for run in document["runs"]}

    there = {p.name for p in demo.folder.iterdir() if p.is_file()}

    assert there == listed
    assert {p.name for p in demo.folder.iterdir() if p.is_dir()} == {"batch"}


def test_a_mark_has_a_program_unless_a_stop_forbids_it(document: dict[str, Any]) -> None:
    for piece in document["pieces"]:
        stopped = {c["mark"] for c in piece["checks"] if c["level"] == "stop"}
        for mark in piece["marks"]:
            forbidden = None in stopped or mark["id"] in stopped
            assert (mark["files"]["program"] is None) == forbidden


def test_the_demo_has_its_one_failing_piece(document: dict[str, Any]) -> None:
    stops = [(p["id"], c["code"]) for p in document["pieces"] for c in p["checks"] if c["level"] == "stop"]

    assert stops == [("captains-oar", "run-up-does-not-fit")]


def test_programs_pass_the_second_reader_and_agree_with_the_plan(demo: Planned, marks: Marks) -> None:
    """Energy within 1 %, time within 0.5 %, inside the bed and the mark's box: read from disk by a second reader."""
    machine = read_machine(demo.folder / "batch" / "machine.toml", name="machine.toml")
    for _, mark in marks:
        if mark["files"]["program"] is None:
            continue
        text = (demo.folder / mark["files"]["program"]).read_text(encoding="ascii")
        strokes = interpret(text, rapid_mm_per_s=machine.rapid_mm_per_s)
        recipe = mark["recipe"]
        burning = [s for s in strokes if s.power_word > 0.0]
        assert not any(s.rapid for s in burning)
        assert all(0.0 <= s.power_word <= machine.power_word_max for s in strokes)
        for s in strokes:
            assert -1e-6 <= s.end[0] <= machine.bed_x_mm + 1e-6
            assert -1e-6 <= s.end[1] <= machine.bed_y_mm + 1e-6
        assert {round(s.speed_mm_per_s, 3) for s in burning} == {round(recipe["speed_mm_per_s"], 3)}

        x0, y0, x1, y1 = mark["box_bed_mm"]
        slack = recipe["speed_mm_per_s"] * machine.rise_time_s + 1e-3
        assert all(x0 - slack <= s.end[0] <= x1 + slack and y0 - slack <= s.end[1] <= y1 + slack for s in burning)

        seconds = time_s(
            strokes,
            accel=(machine.accel_x_mm_per_s2, machine.accel_y_mm_per_s2),
            jerk=machine.jerk_mm_per_s3,
            line_overhead_s=machine.line_overhead_s,
        )
        assert seconds == pytest.approx(mark["predicted"]["time_s"], rel=0.005)
        assert mark["predicted"]["time_lower_bound_s"] <= seconds

        watts = delivered_power_W(
            machine, power_fraction=np.array([s.power_word for s in burning]) / machine.power_word_max
        )
        if mark["treatment"] in ("line", "cut"):
            continue  # the speed changes along an outline; tests/property/test_paths.py holds its energy
        energy_J = float((watts * np.array([s.length_mm / s.speed_mm_per_s for s in burning])).sum())
        planned_J = _image_energy_J(demo.folder / mark["files"]["image"], mark)
        assert energy_J == pytest.approx(planned_J, rel=0.01)


def _image_energy_J(image: Path, mark: dict[str, Any]) -> float:
    """Return the plan's dose times the area burnt in the image; grey counts by its share of full power."""
    with Image.open(image) as picture:
        grey = np.asarray(picture.convert("L"), dtype=np.float64)
    share = float((1.0 - grey / 255.0).sum())
    area_mm2 = share * mark["recipe"]["line_spacing_mm"] ** 2
    return float(mark["predicted"]["dose_J_per_mm2"]) * area_mm2


def test_burn_images_have_one_pixel_per_line_spacing(demo: Planned, marks: Marks) -> None:
    for _, mark in marks:
        spacing = mark["recipe"]["line_spacing_mm"]
        x0, y0, x1, y1 = mark["box_bed_mm"]
        with Image.open(demo.folder / mark["files"]["image"]) as picture:
            assert abs(picture.size[0] - (x1 - x0) / spacing) <= 1.0
            assert abs(picture.size[1] - (y1 - y0) / spacing) <= 1.0
            assert round(picture.info["dpi"][0] / 25.4 * 1000.0) == round(1000.0 / spacing)


def test_recipes_are_consistent(document: dict[str, Any], marks: Marks) -> None:
    lens = document["lens"]
    for _, mark in marks:
        r, p = mark["recipe"], mark["predicted"]
        dose = r["passes"] * r["power_W"] / (r["speed_mm_per_s"] * r["line_spacing_mm"])
        assert p["dose_J_per_mm2"] == pytest.approx(dose, rel=1e-5)
        assert r["stand_off_mm"] == pytest.approx(lens["focus_stand_off_mm"] + r["focus_offset_mm"], abs=1e-6)
        assert p["dwell_ms"] == pytest.approx(2000.0 * p["beam_radius_mm"] / r["speed_mm_per_s"], rel=1e-4)
        assert 0.0 < p["time_lower_bound_s"] <= p["time_s"]
        assert abs(p["tone_L"] - mark["wished_tone_L"]) < 0.5
        assert p["ripple_L"] <= p["ripple_limit_L"]


def test_order_and_total(document: dict[str, Any], marks: Marks) -> None:
    assert [p["start_order"] for p in document["pieces"]] == list(range(1, len(document["pieces"]) + 1))
    total = sum(m["predicted"]["time_s"] for _, m in marks if m["files"]["program"])
    assert document["total_time_s"] == pytest.approx(total, abs=1e-3)


def test_every_output_says_that_starting_values_are_starting_values(demo: Planned, document: dict[str, Any]) -> None:
    kinds = {piece["wood"]: piece["curve"]["kind"] for piece in document["pieces"]}
    assert kinds.pop("hard-maple") == "fitted"  # the demo's card
    assert set(kinds.values()) == {"starting value"}
    for piece in document["pieces"]:
        told = any(c["code"] == "starting-value-curve" for c in piece["checks"])
        assert told == (piece["curve"]["kind"] == "starting value")
    sheet = " ".join(page.extract_text() for page in pypdf.PdfReader(demo.folder / "run-sheet.pdf").pages)
    assert "starting value" in sheet
    program = next(p for p in demo.folder.glob("captains-oar*.ngc")).read_text()
    assert "starting value" in program


def test_same_input_same_bytes(folder: Path, tmp_path: Path) -> None:
    first = plan_batch(folder, to=tmp_path / "a", date=DATE)
    second = plan_batch(folder, to=tmp_path / "b", date=DATE)

    assert first.files == second.files
    for name in first.files:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes(), name


def test_the_remedy_applied_passes(demo_batch: Path, demo: Planned, tmp_path: Path) -> None:
    """Each computed way out of the failing piece, written into batch.toml, lets it be planned without a stop."""
    check = next(c for p in demo.plan.pieces for c in p.checks if c.level == "stop")
    kinds = {fix.change[0][0] for fix in check.fixes}
    assert kinds >= {"place_bed_mm", "hold.speed_mm_per_s", "hold.scan_axis"}
    path = demo_batch / "batch.toml"
    text = path.read_text()
    start = text.index('[[piece]]\nid = "captains-oar"')
    end = text.index("[[piece]]", start + 5)
    head = text[: text.index("[[piece]]")]
    alone = text[start:end]
    for fix in check.fixes:
        (key, value) = fix.change[0]
        changed = alone
        if key == "place_bed_mm":
            assert isinstance(value, tuple)
            changed = changed.replace("place_bed_mm = [0.0, 120.0]", f"place_bed_mm = [{value[0]}, {value[1]}]")
        elif key == "turn_deg":
            changed = changed.replace("turn_deg = 0.0", f"turn_deg = {value}")
        elif key == "hold.speed_mm_per_s":
            changed = changed.replace("speed_mm_per_s = 420.0", f"speed_mm_per_s = {value}")
        else:
            changed = changed.replace('scan_axis = "x"', f'scan_axis = "{value}"')
        assert changed != alone, key
        path.write_text(head + changed)

        planned = plan_batch(demo_batch, to=tmp_path / key.replace(".", "-"), date=DATE)

        stops = [c for p in planned.plan.pieces for c in p.checks if c.level == "stop"]
        assert stops == [], key
