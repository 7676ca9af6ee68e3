"""What the README shows is what evenburn does: the demo's lines, the five lines of Python, the links, the picture."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from PIL import Image

from evenburn.cli.show_plan import show_planned
from evenburn.services.plan_batch import Planned

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def block(text: str, language: str) -> list[str]:
    """Return the lines of the one code block of a language."""
    found = re.findall(rf"^```{language}\n(.*?)^```", text, flags=re.MULTILINE | re.DOTALL)
    assert len(found) == 1
    return [line for line in found[0].splitlines() if line]


def demo_lines() -> list[str]:
    shown = re.search(r"<!-- demo: begin -->\n(.*?)<!-- demo: end -->", README, flags=re.DOTALL)
    assert shown, "the README has lost its markers <!-- demo: begin --> and <!-- demo: end -->"
    return block(shown[1], "")


def test_the_demo_lines_are_what_the_demo_prints(
    demo: Planned, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    show_planned(demo, as_json=False)
    out = capsys.readouterr().out.replace("\u00a0", " ")  # a README keeps to plain blanks
    printed = [line.rstrip() for line in out.splitlines()]

    lines = demo_lines()

    assert 8 <= len(lines) <= 12
    stale = [line for line in lines if line not in printed]
    assert stale == [], "the demo no longer prints these lines of README.md; copy them anew from `evenburn demo`"
    places = [printed.index(line) for line in lines]
    assert places == sorted(places), "the lines stand in another order"


def test_the_python_of_the_readme_runs(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = block(README, "python")
    assert len(lines) == 5
    shutil.copytree(folder, tmp_path / "out" / "demo" / "batch")
    monkeypatch.chdir(tmp_path)

    exec(compile("\n".join(lines), "README.md", "exec"), {})  # noqa: S102  # the README's own five lines

    shown = capsys.readouterr().out.split()
    assert shown[0] == "front"
    assert float(shown[2]) == pytest.approx(40.0, abs=0.5)  # the small batch asks for L* 40; power is set in steps
    assert (tmp_path / "out" / "again" / "run-sheet.pdf").is_file()


def test_the_links_of_the_readme_lead_somewhere() -> None:
    links = [link for link in re.findall(r"\]\(([^)#]+)\)", README) if "://" not in link]

    assert len(links) > 10
    assert [link for link in links if not (ROOT / link).exists()] == []


def test_the_picture_is_a_proof_of_the_width_it_is_shown_at() -> None:
    with Image.open(ROOT / "docs" / "pictures" / "proof.png") as picture:
        assert picture.width == 1200


def test_the_readme_is_one_screen() -> None:
    assert len(README.splitlines()) <= 100
