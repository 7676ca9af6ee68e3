"""The command line as a person uses it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from evenburn import __version__
from evenburn.cli.main import main
from evenburn.services.plan_batch import Planned
from service.conftest import DATE


def test_plan_prints_the_recipe_and_where_things_are(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = main(["plan", str(folder), "--to", str(tmp_path / "out"), "--date", DATE])

    out = capsys.readouterr().out
    assert code == 0
    for text in ("One plaque", "plaque: hard maple", "mm/s", "LPI", "stand-off", "starting value", "Never leave it"):
        assert text in out


def test_plan_as_json_is_plan_json(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["plan", str(folder), "--to", str(tmp_path / "out"), "--date", DATE, "--json"])

    out = capsys.readouterr().out
    assert out == (tmp_path / "out" / "plan.json").read_text()
    assert json.loads(out)["planned_on"] == DATE


def test_a_stop_is_part_of_the_answer(demo: Planned) -> None:
    assert any(p.stopped() for p in demo.plan.pieces)


def test_verify_passes_a_good_program_and_stops_a_bad_one(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["plan", str(folder), "--to", str(tmp_path / "out")])
    program = tmp_path / "out" / "plaque-front.ngc"
    machine = str(folder / "machine.toml")
    capsys.readouterr()
    assert main(["verify", str(program), "--machine", machine]) == 0
    assert "passed" in capsys.readouterr().out

    bad = tmp_path / "bad.ngc"
    bad.write_text(program.read_text().replace("G0 X", "G0 X-", 1))
    assert main(["verify", str(bad), "--machine", machine]) == 1
    out = capsys.readouterr().out
    assert "stop" in out
    assert "must not run" in out


def test_verify_as_json(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["plan", str(folder), "--to", str(tmp_path / "out")])
    capsys.readouterr()
    main(["verify", str(tmp_path / "out" / "plaque-front.ngc"), "--machine", str(folder / "machine.toml"), "--json"])

    document = json.loads(capsys.readouterr().out)
    assert document["findings"] == []
    assert document["passed"] is True


def test_verify_names_what_it_cannot_read(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verify", "nowhere.ngc", "--machine", str(folder / "machine.toml")]) == 2
    assert "nowhere.ngc" in capsys.readouterr().err


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"evenburn {__version__}\n"
