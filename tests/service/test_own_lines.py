"""Lines that machine.toml puts into every program: where they burn or move, the file is at fault, not evenburn."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.machine import Machine, PostProcessor
from evenburn.services.load_batch import load_batch
from evenburn.services.plan_batch import plan_batch
from evenburn.services.prove import demand_sound_own_lines
from service.conftest import DATE, MACHINE
from strategies import benches
from unit.core.examples import machine as a_machine


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


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (("M3 S1000",), "“M3 S1000”: the laser is lit at S 1000 and the line does not move"),
        (("M8", "G0 X10 Y10"), "they move the head"),
        (("G4 P5",), "they wait"),
        (("G91",), "“G91”: G91 is set; allowed is G90 only"),
        (("M4 S1000",), "“M4 S1000”"),
    ],
)
def test_unsound_lines_are_told_without_a_plan(lines: tuple[str, ...], words: str) -> None:
    machine = a_machine(post_processor=PostProcessor(opening_lines=lines))
    with pytest.raises(InvalidInput) as caught:
        demand_sound_own_lines(machine)
    assert words in caught.value.fields["post_processor.opening_lines"]
    assert f"the machine “{machine.name}”" in caught.value.hint


def test_lines_that_only_switch_things_pass() -> None:
    demand_sound_own_lines(
        a_machine(
            post_processor=PostProcessor(opening_lines=("(air pump on)", "M8", "F600"), closing_lines=("M9", "M5"))
        )
    )


@settings(max_examples=25)
@given(machine=benches(), wild=st.sampled_from(["M3 S1000", "M4 S1000", "G91", "G0 X0 Y0", "G20"]))
def test_any_machine_is_refused_what_burns_or_moves_and_allowed_what_does_not(machine: Machine, wild: str) -> None:
    quiet = PostProcessor(on_word=machine.post_processor.on_word, opening_lines=("M8",), closing_lines=("M9",))
    demand_sound_own_lines(replace(machine, post_processor=quiet))
    for key in ("opening_lines", "closing_lines"):
        lines = (
            replace(quiet, opening_lines=(wild,)) if key == "opening_lines" else replace(quiet, closing_lines=(wild,))
        )
        own = replace(machine, post_processor=lines)
        with pytest.raises(InvalidInput):
            demand_sound_own_lines(own)


def test_planning_is_not_begun_with_lines_that_burn(folder: Path) -> None:
    (folder / "machine.toml").write_text(f'{MACHINE}[post_processor]\nopening_lines = ["M3 S1000"]\n')
    with pytest.raises(InvalidInput) as caught:
        load_batch(folder)
    assert list(caught.value.fields) == ["post_processor.opening_lines"]
