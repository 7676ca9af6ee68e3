"""docs/promises.md: every promise stands in the README in these words, and every test it names exists."""

from __future__ import annotations

import csv
import re

from evenburn.adapters.formats.wood_toml import shipped_ids, shipped_wood
from house.source import ROOT, text_of
from house.test_threat_model import NAMED, strays

PAGE = ROOT / "docs" / "promises.md"
README = ROOT / "README.md"
DEMO_TAKES = re.compile(r"On two cores the demo takes about (\d+) s \(\[runs\]\(bench/runs\)\)")
ABOUT = 1.1


def promises(page: str) -> list[str]:
    """Return the first cells of the table, its head left out."""
    rows = [line for line in page.splitlines() if line.startswith("| ") and not line.startswith(("| ---", "| promise"))]
    return [row.split("|")[1].strip() for row in rows]


def unsaid(page: str, readme: str) -> list[str]:
    """Return promises that the README does not make, however its lines are broken."""
    said = " ".join(re.sub(r"\[([^]]*)\]\([^)]*\)", r"\1", readme).split())
    return [promise for promise in promises(page) if promise not in said]


def test_every_promise_is_made_and_has_a_test_that_exists() -> None:
    page = text_of(PAGE).replace("| promise |", "| threat |")  # the head of the other table

    assert len(promises(text_of(PAGE))) > 18
    assert unsaid(text_of(PAGE), text_of(README)) == []
    assert strays(page) == []
    assert "(docs/promises.md)" in text_of(README)


def test_a_planted_promise_that_is_not_made_is_caught() -> None:
    page = "| promise | how | shown by |\n| --- | --- | --- |\n| it makes tea | a kettle | `tests/house/test_promises.py::test_tea` |\n"

    assert unsaid(page, "it makes\nsoup") == ["it makes tea"]
    assert unsaid(page, "it [makes\ntea](docs/tea.md)") == []
    assert NAMED.search(page)


def test_ten_woods_ship_and_all_are_starting_values() -> None:
    kinds = {wood_id: shipped_wood(wood_id).curve.provenance.kind for wood_id in shipped_ids()}

    assert len(kinds) == 10
    assert set(kinds.values()) == {"starting value"}


def test_the_readme_is_no_quicker_than_its_run() -> None:
    claimed = DEMO_TAKES.search(" ".join(text_of(README).split()))
    assert claimed, "the README's figure has no run beside it"
    last = max(path for path in (ROOT / "bench" / "runs").iterdir() if path.is_dir())
    with (last / "results.csv").open(encoding="utf-8", newline="") as file:
        took_s = {row["job"]: float(row["wall_s"]) for row in csv.DictReader(file)}["the whole demo"]

    assert took_s <= ABOUT * float(claimed[1])
