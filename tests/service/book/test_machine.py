"""A machine of the book: what is told of it and where it comes from, what may be changed, and what is refused."""

from __future__ import annotations

from typing import Any

import pytest

from evenburn.adapters.storage.book.opening import Book
from evenburn.core.errors import ChangedMeanwhile, InvalidInput, NotFound, UnreadableFile
from evenburn.services.book.change_machine import change_machine, new_machine, new_machine_from_file, remove_machine
from evenburn.services.book.machine_of import MachinePage, machine_file, machine_of
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.undo import undo_edit
from service.book.conftest import LATER, NOW
from service.conftest import MACHINE


def there(book: Book, machine_id: str | None = None) -> MachinePage:
    found = machine_of(book, machine_id)
    assert found is not None
    return found


def test_a_book_without_a_machine_has_none(book: Book) -> None:
    assert machine_of(book) is None
    with pytest.raises(NotFound):
        machine_of(book, "nowhere")


def test_the_machine_of_the_batch_is_shown_with_units_and_provenance(book: Book, taken: TakenIn) -> None:
    found = there(book)
    assert found.machine_id == taken.machine_id
    travel = found.figure("bed_x_mm")
    assert (travel.value, travel.form.unit, travel.kind) == (600.0, "mm", "user")
    assert found.figure("corner_tolerance_mm").kind == "starting value"  # never given: as the file's reader has it
    assert found.figure("corner_tolerance_mm").value == pytest.approx(0.02)
    lens = found.lenses[0]
    assert lens.known.kind == "starting value"
    assert lens.caustic[len(lens.caustic) // 2][1] == pytest.approx(lens.waist_radius_mm)


def test_run_up_is_what_the_acceleration_asks(book: Book, taken: TakenIn) -> None:
    change_machine(book, taken.machine_id, {"jerk_mm_per_s3": None, "accel_x_mm_per_s2": 5000.0}, version=1, now=NOW)
    reach = there(book).reaches[0]
    assert reach.speed_mm_per_s == pytest.approx(600.0)
    assert reach.run_up_x_mm == pytest.approx(36.0)  # v²/2a of 600 mm/s at 5000 mm/s², as the drawn piece sheet has it


def test_a_change_is_kept_told_and_undone(book: Book, taken: TakenIn) -> None:
    saved = change_machine(
        book,
        taken.machine_id,
        {"accel_x_mm_per_s2": 4800.0, "lens[1].focus_stand_off_mm": 9.7, "air_kPa": None},
        version=1,
        now=LATER,
    )
    found = there(book)
    assert found.version == saved.version == 2
    assert found.figure("accel_x_mm_per_s2").value == pytest.approx(4800.0)
    assert found.lenses[0].focus_stand_off_mm == pytest.approx(9.7)
    assert found.air_kPa == ()
    undo_edit(book, saved.edit_id, now=LATER)
    assert there(book).figure("accel_x_mm_per_s2").value == pytest.approx(5000.0)


def test_the_later_of_two_windows_is_told(book: Book, taken: TakenIn) -> None:
    change_machine(book, taken.machine_id, {"bed_x_mm": 610.0}, version=1, now=NOW)
    with pytest.raises(ChangedMeanwhile):
        change_machine(book, taken.machine_id, {"bed_x_mm": 590.0}, version=1, now=LATER)
    assert there(book).bed_x_mm == pytest.approx(610.0)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"bed_x_mm": -1.0}, "bed_x_mm"),
        ({"accel_x_mm_per_s2": None}, "accel_x_mm_per_s2"),
        ({"power_cap_fraction": 0.05}, "power_least_fraction"),
        ({"power_curve": [[0.5, 31.0], [0.4, 40.0]]}, "power_curve"),
        ({"lens[1].beam_quality_m2": 0.5}, "lens[1].beam_quality_m2"),
        ({"lens[9].name": "far"}, "lens[9].name"),
        ({"speed": 3.0}, "speed"),
        ({"bed_x_mm": "wide"}, "bed_x_mm"),
    ],
)
def test_what_does_not_hold_is_said_at_its_field(
    book: Book, taken: TakenIn, changes: dict[str, Any], field: str
) -> None:
    with pytest.raises(InvalidInput) as caught:
        change_machine(book, taken.machine_id, changes, version=1, now=NOW)
    assert field in caught.value.fields
    assert there(book).version == 1


def test_lenses_come_and_go(book: Book, taken: TakenIn) -> None:
    added = {
        "lens[2].name": "4 inch",
        "lens[2].focal_length_mm": 101.6,
        "lens[2].beam_diameter_mm": 6.0,
        "lens[2].focus_stand_off_mm": 60.0,
    }
    change_machine(book, taken.machine_id, added, version=1, now=NOW)
    assert [lens.name for lens in there(book).lenses] == ["2 inch", "4 inch"]
    change_machine(book, taken.machine_id, {"lens[1]": None}, version=2, now=NOW)
    assert [lens.name for lens in there(book).lenses] == ["4 inch"]


def test_machines_are_added_named_apart_and_removed_unless_used(book: Book, taken: TakenIn) -> None:
    document = {**there(book).document, "name": "Attic bench"}
    saved = new_machine(book, document, now=NOW)
    assert saved.key == "attic-bench"
    assert [line.name for line in there(book).machines] == sorted(["Attic bench", there(book).name])
    with pytest.raises(InvalidInput) as caught:
        new_machine(book, {**document, "name": "ATTIC bench"}, now=NOW)
    assert "name" in caught.value.fields
    with pytest.raises(InvalidInput) as used:
        remove_machine(book, taken.machine_id, version=1, now=NOW)
    assert "Two for the regatta" in used.value.message
    removed = remove_machine(book, "attic-bench", version=1, now=NOW)
    assert len(there(book).machines) == 1
    undo_edit(book, removed.edit_id, now=LATER)
    assert len(there(book).machines) == 2


def test_a_machine_comes_from_its_file_and_goes_back_into_it(book: Book) -> None:
    saved = new_machine_from_file(book, MACHINE.encode(), name="machine.toml", now=NOW)
    text = machine_file(book, str(saved.key))
    again = new_machine_from_file(
        book, text.replace("Test bench", "Other").replace('name = "', 'name = "Other ', 1).encode(), name="m", now=NOW
    )
    one, other = there(book, str(saved.key)), there(book, str(again.key))
    assert {**other.document, "name": ""} == {**one.document, "name": ""}
    with pytest.raises(UnreadableFile):
        new_machine_from_file(book, b"\xff\xfe", name="machine.toml", now=NOW)
    with pytest.raises(InvalidInput):
        new_machine_from_file(book, b'name = "x"', name="machine.toml", now=NOW)
