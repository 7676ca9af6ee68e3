"""Many cases through one door: by number, so that they come again, or guided by the lines of ours that they reach.

`python tests/hostile/campaign.py DOOR[,DOOR…] SECONDS [SEED]` runs one by hand, and keeps what it finds in out/hostile.
"""

from __future__ import annotations

import hashlib
import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from hostile.guarded import Guard, Outcome, guard
from hostile.seeds import MAKERS, Files, case, spoilt_again

AGAIN = 0.6  # of guided cases are made from one that reached something new


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A case that brought about what none may."""

    name: str
    files: Files
    fault: str


@dataclass(slots=True, kw_only=True)
class Tally:
    """What a campaign came to."""

    door: str
    seconds: float = 0.0
    what: Counter[str] = field(default_factory=Counter)
    found: list[Found] = field(default_factory=list)
    reached: int = 0
    slowest_s: float = 0.0
    most_grown_MiB: int = 0

    def add(self, name: str, files: Files, outcome: Outcome) -> None:
        """Count one case; of faults alike in their first words one is kept."""
        self.what[outcome.what] += 1
        self.reached += outcome.fresh
        self.slowest_s = max(self.slowest_s, outcome.seconds)
        self.most_grown_MiB = max(self.most_grown_MiB, outcome.grown_MiB)
        if outcome.fault and all(f.fault[:60] != outcome.fault[:60] for f in self.found):
            self.found.append(Found(name=name, files=files, fault=outcome.fault))

    def line(self) -> str:
        """Return it in a line."""
        counts = ", ".join(f"{n} {what}" for what, n in self.what.most_common())
        return (
            f"{self.door}: {sum(self.what.values())} cases in {self.seconds:.0f} s ({counts}); slowest {self.slowest_s:.1f} s, "
            f"most {self.most_grown_MiB} MiB; {self.reached} lines reached; {len(self.found)} faults"
        )


def by_number(door: str, numbers: Iterator[int] | range, *, keeper: Guard) -> Tally:
    """Return what the cases of some numbers came to."""
    tally, start = Tally(door=door), time.monotonic()
    for number in numbers:
        files = case(door, number)
        tally.add(f"{door} {number}", files, keeper.attempt(door, files))
    tally.seconds = time.monotonic() - start
    return tally


def guided(door: str, *, seconds: float, seed: int) -> Tally:
    """Return what a time of guided search came to.

    Half of the time cases are followed line by line, and what reaches a line of ours for the first time is kept to be
    spoilt again; the other half they are only tried, which is ten times as quick.
    """
    tally, start = Tally(door=door), time.monotonic()
    rng = Random(f"{door} {seed}")  # noqa: S311  # not a secret
    pool: list[Files] = []
    number, followed_s, tried_s = 0, 0.0, 0.0
    with guard(guided=True) as follower, guard() as keeper:
        while time.monotonic() - start < seconds:
            number += 1
            again = bool(pool) and rng.random() < AGAIN
            files = spoilt_again(door, rng.choice(pool), rng) if again else case(door, seed * 1_000_000 + number)
            follow = followed_s <= tried_s
            begun = time.monotonic()
            outcome = (follower if follow else keeper).attempt(door, files)
            took_s = time.monotonic() - begun
            followed_s, tried_s = followed_s + took_s * follow, tried_s + took_s * (not follow)
            tally.add(f"{door} {seed}/{number}", files, outcome)
            if outcome.fresh and not outcome.fault:
                pool.append(files)
    tally.seconds = time.monotonic() - start
    return tally


def keep(found: Found, folder: Path) -> Path:
    """Write the files of a case below a folder, and return where."""
    mark = hashlib.sha256(found.fault[:60].encode()).hexdigest()[:8]
    place = folder / f"{found.name.split()[0]}-{mark}"
    for name, data in found.files.items():
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_bytes(data)
    (place / "fault.txt").write_text(f"{found.name}\n{found.fault}\n", encoding="utf-8")
    return place


def main(doors: str, seconds: str, seed: str = "1") -> None:
    """Search by hand."""
    for door in MAKERS if doors == "all" else doors.split(","):
        tally = guided(door, seconds=float(seconds), seed=int(seed))
        print(tally.line(), flush=True)  # noqa: T201  # that is what this is for
        for found in tally.found:
            print(f"  {keep(found, Path('out') / 'hostile')}: {found.fault[:300]}", flush=True)  # noqa: T201


if __name__ == "__main__":
    main(*sys.argv[1:])
