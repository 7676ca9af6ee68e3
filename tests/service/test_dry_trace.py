"""The dry trace as a file: read back by both readers, dark, on the bed, its head saying what is walked."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from evenburn.adapters.formats.ngc_reader import verify_file
from evenburn.adapters.formats.ngc_writer import program_lines
from evenburn.adapters.storage.folder import OutputFolder
from evenburn.core.errors import ProgramNotSound
from evenburn.core.nouns.events import Travel
from evenburn.services import write_trace as service
from evenburn.services.load_batch import load_batch
from evenburn.services.prove import prove_program
from evenburn.services.verify_program import limits_of
from evenburn.services.work_through import work_through
from evenburn.services.write_trace import write_trace
from service.conftest import DATE
from service.second_reader import interpret


def traced(folder: Path, tmp_path: Path) -> tuple[str | None, str]:
    """Return the name of the plaque's dry trace and its text, verified."""
    batch = load_batch(folder)
    (piece,) = batch.pieces
    work = work_through(batch, piece)
    with OutputFolder(tmp_path / "out") as output:
        name = write_trace(output, batch.machine, piece=piece, work=work.marks[0], batch_name=batch.name, date=DATE)
        if name is None:
            return None, ""
        report = verify_file(output.path(name), limits_of(batch.machine))
        assert report.passed
        assert {finding.code for finding in report.findings} == {"nothing-burnt"}
        text = output.path(name).read_text(encoding="ascii")
    strokes = interpret(text, rapid_mm_per_s=batch.machine.rapid_mm_per_s)
    assert strokes
    assert not any(stroke.power_word for stroke in strokes)
    assert not any(word in text for word in ("M3", "M4"))
    assert all(0 <= s.end[0] <= batch.machine.bed_x_mm and 0 <= s.end[1] <= batch.machine.bed_y_mm for s in strokes)
    return name, text


def test_a_mark_gets_a_dry_trace(folder: Path, tmp_path: Path) -> None:
    name, text = traced(folder, tmp_path)

    assert name == "plaque-front-trace.ngc"
    assert "the laser stays off" in text
    assert "(piece plaque, mark front)" in text
    assert "(the blank's lower left corner lies at x 200.0, y 150.0 mm)" in text
    assert "LEAVES THE BED" not in text
    assert "G0 X230.000 Y175.000 S0" in text  # the mark's lower left corner


def test_run_up_off_the_bed_is_told_in_the_head(edit: Callable[..., Path], tmp_path: Path) -> None:
    edit("batch.toml", "place_bed_mm = [200.0, 150.0]", "place_bed_mm = [-30.0, 150.0]")
    folder = edit("batch.toml", "tone_L = 40.0", 'tone_L = 40.0\nhold = { speed_mm_per_s = 400.0, scan_axis = "x" }')

    _, text = traced(folder, tmp_path)

    assert "(RUN-UP LEAVES THE BED: walked as far as it goes, see the checks)" in text


def test_a_mark_off_the_bed_gets_none(edit: Callable[..., Path], tmp_path: Path) -> None:
    folder = edit("batch.toml", "place_bed_mm = [200.0, 150.0]", "place_bed_mm = [560.0, 150.0]")

    assert traced(folder, tmp_path) == (None, "")


def test_a_dry_trace_that_would_fire_is_never_kept(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = load_batch(folder)
    (piece,) = batch.pieces
    work = work_through(batch, piece)
    honest = program_lines

    def faulty(*args: object, **kwargs: object) -> list[str]:
        lines = list(honest(*args, **kwargs))  # type: ignore[arg-type]  # passed on as they came
        at = next(i for i, line in enumerate(lines) if line.startswith("G1"))
        return [*lines[:at], "M3 S0", lines[at].replace("S0", "S300"), *lines[at + 1 :]]

    monkeypatch.setattr(service, "program_lines", faulty)
    with OutputFolder(tmp_path / "out") as output, pytest.raises(ProgramNotSound, match="full power"):
        write_trace(output, batch.machine, piece=piece, work=work.marks[0], batch_name=batch.name, date=DATE)


def test_a_program_that_goes_elsewhere_is_not_proven(folder: Path, tmp_path: Path) -> None:
    machine = load_batch(folder).machine
    program = tmp_path / "a.ngc"
    program.write_text("G21 G90 G94 G17\nM5\nG0 X1 Y1\nG0 X9 Y1\nM5\nM2\n", encoding="ascii")

    with pytest.raises(ProgramNotSound, match="goes within"):
        prove_program(program, machine, events=[Travel(to_mm=(1.0, 1.0)), Travel(to_mm=(8.0, 1.0))], time_s=0.1)
