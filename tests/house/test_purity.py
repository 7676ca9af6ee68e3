"""The core touches nothing outside itself; import rules cannot see built-ins, so this reads the syntax tree."""

from __future__ import annotations

import ast

import pytest

from house.source import CORE, Finding, python_files, report, text_of

RULE = "The core is pure: values in, values out. Move this to an adapter or a service and pass the result in."

BUILTINS = {
    "open": "reading and writing files is an adapter's work",
    "print": "return the value; the command line prints",
    "input": "asking people is the command line's work",
    "breakpoint": "left over from debugging",
    "eval": "never run text as code",
    "exec": "never run text as code",
    "__import__": "import at the top, where the linter sees it",
}
MODULES = {
    "os": "paths and environment belong to adapters",
    "pathlib": "paths belong to adapters",
    "io": "streams belong to adapters",
    "time": "pass the time in",
    "datetime": "pass the date in",
    "random": "take a numpy.random.Generator as an argument",
    "logging": "return Checks or notes instead of logging",
    "importlib": "data and modules are handed in by a service",
}
NUMPY_FILES = ["load", "loadtxt", "genfromtxt", "fromfile", "fromregex", "memmap"]
NUMPY_FILES += ["save", "savez", "savez_compressed", "savetxt"]
CALLS = {
    **{f"numpy.{name}": "reading and writing files is an adapter's work" for name in NUMPY_FILES},
    "numpy.seterr": "it changes numpy for everybody; use `with np.errstate(…)`",
    "numpy.set_printoptions": "it changes numpy for everybody",
    "warnings.warn": "a doubt is data: return a Check or a note",
    **{f"cv2.{name}": "decoding pictures is an adapter's work" for name in ("imread", "imwrite", "VideoCapture")},
}
METHODS = {"tofile": "writing files is an adapter's work"}
RANDOM_ALLOWED = {"numpy.random", "numpy.random.Generator", "numpy.random.BitGenerator", "numpy.random.SeedSequence"}


def aliases(tree: ast.Module) -> dict[str, str]:
    """Return what each imported name stands for, as a dotted path."""
    known: dict[str, str] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for name in node.names:
                known[name.asname or name.name.split(".")[0]] = name.name if name.asname else name.name.split(".")[0]
        elif isinstance(node, ast.ImportFrom) and node.module:
            for name in node.names:
                known[name.asname or name.name] = f"{node.module}.{name.name}"
    return known


def dotted(node: ast.expr, known: dict[str, str]) -> str | None:
    """Return the full dotted path that an expression such as `np.random.rand` means."""
    if isinstance(node, ast.Name):
        return known.get(node.id)
    if isinstance(node, ast.Attribute) and (lead := dotted(node.value, known)):
        return f"{lead}.{node.attr}"
    return None


def forbidden(path: str) -> str | None:
    """Return why a dotted path may not be used in the core, or None."""
    if path in CALLS:
        return CALLS[path]
    if path.startswith("numpy.random.") and path not in RANDOM_ALLOWED:
        return "global or self-made randomness; take a numpy.random.Generator as an argument"
    return MODULES.get(path.partition(".")[0])


def impurities(source: str) -> list[Finding]:
    """Return everything in a core module that reaches outside."""
    tree = ast.parse(source)
    known = aliases(tree)
    defined = {n.name for n in ast.walk(tree) if isinstance(n, ast.FunctionDef | ast.ClassDef)}
    found: list[Finding] = []
    for node in ast.walk(tree):
        what, why = "", None
        if isinstance(node, ast.Import | ast.ImportFrom):
            lead = f"{node.module}." if isinstance(node, ast.ImportFrom) else ""
            paths = [lead + name.name for name in node.names]
            found += [Finding(line=node.lineno, text=f"import {p}: {why}") for p in paths if (why := forbidden(p))]
            continue
        if isinstance(node, ast.Name) and node.id in BUILTINS and node.id not in defined | known.keys():
            what, why = node.id, BUILTINS[node.id] if isinstance(node.ctx, ast.Load) else None
        elif isinstance(node, ast.Attribute):
            what = dotted(node, known) or node.attr
            why = forbidden(what) if "." in what else METHODS.get(node.attr)
        elif isinstance(node, ast.Global):
            what, why = f"global {', '.join(node.names)}", "the core holds no state; return the new value"
        if why:
            found.append(Finding(line=getattr(node, "lineno", 0), text=f"{what}: {why}"))
    return found


def test_core_is_pure() -> None:
    found = {path: faults for path in python_files(CORE) if (faults := impurities(text_of(path)))}
    assert not found, report(found, RULE)


@pytest.mark.parametrize(
    "breach",
    [
        "open('a')",
        "print('a')",
        "reader = open",
        "name = input()",
        "import numpy as np\nnp.load('a.npy')",
        "import numpy\nnumpy.save('a.npy', x)",
        "from numpy import savetxt",
        "x.tofile('a')",
        "import numpy as np\nnp.random.rand(3)",
        "import numpy as np\nrng = np.random.default_rng()",
        "from numpy.random import normal",
        "from numpy import random as r\nr.seed(1)",
        "import datetime",
        "from time import perf_counter",
        "def f():\n    import os.path",
        "from pathlib import Path",
        "import warnings\nwarnings.warn('x')",
        "import cv2\ncv2.imread('a.png')",
        "def f():\n    global count\n    count = 1",
    ],
)
def test_a_planted_impurity_is_caught(breach: str) -> None:
    assert impurities(breach), f"went unseen: {breach!r}"


@pytest.mark.parametrize(
    "fine",
    [
        "import numpy as np\ndef f(rng: np.random.Generator) -> float:\n    return float(rng.normal())",
        "import math\nx = math.sqrt(2.0)",
        "def time_s(self) -> float:\n    return self.predicted.time_s",
        "'''Call print(open(name)) elsewhere.'''  # print(open(name))",
        "import scipy.ndimage\nscipy.ndimage.gaussian_filter(a, 1.0)",
    ],
)
def test_what_is_pure_is_left_alone(fine: str) -> None:
    assert impurities(fine) == []
