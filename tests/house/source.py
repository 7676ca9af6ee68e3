"""What the house's police share: the project's own files, parsed once, and a finding that says where."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "evenburn"
CORE = PACKAGE / "core"
FunctionNode = ast.FunctionDef | ast.AsyncFunctionDef
DocumentedNode = ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One breach of a house rule: where, and what to do about it."""

    line: int
    text: str


@cache
def text_of(path: Path) -> str:
    return path.read_text(encoding="utf-8")


@cache
def python_files(folder: Path) -> tuple[Path, ...]:
    """Return all modules below a folder; never none, for then the police would be asleep."""
    found = tuple(sorted(folder.rglob("*.py")))
    assert found, f"no Python files under {folder.name}/: has it moved? Then mend tests/house/source.py"
    return found


@cache
def project_files() -> tuple[Path, ...]:
    """Return every file that is tracked or would be, or where there is no git every file that is not built."""
    git = ["git", "-C", str(ROOT), "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    try:
        names = subprocess.run(git, check=True, capture_output=True, text=True).stdout.split("\0")
        paths = [ROOT / name for name in names if name]
    except (OSError, subprocess.CalledProcessError):
        built = {".venv", ".git", "out", "build", "dist", "__pycache__"}
        paths = [p for p in ROOT.rglob("*") if not built & set(p.relative_to(ROOT).parts)]
    return tuple(sorted(p for p in paths if p.is_file()))


def report(findings_by_file: dict[Path, list[Finding]], rule: str) -> str:
    """Return the text of a failed house test: the rule, then every breach with its place."""
    lines = [rule]
    for path, findings in findings_by_file.items():
        lines += [f"  {path.relative_to(ROOT)}:{f.line}: {f.text}" for f in findings]
    return "\n".join(lines)


def is_public(name: str) -> bool:
    return not name.startswith("_")


def public_classes(tree: ast.Module) -> Iterator[ast.ClassDef]:
    for node in tree.body:
        if isinstance(node, ast.ClassDef) and is_public(node.name):
            yield node


def public_functions(tree: ast.Module) -> Iterator[tuple[FunctionNode, bool]]:
    """Yield public functions, and public methods, __init__ and __call__ of public classes, with `is it a method`."""
    for node in tree.body:
        if isinstance(node, FunctionNode) and is_public(node.name):
            yield node, False
    for class_node in public_classes(tree):
        for node in class_node.body:
            if isinstance(node, FunctionNode) and (is_public(node.name) or node.name in {"__init__", "__call__"}):
                yield node, not any(isinstance(d, ast.Name) and d.id == "staticmethod" for d in node.decorator_list)


def positional(node: FunctionNode, *, method: bool) -> list[ast.arg]:
    """Return the parameters that may be given by position, self or cls left out."""
    return [*node.args.posonlyargs, *node.args.args][1 if method else 0 :]


def docstrings(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Yield every docstring of a module with the line it starts on."""
    for node in ast.walk(tree):
        if isinstance(node, DocumentedNode) and (text := ast.get_docstring(node)):
            yield node.body[0].lineno, text
