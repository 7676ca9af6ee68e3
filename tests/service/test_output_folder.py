"""Whatever fails while a plan is written: the folder stays as it was, and no half file looks whole."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from evenburn.adapters.formats.ngc_writer import program_lines
from evenburn.adapters.storage.folder import OutputFolder
from evenburn.cli.main import main
from evenburn.core.errors import StorageError
from evenburn.services import write_piece as service
from evenburn.services.plan_batch import plan_batch
from service.conftest import DATE


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()}


def test_a_second_plan_replaces_the_first_and_leaves_nothing_of_it(folder: Path, tmp_path: Path) -> None:
    target = tmp_path / "out"
    plan_batch(folder, to=target, date=DATE)
    batch = folder / "batch.toml"
    batch.write_text(batch.read_text().replace('id = "front"', 'id = "face"'))
    (target / "my-notes.txt").write_text("keep me")

    second = plan_batch(folder, to=target, date=DATE)

    assert {p.name for p in target.iterdir()} == {*second.files, "my-notes.txt"}


@pytest.mark.parametrize("nth", range(1, 6))
def test_a_write_that_fails_leaves_the_former_plan(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, nth: int
) -> None:
    """Fail the n-th file of a second plan, for each n: what was there stays, byte for byte."""
    target = tmp_path / "out"
    plan_batch(folder, to=target, date=DATE)
    before = contents(target)
    calls = 0
    original = OutputFolder.path

    def failing(self: OutputFolder, name: str) -> Path:
        nonlocal calls
        calls += 1
        if calls == nth:
            raise OSError(28, "No space left on device")
        return original(self, name)

    monkeypatch.setattr(OutputFolder, "path", failing)
    batch = folder / "batch.toml"
    batch.write_text(batch.read_text().replace("tone_L = 40.0", "tone_L = 45.0"))

    with pytest.raises(StorageError, match="No space left"):
        plan_batch(folder, to=target, date=DATE)

    assert contents(target) == before
    assert not any(p.name.startswith(".") for p in target.iterdir())


def test_a_move_that_fails_never_leaves_an_index_over_a_mixture(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "out"
    plan_batch(folder, to=target, date=DATE)
    original = Path.replace
    calls = 0

    def failing(source: Path, goal: Path) -> Path:
        nonlocal calls
        calls += 1
        if calls == 3:
            raise OSError(5, "Input/output error")
        return original(source, goal)

    monkeypatch.setattr(Path, "replace", failing)

    with pytest.raises(StorageError):
        plan_batch(folder, to=target, date=DATE)

    assert not (target / "plan.json").exists()


def _without_m5(lines: list[str]) -> list[str]:
    return [line for line in lines if line != "M5"]


def _half_the_power(lines: list[str]) -> list[str]:
    return [re.sub(r" S(\d+)", lambda m: f" S{int(m[1]) // 2}", line) for line in lines]


def _moved_by_two_mm(lines: list[str]) -> list[str]:
    return [re.sub(r" Y(\d+\.\d+)", lambda m: f" Y{float(m[1]) + 2.0:.3f}", line) for line in lines]


@pytest.mark.parametrize(
    "case", [(_without_m5, "M5"), (_half_the_power, "full power"), (_moved_by_two_mm, "the plan within")]
)
def test_a_program_that_does_not_pass_is_never_kept(
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    case: tuple[Callable[[list[str]], list[str]], str],
) -> None:
    """A writer with a fault is caught by reading back, and nothing of the plan is kept."""
    fault, named = case

    def faulty(*args: object, **kwargs: object) -> list[str]:
        return fault(list(program_lines(*args, **kwargs)))  # type: ignore[arg-type]  # passed on as they came

    monkeypatch.setattr(service, "program_lines", faulty)

    code = main(["plan", str(folder), "--to", str(tmp_path / "out")])

    assert code == 4
    assert named in capsys.readouterr().err
    assert not any((tmp_path / "out").iterdir())


def test_lines_that_are_not_the_recipe_s_are_never_kept(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A plan on pixels made only to be looked at has another line spacing, and with it another dose."""
    monkeypatch.setattr(
        "evenburn.core.planning.mark_plan._pixel_mm", lambda _survey, _machine, recipe: 2.0 * recipe.line_spacing_mm
    )

    code = main(["plan", str(folder), "--to", str(tmp_path / "out")])

    assert code == 4
    assert "mm apart" in capsys.readouterr().err
    assert not any((tmp_path / "out").iterdir())


def test_a_folder_that_cannot_be_written_is_the_computers_fault(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("not a folder")

    code = main(["plan", str(folder), "--to", str(tmp_path / "file" / "out")])

    assert code == 4
    assert capsys.readouterr().err.startswith("error: ")
