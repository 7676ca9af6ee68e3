"""Recording outside checks: with EVENBURN_CHECKS=FILE only tests that call `check` run, and what they note is written there."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from outside import ROWS

TO = os.environ.get("EVENBURN_CHECKS")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if TO is None:
        return
    kept = [item for item in items if isinstance(item, pytest.Function) and _checks(item)]
    config.hook.pytest_deselected(items=[item for item in items if item not in kept])
    items[:] = kept


def _checks(item: pytest.Function) -> bool:
    return "check" in item.function.__code__.co_names


def pytest_sessionfinish(exitstatus: int) -> None:
    if TO is not None and exitstatus == 0:
        rows = [row.as_json() for row in ROWS]
        Path(TO).write_text(json.dumps(rows, ensure_ascii=False), encoding="utf-8")
