"""docs/safety.md says what evenburn says, every decision has its cautions and shows them, and none is worded elsewhere."""

from __future__ import annotations

import ast
import importlib.util
import re
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from evenburn.core.nouns.cautions import CAUTIONS, DECISIONS, PROGRAM_WORDS, TOPICS, Decision, cautions_for
from house.source import PACKAGE, ROOT, DocumentedNode, python_files, text_of

CAUTIONS_FILE = PACKAGE / "core" / "nouns" / "cautions.py"
TELL_TALES = re.compile(
    r"extinguisher|goggles|eye protection|respirator|hydrogen chloride|silica|lid (is )?shut|never leave|"
    r"extraction (on|runs?|running|at)\b|\bfumes\b|stay (with|beside)|half an hour after|harms? (the )?lungs",
    re.IGNORECASE,
)
# where a tell-tale word may stand outside, how often, and why
ELSEWHERE = {
    "assets/materials.toml": (3, "why each material is refused or doubted: docs/safety.md is made from it too"),
    "assets/woods.toml": (2, "what one wood of the shelf throws or gives off; it goes wherever that wood goes"),
    "core/planning/checks.py": (1, "said of a wood that somebody answers for"),
    "core/planning/rescue/sanding.py": (2, "sanding is no burn: what its dust does, with the mask against it"),
    "services/book/programs_of.py": (1, "the line of a step that is ticked"),
}


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


# ---- shown, and worded once --------------------------------------------------------------------------------------


def asked_in(tree: ast.AST) -> set[str]:
    """Return the decisions whose cautions a module asks for by name."""
    return {
        word.value.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "cautions_for"
        for word in node.keywords
        if word.arg == "decision" and isinstance(word.value, ast.Constant) and isinstance(word.value.value, str)
    }


def test_the_cautions_of_every_decision_are_shown_somewhere() -> None:
    asked = {one for path in python_files(PACKAGE) for one in asked_in(ast.parse(text_of(path)))}

    assert asked == set(DECISIONS)


def test_a_decision_that_is_only_spoken_of_is_not_taken_for_shown() -> None:
    told = 'cautions_for(decision="burn")\nsay(decision="rescue")\n"cautions_for(decision=\'cut\')"\ncautions_for(decision=one)\n'

    assert asked_in(ast.parse(told)) == {"burn"}


def texts_in(path: Path) -> Iterator[str]:
    """Yield what a file may show: string literals of a module, but for docstrings; any other file line by line."""
    if path.suffix != ".py":
        yield from text_of(path).splitlines()
        return
    tree = ast.parse(text_of(path))
    said = {id(node.body[0].value) for node in ast.walk(tree) if isinstance(node, DocumentedNode) and node.body and isinstance(node.body[0], ast.Expr)}  # fmt: skip
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in said:
            yield node.value


def test_no_caution_is_worded_anywhere_else() -> None:
    shown = [
        p for p in sorted(PACKAGE.rglob("*")) if p.suffix in {".py", ".html", ".toml", ".js"} and p != CAUTIONS_FILE
    ]
    found: dict[str, list[str]] = {}
    for path in shown:
        words = [text for text in texts_in(path) if TELL_TALES.search(text)]
        if words:
            found[str(path.relative_to(PACKAGE))] = words

    stray = {name: words for name, words in found.items() if len(words) > ELSEWHERE.get(name, (0, ""))[0]}
    assert stray == {}, "word it in core/nouns/cautions.py and ask for it there"
    assert set(ELSEWHERE) <= set(found), "an exception that is needed no more"


def test_a_caution_worded_elsewhere_is_found(tmp_path: Path) -> None:
    module = tmp_path / "says.py"
    module.write_text(
        '"""Extinguisher, in a docstring."""\nWORDS = f"Stay with it, {1} extinguisher in reach"\n', encoding="utf-8"
    )

    assert len([text for text in texts_in(module) if TELL_TALES.search(text)]) == 2
    assert TELL_TALES.search(text_of(CAUTIONS_FILE))
