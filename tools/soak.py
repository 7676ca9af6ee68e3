"""Search for faults at random until the time is over: `make soak`, twenty minutes, or `make soak MINUTES=600`.

Goes round the parts below, as many at once as there are cores, each lap in a process and with a seed of its own, and tells at
the end how many cases each part tried and what broke. What broke is kept in out/soak, with the command that repeats it.
"""

from __future__ import annotations

import argparse
import os
import re
import secrets
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from itertools import cycle
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
KEPT = ROOT / "out" / "soak"
PARTS = {
    "programs, read twice": "tests/property/test_programs.py",
    "kills": "tests/faults/test_kills.py",
    "programs, a second interpreter": "tests/property/test_programs_proven.py",
    "files through every door": "tests/hostile/test_doors.py",
    "paths": "tests/property/test_paths.py",
    "a full disk": "tests/faults/test_full_disk.py",
    "laws": "tests/property/test_laws.py",
    "requests": "tests/hostile/test_api.py",
    "dry traces": "tests/property/test_dry_trace.py",
}
CASES = re.compile(r"(\d+) (?:cases|passing)")
LONGEST_s = 1800  # a lap that takes longer hangs


@dataclass(slots=True, kw_only=True)
class Tally:
    """What came of all laps so far; several threads write into it, under its lock."""

    laps: Counter[str] = field(default_factory=Counter)
    cases: Counter[str] = field(default_factory=Counter)
    seconds: Counter[str] = field(default_factory=Counter)
    broke: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)


def command_of(path: str, seed: int) -> tuple[str, ...]:
    """Return what runs a lap. Definition."""
    pytest = (sys.executable, "-m", "pytest", path, "-q", "-rP", "-p", "no:cacheprovider")
    return (*pytest, "--hypothesis-profile=lap", f"--hypothesis-seed={seed}", "--hypothesis-show-statistics")


def ran(command: tuple[str, ...], *, seed: int) -> tuple[int, str]:
    """Return how a lap ended and what it said; one that hangs is ended with all that it began."""
    process = subprocess.Popen(  # noqa: S603  # our own tests
        command,
        cwd=ROOT,
        env={**os.environ, "EVENBURN_LAP_SEED": str(seed), "OPENBLAS_NUM_THREADS": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
    )
    try:
        output, _ = process.communicate(timeout=LONGEST_s)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        output, _ = process.communicate()
        return -1, f"no end after {LONGEST_s} s\n{output}"
    return process.returncode, output


def lap(part: str, tally: Tally) -> None:
    """Run one lap of a part with a new seed, and write down what came of it."""
    seed, path, start_s = secrets.randbelow(10**8), PARTS[part], time.monotonic()
    ended, output = ran(command_of(path, seed), seed=seed)
    took_s = time.monotonic() - start_s
    cases = sum(int(n) for n in CASES.findall(output))
    if ended == 0 and cases == 0:
        ended, output = -1, f"a lap without a case shows nothing\n{output}"
    with tally.lock:
        tally.laps[part] += 1
        tally.cases[part] += cases
        tally.seconds[part] += round(took_s)
        if ended:
            KEPT.mkdir(parents=True, exist_ok=True)
            file = KEPT / f"{path.rsplit('/', 1)[-1].removesuffix('.py')}-{seed}.txt"
            again = f"EVENBURN_LAP_SEED={seed} .venv/bin/python {' '.join(command_of(path, seed)[1:])}"
            file.write_text(f"{again}\n\n{output}", encoding="utf-8")
            tally.broke.append(f"{part}: {file.relative_to(ROOT)}\n    again: {again}")
        print(f"  {part}: {cases} cases in {took_s:.0f} s, {'BROKE' if ended else 'clean'}", flush=True)


def report(tally: Tally) -> str:
    """Return the table of what was tried."""
    rows = [f"{'part':32}{'laps':>6}{'cases':>9}{'minutes':>9}"]
    rows += [f"{p:32}{tally.laps[p]:>6}{tally.cases[p]:>9}{tally.seconds[p] / 60:>9.1f}" for p in PARTS]
    total = f"{'all':32}{tally.laps.total():>6}{tally.cases.total():>9}{tally.seconds.total() / 60:>9.1f}"
    return "\n".join([*rows, total])


def main() -> int:
    """Go round until the time is over."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--minutes", type=float, default=20.0, help="no lap begins after so long")
    arguments.add_argument("--at-once", type=int, default=os.cpu_count() or 1, help="laps at a time")
    chosen = arguments.parse_args()
    start_s, tally, parts, turn = time.monotonic(), Tally(), cycle(PARTS), threading.Lock()

    def work() -> None:
        while time.monotonic() - start_s < 60.0 * chosen.minutes:
            with turn:
                part = next(parts)
            try:
                lap(part, tally)
            except Exception as fault:  # noqa: BLE001  # a soak that cannot go on is not clean
                with tally.lock:
                    tally.broke.append(f"{part}: {fault!r}")
                return

    workers = [threading.Thread(target=work) for _ in range(chosen.at_once)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    missed = [part for part in PARTS if tally.laps[part] == 0]
    print(f"\n{report(tally)}\n\n{(time.monotonic() - start_s) / 60:.1f} minutes, {len(tally.broke)} laps broke")
    for one in tally.broke:
        print(f"  {one}")
    if missed:
        print(f"  not reached, give it more minutes: {', '.join(missed)}")
    return 1 if tally.broke or missed else 0


if __name__ == "__main__":
    sys.exit(main())
