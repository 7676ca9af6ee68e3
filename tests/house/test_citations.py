"""A formula names its source, and every `[key]` that is cited stands in docs/references.md."""

from __future__ import annotations

import ast
import io
import re
import tokenize
from functools import cache
from pathlib import Path

import pytest

from house.glossary import house_glossary
from house.source import CORE, PACKAGE, ROOT, Finding, docstrings, python_files, report, text_of

TRUST = re.compile(r"\*\([^)]*\b(SEEN|MEM|DERIVED)\b.*\)\*$")
CITED = re.compile(r"(?<![\w\])}`])\[([a-z][a-z0-9-]{2,})\](?![\w(\[:])")
SECTION = re.compile(r"^ *Source *\n *-{3,} *\n(.*?)(?=^ *\w[\w ]*\n *-{3,} *$|\Z)", re.MULTILINE | re.DOTALL)
INLINE = re.compile(r"\bSource: *(.+?)(?=\n\s*\n|\Z)", re.DOTALL)
NO_KEY_NEEDED = re.compile(r"\bDefinition\b|\b[Oo]wn (derivation|choice)\b|`[a-zA-Z_.]+`")
UNKNOWN = "Cited keys must stand in docs/references.md as `**[key]**`; add the entry with its trust, or mend the key."
NAKED = (
    "A Source section names a key of docs/references.md ([author1999]), or says “Definition”, “Own choice” where "
    "there is no formula, or “Own derivation” and how or where; “as `other_function`” sends the reader on."
)


def keys_of(text: str) -> dict[str, str]:
    """Return the entries of docs/references.md: key to the rest of its line."""
    return dict(re.findall(r"^\s*[-*] \*\*\[([a-z0-9-]+)\]\*\*(.*)$", text, flags=re.MULTILINE))


def says_trust(rest: str) -> bool:
    """Return whether an entry ends with how far it is trusted."""
    return TRUST.search(rest.rstrip()) is not None


@cache
def known_keys() -> frozenset[str]:
    keys = keys_of((ROOT / "docs" / "references.md").read_text(encoding="utf-8"))
    assert keys, "docs/references.md has no entry of the form `- **[key]** …`"
    return frozenset(keys)


def cited(prose: str, *, units: frozenset[str]) -> list[tuple[int, str]]:
    """Return line (from 0) and key of every citation in prose; code spans, links and units such as [mm] are none."""
    blank = re.sub(r"``.*?``|`[^`\n]*`", lambda m: " " * len(m.group()), prose)
    hits = ((blank.count("\n", 0, m.start()), m.group(1)) for m in CITED.finditer(blank))
    return [(line, key) for line, key in hits if key not in units]


def comments(source: str) -> list[tuple[int, str]]:
    tokens = tokenize.generate_tokens(io.StringIO(source).readline)
    return [(t.start[0], t.string) for t in tokens if t.type == tokenize.COMMENT]


def unknown_in_python(source: str, *, keys: frozenset[str], units: frozenset[str]) -> list[Finding]:
    """Return citations in docstrings and comments that no bibliography entry answers."""
    prose = [*docstrings(ast.parse(source)), *comments(source)]
    hits = ((start + line, key) for start, text in prose for line, key in cited(text, units=units))
    return [Finding(line=line, text=f"[{key}] is not in docs/references.md") for line, key in hits if key not in keys]


def unknown_in_markdown(text: str, *, keys: frozenset[str], units: frozenset[str]) -> list[Finding]:
    """Return citations in a page of the documentation that no bibliography entry answers."""
    prose = re.sub(r"^(```|~~~).*?^\1", lambda m: "\n" * m.group().count("\n"), text, flags=re.MULTILINE | re.DOTALL)
    return [
        Finding(line=line + 1, text=f"[{key}] is not in docs/references.md")
        for line, key in cited(prose, units=units)
        if key not in keys
    ]


def sourceless(source: str, *, keys: frozenset[str]) -> list[Finding]:
    """Return docstrings whose Source names nothing that can be looked up."""
    found: list[Finding] = []
    for line, text in docstrings(ast.parse(source)):
        for said in [*SECTION.findall(text), *INLINE.findall(text)]:
            if not NO_KEY_NEEDED.search(said) and not keys & set(re.findall(r"\[([a-z0-9-]+)\]", said)):
                found += [Finding(line=line, text=f"Source says only “{' '.join(said.split())[:80]}”")]
    return found


def lost_pages(source: str, *, root: Path) -> list[Finding]:
    """Return pages of docs/ that a docstring sends the reader to and that do not exist."""
    return [
        Finding(line=line, text=f"{page} does not exist")
        for line, text in docstrings(ast.parse(source))
        for page in re.findall(r"\bdocs/[\w./-]+\.\w+", text)
        if not (root / page).is_file()
    ]


def test_every_cited_key_is_in_the_bibliography() -> None:
    keys, units = known_keys(), house_glossary().units
    python = [*python_files(PACKAGE), *python_files(ROOT / "tests")]
    found = {p: f for p in python if (f := unknown_in_python(text_of(p), keys=keys, units=units))}
    for page in sorted((ROOT / "docs").rglob("*.md")):
        if faults := unknown_in_markdown(text_of(page), keys=keys, units=units):
            found[page] = faults
    assert not found, report(found, UNKNOWN)


def test_every_source_section_names_a_source() -> None:
    keys = known_keys()
    found = {path: faults for path in python_files(CORE) if (faults := sourceless(text_of(path), keys=keys))}
    assert not found, report(found, NAKED)


def test_every_page_pointed_to_exists() -> None:
    found = {p: faults for p in python_files(PACKAGE) if (faults := lost_pages(text_of(p), root=ROOT))}
    assert not found, report(found, "A docstring sends the reader to a page that is not there; write it.")


def test_every_reference_says_how_far_it_is_trusted() -> None:
    entries = keys_of((ROOT / "docs" / "references.md").read_text(encoding="utf-8"))
    silent = [key for key, rest in entries.items() if not says_trust(rest)]
    assert silent == [], f"docs/references.md: end each entry with *(…)* that says SEEN, MEM or DERIVED: {silent}"


def test_a_planted_entry_without_trust_is_caught() -> None:
    entries = keys_of("- **[one1999]** SEEN nowhere.\n- **[two1999]** A. Two, *Book*. *(formula MEM +CHK)*\n")
    assert {key: says_trust(rest) for key, rest in entries.items()} == {"one1999": False, "two1999": True}


KEYS, UNITS = frozenset({"siegman1986", "dlmf"}), frozenset({"lines"})


@pytest.mark.parametrize(
    "breach",
    [
        '"""Law of [nobody1999]."""',
        'def f():\n    """Return it.\n\n    Source\n    ------\n    [nobody1999], eq. 2.\n    """',
        "x = 1.2  # from memory, [nobody1999]",
        '"""As [dlfm] has it."""',
    ],
)
def test_a_planted_unknown_key_is_caught(breach: str) -> None:
    found = unknown_in_python(breach, keys=KEYS, units=UNITS)
    assert len(found) == 1, f"went unseen: {breach!r}"
    assert found[0].line == breach[: breach.index("[")].count("\n") + 1


def test_a_planted_unknown_key_in_a_page_is_caught() -> None:
    page = (
        "Known [siegman1986].\n\n```\n[nobody1999]\n```\n`[nobody1999]` [nobody1999](x.md)\n\nUnknown [nobody1999].\n"
    )
    assert unknown_in_markdown(page, keys=KEYS, units=UNITS) == [
        Finding(line=8, text="[nobody1999] is not in docs/references.md")
    ]


@pytest.mark.parametrize(
    "fine",
    [
        '"""Law of [siegman1986], ch. 17; sum of [dlmf]. [mm] [J/mm²] [0, 1] [lines]"""',
        '"""Take `table[index]` and table[index] and ``x [nobody1999]``."""',
        "x = table[index]\ny = [index]\nz: list[float] = [index]",
    ],
)
def test_what_is_no_citation_is_left_alone(fine: str) -> None:
    assert unknown_in_python(fine, keys=KEYS, units=UNITS | {"mm"}) == []


def documented(source_text: str) -> str:
    lines = ['"""Return it.', "", "Source", "------", source_text, "", "Valid", "-----", "[dlmf]", '"""']
    return "\n    ".join(["def f():", *lines])


@pytest.mark.parametrize("breach", ["Common knowledge.", "[nobody1999], eq. 1.", "A textbook."])
def test_a_planted_naked_source_is_caught(breach: str) -> None:
    assert len(sourceless(documented(breach), keys=KEYS)) == 1
    assert len(sourceless(f'def f():\n    """Return it. Source: {breach}"""', keys=KEYS)) == 1


@pytest.mark.parametrize(
    "fine", ["[dlmf], 20.2.3.", "Definition.", "Own derivation: solved for z.", "Own choice.", "As `other`."]
)
def test_a_named_source_is_left_alone(fine: str) -> None:
    assert sourceless(documented(fine), keys=KEYS) == []
    assert sourceless(f'def f():\n    """Return it. Source: {fine}"""', keys=KEYS) == []


def test_a_planted_lost_page_is_caught(tmp_path: Path) -> None:
    (tmp_path / "docs").mkdir()
    (tmp_path / "docs" / "curve.md").touch()
    source = '"""See docs/curve.md and docs/lost.md."""'
    assert lost_pages(source, root=tmp_path) == [Finding(line=1, text="docs/lost.md does not exist")]
