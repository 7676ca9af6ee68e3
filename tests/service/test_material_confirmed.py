"""What must not be burnt cannot be planned, whatever is written beside it; what is doubtful only once somebody answers for it."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from evenburn.adapters.formats.wood_toml import materials
from evenburn.cli.main import main
from evenburn.core.nouns.cautions import cautions_for
from service.conftest import DATE


def named(folder: Path, *lines: str) -> Path:
    """Say in the wood's file what the wood of the folder is."""
    (folder / "woods").mkdir(exist_ok=True)
    (folder / "woods" / "hard-maple.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def planned(folder: Path, capsys: pytest.CaptureFixture[str]) -> tuple[dict[str, Any], str, str]:
    """Plan a folder; return its one piece as in plan.json, what the terminal said, and what the run sheet says."""
    out = folder.parent / "out"
    assert main(["plan", str(folder), "--to", str(out), "--date", DATE]) == 0
    told = capsys.readouterr().out
    (piece,) = json.loads((out / "plan.json").read_text(encoding="utf-8"))["pieces"]
    sheet = " ".join("".join(page.extract_text() for page in PdfReader(out / "run-sheet.pdf").pages).split())
    return piece, " ".join(told.split()), sheet.replace("\u00a0", " ")


def test_a_forbidden_material_gets_no_program_and_no_setting_whatever_is_written_beside_it(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    named(folder, 'name = "faux leather (PVC)"', 'confirmed_by = "the club"', "confirmed_on = 2026-06-01")

    piece, told, sheet = planned(folder, capsys)

    (stop,) = [check for check in piece["checks"] if check["code"] == "forbidden-material"]
    assert stop["level"] == "stop"
    assert "hydrogen chloride" in stop["text"]
    assert stop["fixes"] == []
    assert not any("offcut" in check["remedy"] for check in piece["checks"])  # it is not to be tried at all
    assert piece["confirmation"] is None
    assert (piece["marks"], piece["set_ups"]) == ([], [])
    assert [check["code"] for check in piece["checks"]] == ["forbidden-material"]
    assert sorted(p.name for p in (folder.parent / "out").iterdir()) == ["plan.json", "run-sheet.pdf"]
    for shown in (told, sheet):
        assert "must not be burnt" in shown
        assert "Burn a card" not in shown
        assert re.search(r"\d ?(W|mm/s)\b", shown) is None  # nobody can take it to the machine and type it in


def test_no_rescue_of_what_must_not_be_burnt(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rescue", str(folder), "plaque"]) == 0
    assert re.search(r"Burnt with [\d.]+ W", " ".join(capsys.readouterr().out.split())) is not None

    assert main(["rescue", str(named(folder, 'name = "faux leather (PVC)"')), "plaque"]) == 2

    told = capsys.readouterr()
    assert "must not be burnt" in told.err
    assert re.search(r"\d ?(W|mm/s)\b", told.out + told.err) is None


def test_a_forbidden_piece_changes_nothing_about_the_others_and_stands_in_their_order(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    alone, _, _ = planned(folder, capsys)
    batch = folder / "batch.toml"
    text = batch.read_text()
    other = text[text.index("[[piece]]") :].replace('"plaque"', '"sign"').replace('"hard-maple"', '"oak"')
    batch.write_text(text + other)
    (folder / "woods").mkdir()
    (folder / "woods" / "oak.toml").write_text('name = "vinyl sign"\n')

    assert main(["plan", str(folder), "--to", str(folder.parent / "both"), "--date", DATE]) == 0
    assert main(["check", str(folder)]) == 0

    pieces = json.loads((folder.parent / "both" / "plan.json").read_text(encoding="utf-8"))["pieces"]
    assert [piece["id"] for piece in pieces] == ["plaque", "sign"]
    assert pieces[0]["marks"] == alone["marks"]
    sheet = PdfReader(folder.parent / "both" / "run-sheet.pdf").pages[0].extract_text()
    assert "not burnt" in sheet
    assert "must not be burnt" in " ".join(sheet.split())
    assert "must not be burnt" in capsys.readouterr().out


def test_a_doubtful_material_waits_for_somebody(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    piece, _, _ = planned(named(folder, 'name = "painted MDF"'), capsys)

    (stop,) = [check for check in piece["checks"] if check["code"] == "doubtful-material"]
    assert stop["level"] == "stop"
    assert "formaldehyde" in stop["text"]
    assert "isocyanates" in stop["text"]
    assert "confirmed_by" in stop["remedy"]
    assert all(mark["files"]["program"] is None for mark in piece["marks"])


def test_who_answered_for_it_and_when_stands_in_the_plan_on_the_sheet_and_on_the_terminal(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    named(folder, 'name = "MDF 6 mm"', 'confirmed_by = "Ines Hale"', "confirmed_on = 2026-06-01")

    piece, told, sheet = planned(folder, capsys)

    assert piece["confirmation"] == {"by": "Ines Hale", "on": "2026-06-01"}
    assert piece["marks"][0]["files"]["program"] is not None
    for shown in (told, sheet):
        assert "Confirmed by Ines Hale on 2026-06-01" in shown


def test_a_plain_wood_needs_nobody(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    piece, told, _ = planned(folder, capsys)

    assert piece["confirmation"] is None
    assert "onfirmed by" not in told
    for caution in cautions_for(decision="plan"):
        assert caution.text in told


def test_what_lies_on_the_wood_is_doubted_as_the_wood_is(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    named(folder, 'name = "hard maple"', 'surface = "lacquered"')

    assert main(["check", str(folder), "--json"]) == 0

    assert "doubtful-material" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        (('name = "MDF"', "confirmed_on = 2026-06-01"), "confirmed_by is missing"),
        (('name = "MDF"', 'confirmed_by = "Ines Hale"', 'confirmed_on = "yesterday"'), "yesterday"),
        (('name = "MDF"', 'confirmed_by = "Ines Hale"', "confirmed_on = 2026-06-01T08:00:00"), "confirmed_on"),
        (('name = "MDF"', 'confirmed_by = "Ines Hale"', "confirmed_on = 20260601"), "confirmed_on"),
    ],
)
def test_half_a_confirmation_is_none(
    folder: Path, capsys: pytest.CaptureFixture[str], lines: tuple[str, ...], told: str
) -> None:
    assert main(["check", str(named(folder, *lines))]) == 2

    assert told in capsys.readouterr().err


@pytest.mark.parametrize("wood", ["pvc", "faux-leather", "kunstleder"])
def test_no_card_of_what_must_not_be_burnt(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], wood: str
) -> None:
    to = tmp_path / "card"
    machine = str(folder / "machine.toml")

    assert main(["card", "wood", "--machine", machine, "--wood", wood, "--like", "hard-maple", "--to", str(to)]) == 2

    assert "must not be burnt" in capsys.readouterr().err
    assert not to.exists()


def test_a_program_that_passes_is_not_thereby_safe(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    program = folder / "mark.ngc"
    program.write_text(
        "G21 G90 G94 G17\nM5\nG0 X20 Y20\nM3 S0\nG1 X22 F6000\nG1 X40 S500\nG1 X42 S0\nM5\nM2\n", encoding="ascii"
    )

    assert main(["verify", str(program), "--machine", str(folder / "machine.toml")]) == 0

    told = " ".join(capsys.readouterr().out.split())
    for caution in cautions_for(decision="verify"):
        assert caution.text in told


def test_the_reference_lists_every_material() -> None:
    page = (Path(__file__).resolve().parents[2] / "docs" / "reference" / "wood.md").read_text(encoding="utf-8")

    assert [one.name for one in materials() if f"| {one.name} | {one.level} |" not in page] == []
