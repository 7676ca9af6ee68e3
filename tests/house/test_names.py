"""What is handed over by position can be swapped unseen; so the core takes all but two arguments by name."""

from __future__ import annotations

import ast

import pytest

from house.source import (
    CORE,
    Finding,
    positional,
    public_classes,
    public_functions,
    python_files,
    report,
    text_of,
)

MOST_POSITIONAL = 2
VALUE_WORDS = {"frozen", "slots", "kw_only"}
RULE = (
    "Public functions of the core take at most two positional arguments, never a boolean by position; "
    "values are @dataclass(frozen=True, slots=True, kw_only=True)."
)


def is_bool(annotation: ast.expr | None) -> bool:
    return annotation is not None and any(isinstance(n, ast.Name) and n.id == "bool" for n in ast.walk(annotation))


def swappable(source: str) -> list[Finding]:
    """Return public functions whose arguments could be swapped by accident."""
    found: list[Finding] = []
    for node, method in public_functions(ast.parse(source)):
        by_place = positional(node, method=method)
        if len(by_place) > MOST_POSITIONAL:
            names = ", ".join(a.arg for a in by_place[MOST_POSITIONAL:])
            text = f"{node.name}() takes {len(by_place)} positional arguments; put a `*` before {names}"
            found.append(Finding(line=node.lineno, text=text))
        for argument in by_place:
            if is_bool(argument.annotation):
                text = f"{node.name}({argument.arg}): a boolean at a call says nothing; put a `*` before it"
                found.append(Finding(line=node.lineno, text=text))
    return found


def loose_values(source: str) -> list[Finding]:
    """Return public dataclasses that could be changed, grown or filled by position."""
    found: list[Finding] = []
    for node in public_classes(ast.parse(source)):
        for decorator in node.decorator_list:
            call = decorator if isinstance(decorator, ast.Call) else None
            name = call.func if call else decorator
            if not (isinstance(name, ast.Name | ast.Attribute) and ast.unparse(name).split(".")[-1] == "dataclass"):
                continue
            said = {
                k.arg
                for k in (call.keywords if call else [])
                if isinstance(k.value, ast.Constant) and k.value.value is True
            }
            if missing := VALUE_WORDS - {word for word in said if word}:
                text = f"{node.name}: add {', '.join(f'{w}=True' for w in sorted(missing))} to @dataclass"
                found.append(Finding(line=node.lineno, text=text))
    return found


def test_core_arguments_cannot_be_swapped() -> None:
    found = {path: faults for path in python_files(CORE) if (faults := swappable(text_of(path)))}
    assert not found, report(found, RULE)


def test_core_values_are_frozen() -> None:
    found = {path: faults for path in python_files(CORE) if (faults := loose_values(text_of(path)))}
    assert not found, report(found, RULE)


@pytest.mark.parametrize(
    "breach",
    [
        "def f(a: float, b: float, c: float) -> None: ...",
        "def f(a: float, /, b: float, c: float, *, d: float) -> None: ...",
        "def f(a: float, fast: bool = False) -> None: ...",
        "def f(a: float, fast: bool | None = None) -> None: ...",
        "class A:\n    def f(self, a: int, b: int, c: int) -> None: ...",
        "class A:\n    def __init__(self, a: int, b: int, c: int) -> None: ...",
    ],
)
def test_a_planted_swap_is_caught(breach: str) -> None:
    assert len(swappable(breach)) == 1, f"went unseen: {breach!r}"


@pytest.mark.parametrize(
    "breach",
    [
        "@dataclass\nclass A: ...",
        "@dataclass(frozen=True, slots=True)\nclass A: ...",
        "import dataclasses\n@dataclasses.dataclass(frozen=False, slots=True, kw_only=True)\nclass A: ...",
    ],
)
def test_a_planted_loose_value_is_caught(breach: str) -> None:
    assert len(loose_values(breach)) == 1, f"went unseen: {breach!r}"


@pytest.mark.parametrize(
    "fine",
    [
        "def f(a: float, b: float, *, c: float, fast: bool = False) -> None: ...",
        "def _f(a: int, b: int, c: int) -> None: ...",
        "class A:\n    def f(self, a: int, b: int) -> None: ...",
        "class A:\n    @staticmethod\n    def f(a: int, b: int) -> None: ...",
        "@dataclass(frozen=True, slots=True, kw_only=True)\nclass A: ...",
        "class A(Exception): ...",
    ],
)
def test_what_is_named_is_left_alone(fine: str) -> None:
    assert swappable(fine) == []
    assert loose_values(fine) == []
