"""docs/threat-model.md promises nothing that no test shows: every test it names exists, every threat names one."""

from __future__ import annotations

import ast
import re

from house.source import ROOT, text_of

PAGE = ROOT / "docs" / "threat-model.md"
NAMED = re.compile(r"`(tests/[\w/]+\.py)::(test_\w+)`")
LONGEST_LINES = 90  # one page, with its table


def rows(page: str) -> list[str]:
    """Return the rows of the table, its head left out."""
    return [line for line in page.splitlines() if line.startswith("| ") and not line.startswith(("| ---", "| threat"))]


def strays(page: str) -> list[str]:
    """Return rows that name no test, and tests that are not there."""
    unshown = [f"{row.split('|')[1].strip()}: names no test" for row in rows(page) if not NAMED.search(row)]
    missing = []
    for path, name in NAMED.findall(page):
        file = ROOT / path
        if not file.is_file():
            missing.append(f"{path} is not there")
            continue
        defined = {
            node.name
            for node in ast.walk(ast.parse(text_of(file)))
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        }
        if name not in defined:
            missing.append(f"{path} has no {name}")
    return unshown + missing


def test_every_line_of_the_threat_model_has_a_test_that_exists() -> None:
    page = text_of(PAGE)

    assert strays(page) == []
    assert len(rows(page)) > 20
    assert len(page.splitlines()) < LONGEST_LINES


def test_a_planted_promise_without_a_test_is_caught() -> None:
    page = "| threat | what | shown by |\n| --- | --- | --- |\n| fire | hope | nothing |\n| flood | a wall | `tests/house/test_threat_model.py::test_nowhere` |\n"

    assert strays(page) == ["fire: names no test", "tests/house/test_threat_model.py has no test_nowhere"]
