"""On a real terminal: progress with the time left is shown, and the answer is the same."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from pathlib import Path


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
