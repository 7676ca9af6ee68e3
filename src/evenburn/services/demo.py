"""The demo: lay out the shipped batch and plan it."""

from __future__ import annotations

import shutil
from importlib import resources
from pathlib import Path

from evenburn.core.errors import StorageError
from evenburn.services.plan_batch import Planned, Progress, no_progress, plan_batch


def lay_out_demo(target: Path) -> Path:
    """Copy the shipped batch into `target/batch` and return that folder; files a person changed there stay.

    Raises
    ------
    StorageError
        If it cannot be written.
    """
    folder = target / "batch"
    try:
        with resources.as_file(resources.files("evenburn") / "assets" / "demo") as source:
            for path in sorted(source.rglob("*")):
                copy = folder / path.relative_to(source)
                if path.is_dir():
                    copy.mkdir(parents=True, exist_ok=True)
                elif not copy.exists():
                    copy.parent.mkdir(parents=True, exist_ok=True)
                    shutil.copyfile(path, copy)
    except OSError as error:
        raise StorageError(
            f"cannot lay the demo into {target}: {error.strerror}", hint="Choose another folder with --to."
        ) from error
    return folder


def plan_demo(target: Path, *, date: str, progress: Progress = no_progress) -> Planned:
    """Lay out the shipped batch and plan it; raises as `plan_batch`."""
    return plan_batch(lay_out_demo(target), to=target, date=date, progress=progress)
