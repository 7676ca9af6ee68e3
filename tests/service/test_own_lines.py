"""Lines that machine.toml puts into every program: where they burn or move, the file is at fault, not evenburn."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenburn.core.errors import InvalidInput
from evenburn.services.plan_batch import plan_batch
from service.conftest import DATE, MACHINE


@pytest.mark.parametrize(
    ("lines", "field"),
    [
        ('opening_lines = ["M3 S500", "G1 X10 F600", "M5"]', "post_processor.opening_lines"),
        ('opening_lines = ["G91"]', "post_processor.opening_lines"),
        ('closing_lines = ["M3 S500", "G1 X10 F600", "M5"]', "post_processor.closing_lines"),
    ],
)
def test_lines_that_burn_are_told_at_their_field(folder: Path, tmp_path: Path, lines: str, field: str) -> None:
    (folder / "machine.toml").write_text(f"{MACHINE}[post_processor]\n{lines}\n")

    with pytest.raises(InvalidInput) as caught:
        plan_batch(folder, to=tmp_path / "out", date=DATE)

    assert list(caught.value.fields) == [field]
    assert caught.value.lines()[0].startswith("machine.toml: ")
