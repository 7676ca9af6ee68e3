"""An output folder that is either as it was or whole: files are made beside it and moved in when all are there."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from pathlib import Path
from types import TracebackType
from typing import Self

from evenburn.core.errors import StorageError

INDEX = "plan.json"
OWN_ENDINGS = (".ngc", ".png", ".svg", ".pdf", ".json")  # of the files that a plan lists as its own
STAGE_PREFIX = ".making-"


class OutputFolder:
    """Collects the files of one plan in a stage, and moves them into the folder when told that all are there.

    Until `finish` the folder keeps what it had. The index is taken away first and put back last, so that no mixture
    of two plans is ever described by one; files only the former plan had are taken away.
    """

    def __init__(self, target: Path) -> None:
        self.target = target
        self._stage: Path | None = None

    def __enter__(self) -> Self:
        try:
            self.target.mkdir(parents=True, exist_ok=True)
            self._stage = Path(tempfile.mkdtemp(prefix=STAGE_PREFIX, dir=self.target))
        except OSError as error:
            raise StorageError(
                f"cannot write into {self.target}: {error.strerror}", hint="Choose another folder with --to."
            ) from error
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._stage is not None:
            shutil.rmtree(self._stage, ignore_errors=True)
        if isinstance(error, OSError) and not isinstance(error, StorageError):
            raise StorageError(
                f"cannot write into {self.target}: {error.strerror or error}",
                hint="Is the disk full, or the folder not yours? Nothing was changed in it.",
            ) from error

    def path(self, name: str) -> Path:
        """Return where to write a file of the plan."""
        if self._stage is None:
            raise StorageError("the output folder is not open")
        return self._stage / name

    def write_text(self, name: str, text: str) -> None:
        """Write a text file of the plan through to the disk."""
        with self.path(name).open("w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())

    def finish(self) -> None:
        """Move all files into the folder, the index last."""
        if self._stage is None:
            raise StorageError("the output folder is not open")
        names = sorted(p.name for p in self._stage.iterdir())
        former = self._former_files()
        (self.target / INDEX).unlink(missing_ok=True)
        for name in former - set(names):
            (self.target / name).unlink(missing_ok=True)
        for name in [n for n in names if n != INDEX] + [n for n in names if n == INDEX]:
            (self._stage / name).replace(self.target / name)

    def _former_files(self) -> set[str]:
        """Return the plain file names that a former plan of this folder lists as its own."""
        try:
            document = json.loads((self.target / INDEX).read_text(encoding="utf-8"))
            runs = [run["file"] for run in document.get("runs", [])]
            listed = [document["run_sheet"], *runs] + [
                name
                for piece in document["pieces"]
                for mark in piece["marks"]
                for name in mark["files"].values()
                if name is not None
            ]
        except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
            return set()
        plain = {n for n in listed if isinstance(n, str) and n and Path(n).name == n and not n.startswith(".")}
        return {n for n in plain if Path(n).suffix in OWN_ENDINGS}
