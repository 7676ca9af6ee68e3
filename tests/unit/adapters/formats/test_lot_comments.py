"""The lot of a wood in the head of a program: told apart at the machine, and of no letter that a reader would choke on."""

from __future__ import annotations

from dataclasses import replace

import pytest

from evenburn.adapters.formats.ngc_writer import comment_line, lot_comments
from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.core.planning.materials import spoken_of

MAPLE = shipped_wood("hard-maple")


def test_a_wood_that_goes_by_its_name_alone_has_no_lot() -> None:
    for one in (MAPLE, replace(MAPLE, called="Hard  Maple")):
        assert lot_comments(one) == ()
        assert one.label == "hard maple"


@pytest.mark.parametrize(
    ("id_", "called", "comment", "label"),
    [
        ("hm-2", "Hard maple, lot HM-2", "lot hm-2, called Hard maple, lot HM-2", "Hard maple, lot HM-2"),
        ("larder", "Larder shelf", "lot larder, called Larder shelf", "Larder shelf (hard maple)"),
        ("club-maple", "", "lot club-maple", "hard maple (club-maple)"),
        ("hard-maple-2", "", "lot hard-maple-2", "hard maple (hard-maple-2)"),
    ],
)
def test_a_lot_is_told_by_its_id_and_by_what_it_is_called(id_: str, called: str, comment: str, label: str) -> None:
    one = replace(MAPLE, id=id_, called=called)
    assert lot_comments(one) == (comment,)
    assert one.label == label


def test_a_long_name_of_any_letters_stands_whole_in_comments_that_any_reader_takes() -> None:
    called = "Ahorn (grün), Los 7\u202e; " + "клён, партия № 12, " * 5 + "HM-9"
    lines = [comment_line(words) for words in lot_comments(replace(MAPLE, id="ahorn-los-7", called=called))]
    assert len(lines) > 1
    for line in lines:
        assert line.isascii()
        assert line.isprintable()
        assert len(line) < 80
        assert line.count("(") == line.count(")") == 1
    assert lines[0].startswith("(lot ahorn-los-7, called Ahorn [gr?n], Los 7")
    assert lines[-1].endswith("HM-9)")


def test_what_it_is_called_is_searched_for_materials_too() -> None:
    assert "PVC offcut" in spoken_of(replace(MAPLE, called="PVC offcut"))
