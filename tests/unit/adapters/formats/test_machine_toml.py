"""The machine file's corner tolerance: left out, given, out of range."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest

from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.core.errors import InvalidInput


def written(folder: Path, line: str) -> Path:
    """Return the demo's machine file with a line put in at its top."""
    shipped = (resources.files("evenburn") / "assets" / "demo" / "machine.toml").read_text(encoding="utf-8")
    kept = "\n".join(row for row in shipped.splitlines() if not row.startswith("corner_tolerance_mm"))
    path = folder / "machine.toml"
    path.write_text(f"{line}\n{kept}\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("line", "tolerance_mm"), [("", 0.02), ("corner_tolerance_mm = 0.001", 0.001), ("corner_tolerance_mm = 1.0", 1.0)]
)
def test_corners_may_be_cut_by_a_fiftieth_of_a_millimetre_unless_told_otherwise(
    tmp_path: Path, line: str, tolerance_mm: float
) -> None:
    assert read_machine(written(tmp_path, line), name="machine.toml").corner_tolerance_mm == tolerance_mm


@pytest.mark.parametrize("value", ["0.0", "0.0009", "1.1", "-0.02", "nan", '"wide"'])
def test_a_tolerance_out_of_range_is_named(tmp_path: Path, value: str) -> None:
    with pytest.raises(InvalidInput, match="corner_tolerance_mm"):
        read_machine(written(tmp_path, f"corner_tolerance_mm = {value}"), name="machine.toml")
