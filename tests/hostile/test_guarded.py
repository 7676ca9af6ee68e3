"""The fence itself: each breach it is there for is caught when it is planted."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from hostile.guarded import Guard, guard

PLANTED = """
import sys
sys.path.insert(0, {tests!r})
from pathlib import Path
from hostile import doors, worker

def crash(arena): import ctypes; ctypes.string_at(0)
def spin(arena):
    while True: pass
def trace(arena): return [][1]
def connect(arena):
    import socket
    socket.create_connection(("127.0.0.1", 9), timeout=1)
def beside(arena): return (arena / "secret.toml").read_text()
def neighbour(arena): return (arena.parent / "neighbour" / "batch.toml").read_text()
def listed(arena): import os; return str(os.listdir(arena.parent))
def walked(arena): import os; return str([e.name for e in os.scandir("/home")])
def system(arena): return open("/etc/passwd").read()
def handle(arena):
    import os
    return str(os.read(os.open("/etc/hostname", os.O_RDONLY), 9))
def keys(arena):
    try: return (Path.home() / ".ssh" / "id_ed25519").read_text()
    except OSError: return "none there"
def environment(arena): return open("/proc/self/environ").read()
def linked(arena):
    (arena / "out").mkdir()
    (arena / "out" / "art.svg").symlink_to("/etc/passwd")
    return (arena / "out" / "art.svg").read_text()
def climbed(arena): return open(f"{{arena}}/case/../../../../../../../../../../etc/passwd").read()
def looked_up(arena):
    import sqlite3
    sqlite3.connect(str(arena.parent / "beside.sqlite")).close()
def stray(arena): (arena / "case" / "new.txt").write_text("x"); return "done"
def outside(arena): (arena.parent / "outside.txt").write_text("x"); return "done"
def changed(arena): (arena / "case" / "a.txt").write_text("x"); return "done"
def swell(arena): return str(len(b"x" * (300 * 1024 * 1024)))
def shell(arena):
    import subprocess
    subprocess.run(["true"])
def refuse(arena):
    from evenburn.core.errors import UnreadableFile
    raise UnreadableFile("a.txt", "is no such file")
def quiet(arena):
    from evenburn.core.errors import UnreadableFile
    error = UnreadableFile("a", "b")
    error.args = ("",)
    raise error
def needed(arena):
    import os, shutil, tempfile, zoneinfo
    zoneinfo.ZoneInfo("Europe/London")
    open("/dev/urandom", "rb").close()
    Path("/proc/self/status").read_text()
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "a" / "b").mkdir(parents=True)
        (Path(folder) / "a" / "b" / "c.txt").write_text("c")
    import json.tool, sqlite3
    sqlite3.connect(":memory:").close()
    return (arena / "case" / "a.txt").read_text() + str(os.listdir(arena / "case"))
def out(arena): (arena / "out").mkdir(); (arena / "out" / "made.txt").write_text("x"); return "done"

for name, enter in list(globals().items()):
    if callable(enter): doors.DOORS[name] = doors.Door(enter=enter)
worker.main()
"""


@pytest.fixture(scope="module", name="fenced")
def _fenced(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Guard]:
    planted = tmp_path_factory.mktemp("planted") / "worker.py"
    planted.write_text(PLANTED.format(tests=str(Path(__file__).resolve().parents[1])), encoding="utf-8")
    with guard(slowest_s=1.0, most_grown_MiB=200, worker=planted) as made:
        yield made


@pytest.mark.parametrize(
    ("door", "fault"),
    [
        ("crash", "the program died: signal 11"),
        ("spin", "gave no answer"),
        ("trace", "traceback, IndexError"),
        ("connect", "tried socket."),
        ("beside", "read outside"),
        ("neighbour", "read outside"),
        ("listed", "read outside"),
        ("walked", "read outside: /home"),
        ("system", "read outside: /etc/passwd"),
        ("handle", "read outside: /etc/hostname"),
        ("keys", "/.ssh/id_ed25519"),
        ("environment", "/environ"),
        ("linked", "read outside: /etc/passwd"),
        ("climbed", "read outside: /etc/passwd"),
        ("looked_up", "wrote outside"),
        ("stray", "left case/new.txt behind"),
        ("outside", "wrote outside"),
        ("changed", "changed case/a.txt"),
        ("swell", "MiB"),
        ("shell", "tried subprocess.Popen"),
        ("quiet", "without a word"),
    ],
)
def test_a_planted_breach_is_caught(door: str, fault: str, fenced: Guard) -> None:
    assert fault in fenced.attempt(door, {"a.txt": b"a"}).fault


@pytest.mark.parametrize("door", ["refuse", "out", "needed"])
def test_what_is_allowed_is_let_be(door: str, fenced: Guard) -> None:
    assert fenced.attempt(door, {"a.txt": b"a"}).fault == ""
