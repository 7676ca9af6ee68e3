"""On a real terminal: progress with the time left is shown, and the answer is the same."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from evenburn.cli.main import main
from evenburn.core.units import duration_text


def run_on_a_terminal(arguments: list[str]) -> tuple[int, str]:
    """Return exit code and everything a pseudo-terminal showed."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "evenburn", *arguments], stdin=theirs, stdout=theirs, stderr=theirs, close_fds=True
    )
    os.close(theirs)
    shown = b""
    while True:
        try:
            block = os.read(ours, 65536)
        except OSError:  # the other side is closed: the program has ended
            break
        if not block:
            break
        shown += block
    os.close(ours)
    return process.wait(), shown.decode("utf-8", "replace")


def test_progress_and_time_left_are_shown(folder: Path, tmp_path: Path) -> None:
    code, shown = run_on_a_terminal(["plan", str(folder), "--to", str(tmp_path / "out")])

    assert code == 0, shown
    assert "Traceback" not in shown
    assert "left" in shown
    assert " of " in shown
    assert "One plaque" in shown


def test_an_error_on_a_terminal_has_its_shape(tmp_path: Path) -> None:
    code, shown = run_on_a_terminal(["plan", str(tmp_path / "nowhere"), "--to", str(tmp_path / "out")])

    assert code == 2
    assert "error: " in shown
    assert "Traceback" not in shown


def test_a_plan_from_files_says_what_it_reckons_change_overs_with(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By hand: the burning of the one plaque, and four minutes once."""
    assert main(["plan", str(folder), "--to", str(tmp_path / "out")]) == 0
    told = " ".join(capsys.readouterr().out.replace("\u00a0", " ").split())
    burning_s = json.loads((tmp_path / "out" / "plan.json").read_text())["total_time_s"]
    whole = duration_text(burning_s + 240.0).replace("\u00a0", " ")
    assert f"From start to end {whole}, with 1 change-over of 4 min each" in told
    assert "to bring a blank in and focus it: a starting value." in told
