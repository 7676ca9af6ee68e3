"""A disk that is full from the n-th write on one write only: files, folders, renames, syncs and the database alike.

What Python itself opens, writes, syncs, renames and makes is counted, and every statement and commit that changes the
database. Libraries in C that write by themselves are not seen; their files are opened by name and counted there.
"""

from __future__ import annotations

import builtins
import errno
import io
import os
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Self

import sqlalchemy as sa
from sqlalchemy import event, exc

CHANGING = ("INSERT", "UPDATE", "DELETE", "CREATE", "ALTER", "DROP")


class Disk:
    """Counts writes; the one with number `fails_at`, from 1, finds the disk full."""

    def __init__(self, fails_at: int | None) -> None:
        self.fails_at = fails_at
        self.count = 0
        self.failed = False
        self._lock = threading.Lock()

    def write(self) -> bool:
        """Count one, and return whether it is the one to fail."""
        with self._lock:
            self.count += 1
            self.failed = self.failed or self.count == self.fails_at
            return self.count == self.fails_at

    def demand(self) -> None:
        """Count one file write, and fail if it is its turn."""
        if self.write():
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


class _File:
    """A file whose writes are counted."""

    def __init__(self, real: Any, disk: Disk) -> None:
        self._real, self._disk = real, disk

    def write(self, data: Any) -> Any:
        self._disk.demand()
        return self._real.write(data)

    def writelines(self, lines: Any) -> None:
        self._disk.demand()
        self._real.writelines(lines)

    def __enter__(self) -> Self:
        self._real.__enter__()
        return self

    def __exit__(self, *error: object) -> Any:
        return self._real.__exit__(*error)

    def __iter__(self) -> Any:
        return iter(self._real)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._real, name)


@contextmanager
def full_disk(fails_at: int | None) -> Iterator[Disk]:
    """Count all writes meanwhile; the one with this number fails, None lets all through."""
    disk = Disk(fails_at)
    real_open = io.open

    def opened(file: Any, mode: str = "r", *args: Any, **more: Any) -> Any:
        if not set(mode) & set("wax+"):
            return real_open(file, mode, *args, **more)
        disk.demand()
        return _File(real_open(file, mode, *args, **more), disk)

    def counted(real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **more: Any) -> Any:
            disk.demand()
            return real(*args, **more)

        return call

    def statement(_connection: Any, _cursor: Any, text: str, *_more: Any) -> None:
        if text.lstrip().upper().startswith(CHANGING) and disk.write():
            raise exc.OperationalError(text, {}, sqlite3.OperationalError("database or disk is full"))

    def committed(_connection: sa.Connection) -> None:
        if disk.write():
            raise exc.OperationalError("COMMIT", {}, sqlite3.OperationalError("database or disk is full"))

    names = ("fsync", "replace", "rename", "mkdir")
    real = {name: getattr(os, name) for name in names}
    event.listen(sa.Engine, "before_cursor_execute", statement)
    event.listen(sa.Engine, "commit", committed)
    builtins.open = io.open = opened
    for name in names:
        setattr(os, name, counted(real[name]))
    try:
        yield disk
    finally:
        builtins.open = io.open = real_open
        for name in names:
            setattr(os, name, real[name])
        event.remove(sa.Engine, "before_cursor_execute", statement)
        event.remove(sa.Engine, "commit", committed)
