"""Nothing is asked of the network: a batch, a card and a program are worked through where any attempt to connect ends the program."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ASKED = 77
# Python tells of every attempt before it is made, also of those by libraries
WATCHED = f"""
import os, sys

def seen(event, arguments):
    if event in ("socket.connect", "socket.sendto", "socket.sendmsg", "socket.getaddrinfo", "socket.gethostbyname"):
        os.write(2, f"{{event}} {{arguments}}".encode())
        os._exit({ASKED})

sys.addaudithook(seen)
"""
RUN = "from evenburn.cli.main import run\nsys.argv[0] = 'evenburn'\nrun()"


def watched(code: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", WATCHED + code, *arguments], capture_output=True, text=True, timeout=300, check=False
    )


def test_nothing_is_asked_of_the_network(folder: Path, tmp_path: Path) -> None:
    out, card = tmp_path / "out", tmp_path / "card"
    machine = str(folder / "machine.toml")
    for verb in (
        ("plan", str(folder), "--to", str(out), "--date", "2026-06-09"),
        ("card", "wood", "--machine", machine, "--wood", "hard-maple", "--to", str(card)),
    ):
        done = watched(RUN, *verb)
        assert done.returncode == 0, (verb, done.stdout, done.stderr)
    program = next(out.rglob("*.ngc"))
    assert watched(RUN, "verify", str(program), "--machine", machine).returncode == 0


@pytest.mark.parametrize(
    "asks",
    [
        "import urllib.request\nurllib.request.urlopen('http://127.0.0.1:9/')",
        "import socket\nsocket.getaddrinfo('example.org', 80)",
    ],
)
def test_a_planted_question_to_the_network_is_caught(asks: str) -> None:
    assert watched(asks).returncode == ASKED
