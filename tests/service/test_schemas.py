"""The published JSON Schemas agree with the files people write and with the examples of the reference."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from evenburn.adapters.formats.batch_toml import read_batch
from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.wood_toml import read_curve, read_wood
from evenburn.services.load_batch import load_batch
from evenburn.services.plan_batch import Planned, plan_batch
from service.conftest import DATE

REFERENCE = Path(__file__).resolve().parents[2] / "docs" / "reference"
SWAN = '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm" viewBox="0 0 9 9"><circle cx="4" cy="4" r="3"/></svg>'


def schema(name: str) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads((REFERENCE / f"{name}.schema.json").read_text(encoding="utf-8"))
    return loaded


def faults(name: str, data: dict[str, Any]) -> list[str]:
    """Return what a published schema has against a document."""
    return [e.json_path for e in jsonschema.Draft202012Validator(schema(name)).iter_errors(data)]


def example(name: str, language: str) -> str:
    """Return the one example of a page of the reference."""
    found = re.findall(
        rf"^```{language}\n(.*?)^```", (REFERENCE / f"{name}.md").read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL
    )
    assert len(found) == 1, f"docs/reference/{name}.md is to have one example in {language}; it has {len(found)}"
    text: str = found[0]
    return text


@pytest.fixture
def documented(tmp_path: Path) -> Path:
    """Return a batch folder made of nothing but the reference's examples and a drawing."""
    (tmp_path / "woods").mkdir()
    (tmp_path / "art").mkdir()
    (tmp_path / "art" / "swan.svg").write_text(SWAN)
    (tmp_path / "machine.toml").write_text(example("machine", "toml"), encoding="utf-8")
    (tmp_path / "batch.toml").write_text(example("batch", "toml"), encoding="utf-8")
    (tmp_path / "woods" / "our-maple.toml").write_text(example("wood", "toml"), encoding="utf-8")
    (tmp_path / "woods" / "our-maple.curve.json").write_text(example("curve", "json"), encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize("name", ["machine", "batch", "wood", "curve", "plan"])
def test_a_published_schema_is_one(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(schema(name))


def test_the_demo_agrees_with_the_published_schemas(demo: Planned) -> None:
    batch = demo.folder / "batch"
    woods = sorted((batch / "woods").glob("*.toml"))
    assert len(woods) >= 7

    for name, path in [
        ("machine", batch / "machine.toml"),
        ("batch", batch / "batch.toml"),
        *[("wood", w) for w in woods],
    ]:
        assert faults(name, tomllib.loads(path.read_text(encoding="utf-8"))) == [], path.name
    assert faults("plan", json.loads((demo.folder / "plan.json").read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize("name", ["machine", "batch", "wood"])
def test_the_examples_in_toml_agree_with_the_published_schemas(name: str) -> None:
    assert faults(name, tomllib.loads(example(name, "toml"))) == []


def test_the_example_of_a_curve_agrees_with_its_schema() -> None:
    assert faults("curve", json.loads(example("curve", "json"))) == []


@pytest.mark.parametrize(
    ("name", "data", "where"),
    [
        ("wood", {"name": "oak", "surfase": "bare"}, "$"),
        ("wood", {"name": "oak", "surface": "wet"}, "$.surface"),
        ("machine", tomllib.loads(example("machine", "toml")) | {"bed_x_mm": -1.0}, "$.bed_x_mm"),
        ("batch", tomllib.loads(example("batch", "toml")) | {"piece": []}, "$.piece"),
        ("curve", json.loads(example("curve", "json")) | {"schema_version": 2}, "$.schema_version"),
    ],
)
def test_a_planted_fault_is_caught(name: str, data: dict[str, Any], where: str) -> None:
    assert faults(name, data) == [where]


def test_the_examples_are_read_by_the_real_readers(documented: Path) -> None:
    machine = read_machine(documented / "machine.toml", name="machine.toml")
    batch = read_batch(documented / "batch.toml")
    curve = read_curve(documented / "woods" / "our-maple.curve.json", name="our-maple.curve.json")
    wood, own = read_wood(documented, "our-maple")

    assert machine.lenses[0].name == batch.lens == "2 inch"
    assert [p.id for p in batch.piece] == ["oar", "coaster"]
    assert wood.curve.provenance == curve.provenance
    assert curve.provenance.kind == "measured"
    assert own is not None
    assert own.surface == wood.surface == "sanded"


def test_the_examples_make_a_batch_that_can_be_planned(documented: Path, tmp_path: Path) -> None:
    assert set(load_batch(documented).woods) == {"our-maple", "slate"}

    planned = plan_batch(documented, to=tmp_path / "out", date=DATE)

    assert [(c.code, c.text) for p in planned.plan.pieces for c in p.checks if c.level == "stop"] == []
    assert faults("plan", json.loads((tmp_path / "out" / "plan.json").read_text(encoding="utf-8"))) == []
