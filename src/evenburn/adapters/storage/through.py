"""Through to the disk: what was acknowledged is there when the power comes back.

A file that is renamed into its place is whole only if its bytes were on the disk before the name was, and there at all only if
the folder that holds the name was written too.
"""

from __future__ import annotations

import errno
import os
from pathlib import Path

_FOLDERS_CANNOT = (errno.EINVAL, errno.ENOTSUP)  # of a file system that has no such promise to give


def sync_file(path: Path) -> None:
    """Write what is in a file through to the disk; OSError where that fails."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Write the names in a folder through to the disk; nothing where a system lets no folder be opened."""
    opens_folders = getattr(os, "O_DIRECTORY", None)
    if opens_folders is None:
        return
    handle = os.open(folder, os.O_RDONLY | opens_folders)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in _FOLDERS_CANNOT:
            raise
    finally:
        os.close(handle)


def make_folder(folder: Path) -> None:
    """Make a folder and those above it that are missing, each written through; OSError where one cannot be made."""
    if folder.is_dir():
        return
    make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


def move_in(stage: Path, target: Path) -> None:
    """Move a whole file into its place, its bytes written through before, its name after; what was there stays until then."""
    sync_file(stage)
    stage.replace(target)
    sync_folder(target.parent)
