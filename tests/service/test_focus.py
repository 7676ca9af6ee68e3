"""Focus over a batch: shared stand-offs, the order, and what is said of forgetting it."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenburn.core.nouns.plan import PiecePlan
from evenburn.core.planning.batch import changes, least_changes
from evenburn.core.planning.set_ups import settings_to_make
from evenburn.services import plan_batch as planning
from evenburn.services.check_batch import check_batch
from evenburn.services.plan_batch import Planned, plan_batch
from service.conftest import BATCH, DATE

HEAD, PIECE = BATCH[: BATCH.index("[[piece]]")], BATCH[BATCH.index("[[piece]]") :]


def batch_of(folder: Path, *pieces: tuple[str, float, dict[str, str]]) -> Path:
    """Write a batch of plaques with these names and thicknesses, and other lines for some of theirs."""
    text = HEAD
    for name, thick, changed in pieces:
        one = PIECE.replace('id = "plaque"', f'id = "{name}"').replace("thickness_mm = 12.0", f"thickness_mm = {thick}")
        for before, after in changed.items():
            assert before in one
            one = one.replace(before, after)
        text += one
    (folder / "batch.toml").write_text(text)
    return folder


FINE = {"tone_L = 40.0": "tone_L = 40.0\nsharpness_mm = 0.2"}
COARSE = {"tone_L = 40.0": "tone_L = 40.0\nsharpness_mm = 0.8"}
OUTSIDE = {"place_bed_mm = [200.0, 150.0]": "place_bed_mm = [560.0, 150.0]"}


def by_id(planned: Planned) -> dict[str, PiecePlan]:
    return {piece.piece.id: piece for piece in planned.plan.pieces}


def test_two_plaques_of_one_thickness_share_a_stand_off_and_one_of_another_does_not(
    folder: Path, tmp_path: Path
) -> None:
    three = batch_of(folder, ("fine", 12.0, FINE), ("thin", 6.0, COARSE), ("coarse", 12.0, COARSE))
    planned = plan_batch(three, to=tmp_path / "out", date=DATE)
    found = by_id(planned)
    assert [piece.piece.id for piece in planned.plan.pieces] == ["fine", "coarse", "thin"]
    stand_off = {name: piece.marks[0].recipe.stand_off_mm for name, piece in found.items()}
    assert stand_off["fine"] == stand_off["coarse"] != stand_off["thin"]
    assert [len(piece.set_ups) for piece in planned.plan.pieces] == [1, 0, 1]
    assert planned.plan.focusings() == 2


def test_what_is_stopped_comes_last_and_asks_for_no_focus(folder: Path, tmp_path: Path) -> None:
    both = batch_of(folder, ("outside", 25.0, OUTSIDE), ("inside", 12.0, {}))
    planned = plan_batch(both, to=tmp_path / "out", date=DATE)
    assert [piece.piece.id for piece in planned.plan.pieces] == ["inside", "outside"]
    assert [len(piece.set_ups) for piece in planned.plan.pieces] == [1, 0]
    assert "refocus" not in {check.code for check in by_id(planned)["outside"].checks}


def test_a_thicker_blank_after_a_thin_one_would_be_run_into(folder: Path, tmp_path: Path) -> None:
    both = batch_of(folder, ("thin", 6.0, {}), ("thick", 30.0, {}))
    planned = plan_batch(both, to=tmp_path / "out", date=DATE)
    (check,) = [check for check in by_id(planned)["thick"].checks if check.code == "refocus"]
    assert check.level == "warn"
    assert "the head runs into the blank" in check.text
    assert not [check for check in by_id(planned)["thin"].checks if check.code == "refocus"]
    checked = {piece.piece.id: piece.checks for piece in check_batch(both).pieces}
    for name, piece in by_id(planned).items():
        assert checked[name] == piece.checks


def test_a_thinner_blank_would_be_blurred(folder: Path, tmp_path: Path) -> None:
    both = batch_of(folder, ("thick", 30.0, {}), ("thin", 6.0, {}))
    planned = plan_batch(both, to=tmp_path / "out", date=DATE)
    thin = by_id(planned)["thin"]
    (check,) = [check for check in thin.checks if check.code == "refocus"]
    assert check.level == "note"
    assert "24.0\u00a0mm too far" in check.text
    (one,) = thin.set_ups
    assert one.bed_down_mm == pytest.approx(-24.0)
    assert one.forgotten is not None
    assert f"{one.forgotten.spot_diameter_mm:.2f}\u00a0mm instead of" in check.text


def test_the_demo_sets_the_focus_no_more_often_than_any_order_needs(demo: Planned) -> None:
    runs = [settings_to_make(piece) for piece in demo.plan.pieces]
    assert demo.plan.focusings() == changes(runs) == least_changes(runs)
    for piece in demo.plan.pieces:
        for mark in piece.marks:
            assert (mark.tolerance is None) == (mark.program_file is None)
    assert [facts.name for facts in demo.plan.lens_facts] == [lens.name for lens in demo.plan.machine.lenses]
    scanned = [m for p in demo.plan.pieces for m in p.marks if m.recipe.way == "scan"]
    assert all([offer.lens for offer in mark.other_lenses] == ["4 inch"] for mark in scanned)


def test_the_number_of_workers_changes_nothing(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    three = batch_of(folder, ("fine", 12.0, FINE), ("thin", 6.0, COARSE), ("coarse", 12.0, COARSE))
    two = plan_batch(three, to=tmp_path / "two", date=DATE)
    monkeypatch.setattr(planning, "WORKERS", 1)
    one = plan_batch(three, to=tmp_path / "one", date=DATE)
    assert (tmp_path / "one" / "plan.json").read_bytes() == (tmp_path / "two" / "plan.json").read_bytes()
    assert one.files == two.files
