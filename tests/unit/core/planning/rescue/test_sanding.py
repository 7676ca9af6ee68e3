"""Sanding: what goes, what stays, and what else is sanded."""

from __future__ import annotations

from dataclasses import replace

from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.core.nouns.mark import Hold, Mark, Piece, Treatment
from evenburn.core.planning.rescue.burn_depth import BurnDepth
from evenburn.core.planning.rescue.sanding import FACE_VENEER_mm, Sanding, is_veneered, sanding
from unit.core.planning.rescue.test_register import MARK, PIECE

MAPLE, PLY, SLATE = (shipped_wood(i) for i in ("hard-maple", "birch-plywood", "slate"))


def deep(low_mm: float, high_mm: float) -> BurnDepth:
    return BurnDepth(
        gone_low_mm=low_mm,
        gone_high_mm=high_mm,
        browned_low_mm=0.0,
        browned_high_mm=0.0,
        low_mm=low_mm,
        high_mm=high_mm,
        char_dose_J_per_mm2=1.0,
        chars=False,
        gauge_mm=None,
    )


def thin(thickness_mm: float, *marks: Mark) -> Piece:
    return replace(PIECE, blank=replace(PIECE.blank, thickness_mm=thickness_mm), marks=(MARK, *marks))


def worst(found: Sanding) -> str:
    return min((a.level for a in found.advice), key=("stop", "warn", "note").index)


def test_what_stays_is_the_thickness_less_the_most() -> None:
    found = sanding(deep(0.1, 0.4), piece=PIECE, mark=MARK, wood=MAPLE)

    assert found.left_mm == 12.0 - 0.4
    assert found.veneer_mm is None
    assert found.strokes == (10, 80)  # 0.1 mm at 0.010 and 0.4 mm at 0.005 a stroke: common practice, no source


def test_plywood_is_warned_about_its_face() -> None:
    maybe = sanding(deep(0.1, FACE_VENEER_mm + 0.1), piece=thin(4.0), mark=MARK, wood=PLY)
    sure = sanding(deep(FACE_VENEER_mm + 0.1, 0.8), piece=thin(4.0), mark=MARK, wood=PLY)

    assert worst(maybe) == "warn"
    assert any("may be deeper than the face veneer" in a.text for a in maybe.advice)
    assert worst(sure) == "stop"


def test_a_veneer_that_is_measured_counts() -> None:
    found = sanding(deep(0.1, 0.6), piece=thin(4.0), mark=MARK, wood=PLY, veneer_mm=1.2)

    assert found.veneer_mm == 1.2
    assert not any("deeper than the face veneer" in a.text for a in found.advice)


def test_only_plied_woods_are_taken_for_veneered() -> None:
    assert is_veneered(PLY)
    assert not is_veneered(MAPLE)
    assert not is_veneered(SLATE)


def test_a_burn_that_goes_through_is_the_end_of_sanding() -> None:
    found = sanding(deep(3.5, 6.0), piece=thin(3.0), mark=MARK, wood=MAPLE)

    assert [a.level for a in found.advice] == ["stop"]


def test_marks_within_the_feather_are_named_and_cuts_are_not() -> None:
    def beside(mark_id: str, x_mm: float, treatment: Treatment = "solid") -> Mark:
        return Mark(
            id=mark_id, art_label="", treatment=treatment, tone_L=38.0, place_mm=(x_mm, 27.5), size_mm=(5.0, 5.0),
            hold=Hold(),
        )  # fmt: skip

    # the mark ends at 180 mm; 0.1 mm drawn out a hundredfold reaches 10 mm
    piece = thin(12.0, beside("near", 189.0), beside("far", 191.0), beside("cut", 185.0, "cut"))
    assert sanding(deep(0.05, 0.1), piece=piece, mark=MARK, wood=MAPLE).neighbours == ("near",)


def test_every_sanding_names_its_dust() -> None:
    said = {
        w.id: " ".join(a.text for a in sanding(deep(0.1, 0.2), piece=PIECE, mark=MARK, wood=w).advice)
        for w in (MAPLE, SLATE)
    }

    assert "mask" in said["hard-maple"]
    assert "char glows" in said["hard-maple"]
    assert "silica" in said["slate"]
    assert sanding(deep(0.1, 0.2), piece=PIECE, mark=MARK, wood=SLATE).strokes is None
