"""A batch table as the text of a batch.toml, for batches that evenburn itself lays out."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from evenburn.adapters.formats.batch_toml import BatchTable


def _value(value: Any) -> str:
    """Return one TOML value; JSON writes strings and numbers as TOML reads them."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    return json.dumps(value, ensure_ascii=False, allow_nan=False).replace("\x7f", "\\u007f")


def batch_text(table: BatchTable) -> str:
    """Return what `read_batch` reads back as the same table; only what was given is written."""
    given = table.model_dump(exclude_unset=True, exclude_none=True)
    pieces = given.pop("piece")
    lines = [f"{key} = {_value(value)}" for key, value in given.items()]
    for piece in pieces:
        marks = piece.pop("mark")
        lines += ["", "[[piece]]", *(f"{key} = {_value(value)}" for key, value in piece.items())]
        for mark in marks:
            lines += ["", "[[piece.mark]]", *(f"{key} = {_value(value)}" for key, value in mark.items())]
    return "\n".join(lines) + "\n"
