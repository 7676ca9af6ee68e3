"""docs/safety.md says what evenburn says, and every decision has its cautions."""

from __future__ import annotations

import importlib.util
from types import ModuleType

import pytest

from evenburn.core.nouns.cautions import CAUTIONS, DECISIONS, PROGRAM_WORDS, TOPICS, Decision, cautions_for
from house.source import ROOT, text_of


@pytest.fixture(scope="module", name="tool")
def _tool() -> ModuleType:
    spec = importlib.util.spec_from_file_location("write_safety", ROOT / "tools" / "write_safety.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_page_is_fresh(tool: ModuleType) -> None:
    assert text_of(ROOT / "docs" / "safety.md") == tool.page(), "run `python tools/write_safety.py`"


@pytest.mark.parametrize("decision", list(DECISIONS))
def test_every_decision_has_a_caution(decision: Decision) -> None:
    found = cautions_for(decision=decision)

    assert found
    assert all("{" not in one.text + one.tick for one in found)


def test_every_topic_is_spoken_of_and_every_caution_told_once() -> None:
    assert {one.topic for one in CAUTIONS} == set(TOPICS)
    assert len({one.key for one in CAUTIONS}) == len(CAUTIONS)
    assert all(one.at for one in CAUTIONS)
    assert all(one.source for one in CAUTIONS)


def test_before_the_first_spark_all_that_matters_is_to_be_ticked() -> None:
    """The seven of issue 2: unattended, extinguisher, extraction, eyes, materials, and who has the last word; food apart."""
    ticks = " ".join(one.tick for one in cautions_for(decision="burn", wavelength_um=10.6, lens="2 inch"))

    for word in ("alone", "Extinguisher", "Extraction", "10.6\u00a0µm", "2 inch", "PVC", "maker"):
        assert word in ticks, word
    assert any(one.topic == "food" and one.tick for one in cautions_for(decision="finish"))


def test_the_head_of_a_program_can_say_it() -> None:
    """A comment of RS-274/NGC is ASCII without brackets, on a line under 80 characters."""
    assert PROGRAM_WORDS.isascii()
    assert len(PROGRAM_WORDS) < 76
    assert not set("()") & set(PROGRAM_WORDS)
