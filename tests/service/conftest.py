"""Batches for the service tests: the demo planned once, and small folders written by hand."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from evenburn.services.demo import plan_demo
from evenburn.services.plan_batch import Planned

DATE = "2026-06-09"

MACHINE = """
name = "Boathouse bench"
bed_x_mm = 600.0
bed_y_mm = 400.0
power_max_W = 60.0
power_curve = [[0.1, 4.0], [0.5, 31.0], [1.0, 60.0]]
power_least_fraction = 0.10
power_cap_fraction = 0.80
power_word_max = 1000
speed_max_mm_per_s = 600.0
rapid_mm_per_s = 600.0
accel_x_mm_per_s2 = 5000.0
accel_y_mm_per_s2 = 3000.0
line_overhead_s = 0.0
rise_time_s = 0.0002
reversal_offset_mm = 0.0
air_kPa = [20.0, 200.0]
[[lens]]
name = "2 inch"
focal_length_mm = 50.8
beam_diameter_mm = 6.0
beam_quality_m2 = 1.3
wavelength_um = 10.6
focus_stand_off_mm = 9.5
"""

BATCH = """
name = "One plaque"
machine = "machine.toml"
lens = "2 inch"
[[piece]]
id = "plaque"
wood = "hard-maple"
blank = { shape = "rectangle", size_mm = [120.0, 80.0], thickness_mm = 12.0, unevenness_mm = 0.4 }
place_bed_mm = [200.0, 150.0]
[[piece.mark]]
id = "front"
art = "art.svg"
treatment = "solid"
tone_L = 40.0
place_mm = [30.0, 25.0]
size_mm = [60.0, 30.0]
"""

ART = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="30mm" viewBox="0 0 60 30">
<rect x="2" y="2" width="20" height="26"/><circle cx="42" cy="15" r="11"/></svg>
"""


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Planned:
    """Return the demo batch, planned once for all tests that only look at it."""
    return plan_demo(tmp_path_factory.mktemp("demo"), date=DATE).planned


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a small, sound batch folder."""
    batch = tmp_path / "batch"
    batch.mkdir()
    (batch / "machine.toml").write_text(MACHINE)
    (batch / "batch.toml").write_text(BATCH)
    (batch / "art.svg").write_text(ART)
    return batch


@pytest.fixture
def edit(folder: Path) -> Callable[..., Path]:
    """Return a function that changes a file of the small batch folder, by replacing one text by another."""

    def change(name: str, old: str, new: str) -> Path:
        path = folder / name
        text = path.read_text()
        assert old in text, f"{old!r} is not in {name}"
        path.write_text(text.replace(old, new, 1))
        return folder

    return change


@pytest.fixture
def demo_batch(demo: Planned, tmp_path: Path) -> Path:
    """Return a copy of the demo's batch folder, its card read and fitted."""
    shutil.copytree(demo.folder / "batch", tmp_path / "demo-batch")
    return tmp_path / "demo-batch"
