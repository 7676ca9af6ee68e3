"""What a mark is called where there is little room."""

from __future__ import annotations

from dataclasses import replace

import pytest

from evenburn.adapters.print.faces import SANS, width_mm
from evenburn.adapters.print.labels import artwork, fitted_label, mark_label
from evenburn.core.nouns.plan import PiecePlan
from unit.adapters.print.sample import sample_plan


def labelled(art: str, *, mark_id: str = "name") -> PiecePlan:
    piece = sample_plan().pieces[7]
    first = piece.marks[0]
    mark = replace(first.mark, id=mark_id, art_label=art)
    return replace(piece, marks=(replace(first, mark=mark), piece.marks[1]))


@pytest.mark.parametrize(
    ("art", "shown"),
    [
        ("“Novice Fours” in great-vibes", "“Novice Fours”"),
        ("“First in ” a row” in zilla-slab", "“First in ” a row”"),
        ("“Mind the step, / then the oars” in zilla-slab", "“Mind the step, / then the oars”"),
        ("art/crew.svg", "crew.svg"),
        ("art\\crew.svg", "crew.svg"),
        ("crew.svg", "crew.svg"),
        ("Mixed Eights", "Mixed Eights"),
        ("", ""),
    ],
)
def test_lettering_stands_in_quotes_without_its_face_and_a_file_without_its_folder(art: str, shown: str) -> None:
    assert artwork(labelled(art).marks[0].mark) == shown


def test_a_name_that_is_but_the_letter_is_not_said_twice() -> None:
    assert mark_label(labelled("art/anchor.svg", mark_id="a"), 0) == "anchor.svg"
    assert mark_label(labelled("art/anchor.svg", mark_id="b"), 0) == "b, anchor.svg"
    assert mark_label(labelled(""), 0) == "name"


def test_the_name_goes_before_the_text_is_cut_and_a_cut_text_keeps_its_quotes() -> None:
    piece = labelled("“Captain of Boats / 2026” in great-vibes")
    whole = width_mm("name, “Captain of Boats / 2026”", SANS, size_pt=8.1)
    alone = width_mm("“Captain of Boats / 2026”", SANS, size_pt=8.1)
    assert fitted_label(piece, 0, size_pt=8.1, width=whole + 0.1) == "name, “Captain of Boats / 2026”"
    assert fitted_label(piece, 0, size_pt=8.1, width=whole - 0.1) == "“Captain of Boats / 2026”"
    cut = fitted_label(piece, 0, size_pt=8.1, width=alone - 0.1)
    assert cut.startswith("“Captain of Boats")
    assert cut.endswith("…”")
    assert width_mm(cut, SANS, size_pt=8.1) <= alone - 0.1


def test_a_file_name_too_wide_is_cut_at_its_end() -> None:
    piece = labelled("art/the-longest-row-upstream-by-a-crew-of-five.svg")
    cut = fitted_label(piece, 0, size_pt=8.1, width=30.0)
    assert cut.startswith("the-longest-row")
    assert cut.endswith("…")
    assert width_mm(cut, SANS, size_pt=8.1) <= 30.0
