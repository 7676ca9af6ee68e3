"""Several marks in one run as a file: read back by both readers, its head naming every piece, mark and place."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from evenburn.adapters.formats.ngc_reader import verify_file
from evenburn.adapters.storage.folder import OutputFolder
from evenburn.core.nouns.plan import PiecePlan, SharedRun
from evenburn.core.planning.power import full_power_s
from evenburn.services.load_batch import load_batch
from evenburn.services.verify_program import limits_of
from evenburn.services.work_through import work_through
from evenburn.services.write_runs import write_runs
from service.conftest import BATCH, DATE
from service.second_reader import interpret, time_s
from unit.core.planning.drawn_marks import planned

SAME_TIME, SAME_ENERGY = 0.005, 0.01  # what the contract allows between plan and file
HELD = (
    'tone_L = 40.0\nhold = { speed_mm_per_s = 400.0, line_spacing_mm = 0.12, focus_offset_mm = 1.0, scan_axis = "x" }'
)
SECOND = (
    BATCH[BATCH.index("[[piece]]") :]
    .replace('id = "plaque"', 'id = "second"')
    .replace("place_bed_mm = [200.0, 150.0]", "place_bed_mm = [321.0, 153.07]")
    .replace("place_mm = [30.0, 25.0]", "place_mm = [4.0, 25.0]")
)


def runs_of(folder: Path, tmp_path: Path) -> tuple[tuple[SharedRun, ...], str, float, list[PiecePlan]]:
    """Return the runs of a batch, the first one's text, verified, and the full-power time of its marks alone."""
    batch = load_batch(folder)
    works = [(piece, work_through(batch, piece).marks) for piece in batch.pieces]
    plans = [planned(piece, list(marks), wood=batch.woods[piece.wood_id]) for piece, marks in works]
    alone_s = sum(full_power_s(batch.machine, mark.events) for _, marks in works for mark in marks)
    with OutputFolder(tmp_path / "out") as output:
        runs = write_runs(batch, plans, output=output, date=DATE)
        if not runs:
            return (), "", alone_s, plans
        report = verify_file(output.path(runs[0].file), limits_of(batch.machine))
        assert report.passed, report.findings
        assert report.findings == ()
        assert report.full_power_s == pytest.approx(alone_s, rel=SAME_ENERGY)
        return runs, output.path(runs[0].file).read_text(encoding="ascii"), alone_s, plans


@pytest.fixture
def side_by_side(edit: Callable[..., Path]) -> Path:
    """Return a batch of two plaques beside each other, with settings that agree."""
    folder = edit("batch.toml", "place_mm = [30.0, 25.0]", "place_mm = [56.0, 25.0]")
    path = folder / "batch.toml"
    path.write_text((path.read_text() + SECOND).replace("tone_L = 40.0", HELD))
    return folder


def test_two_plaques_side_by_side_get_a_run(side_by_side: Path, tmp_path: Path) -> None:
    runs, text, alone_s, plans = runs_of(side_by_side, tmp_path)
    machine = load_batch(side_by_side).machine

    (run,) = runs
    assert run.marks == (("plaque", "front"), ("second", "front"))
    assert run.file == "together_1.ngc"
    apart_s = sum(plan.time_s() for plan in plans)
    assert run.time_s + run.saved_s == pytest.approx(apart_s)
    assert run.saved_s > 0.01 * apart_s
    assert run.time_lower_bound_s <= run.time_s
    strokes = interpret(text, rapid_mm_per_s=machine.rapid_mm_per_s)
    seconds = time_s(strokes, accel=(machine.accel_x_mm_per_s2, machine.accel_y_mm_per_s2), jerk=machine.jerk_mm_per_s3)
    assert seconds == pytest.approx(run.time_s, rel=SAME_TIME)
    burning = sum(s.power_word / machine.power_word_max * s.length_mm / s.speed_mm_per_s for s in strokes)
    assert burning == pytest.approx(alone_s, rel=SAME_ENERGY)


def test_its_head_names_pieces_marks_places_and_the_set_up(side_by_side: Path, tmp_path: Path) -> None:
    _, text, _, _ = runs_of(side_by_side, tmp_path)

    for line in (
        "(evenburn program for 2 marks in one run, planned 2026-06-09)",
        "(it takes the place of their own programs: run this one or those)",
        "(piece plaque)",
        "(its lower left corner lies at x 200.0, y 150.0 mm)",
        "(piece second)",
        "(its lower left corner lies at x 321.0, y 153.1 mm)",
        "(mark front)",
        "(set stand-off 10.5 mm, focus offset +1.0 mm)",
        "(blanks 12 mm thick, all on the bed before it starts)",
        "(speed 400 mm/s, passes 2, scan along x)",
    ):
        assert line in text, line


def test_one_plaque_alone_has_no_run(folder: Path, tmp_path: Path) -> None:
    assert runs_of(folder, tmp_path)[0] == ()


def test_one_that_cannot_be_burnt_has_no_part(side_by_side: Path, tmp_path: Path) -> None:
    path = side_by_side / "batch.toml"
    path.write_text(path.read_text().replace("place_bed_mm = [321.0, 153.07]", "place_bed_mm = [500.0, 153.07]"))

    assert runs_of(side_by_side, tmp_path)[0] == ()
