"""docs/reference/checks.md is what the tests of tests/published say today, every row with its source and its reasons."""

from __future__ import annotations

import importlib.util
import re
from collections import Counter
from types import ModuleType

import pytest

from house.source import ROOT, text_of

PAGE = ROOT / "docs" / "reference" / "checks.md"
KEYS = re.compile(r"^- \*\*\[([a-z0-9-]+)\]\*\*", re.MULTILINE)
NO_KEY = {"common practice, no source"}
TRUST = {"seen", "seen in part", "**from memory**", "derived"}
FIELDS = ("Optics", "Motion", "Tone, colour", "Halftoning", "Fitting", "Wood", "Order of paths", "Programs")
CELLS = 7


@pytest.fixture(scope="module", name="tool")
def _tool() -> ModuleType:
    spec = importlib.util.spec_from_file_location("write_checks", ROOT / "tools" / "write_checks.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def rows_of(page: str) -> list[list[str]]:
    """Return the cells of every row of the page's tables."""
    lines = [line for line in page.splitlines() if line.startswith("| ")]
    return [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in lines
        if not line.startswith(("| --- |", "| what |"))
    ]


def faults_of(page: str, *, least: int, keys: set[str]) -> list[str]:
    """Return what is wrong with a page, however fresh."""
    rows = rows_of(page)
    faults = [] if len(rows) >= least else [f"{len(rows)} rows; at least {least} are promised"]
    faults += [f"no section on {field}" for field in FIELDS if not re.search(rf"^## {field}", page, re.MULTILINE)]
    faults += [f"twice: {name}" for name, times in Counter(row[0] for row in rows).items() if times > 1]
    for row in rows:
        if len(row) != CELLS or not all(row):
            faults.append(f"a cell is missing: {row}")
            continue
        source = row[5]
        if source not in NO_KEY and source.strip("[]") not in keys:
            faults.append(f"{row[0]}: {source} is no key of docs/references.md")
        if row[6] not in TRUST:
            faults.append(f"{row[0]}: trusted “{row[6]}”")
    return faults


def test_the_page_is_fresh(tool: ModuleType) -> None:
    made = tool.page(tool.recorded())
    assert PAGE.is_file() and text_of(PAGE) == made, "docs/reference/checks.md would read differently: run `make docs`"  # noqa: PT018


def test_the_page_has_its_rows_each_with_source_and_reason(tool: ModuleType) -> None:
    keys = set(KEYS.findall(text_of(ROOT / "docs" / "references.md")))
    assert faults_of(text_of(PAGE), least=tool.LEAST_ROWS, keys=keys) == []


def row(**changes: object) -> dict[str, object]:
    plain: dict[str, object] = {
        "name": "spot",
        "field": "optics",
        "got": 1.23456,
        "expected": 1.235,
        "tolerance": 0.0005,
        "unit": "mm",
        "source": "siegman1986",
        "trust": "derived",
        "why": "half of the last digit printed",
        "bound": None,
    }
    return plain | changes


@pytest.mark.parametrize("change", [{"why": ""}, {"source": "nobody1999"}, {"source": ""}, {"trust": "hearsay"}])
def test_a_planted_row_without_source_or_reason_is_caught(tool: ModuleType, change: dict[str, object]) -> None:
    keys = {"siegman1986"}
    sound = faults_of(tool.page([row()]), least=1, keys=keys)
    assert len(faults_of(tool.page([row(**change)]), least=1, keys=keys)) == len(sound) + 1
    assert len(faults_of(tool.page([row(), row()]), least=3, keys=keys)) == len(sound) + 2


def test_numbers_are_shown_as_finely_as_they_are_held_and_no_finer(tool: ModuleType) -> None:
    (cells,) = rows_of(tool.page([row()]))
    assert cells[1:4] == ["1.235 mm", "1.2346", "0.0005"]
    noisy = tool.page([row(got=1.23456 + 1e-9)])
    assert noisy == tool.page([row()])
    (cells,) = rows_of(tool.page([row(got=5.350612e-9, expected=5.3506e-9, tolerance=5e-14, unit="")]))
    assert cells[1:4] == ["5.3506·10^−9", "5.35061·10^−9", "5·10^−14"]
    (cells,) = rows_of(tool.page([row(got=8.14034394, expected=5.0, tolerance=0.0, bound="at least")]))
    assert cells[1:4] == ["≥ 5 mm", "8.140", "0"]
