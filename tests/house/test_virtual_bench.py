"""The virtual bench judges evenburn, so it may not share a line with it."""

from __future__ import annotations

import ast

import pytest

from house.source import ROOT, Finding, python_files, report, text_of

BENCH = ROOT / "tests" / "virtual_bench"
ALLOWED = {
    "__future__", "collections", "cv2", "dataclasses", "functools", "io", "itertools", "math", "numba", "numpy", "pathlib", "PIL",
    "pypdfium2", "re", "scipy", "typing", "virtual_bench",
}  # fmt: skip
RULE = "The virtual bench stands on its own: standard library, numpy, scipy, numba, OpenCV, Pillow, pypdfium2. Write it anew here."


def shared(source: str) -> list[Finding]:
    """Return imports of anything but the libraries that are allowed, however they are written."""
    found: list[Finding] = []
    for node in ast.walk(ast.parse(source)):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [n.name for n in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = ["." * node.level + (node.module or "")]
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value.startswith("evenburn."):
            names = [node.value]
        elif isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1] in {
            "import_module",
            "__import__",
            "exec",
            "eval",
        }:
            names = [ast.unparse(node)]
        found += [Finding(line=node.lineno, text=n) for n in names if n.split(".")[0] not in ALLOWED]  # type: ignore[attr-defined]
    return found


def test_the_virtual_bench_shares_no_code_with_evenburn() -> None:
    files = list(python_files(BENCH))
    assert files, "tests/virtual_bench is gone"
    found = {path: faults for path in files if (faults := shared(text_of(path)))}
    assert not found, report(found, RULE)


@pytest.mark.parametrize(
    "breach",
    [
        "import evenburn",
        "from evenburn.core import optics",
        "def f():\n    from evenburn.core.tone.colour import luminance",
        "from service.second_reader import interpret",
        "import importlib\nimportlib.import_module('evenburn.core')",
        "__import__('evenburn')",
    ],
)
def test_a_planted_share_is_caught(breach: str) -> None:
    assert shared(breach), f"went unseen: {breach!r}"
