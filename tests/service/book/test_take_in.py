"""A batch folder goes into the book and comes out of it the same."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import card, curve, photograph, piece, reading, wood
from evenburn.core.errors import InvalidInput, NotFound, StorageError, UnreadableFile
from evenburn.services.book.lay_out import lay_out_batch, lay_out_piece, toml_text
from evenburn.services.book.names import file_name, new_id
from evenburn.services.book.plan_piece import plan_piece
from evenburn.services.book.take_in import TakenIn, take_in_batch
from evenburn.services.book.woods_of import wood_of
from evenburn.services.demo import lay_out_demo
from evenburn.services.plan_batch import plan_batch
from service.book.conftest import LATER, NOW, small_batch

DATE = "2026-06-09"


def _planned(folder: Path, to: Path) -> list[dict[str, Any]]:
    plan_batch(folder, to=to, date=DATE)
    text = (to / "plan.json").read_text().replace("art/Crew & Cox.svg", "crew-cox.svg")  # its plain name in the book
    pieces: list[dict[str, Any]] = json.loads(text)["pieces"]
    return pieces


def test_what_was_taken_in_is_planned_as_it_was(book: Book, taken: TakenIn, batch_folder: Path, tmp_path: Path) -> None:
    out = lay_out_batch(book, taken.batch_id, to=tmp_path / "laid")
    before, after = _planned(batch_folder, tmp_path / "a"), _planned(out.folder, tmp_path / "b")
    for piece_before, piece_after in zip(before, after, strict=True):
        assert piece_before == piece_after
    assert (tmp_path / "laid" / "crew-cox.svg").read_text() == (batch_folder / "art" / "Crew & Cox.svg").read_text()
    assert out.slugs == ("plaque", "tag")


def test_one_piece_is_laid_out_with_what_it_needs_and_no_more(book: Book, taken: TakenIn, tmp_path: Path) -> None:
    out = lay_out_piece(book, taken.piece_ids[1], to=tmp_path / "laid")
    there = {str(p.relative_to(out.folder)) for p in out.folder.rglob("*") if p.is_file()}
    assert there == {"batch.toml", "machine.toml", "woods/beech.toml", "tag.svg"}
    again = lay_out_piece(book, taken.piece_ids[1], to=tmp_path / "laid")  # over the former
    assert again.inputs_sha256 == out.inputs_sha256
    assert not list(tmp_path.glob(".laying-*"))


def test_a_day_of_a_woods_file_is_kept_as_text_and_planned_with(book: Book, batch_folder: Path) -> None:
    file = batch_folder / "woods" / "club-maple.toml"
    told = (
        'confirmed_by = "R. Moorhen"\nconfirmed_on = 2026-06-01\n'  # a date of TOML, as docs/reference/wood.md has it
    )
    file.write_text(file.read_text().replace("hard maple", "MDF, 6 mm") + told)

    taken = take_in_batch(book, batch_folder, now=NOW)

    page = wood_of(book, "club-maple")
    assert (page.confirmed_by, page.confirmed_on) == ("R. Moorhen", "2026-06-01")
    (piece,) = plan_piece(book, taken.piece_ids[0], now=NOW).document()["pieces"]
    assert piece["confirmation"] == {"by": "R. Moorhen", "on": "2026-06-01"}
    assert take_in_batch(book, batch_folder, now=NOW).wood_ids == taken.wood_ids  # known again


def test_the_woods_curve_is_the_one_it_works_with(book: Book, taken: TakenIn) -> None:
    with book.reading() as connection:
        row = connection.execute(sa.select(wood).where(wood.c.id == "club-maple")).mappings().one()
        document = connection.execute(sa.select(curve.c.document).where(curve.c.id == row["curve_id"])).scalar_one()
    assert row["document"] == {"name": "hard maple", "surface": "sanded"}
    assert document["provenance"]["kind"] == "fitted"
    assert set(taken.wood_ids) == {"beech", "club-maple"}


def test_taken_in_twice_it_stands_twice_and_shares_what_is_the_same(
    book: Book, taken: TakenIn, batch_folder: Path
) -> None:
    again = take_in_batch(book, batch_folder, now=LATER)
    assert again.batch_id == f"{taken.batch_id}-2"
    assert (again.machine_id, again.wood_ids, again.notes) == (taken.machine_id, taken.wood_ids, ())


def test_another_wood_of_the_same_name_is_kept_beside(book: Book, taken: TakenIn, tmp_path: Path) -> None:
    other = small_batch(tmp_path / "other")
    curve_file = other / "woods" / "club.json"
    document = json.loads(curve_file.read_text())
    document["x_char"] -= 0.01
    curve_file.write_text(json.dumps(document))
    (other / "art" / "Crew & Cox.svg").write_text((other / "art" / "tag.svg").read_text())
    machine_file = other / "machine.toml"
    machine_file.write_text(machine_file.read_text().replace("bed_x_mm = 600.0", "bed_x_mm = 700.0"))
    second = take_in_batch(book, other, now=LATER)
    assert "club-maple-2" in second.wood_ids
    assert second.machine_id == f"{taken.machine_id}-2"
    assert len(second.notes) == 2
    third = take_in_batch(book, other, now=LATER)
    assert third.wood_ids == second.wood_ids
    with book.reading() as connection:
        documents = connection.execute(sa.select(piece.c.document).where(piece.c.slug == "plaque")).scalars().all()
    assert [d["wood"] for d in documents] == ["club-maple", "club-maple-2", "club-maple-2"]
    assert [d["mark"][0]["art"] for d in documents] == ["crew-cox.svg", "tag.svg", "tag.svg"]  # by what is in it


def test_the_demos_card_comes_along_with_its_photograph(book: Book, tmp_path: Path) -> None:
    folder = lay_out_demo(tmp_path)
    made = take_in_batch(book, folder, now=NOW)
    assert len(made.piece_ids) == 13
    with book.reading() as connection:
        assert connection.execute(sa.select(card.c.wood_id, card.c.kind)).all() == [("hard-maple", "wood")]
        assert connection.execute(sa.select(photograph.c.name)).scalars().all() == ["photo.jpg"]
        assert connection.execute(sa.select(reading)).all() == []
    take_in_batch(book, folder, now=LATER)
    with book.reading() as connection:
        assert connection.execute(sa.select(sa.func.count()).select_from(card)).scalar_one() == 1


def test_a_folder_with_faults_is_told_whole_and_nothing_is_taken_in(book: Book, batch_folder: Path) -> None:
    text = (batch_folder / "batch.toml").read_text().replace("thickness_mm = 5.0", "thickness_mm = -5.0")
    (batch_folder / "batch.toml").write_text(text.replace('"solid"', '"sold"'))
    with pytest.raises(InvalidInput) as told:
        take_in_batch(book, batch_folder, now=NOW)
    assert set(told.value.fields) == {"piece[1].mark[1].treatment", "piece[2].blank.thickness_mm"}
    with pytest.raises(NotFound):
        take_in_batch(book, batch_folder / "nowhere", now=NOW)
    with book.reading() as connection:
        assert connection.execute(sa.select(piece)).all() == []


def test_a_wood_or_card_that_no_piece_needs_must_hold_too(book: Book, batch_folder: Path) -> None:
    (batch_folder / "woods" / "oak.toml").write_text('name = "oak"\nsurfac = "bare"\n')
    with pytest.raises(InvalidInput, match=r"oak\.toml.*surfac"):
        take_in_batch(book, batch_folder, now=NOW)
    (batch_folder / "woods" / "oak.toml").write_text('name = "oak"\n')
    (batch_folder / "cards" / "oak").mkdir(parents=True)
    (batch_folder / "cards" / "oak" / "card.json").write_text("[]")
    with pytest.raises(UnreadableFile, match="cards/oak"):
        take_in_batch(book, batch_folder, now=NOW)


def test_a_folder_that_holds_something_else_is_left_alone(book: Book, taken: TakenIn, tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear club")
    with pytest.raises(StorageError, match="something else"):
        lay_out_batch(book, taken.batch_id, to=tmp_path / "mine")
    with pytest.raises(NotFound):
        lay_out_batch(book, "no-such-batch", to=tmp_path / "out")
    with pytest.raises(NotFound):
        lay_out_piece(book, 4711, to=tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_file_that_is_lost_is_told(book: Book, taken: TakenIn, tmp_path: Path) -> None:
    for path in book.files.rglob("*"):
        if path.is_file():
            path.unlink()
    with pytest.raises(StorageError, match="file is missing"):
        lay_out_batch(book, taken.batch_id, to=tmp_path / "out")
    assert not (tmp_path / "out").exists()
    assert not list(tmp_path.glob(".laying-*"))


@pytest.mark.parametrize(
    ("written", "named"),
    [
        ("../../etc/passwd", "passwd.svg"),
        ("art\\Crew & Cox (final).SVG", "crew-cox-final.svg"),
        ("Übungsboot.svg", "ubungsboot.svg"),
        ("花.svg", "artwork.svg"),
        (".svg", "svg.svg"),
        ("x" * 300 + ".svg", "x" * 80 + ".svg"),
        ("CON\0.svg", "con.svg"),
    ],
)
def test_what_a_person_wrote_becomes_a_plain_name(written: str, named: str) -> None:
    assert file_name(written, (), endings=(".svg", ".png")) == named


def test_an_id_that_is_taken_is_numbered() -> None:
    assert new_id("Novice Fours!", {"novice-fours", "novice-fours-2"}, otherwise="piece") == "novice-fours-3"
    assert new_id("…", (), otherwise="piece") == "piece"
    assert len(new_id("a" * 200, {"a" * 64}, otherwise="piece")) == 64


def test_a_machine_is_written_as_it_is_read() -> None:
    document = {
        "name": 'a "bench"\n\x7f',
        "power_curve": [[0.1, 4.0], [1.0, 60.0]],
        "lens": [{"name": "2 inch", "beam_quality_m2": 1e-7}],
        "post_processor": {"opening_lines": ["M8"]},
        "on": True,
    }
    assert tomllib.loads(toml_text(document)) == document
