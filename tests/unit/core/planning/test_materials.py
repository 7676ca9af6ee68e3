"""Materials are found by whole words, and the worst one counts."""

from __future__ import annotations

import pytest

from evenburn.core.planning.materials import Material, find_material

PVC = Material(name="PVC", words=("pvc", "vinyl", "polyvinyl chloride"), level="forbidden", why="chlorine")
ABS = Material(name="ABS", words=("abs",), level="forbidden", why="cyanide")
MDF = Material(name="MDF", words=("mdf",), level="doubtful", why="binder")
ALL = (MDF, PVC, ABS)


@pytest.mark.parametrize(
    ("names", "found"),
    [
        (("vinyl",), PVC),
        (("Self-adhesive VINYL film",), PVC),
        (("white vinyl-coated board",), PVC),
        (("polyvinyl chloride sheet",), PVC),
        (("ABS",), ABS),
        (("abs_sheet 2 mm",), ABS),
        (("abs-2mm",), ABS),
        (("absolute beech",), None),
        (("cabs",), None),
        (("vinylester",), None),
        (("hard maple", "bare"), None),
        (("", ""), None),
        ((), None),
        (("oak", "on mdf"), MDF),
    ],
)
def test_only_whole_words_match(names: tuple[str, ...], found: Material | None) -> None:
    assert find_material(ALL, *names) is found


def test_the_worst_of_several_counts() -> None:
    assert find_material(ALL, "mdf with a vinyl skin") is PVC
    assert find_material((MDF,), "mdf with a vinyl skin") is MDF


def test_without_a_list_nothing_is_found() -> None:
    assert find_material((), "vinyl") is None
