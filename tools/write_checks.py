"""Write docs/reference/checks.md: every outside check with its source, expected, got, tolerance and reason.

The rows come from the tests themselves: `tests/published` is run with recording on, and what its calls of `check` noted is
laid out by field. `make docs` runs this; `tests/house/test_checks_page.py` says when it has to be run.
"""

from __future__ import annotations

import json
import math
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "reference" / "checks.md"
LEAST_ROWS = 60
FINEST = 14  # digits after the point, of very small numbers; others are shown to no more than nine
MEMORY = "from memory"
BOUNDS = {"at most": "≤", "at least": "≥"}
Row = dict[str, Any]

HEAD = """# Checks against numbers from outside

Every number here was worked out by evenburn's own code in a test and held against one that did not come from it: printed
in a paper, a standard, a book or a maker's note, computed by somebody else's program, or told as practice of the trade. The page
is written by `tools/write_checks.py` from `tests/published`; a test fails where it is out of date.

*How far trusted* speaks of the number from outside: **seen**, read in the source named, or in a copy of it; **seen in part**, the
rest from memory; **from memory**, the citation is believed right, the number was not read again; **derived**, recomputed from
the source's formula, which shows that we compute what it says, not that it is true of the world. Keys lead to
[references](../references.md).

"""


def recorded() -> list[Row]:
    """Return the rows of a recording run.

    Raises
    ------
    SystemExit
        If a check fails: a page is only written of checks that hold.
    """
    with tempfile.TemporaryDirectory() as folder:
        to = Path(folder) / "checks.json"
        command = [sys.executable, "-m", "pytest", "tests/published", "-q", "-p", "no:cacheprovider", "-p", "no:xdist"]
        run = subprocess.run(  # noqa: S603  our own interpreter on our own tests
            command,
            cwd=ROOT,
            env={**os.environ, "EVENBURN_CHECKS": str(to), "PYTEST_ADDOPTS": ""},
            capture_output=True,
            text=True,
            check=False,
        )
        if run.returncode != 0 or not to.is_file():
            raise SystemExit(f"the checks do not hold, so there is no page to write:\n{run.stdout[-4000:]}{run.stderr}")
        rows: list[Row] = json.loads(to.read_text(encoding="utf-8"))
    return rows


def _decimals(row: Row) -> int:
    """Return to how many digits after the point ours is shown: a little finer than it is held, four digits of a bound."""
    if row["tolerance"] > 0.0:
        return min(FINEST, max(0, math.ceil(-math.log10(row["tolerance"] / 3.0))))
    if row["bound"]:
        return max(0, 3 - math.floor(math.log10(abs(row["got"]) or 1.0)))
    return len(f"{row['got']:.10g}".partition(".")[2])


def shown(value: float, *, decimals: int) -> str:
    """Return a number to so many digits after the point; small and large ones with a power of ten."""
    if abs(value) < 0.5 * 10.0**-decimals:
        return "0"
    if abs(value) < 1e-3 or abs(value) >= 1e6:
        exponent = math.floor(math.log10(abs(value)))
        mantissa = f"{value / 10.0**exponent:.{max(0, decimals + exponent)}f}"
        return f"{mantissa}·10^{exponent}".replace("-", "−")
    return f"{round(value, 12) + 0.0:.{min(decimals, 9)}f}".replace("-", "−")


def _power_of_ten(plain: str) -> str:
    mantissa, _, exponent = plain.partition("e")
    return (f"{mantissa}·10^{int(exponent)}" if exponent else mantissa).replace("-", "−")


def _expected(row: Row) -> str:
    """Return the number from outside with the digits it was given with; a bound with four."""
    return f"{BOUNDS.get(row['bound'], '')} ".lstrip() + _power_of_ten(
        f"{row['expected']:.{4 if row['bound'] else 12}g}"
    )


def _tolerance(row: Row) -> str:
    return _power_of_ten(f"{row['tolerance']:.2g}")


def _source(row: Row) -> str:
    return f"[{row['source']}]" if re.fullmatch(r"[a-z0-9-]+", row["source"]) else row["source"]


def _line(row: Row) -> str:
    decimals = _decimals(row)
    unit = f" {row['unit']}" if row["unit"] else ""
    trust = f"**{MEMORY}**" if row["trust"] == MEMORY else row["trust"]
    cells = [
        row["name"],
        f"{_expected(row)}{unit}",
        shown(row["got"], decimals=decimals),
        _tolerance(row),
        row["why"],
        _source(row),
        trust,
    ]
    return f"| {' | '.join(' '.join(str(cell).split()).replace('|', '/') for cell in cells)} |\n"


def page(rows: Sequence[Row]) -> str:
    """Return the page of some rows, by field in the order of their first appearance in the list of fields."""
    sys.path.insert(0, str(ROOT / "tests"))
    try:
        from outside import FIELDS
    finally:
        sys.path.pop(0)
    memory = sum(row["trust"] == MEMORY for row in rows)
    parts = [HEAD, f"{len(rows)} checks, {memory} of them against numbers from memory.\n"]
    for field in FIELDS:
        own = [row for row in rows if row["field"] == field]
        if not own:
            continue
        parts.append(f"\n## {field[0].upper()}{field[1:]}, {len(own)}\n\n")
        parts.append("| what | from outside | ours | apart by at most | why so much | source | how far trusted |\n")
        parts.append("| --- | --- | --- | --- | --- | --- | --- |\n")
        parts += [_line(row) for row in own]
    return "".join(parts)


def main() -> None:
    """Write the page if it has changed and say so."""
    text = page(recorded())
    if PAGE.is_file() and PAGE.read_text(encoding="utf-8") == text:
        print("docs/reference/checks.md is fresh")
        return
    PAGE.write_text(text, encoding="utf-8", newline="\n")
    print("wrote docs/reference/checks.md")


if __name__ == "__main__":
    main()
