"""Cases tried in a process of their own: what it answers, how long it takes, whether it lives, what it leaves behind."""

from __future__ import annotations

import json
import os
import select
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

SLOWEST_s = 10.0  # of the computer's own work
PATIENCE = 8.0  # by so much longer may a busy computer take before a case counts as hung
MOST_GROWN_MiB = 1536  # by one case; the drawing engine alone may take 768, and what it draws comes on top
SLOWER_FOLLOWED = 6.0  # a case that is followed line by line takes longer
START_s = 120.0  # to start, import and compile; no case is under way
WORKER = Path(__file__).with_name("worker.py")
Files = Mapping[str, bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of a case; `fault` says in words what no hostile file may bring about, and is empty where none did."""

    what: str
    text: str
    fault: str
    seconds: float
    grown_MiB: int
    fresh: int


class Guard:
    """A worker that is started anew when a case kills it or has to be stopped."""

    def __init__(
        self,
        room: Path,
        *,
        guided: bool = False,
        slowest_s: float = SLOWEST_s,
        most_grown_MiB: int = MOST_GROWN_MiB,
        worker: Path = WORKER,
    ) -> None:
        self._most_grown_MiB = most_grown_MiB
        self._file = worker
        self._room = room
        self._guided = guided
        self._slowest_s = slowest_s * (SLOWER_FOLLOWED if guided else 1.0)
        self._process: subprocess.Popen[bytes] | None = None

    def _worker(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._process.poll() is not None:
            words = [sys.executable, str(self._file), *(["--guided"] if self._guided else [])]
            scratch = self._room / "scratch"
            scratch.mkdir(exist_ok=True)
            self._process = subprocess.Popen(
                words,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                bufsize=0,  # what lies in a buffer of ours, `select` does not see
                env={**os.environ, "TMPDIR": str(scratch), "EVENBURN_BOOK": str(self._room / "nobook")},
            )
        return self._process

    def close(self) -> None:
        """Let the worker go."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            for stream in (self._process.stdin, self._process.stdout):
                if stream is not None:
                    stream.close()
            self._process = None

    def attempt(self, door: str, files: Files) -> Outcome:
        """Return what came of opening files through a door."""
        arena = self._room / "arena"
        shutil.rmtree(arena, ignore_errors=True)
        case = arena / "case"
        case.mkdir(parents=True)
        (arena / "secret.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm"/>')
        (arena / "secret.toml").write_text('name = "secret"\n')
        for name, data in files.items():
            place = case / name
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(data)
        before = tree(arena)
        worker = self._worker()
        assert worker.stdin is not None
        assert worker.stdout is not None
        worker.stdin.write(json.dumps({"door": door, "arena": str(arena)}).encode() + b"\n")
        worker.stdin.flush()
        answer = b""
        for patience_s in (START_s, PATIENCE * self._slowest_s):  # until it is ready, then for the case itself
            ready, _, _ = select.select([worker.stdout], [], [], patience_s)
            answer = worker.stdout.readline() if ready else b""
            if not answer:
                fault = (
                    f"gave no answer within {patience_s:g} s" if not ready else f"the program died: {_death(worker)}"
                )
                self.close()
                return Outcome(what="lost", text="", fault=fault, seconds=patience_s, grown_MiB=0, fresh=0)
        return _judged(
            json.loads(answer),
            left=_strays(before, arena),
            slowest_s=self._slowest_s,
            most_grown_MiB=self._most_grown_MiB,
        )


def _death(worker: subprocess.Popen[bytes]) -> str:
    code = worker.wait(timeout=10)
    return f"signal {-code}" if code < 0 else f"exit code {code}"


def _judged(answer: dict[str, Any], *, left: list[str], slowest_s: float, most_grown_MiB: int) -> Outcome:
    faults = [f"{answer['what']}, {answer.get('kind', '')}: {answer['text']} [{answer.get('where', '')}]"] * (
        answer["what"] not in ("done", "refused")
    )
    faults += answer["breaches"]
    faults += left
    if answer["seconds"] > slowest_s:
        faults.append(f"took {answer['seconds']:.1f} s")
    if answer["grown_MiB"] > most_grown_MiB:
        faults.append(f"took {answer['grown_MiB']} MiB")
    if answer["what"] == "refused" and not answer["text"].strip():
        faults.append("refused without a word")
    return Outcome(
        what=answer["what"],
        text=answer["text"],
        fault="; ".join(faults),
        seconds=answer["seconds"],
        grown_MiB=answer["grown_MiB"],
        fresh=answer["fresh"],
    )


def tree(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder and what it holds."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file() and not p.is_symlink()}


def _strays(before: dict[str, bytes], arena: Path) -> list[str]:
    """Return files that were changed, lost, or put where nothing may be put: anywhere but in `out`."""
    after = tree(arena)
    changed = [f"changed {name}" for name, data in before.items() if after.get(name) != data]
    return changed + [f"left {n} behind" for n in after if n not in before and not n.startswith("out")]


@contextmanager
def guard(
    *, guided: bool = False, slowest_s: float = SLOWEST_s, most_grown_MiB: int = MOST_GROWN_MiB, worker: Path = WORKER
) -> Iterator[Guard]:
    """Give a guard with a room of its own."""
    with tempfile.TemporaryDirectory(prefix="hostile-") as room:
        made = Guard(Path(room), guided=guided, slowest_s=slowest_s, most_grown_MiB=most_grown_MiB, worker=worker)
        try:
            yield made
        finally:
            made.close()
