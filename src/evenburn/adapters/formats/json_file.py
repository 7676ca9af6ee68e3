"""JSON files of our own forms: read within limits, written whole or not at all."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

from evenburn.core.errors import StorageError, UnreadableFile

LARGEST_JSON_bytes = 16 * 1024 * 1024


def read_json(path: Path, *, name: str, hint: str = "") -> dict[str, Any]:
    """Return the object in a JSON file.

    Raises
    ------
    UnreadableFile
        If it is missing, too large, or does not hold a JSON object.
    """
    try:
        if path.stat().st_size > LARGEST_JSON_bytes:
            raise UnreadableFile(name, f"is larger than {LARGEST_JSON_bytes // 1024 // 1024} MiB", hint=hint)
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise UnreadableFile(name, "is missing", hint=hint) from error
    except (ValueError, RecursionError) as error:  # no JSON, no UTF-8, or a number of too many digits
        raise UnreadableFile(name, f"is not JSON: {error}", hint=hint) from error
    except OSError as error:
        raise UnreadableFile(name, f"cannot be read: {error.strerror}", hint=hint) from error
    if not isinstance(data, dict):
        raise UnreadableFile(name, "does not hold a JSON object", hint=hint)
    return data


def json_text(document: dict[str, Any]) -> str:
    """Return a document as it is written: two blanks, no NaN, a line's end at the end."""
    return json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def write_json(path: Path, document: dict[str, Any]) -> None:
    """Write a document beside its place and move it in.

    Raises
    ------
    StorageError
        If it cannot be written; what was there before is kept.
    """
    part = path.with_name(f"{path.name}.part")
    try:
        with part.open("w", encoding="utf-8", newline="\n") as file:
            file.write(json_text(document))
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as problem:
        part.unlink(missing_ok=True)
        raise StorageError(
            f"{path.name} could not be written: {problem.strerror or problem}",
            hint="Is the folder there and yours, and the disk not full?",
        ) from problem
