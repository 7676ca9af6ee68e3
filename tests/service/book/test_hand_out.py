"""No program is handed out that does not hold against the machine as it is: of plans, of cards, from backups made to deceive."""

from __future__ import annotations

import hashlib
import json
import zipfile
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.keeping import path_of
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change, row_of
from evenburn.adapters.storage.book.tables import card, machine, photograph, plan
from evenburn.core.errors import NotFound
from evenburn.services.book.at_a_glance import glances
from evenburn.services.book.back_up_book import back_up_book
from evenburn.services.book.hand_out import NotHandedOut
from evenburn.services.book.learn_wood import BookCardWish, add_card
from evenburn.services.book.machine_cards import (
    CardKind,
    fault_of_machine_card,
    file_of_card,
    machine_card_of,
    make_machine_card,
    packed_card,
)
from evenburn.services.book.piece_of import piece_of
from evenburn.services.book.plan_piece import plan_of, plan_piece
from evenburn.services.book.programs_of import file_of, files_of
from evenburn.services.book.restore_book import restore_book
from evenburn.services.book.take_in import TakenIn
from evenburn.services.book.wood_cards import card_file, fault_of_wood_card
from service.book.conftest import LATER, NOW

FORGED = b"G21\nG90\nG94\nG17\nM5\nM3 S1000\nG0 X9999 Y50\nG1 X10 F6000\nM5\nM2\n"


def set_machine(book: Book, machine_id: str, **values: object) -> None:
    with book.writing() as connection:
        row = row_of(connection, machine, machine_id)
        document = {**row["document"], **values}
        change(connection, [Change(table=machine, key=machine_id, values={"document": document}, version=row["version"])], what="figures", now=LATER)  # fmt: skip


def set_lens(book: Book, machine_id: str, **values: object) -> None:
    with book.reading() as connection:
        lenses = row_of(connection, machine, machine_id)["document"]["lens"]
    set_machine(book, machine_id, lens=[{**lenses[0], **values}, *lenses[1:]])


# ---- plans -------------------------------------------------------------------------------------------------------


def test_the_programs_of_a_stale_plan_are_not_handed_out_and_its_papers_are(book: Book, taken: TakenIn) -> None:
    plaque = taken.piece_ids[0]
    plan_piece(book, plaque, now=NOW)
    assert file_of(book, plaque, "plaque-front.ngc").data.startswith(b"(")
    set_machine(book, taken.machine_id, bed_x_mm=210.0)

    for name in ("plaque-front.ngc", "plaque-front-trace.ngc", "PLAQUE-FRONT.NGC"):
        with pytest.raises(NotHandedOut, match="plan is older") as told:
            file_of(book, plaque, name)
        assert "Plan it anew" in told.value.hint
    stale = plan_of(book, plaque)
    assert stale is not None
    kinds = {one.kind for one in files_of(stale, stale.document())}
    assert {"proof", "run sheet", "burn image"} <= kinds
    assert not kinds & {"program", "dry trace"}
    assert file_of(book, plaque, "run-sheet.pdf").data.startswith(b"%PDF")

    set_machine(book, taken.machine_id, bed_x_mm=600.0)  # as it was: the plan is of now again
    assert file_of(book, plaque, "plaque-front.ngc").data.startswith(b"(")


def test_a_restored_book_has_no_program_of_a_plan_before_it_plans(book: Book, taken: TakenIn, tmp_path: Path) -> None:
    plan_piece(book, taken.piece_ids[0], now=NOW)
    again = restore_book(back_up_book(book, tmp_path / "b.zip", now=NOW), tmp_path / "again")
    with pytest.raises(NotFound, match="no files yet"):
        file_of(again, taken.piece_ids[0], "plaque-front.ngc")
    again.close()


@pytest.mark.parametrize("kind", ["absolute", "upwards", "none", "capitals"])
def test_a_row_that_names_a_folder_elsewhere_is_no_plan(book: Book, taken: TakenIn, tmp_path: Path, kind: str) -> None:
    plaque = taken.piece_ids[0]
    planned = plan_piece(book, plaque, now=NOW)
    elsewhere = planned.folder.rename(tmp_path / "elsewhere")
    assert (elsewhere / "plaque-front.ngc").is_file()
    named = {
        "absolute": str(elsewhere),
        "upwards": "../../elsewhere",
        "none": "",
        "capitals": planned.inputs_sha256.upper(),
    }[kind]
    with book.writing() as connection:
        connection.execute(sa.update(plan).values(inputs_sha256=named[:64], folder=str(elsewhere)))

    assert plan_of(book, plaque) is None
    assert glances(book, [plaque]) == {}
    assert piece_of(book, plaque).plan is None
    with pytest.raises(NotFound):
        file_of(book, plaque, "plaque-front.ngc")
    assert plan_piece(book, plaque, now=LATER).folder.parent == book.files.parent / "plans"  # and it is planned as any


@pytest.mark.parametrize("name", ["../../secret.txt", "/etc/hostname", "..", ".", "a/b.png", "", "a\0.png"])
def test_a_plan_lists_no_file_outside_its_folder(book: Book, taken: TakenIn, name: str) -> None:
    plaque = taken.piece_ids[0]
    planned = plan_piece(book, plaque, now=NOW)
    (book.files.parent / "secret.txt").write_text("mine")
    document = planned.document()
    document["pieces"][0]["marks"][0]["files"]["image"] = name
    (planned.folder / "plan.json").write_text(json.dumps(document))

    assert name not in {one.name for one in files_of(planned, document)}
    with pytest.raises(NotFound):
        file_of(book, plaque, name)


# ---- cards -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["motion", "beam"])
def test_a_card_of_the_machine_is_verified_whenever_it_is_asked_for(book: Book, taken: TakenIn, kind: CardKind) -> None:
    card_id = make_machine_card(book, taken.machine_id, kind, wood_id="club-maple", now=NOW)
    program = next(name for name in machine_card_of(book, card_id).files if name.endswith(".ngc"))
    assert fault_of_machine_card(book, card_id) == ""
    set_machine(book, taken.machine_id, bed_x_mm=210.0)

    with pytest.raises(NotHandedOut, match=r"ngc does not pass on the machine as it is now: line \d+, .*210") as told:
        file_of_card(book, card_id, program)
    assert told.value.hint == "Make the card anew."
    with pytest.raises(NotHandedOut):
        packed_card(book, card_id)
    assert file_of_card(book, card_id, "mat.pdf")[0].startswith(b"%PDF")

    set_machine(book, taken.machine_id, bed_x_mm=600.0)
    assert packed_card(book, card_id)[:2] == b"PK"


@pytest.mark.parametrize(
    ("values", "word"),
    [
        ({"power_word_max": 255.0}, "S word"),
        ({"power_word_max": 4000.0}, "S word"),  # every S is allowed still, and means a quarter
        ({"power_max_W": 70.0, "power_curve": [[0.1, 4.0], [1.0, 70.0]]}, "power on the work"),
        ({"power_curve": [[0.1, 4.0], [1.0, 60.0]]}, "power at each fraction"),
        ({"post_processor": {"on_word": "M4"}}, "controller"),
        ({"power_cap_fraction": 0.2}, "does not pass"),
        ({"speed_max_mm_per_s": 60.0}, "does not pass"),
    ],
)
def test_what_the_words_of_a_card_come_to_counts(
    book: Book, taken: TakenIn, values: dict[str, object], word: str
) -> None:
    card_id = make_machine_card(book, taken.machine_id, "motion", wood_id="club-maple", now=NOW)
    set_machine(book, taken.machine_id, **values)
    assert word in fault_of_machine_card(book, card_id)


def test_what_a_card_measures_does_not_make_it_stale(book: Book, taken: TakenIn) -> None:
    """A stopwatch card is burnt again after the machine took its numbers over; a wood's card rests on them."""
    motion = make_machine_card(book, taken.machine_id, "motion", wood_id="club-maple", now=NOW)
    ladder = make_machine_card(book, taken.machine_id, "beam", wood_id="club-maple", now=NOW)
    wood_card = add_card(book, "beech", BookCardWish(machine_id=taken.machine_id), now=NOW)
    set_machine(book, taken.machine_id, accel_x_mm_per_s2=4000.0)
    set_lens(book, taken.machine_id, focus_stand_off_mm=9.0)

    assert (fault_of_machine_card(book, motion), fault_of_machine_card(book, ladder)) == ("", "")
    fault = fault_of_wood_card(book, wood_card)
    assert "acceleration along x" in fault
    assert "stand-off" in fault


def test_a_lens_or_a_machine_that_is_gone_is_told(book: Book, taken: TakenIn) -> None:
    card_id = make_machine_card(book, taken.machine_id, "beam", wood_id="club-maple", now=NOW)
    set_lens(book, taken.machine_id, name="another")
    assert "lens 2 inch is gone" in fault_of_machine_card(book, card_id)
    with book.writing() as connection:
        connection.execute(sa.update(machine).values(removed_at=LATER))
    assert "not in the book any more" in fault_of_machine_card(book, card_id)


def test_a_card_of_a_wood_is_verified_whenever_it_is_asked_for(book: Book, taken: TakenIn) -> None:
    card_id = add_card(book, "beech", BookCardWish(machine_id=taken.machine_id), now=NOW)
    assert card_file(book, card_id, "card.ngc")[1] == "text/plain"
    set_machine(book, taken.machine_id, bed_x_mm=210.0)

    with pytest.raises(NotHandedOut, match="does not pass"):
        card_file(book, card_id, "card.ngc")
    assert card_file(book, card_id, "mat.pdf")[0].startswith(b"%PDF")


def test_a_card_that_does_not_tell_what_it_was_made_for_gives_no_program(book: Book, taken: TakenIn) -> None:
    card_id = add_card(book, "beech", BookCardWish(machine_id=taken.machine_id), now=NOW)
    with book.writing() as connection:
        connection.execute(sa.delete(photograph).where(photograph.c.name.like("card/machine/%")))
    with pytest.raises(NotHandedOut, match="does not know"):
        card_file(book, card_id, "card.ngc")


# ---- backups made to deceive -------------------------------------------------------------------------------------


def forged_backup(source: Path, *, names: set[str], data: bytes, to: Path) -> Path:
    """Write a backup anew, sound in all its hashes, in which files of cards hold something else."""
    sha256 = hashlib.sha256(data).hexdigest()
    with zipfile.ZipFile(source) as sound, zipfile.ZipFile(to, "w") as made:
        tables: dict[str, list[dict[str, Any]]] = {
            key: [json.loads(line) for line in sound.read(f"tables/{key}.jsonl").splitlines()]
            for key in ("photograph", "file")
        }
        index = json.loads(sound.read("book.json"))
        for row in tables["photograph"]:
            if row["name"] in names:
                row["sha256"] = sha256
        tables["file"].append({**tables["file"][0], "sha256": sha256, "bytes": len(data)})
        index["rows"]["file"] += 1
        for info in sound.infolist():
            key = info.filename.removeprefix("tables/").removesuffix(".jsonl")
            if key in tables:
                made.writestr(info.filename, "".join(json.dumps(row) + "\n" for row in tables[key]))
            elif info.filename == "book.json":
                made.writestr(info.filename, json.dumps(index))
            else:
                made.writestr(info.filename, sound.read(info))
        made.writestr(f"files/{sha256}", data)
    return to


@pytest.mark.parametrize("data", [FORGED, b"\xff\xfe\x00", b""], ids=["out of the bed", "no text", "empty"])
def test_a_forged_program_is_restored_and_never_handed_out(
    book: Book, taken: TakenIn, tmp_path: Path, data: bytes
) -> None:
    of_wood = add_card(book, "beech", BookCardWish(machine_id=taken.machine_id), now=NOW)
    of_machine = make_machine_card(book, taken.machine_id, "motion", wood_id="club-maple", now=NOW)
    sound = back_up_book(book, tmp_path / "sound.zip", now=NOW)
    names = {"card/card.ngc", f"machine/{taken.machine_id}/card.ngc"}
    forged = forged_backup(sound, names=names, data=data, to=tmp_path / "forged.zip")

    again = restore_book(forged, tmp_path / "again")
    try:
        with again.reading() as connection:
            kept = connection.execute(sa.select(photograph.c.sha256).where(photograph.c.name == "card/card.ngc"))
            assert path_of(again, kept.scalar_one()).read_bytes() == data  # it did come in
            assert connection.execute(sa.select(sa.func.count()).select_from(card)).scalar_one() == 2
        with pytest.raises(NotHandedOut, match="does not pass"):
            card_file(again, of_wood, "card.ngc")
        for name in ("card.ngc", "stopwatch-1.ngc"):
            with pytest.raises(NotHandedOut, match="does not pass"):
                file_of_card(again, of_machine, name)
        with pytest.raises(NotHandedOut):
            packed_card(again, of_machine)
    finally:
        again.close()


def test_a_program_under_another_ending_is_no_file_of_a_card(book: Book, taken: TakenIn) -> None:
    card_id = make_machine_card(book, taken.machine_id, "motion", wood_id="club-maple", now=NOW)
    with book.writing() as connection:
        row = connection.execute(sa.select(photograph).where(photograph.c.name.like("%/card.ngc"))).mappings().one()
        for name in ("card.nc", "card.NGC"):
            values = {**row, "id": None, "name": f"machine/{taken.machine_id}/{name}"}
            connection.execute(sa.insert(photograph).values({k: v for k, v in values.items() if k != "id"}))
    set_machine(book, taken.machine_id, bed_x_mm=210.0)

    assert "card.nc" not in machine_card_of(book, card_id).files
    with pytest.raises(NotFound):
        file_of_card(book, card_id, "card.nc")
    with pytest.raises(NotHandedOut):
        file_of_card(book, card_id, "card.NGC")
