"""Reasons, concessions and choice reach a person: on the terminal, on the run sheet, in plan.json."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pypdf
import pytest

from evenburn.adapters.formats.plan_json import plan_schema
from evenburn.cli.main import main
from evenburn.cli.show_plan import LONG_s, show_planned
from evenburn.core.nouns.plan import MarkPlan, SharedRun
from evenburn.core.nouns.recipe import Alternative, Concession
from evenburn.services.plan_batch import Planned

Printer = Any


def plain(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").split())


@pytest.fixture
def shown(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Printer:
    """Return what prints a plan: its text as it stands on a terminal so wide."""

    def show(planned: Planned, *, columns: int = 100, in_full: bool = False) -> str:
        monkeypatch.setenv("COLUMNS", str(columns))
        capsys.readouterr()
        show_planned(planned, as_json=False, in_full=in_full)
        return capsys.readouterr().out

    return show


def marks_of(planned: Planned) -> list[MarkPlan]:
    return [mark for piece in planned.plan.pieces for mark in piece.marks]


def with_marks(planned: Planned, change: Any) -> Planned:
    """Return a plan whose marks are changed, as they would come from planning."""
    pieces = tuple(replace(p, marks=tuple(change(mark) for mark in p.marks)) for p in planned.plan.pieces)
    return replace(planned, plan=replace(planned.plan, pieces=pieces))


def three(mark: MarkPlan) -> MarkPlan:
    """Return a mark with three recipes to choose from and a wish that gave way."""
    seen = mark.predicted
    offered = tuple(
        Alternative(
            name=name,
            recipe=mark.recipe,
            time_s=share * seen.time_s,
            ripple_L=0.4,
            detail_mm=0.21,
            text=f"Words on {name}, which shows.",
            recommended=name == "recommended",
        )
        for name, share in (("quicker", 0.7), ("recommended", 1.0), ("sharper", 1.6))
    )
    gave = Concession(constraint="sharpness", asked=0.25, got=0.31, unit="mm", text="The sharpness gives way.")
    return replace(mark, choice=offered, gave_way=(gave,))


# the terminal


def test_the_two_dearest_reasons_of_every_long_mark_are_on_the_terminal(demo: Planned, shown: Printer) -> None:
    text = plain(shown(demo))
    long = [m for m in marks_of(demo) if m.program_file and m.predicted.time_s >= LONG_s]
    assert len(long) > 10
    for mark in long:
        for binding in mark.binding[:2]:
            assert binding.constraint == "none" or plain(binding.text) in text


def test_every_reason_is_there_when_asked_for(demo: Planned, shown: Printer) -> None:
    text = plain(shown(demo, in_full=True))
    for mark in marks_of(demo):
        said = [one.text for one in mark.binding] + [one.text for one in mark.gave_way]
        said += [one.text for one in mark.other_lenses]
        assert [words for words in said if plain(words) not in text] == []


def test_the_choice_is_told_in_a_line_each_of_long_marks_only(demo: Planned, shown: Printer) -> None:
    planned = with_marks(demo, three)
    text = shown(planned)
    long = [m for m in marks_of(planned) if m.program_file and m.predicted.time_s >= LONG_s]
    lines = [line for line in text.splitlines() if re.search(r"^ +(or )?(quicker|sharper) ", line)]
    alike = {repr(m.choice) for m in long}
    assert len(alike) * 2 <= len(lines) <= len(long) * 2
    for line in lines:
        assert plain(line).endswith("stroke 0.21 mm banding 0.4 L*, shows")
    assert "Words on quicker" not in text
    assert "--reasons" in text
    assert "The sharpness gives way." in text


def test_the_choice_is_told_in_words_of_every_mark_when_asked_for(demo: Planned, shown: Printer) -> None:
    planned = with_marks(demo, three)
    text = shown(planned, in_full=True)
    assert len(re.findall(r"recommended +\S.*Words on recommended, which shows\.", text)) >= 20
    assert "--reasons" not in text


@pytest.mark.parametrize("columns", [80, 100])
def test_no_line_of_reasons_or_choice_is_wider_than_the_terminal(demo: Planned, columns: int, shown: Printer) -> None:
    planned = with_marks(demo, three)
    for in_full in (False, True):
        for line in shown(planned, columns=columns, in_full=in_full).splitlines():
            of_a_mark = " mm/s  " in line  # a row of figures, as wide as it is
            named = line.startswith(("stop: ", "run sheet (", "Regatta", "Boathouse", "lens "))
            assert of_a_mark or named or len(line) <= columns, line


def test_the_stand_off_is_told_before_the_mark_it_is_set_for(demo: Planned, shown: Printer) -> None:
    lines = shown(demo).splitlines()
    focus = [line for line in lines if line.startswith("     Focus: ")]
    wanted = [one for piece in demo.plan.pieces for one in piece.set_ups]
    assert [line.split("stand-off ")[1] for line in focus] == [f"{one.stand_off_mm:.1f} mm" for one in wanted]


def test_runs_are_told_with_what_they_save(demo: Planned, shown: Printer) -> None:
    slate = next(piece for piece in demo.plan.pieces if len(piece.marks) == 4)
    run = SharedRun(
        marks=tuple((slate.piece.id, mark.mark.id) for mark in slate.marks),
        file="together_1.ngc",
        time_s=702.0,
        saved_s=50.0,
        time_lower_bound_s=690.0,
    )
    planned = replace(demo, plan=replace(demo.plan, runs=(run,)))
    assert f"together_1.ngc {slate.piece.id} a, b, c, d: 11 min 42 s, saves 50 s" in plain(shown(planned))
    assert "In one run" not in shown(replace(demo, plan=replace(demo.plan, runs=())))


def test_reasons_can_be_asked_for_on_the_command_line(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["plan", str(folder), "--to", str(tmp_path / "a"), "--date", "2026-06-09", "--reasons"]) == 0
    assert "lens 2 inch, in use: spot 0.15 mm" in capsys.readouterr().out


# the run sheet and plan.json


def test_the_run_sheet_of_the_demo_carries_reasons_traces_and_choice(demo: Planned) -> None:
    sheet = plain(" ".join(page.extract_text() for page in pypdf.PdfReader(demo.folder / "run-sheet.pdf").pages))
    for mark in marks_of(demo):
        if mark.program_file is None:
            continue
        said = [one.text for one in mark.gave_way] + [one.text for one in mark.binding[:3]]
        assert [words for words in said if plain(words) not in sheet] == []
        assert mark.trace_file is None or mark.trace_file in sheet
    tables = sheet.count("You may also choose")
    assert tables == len(
        {
            (piece.piece.id, repr(([one.text for one in mark.binding[:3]], mark.gave_way, mark.choice)))
            for piece in demo.plan.pieces
            for mark in piece.marks
            if mark.program_file is not None and len(mark.choice) > 1
        }
    )


def test_plan_json_holds_what_the_plan_holds(demo: Planned) -> None:
    document = json.loads((demo.folder / "plan.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(plan_schema()).validate(document)
    written = [mark for piece in document["pieces"] for mark in piece["marks"]]
    for mark, said in zip(marks_of(demo), written, strict=True):
        assert [one["text"] for one in said["gave_way"]] == [plain(one.text) for one in mark.gave_way]
        assert [one["name"] for one in said["alternatives"]] == [one.name for one in mark.choice]
        assert all(one["recipe"].keys() == said["recipe"].keys() for one in said["alternatives"])
        assert said["files"]["trace"] == mark.trace_file
        assert said["islands"] == mark.islands
        seen = said["predicted"]
        assert seen["time_over_bound"] == pytest.approx(seen["time_s"] / seen["time_lower_bound_s"], rel=1e-5)
        assert seen["time_over_bound"] >= 1.0 - 1e-6
    assert [run["file"] for run in document["runs"]] == [run.file for run in demo.plan.runs]
    assert [lens["name"] for lens in document["lenses"]] == [lens.name for lens in demo.plan.machine.lenses]
