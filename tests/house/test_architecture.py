"""The layers of the house hold: contracts stand in pyproject.toml, import-linter keeps them, nine breaches prove it."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from importlinter.cli import lint_imports

from house.source import PACKAGE, ROOT, text_of

ADVICE = (
    "An import points up or sideways. Move the code to the layer it belongs to, or hand the value in as an argument; "
    "a new folder needs its place in [tool.importlinter] of pyproject.toml. import-linter says:\n"
)
SERIAL = itertools.count()


def verdict(config: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    """Return import-linter's exit code and all it printed."""
    code = lint_imports(config_filename=str(config), no_cache=True, no_logo=True)
    return code, capsys.readouterr().out


def test_imports_point_downwards(capsys: pytest.CaptureFixture[str]) -> None:
    code, said = verdict(ROOT / "pyproject.toml", capsys)
    assert code == 0, ADVICE + said


def homeless(package: Path) -> list[str]:
    """Return folders with modules but without __init__.py: import-linter would not see them."""
    folders = {p.parent for p in package.rglob("*.py")}
    for folder in tuple(folders):
        folders |= {up for up in folder.parents if package in up.parents}
    return sorted(str(f.relative_to(package)) for f in folders if not (f / "__init__.py").is_file())


def test_no_folder_hides_from_the_linter() -> None:
    assert homeless(PACKAGE) == [], "these folders need an __init__.py, or the import contracts do not see them"


def test_a_folder_without_init_is_found(tmp_path: Path) -> None:
    (tmp_path / "adapters" / "formats").mkdir(parents=True)
    (tmp_path / "adapters" / "formats" / "__init__.py").touch()
    assert homeless(tmp_path) == ["adapters"]


@pytest.fixture
def skeleton(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a small house under the real contracts, by another name, with all layers and no breach."""
    name = f"planted_house_{next(SERIAL)}"
    house = tmp_path / name
    core = ["planning", "shop", "proof", "card", "layout", "tone", "art", "motion", "optics", "response", "nouns"]
    folders = ["", "cli", "web", "services", "adapters", "adapters/storage", "adapters/formats", "core"]
    for folder in [*folders, *(f"core/{part}" for part in core)]:
        (house / folder).mkdir(parents=True, exist_ok=True)
        (house / folder / "__init__.py").touch()
    for module in ("core/units", "core/errors"):
        (house / f"{module}.py").touch()
    contracts = "[tool.importlinter]" + text_of(ROOT / "pyproject.toml").split("[tool.importlinter]", 1)[1]
    (tmp_path / "pyproject.toml").write_text(contracts.replace('"evenburn', f'"{name}'), encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    return house


def test_a_sound_house_passes(skeleton: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (skeleton / "services" / "plan.py").write_text(
        f"from {skeleton.name}.adapters import storage\nfrom {skeleton.name}.core import planning\nimport pathlib\n",
        encoding="utf-8",
    )
    code, said = verdict(skeleton.parent / "pyproject.toml", capsys)
    assert code == 0, said


@pytest.mark.parametrize(
    ("where", "breach"),
    [
        ("core/optics/beam.py", "import sqlite3"),
        ("core/motion/timing.py", "def f() -> None:\n    import time"),
        ("core/planning/recipe.py", "from {house}.adapters import storage"),
        ("core/optics/beam.py", "from {house}.core import tone"),
        ("core/response/curve.py", "from {house}.core import optics"),
        ("web/app.py", "from {house} import cli"),
        ("web/app.py", "from {house}.adapters import storage"),
        ("adapters/formats/ngc.py", "from {house}.adapters import storage"),
        ("core/extras.py", ""),
        ("extras/__init__.py", ""),
    ],
)
def test_a_planted_breach_is_caught(
    skeleton: Path, capsys: pytest.CaptureFixture[str], where: str, breach: str
) -> None:
    target = skeleton / where
    target.parent.mkdir(exist_ok=True)
    target.write_text(breach.format(house=skeleton.name), encoding="utf-8")
    code, said = verdict(skeleton.parent / "pyproject.toml", capsys)
    assert code == 1, f"{breach!r} in {where} went unseen\n{said}"
    assert "broken" in said.lower(), f"the linter stumbled instead of judging:\n{said}"
