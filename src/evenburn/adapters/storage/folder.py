"""An output folder that is either as it was or whole: files are made beside it and moved in when all are there."""

from __future__ import annotations

import json
import shutil
import tempfile
from pathlib import Path
from types import TracebackType
from typing import Self

from evenburn.adapters.storage.through import make_folder, sync_file, sync_folder
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
            make_folder(self.target)
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
        """Write a text file of the plan."""
        with self.path(name).open("w", encoding="utf-8", newline="\n") as file:
            file.write(text)

    def finish(self) -> None:
        """Move all files into the folder, the index last."""
        self._move_in(index=INDEX, former=self._former_files())

    def _move_in(self, *, index: str, former: set[str]) -> None:
        """Take the index and the former files away, and move the new ones in; each step is on the disk before the next."""
        if self._stage is None:
            raise StorageError("the output folder is not open")
        names = {p.name for p in self._stage.iterdir()}
        for name in sorted(names):
            sync_file(self._stage / name)
        (self.target / index).unlink(missing_ok=True)
        sync_folder(self.target)
        for name in former - names:
            (self.target / name).unlink(missing_ok=True)
        for name in sorted(names - {index}):
            (self._stage / name).replace(self.target / name)
        sync_folder(self.target)
        if index in names:
            (self._stage / index).replace(self.target / index)
            sync_folder(self.target)

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
