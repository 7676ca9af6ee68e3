"""Every number of the core wears its unit, or is a pure number that docs/glossary.md explains.

The glossary is the list: its table "Unit suffixes" names the units, its table "Pure numbers" the names that need none.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator

import pytest

from house.glossary import Glossary, glossary, house_glossary
from house.source import (
    CORE,
    PACKAGE,
    Finding,
    is_public,
    public_classes,
    public_functions,
    python_files,
    report,
    text_of,
)

RULE = (
    "Every float of the core ends in its unit (docs/glossary.md, “Unit suffixes”: _mm, _s, _W, _mm_per_s …). If it is "
    "a pure number, or its unit stands beside it, explain its name in the table “Pure numbers” of docs/glossary.md."
)
NUMBERS = {"float", "float64", "floating", "FloatArray", "ArrayLike"}
AROUND_NUMBERS = {"tuple", "list", "Sequence", "Iterable", "Iterator", "Optional", "NDArray", "ndarray", "np", "int"}
AROUND_NUMBERS |= {"numpy", "npt", "Any", "Final"}
COMPANIONS = {"sd"}  # tone_L_sd: a standard deviation has the unit of its quantity


def split_unit(name: str, units: frozenset[str]) -> tuple[list[str], list[str]]:
    """Return a name's parts before its unit, and the parts of the unit: `speed_mm_per_s` is speed and mm per s."""
    if name.isupper():
        units = frozenset(u.upper() for u in units)
        name = name.replace("_PER_", "_per_")
    parts = name.split("_")
    if parts[-1] in COMPANIONS:
        parts = parts[:-1]
    cut = len(parts)
    if cut and parts[cut - 1] in units:
        cut -= 1
        if cut and parts[cut - 1] == "per":
            cut -= 2 if cut > 1 and parts[cut - 2] in units else 1
    return parts[:cut], parts[cut:]


def doubled_unit(name: str, units: frozenset[str]) -> str | None:
    """Return advice for a name such as `speed_mm_s`, which reads as mm times s, or None."""
    lead, unit = split_unit(name, units)
    known = frozenset(u.upper() for u in units) if name.isupper() else units
    if unit and len(lead) > 1 and lead[-1] in known and "per" not in lead:
        return f"{name} reads as {lead[-1]}·{unit[-1]}; write {'_'.join([*lead, 'per', *unit])}"
    return None


def is_number(annotation: ast.expr | None, *, arrays: bool) -> bool:
    """Return whether an annotation is a float, maybe None, maybe in tuples or arrays, and nothing else."""
    if isinstance(annotation, ast.Constant) and isinstance(annotation.value, str):
        annotation = ast.parse(annotation.value, mode="eval").body
    if annotation is None:
        return False
    words = {n.id for n in ast.walk(annotation) if isinstance(n, ast.Name)}
    words |= {n.attr for n in ast.walk(annotation) if isinstance(n, ast.Attribute)}
    if not arrays:
        return words == {"float"} and not any(isinstance(n, ast.Subscript) for n in ast.walk(annotation))
    return bool(words & NUMBERS) and words <= NUMBERS | AROUND_NUMBERS


def numbers(tree: ast.Module) -> Iterator[tuple[int, str, str]]:
    """Yield line, name and role of every public number of a module."""
    for node, _ in public_functions(tree):
        every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
        for argument in every:
            if is_number(argument.annotation, arrays=True):
                yield argument.lineno, argument.arg, f"parameter of {node.name}()"
        if is_number(node.returns, arrays=False):
            yield node.lineno, node.name, "function that returns a number"
    for owner in public_classes(tree):
        for field in owner.body:
            if isinstance(field, ast.AnnAssign) and is_number(field.annotation, arrays=True):
                name = ast.unparse(field.target)
                if is_public(name):
                    yield field.lineno, name, f"field of {owner.name}"


def naked_numbers(source: str, words: Glossary) -> list[Finding]:
    """Return public numbers that neither wear a unit nor are known as pure."""
    return [
        Finding(line=line, text=f"{name} ({role}) wears no unit")
        for line, name, role in numbers(ast.parse(source))
        if name not in words.pure and not split_unit(name, words.units)[1]
    ]


def doubled_units(source: str, words: Glossary) -> list[Finding]:
    """Return every name, public or not, whose unit lacks its `per`."""
    found: dict[str, Finding] = {}
    for node in ast.walk(ast.parse(source)):
        names: list[str] = []
        if isinstance(node, ast.arg):
            names = [node.arg]
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            names = [node.id]
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names = [node.name]
        for name in names:
            if advice := doubled_unit(name, words.units):
                found.setdefault(name, Finding(line=getattr(node, "lineno", 0), text=advice))
    return list(found.values())


def test_core_numbers_wear_their_units() -> None:
    words = house_glossary()
    found = {path: faults for path in python_files(CORE) if (faults := naked_numbers(text_of(path), words))}
    assert not found, report(found, RULE)


def test_no_unit_lacks_its_per() -> None:
    words = house_glossary()
    found = {path: faults for path in python_files(PACKAGE) if (faults := doubled_units(text_of(path), words))}
    assert not found, report(found, "A quotient of units is written with `per`: speed_mm_per_s, dose_J_per_mm2.")


SMALL = Glossary(units=frozenset({"mm", "mm2", "s", "s2", "W", "J", "L", "per_mm"}), pure=frozenset({"passes_share"}))


@pytest.mark.parametrize(
    "breach",
    [
        "def f(*, speed: float) -> None: ...",
        "def f(speed: float | None = None) -> None: ...",
        "def f(speeds: FloatArray) -> None: ...",
        "def f(speeds: 'tuple[float, float]') -> None: ...",
        "def f(speeds: NDArray[np.float64]) -> None: ...",
        "def speed() -> float: ...",
        "class A:\n    speed: float",
        "class A:\n    def __init__(self, *, speed: float) -> None: ...",
        "class A:\n    @property\n    def speed(self) -> float: ...",
        "def f(*, speed_percent: float) -> None: ...",
    ],
)
def test_a_planted_naked_number_is_caught(breach: str) -> None:
    assert len(naked_numbers(breach, SMALL)) == 1, f"went unseen: {breach!r}"


@pytest.mark.parametrize(
    ("breach", "advice"),
    [
        ("speed_mm_s = 1.0", "speed_mm_per_s"),
        ("def f(dose_J_mm2: float) -> None: ...", "dose_J_per_mm2"),
        ("def accel_mm_s2() -> float: ...", "accel_mm_per_s2"),
        ("class A:\n    speed_mm_s: float", "speed_mm_per_s"),
        ("TOP_SPEED_MM_S = 1.0", "TOP_SPEED_MM_per_S"),
    ],
)
def test_a_planted_doubled_unit_is_caught(breach: str, advice: str) -> None:
    assert [advice in f.text for f in doubled_units(breach, SMALL)] == [True]


@pytest.mark.parametrize(
    "fine",
    [
        "def f(*, speed_mm_per_s: float, dose_J_per_mm2: float, tone_L_sd: float) -> None: ...",
        "def f(*, passes_share: float, steepness_per_mm: float, count: int, name: str) -> None: ...",
        "def _f(speed: float) -> float: ...",
        "class A:\n    time_s: float\n    change: tuple[str, float]\n    _cache: float",
        "def J_per_mm2(dose_J: float, area_mm2: float) -> float: ...",
        "def render(*, edges_mm: FloatArray) -> FloatArray: ...",
    ],
)
def test_what_wears_its_unit_is_left_alone(fine: str) -> None:
    assert naked_numbers(fine, SMALL) == []
    assert doubled_units(fine, SMALL) == []


def test_a_glossary_without_its_tables_is_refused() -> None:
    with pytest.raises(AssertionError, match="Unit suffixes"):
        glossary("# Glossary\n## Pure numbers\n| `overlap` | 0-1 |\n")
    with pytest.raises(AssertionError, match="no `name`"):
        glossary("## Unit suffixes\n| `_mm` | length |\n## Pure numbers\nnone yet\n")
