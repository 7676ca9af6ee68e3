"""What is generated in docs/ is fresh: tables, schemas and figures; what its pages point to is there."""

from __future__ import annotations

import importlib.util
import re
from types import ModuleType

import pytest

from house.source import CORE, ROOT, python_files, text_of

REFERENCE = ROOT / "docs" / "reference"
HOW = ROOT / "docs" / "how-it-works"
PAGES = (
    "api",
    "batch",
    "beam",
    "card",
    "commands",
    "curve",
    "machine",
    "motion",
    "outcome",
    "output",
    "plan",
    "program",
    "reading",
    "wood",
)
SCHEMAS = ("batch", "beam", "card", "curve", "machine", "motion", "outcome", "plan", "reading", "wood")


@pytest.fixture(scope="module")
def tool() -> ModuleType:
    spec = importlib.util.spec_from_file_location("write_reference", ROOT / "tools" / "write_reference.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_reference_is_fresh(tool: ModuleType) -> None:
    made = tool.reference(REFERENCE)

    stale = [n for n, text in made.items() if not (REFERENCE / n).is_file() or text_of(REFERENCE / n) != text]

    assert stale == [], f"run `make docs`: {', '.join(stale)} in docs/reference/ would read differently"
    assert set(made) == {f"{n}.md" for n in PAGES} | {f"{n}.schema.json" for n in SCHEMAS}


def test_a_planted_stale_table_is_caught(tool: ModuleType) -> None:
    page = "before\n<!-- wood: begin -->\n\n| old |\n\n<!-- wood: end -->\nafter\n"

    filled = tool.filled(page, {"wood": "| new |\n"}, name="wood.md")

    assert filled == "before\n<!-- wood: begin -->\n\n| new |\n\n<!-- wood: end -->\nafter\n"


def test_a_marker_without_a_table_is_refused(tool: ModuleType) -> None:
    with pytest.raises(SystemExit, match="nothing is called iron"):
        tool.filled("<!-- iron: begin -->\n<!-- iron: end -->\n", {"wood": ""}, name="wood.md")


def test_every_key_has_a_meaning(tool: ModuleType) -> None:
    silent = [
        f"{name}: {line.split('|')[1].strip()}"
        for name, table in tool.tables().items()
        for line in table.splitlines()
        if line.startswith("| `") and not line.split("|")[-2].strip()
    ]
    assert silent == [], "these need a description in their model or a help text"


def test_every_key_with_a_unit_in_its_name_says_it_in_words(tool: ModuleType) -> None:
    words = {
        "_mm": "[mm]",
        "_W": "[W]",
        "_s": "[s]",
        "_ms": "[ms]",
        "_um": "[µm]",
        "_kPa": "[kPa]",
        "_deg": "[°]",
        "_mm_per_s": "[mm/s]",
        "_per_s2": "[mm/s²]",
        "_per_s3": "[mm/s³]",
        "_J_per_mm2": "[J/mm²]",
    }
    silent = []
    for name, table in tool.tables().items():
        for key, meaning in re.findall(r"^\| `(\w+)` .*\| ([^|]*) \|$", table, flags=re.MULTILINE):
            unit = next(
                (u for suffix, u in sorted(words.items(), key=lambda w: -len(w[0])) if key.endswith(suffix)), ""
            )
            if unit not in meaning:
                silent.append(f"{name}: {key} does not say {unit}")
    assert silent == []


def test_every_code_of_a_check_is_told() -> None:
    page = text_of(REFERENCE / "plan.md")
    source = "\n".join(text_of(path) for path in python_files(CORE / "planning"))

    codes = set(re.findall(r'code="([a-z-]+)"', source)) | set(re.findall(r'else "(warp-[a-z]+|does-not-fit)"', source))
    codes |= set(re.findall(r'code="([a-z-]+)" if', source))

    assert len(codes) > 15, "checks are written in another way now: mend this test"
    assert {c for c in codes if f"`{c}`" not in page} == set(), "docs/reference/plan.md, Codes, does not tell these"


def test_links_of_the_documentation_lead_somewhere() -> None:
    pages = sorted((ROOT / "docs").rglob("*.md"))
    lost = [
        f"{path.relative_to(ROOT)}: {link}"
        for path in pages
        for link in re.findall(r"\]\(([^)#]+)[^)]*\)", text_of(path))
        if "://" not in link and not (path.parent / link).exists()
    ]
    assert lost == []
    assert len(pages) > 20


# ---- how it works --------------------------------------------------------------------------------------------------

NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
ROUNDING_px = 0.15  # figures are written to a tenth of a pixel; another numpy may round the other way


def drawn_alike(old: str, new: str) -> bool:
    """Return whether two drawings are the same but for rounding."""
    if NUMBER.sub("#", old) != NUMBER.sub("#", new):
        return False
    pairs = zip(NUMBER.findall(old), NUMBER.findall(new), strict=True)
    return all(abs(float(a) - float(b)) <= ROUNDING_px for a, b in pairs)


def test_the_figures_are_what_the_model_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(ROOT / "tools"))
    figures = importlib.import_module("draw_figures").FIGURES

    stale = [name for name, draw in figures.items() if not drawn_alike(text_of(HOW / f"{name}.svg"), draw().svg())]

    assert stale == [], "run `.venv/bin/python tools/draw_figures.py` and look at these: they would look different"
    assert {p.stem for p in HOW.glob("*.svg")} == set(figures)


def test_a_planted_stale_figure_is_caught() -> None:
    assert drawn_alike('<path d="M10.0 20.1"/>', '<path d="M10.1 20.0"/>')
    assert not drawn_alike('<path d="M10.0 20.1"/>', '<path d="M10.0 21.1"/>')
    assert not drawn_alike('<use href="#s7"/>', '<use href="#s8"/>')
    assert not drawn_alike('<path d="M10.0 20.1"/>', '<path d="M10.0 20.1L30.0 20.1"/>')


def test_every_figure_is_shown_with_words_for_those_who_cannot_see_it() -> None:
    shown = {
        name: words for path in HOW.glob("*.md") for words, name in re.findall(r"!\[([^\]]*)\]\((\S+)\)", text_of(path))
    }
    assert set(shown) == {p.name for p in HOW.glob("*.svg")}
    assert all(len(words) > 30 for words in shown.values())


def test_how_it_works_names_code_and_tests_that_exist() -> None:
    lost: list[str] = []
    for path in sorted(HOW.glob("*.md")):
        for name in re.findall(r"`((?:[\w-]+/)*[\w-]+\.py)`", text_of(path)):
            homes = [*ROOT.glob(f"src/evenburn/**/{name}"), *ROOT.glob(f"tests/**/{name}"), *ROOT.glob(name)]
            lost += [] if homes else [f"{path.name}: {name}"]
    assert lost == []
