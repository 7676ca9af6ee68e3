"""Woods put in, changed, taken out; the curve they work with; and each of it undone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa

from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import curve, piece, wood
from evenburn.core.errors import ChangedMeanwhile, InvalidInput, NotFound
from evenburn.services.book.change_wood import NewWood, change_wood, new_wood, remove_wood, take_curve
from evenburn.services.book.inputs import inputs_sha256, sources_of
from evenburn.services.book.plan_piece import plan_of, plan_piece
from evenburn.services.book.take_in import TakenIn, take_in_batch
from evenburn.services.book.undo import edit_line, undo_edit
from evenburn.services.book.woods_of import list_woods, wood_of
from service.book.conftest import LATER, NOW


def wrong(book: Book, **wish: str) -> dict[str, str]:
    with pytest.raises(InvalidInput) as caught:
        new_wood(book, NewWood(**{"called": "Oak", "begins": "same", "of": "oak", **wish}), now=NOW)  # type: ignore[arg-type]
    return caught.value.fields


def test_a_wood_that_ships_begins_with_its_starting_value(book: Book) -> None:
    saved = new_wood(book, NewWood(called=" Oak,  lot O-1 ", begins="same", of="oak", surface="oiled"), now=NOW)
    page = wood_of(book, str(saved.key))
    assert (saved.key, page.name, page.what, page.surface) == ("oak-lot-o-1", "Oak, lot O-1", "oak", "oiled")
    assert (page.kind, page.curve_id) == ("starting value", None)
    undo_edit(book, saved.edit_id, now=LATER)
    assert list_woods(book).count == 0


def test_another_wood_begins_with_the_curve_of_one_it_is_like(book: Book) -> None:
    page = wood_of(book, str(new_wood(book, NewWood(called="Pear", begins="like", of="cherry"), now=NOW).key))
    assert (page.what, page.kind) == ("pear", "starting value")
    assert "like cherry" in page.detail
    assert page.bare_L == pytest.approx(shipped_wood("cherry").curve.bare_L)


@pytest.mark.usefixtures("taken")
def test_a_new_lot_begins_with_its_species_and_is_less_sure(book: Book) -> None:
    saved = new_wood(book, NewWood(called="Maple, lot 2", begins="lot", of="club-maple"), now=NOW)
    lot, known = wood_of(book, str(saved.key)), wood_of(book, "club-maple")
    assert (lot.what, lot.surface, lot.kind) == ("hard maple", "sanded", "starting value")
    assert "from hard maple" in lot.detail
    assert lot.bare_L == pytest.approx(known.bare_L)
    assert lot.kappa_sd < 1.0
    assert lot.tone_sd_L > 3.0  # lots lie 4 L* apart in their bare tone and 0.12 decades in exposure, from memory


def test_ids_never_make_it_another_wood(book: Book) -> None:
    assert new_wood(book, NewWood(called="Oak", begins="like", of="beech"), now=NOW).key == "oak"
    assert new_wood(book, NewWood(called="Teak", begins="lot", of="oak"), now=NOW).key != "teak"


@pytest.mark.parametrize("called", ["PVC sheet", "Vinyl sign, white", "Pressure treated decking"])
def test_what_must_not_be_burnt_is_refused_where_it_is_named(book: Book, called: str) -> None:
    told = wrong(book, called=called)
    assert "must not be burnt" in told["called"]
    assert list_woods(book).count == 0


def test_what_is_doubtful_is_refused_until_somebody_vouches_for_it(book: Book) -> None:
    assert "doubtful" in wrong(book, called="MDF offcuts")["confirmed_by"]
    assert "doubtful" in wrong(book, called="Stained oak boards")["confirmed_by"]
    assert "doubtful" in wrong(book, surface="lacquered")["confirmed_by"]
    wish = NewWood(called="MDF offcuts", begins="same", of="birch-plywood", confirmed_by="A. Swann")
    page = wood_of(book, str(new_wood(book, wish, now=NOW).key))
    assert [(c.level, c.code) for c in page.checks if c.code == "doubtful-material"] == [("warn", "doubtful-material")]
    assert (page.confirmed_by, page.confirmed_on) == ("A. Swann", NOW[:10])


def test_who_vouches_and_when_go_together(book: Book) -> None:
    key = str(new_wood(book, NewWood(called="Oak", begins="same", of="oak"), now=NOW).key)
    change_wood(book, key, {"confirmed_by": "A. Swann"}, version=1, now=NOW)
    change_wood(book, key, {"cut_J_per_mm3": 12.0}, version=2, now="2026-07-01T08:00:00+00:00")
    assert wood_of(book, key).confirmed_on == NOW[:10]  # the day of the word, not of a later change
    change_wood(book, key, {"confirmed_by": None}, version=3, now=LATER)
    assert (wood_of(book, key).confirmed_by, wood_of(book, key).confirmed_on) == (None, None)


def test_every_fault_of_a_form_is_told_at_once(book: Book) -> None:
    with pytest.raises(InvalidInput) as caught:
        new_wood(book, NewWood(called=" ", begins="same", of="oak", surface="wet", cut_J_per_mm3=-1.0), now=NOW)
    assert set(caught.value.fields) == {"called", "surface", "cut_J_per_mm3"}
    assert set(wrong(book, of="ebony")) == {"of"}
    with pytest.raises(NotFound):
        new_wood(book, NewWood(called="Oak", begins="lot", of="ebony"), now=NOW)


@pytest.mark.usefixtures("taken")
def test_a_wood_is_changed_once_and_the_second_window_is_told(book: Book) -> None:
    saved = change_wood(book, "beech", {"called": "Beech, lot B", "surface": "sanded"}, version=1, now=NOW)
    page = wood_of(book, "beech")
    assert (page.name, page.what, page.surface, page.version) == ("Beech, lot B", "beech", "sanded", saved.version)
    with pytest.raises(ChangedMeanwhile):
        change_wood(book, "beech", {"surface": "oiled"}, version=1, now=LATER)
    undo_edit(book, saved.edit_id, now=LATER)
    assert (wood_of(book, "beech").name, wood_of(book, "beech").surface) == ("beech", "bare")


@pytest.mark.usefixtures("taken")
@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"called": ""}, "called"),
        ({"called": "PVC"}, "called"),
        ({"surface": "wet"}, "surface"),
        ({"name": "ebony"}, "name"),
        ({"name": "mdf"}, "confirmed_by"),
        ({"called": "MDF", "confirmed_by": "A. Swann"}, "called"),
        ({"colour": "red"}, "colour"),
        ({"cut_J_per_mm3": 1e9}, "cut_J_per_mm3"),
    ],
)
def test_a_change_that_does_not_hold_is_refused_at_its_field(
    book: Book, changes: dict[str, object], field: str
) -> None:
    with pytest.raises(InvalidInput) as caught:
        change_wood(book, "beech", changes, version=1, now=NOW)
    assert field in caught.value.fields
    assert wood_of(book, "beech").version == 1


def test_a_wood_of_which_pieces_are_stays(book: Book, taken: TakenIn) -> None:
    with pytest.raises(InvalidInput, match="1 piece is of beech"):
        remove_wood(book, "beech", version=1, now=NOW)
    with book.writing() as connection:
        connection.execute(sa.update(piece).where(piece.c.id == taken.piece_ids[1]).values(removed_at=NOW))
    saved = remove_wood(book, "beech", version=1, now=NOW)
    with pytest.raises(NotFound):
        wood_of(book, "beech")
    undo_edit(book, saved.edit_id, now=LATER)
    assert wood_of(book, "beech").name == "beech"


def test_another_curve_makes_plans_stale_and_undo_makes_them_fresh_again(book: Book, taken: TakenIn) -> None:
    def planned_with() -> str:
        with book.reading() as connection:
            document = connection.execute(
                sa.select(piece.c.document).where(piece.c.id == taken.piece_ids[0])
            ).scalar_one()
            return inputs_sha256(sources_of(connection, taken.batch_id, [document]), [document])

    before, own = planned_with(), wood_of(book, "club-maple")
    saved = take_curve(book, "club-maple", None, version=1, now=NOW)
    assert wood_of(book, "club-maple").kind == "starting value"
    assert planned_with() != before
    undo_edit(book, saved.edit_id, now=LATER)
    assert planned_with() == before
    assert wood_of(book, "club-maple").curve_id == own.curve_id


@pytest.mark.usefixtures("taken")
def test_only_curves_of_the_wood_itself_can_be_taken(book: Book) -> None:
    with book.reading() as connection:
        theirs = connection.execute(sa.select(curve.c.id).where(curve.c.wood_id == "club-maple")).scalar_one()
    with pytest.raises(NotFound):
        take_curve(book, "beech", theirs, version=1, now=NOW)
    with pytest.raises(InvalidInput, match="already"):
        take_curve(book, "club-maple", theirs, version=1, now=NOW)
    pear = new_wood(book, NewWood(called="Pear", begins="like", of="cherry"), now=NOW)
    with pytest.raises(InvalidInput, match="no starting value"):
        take_curve(book, str(pear.key), None, version=1, now=NOW)


def test_who_confirms_stands_in_the_log_and_another_material_or_lot_is_confirmed_anew(book: Book) -> None:
    wish = NewWood(called="Tooling leather", begins="like", of="beech", confirmed_by="R. Moorhen, by the maker’s sheet")
    made = new_wood(book, wish, now=NOW)
    assert edit_line(book, int(made.edit_id)).what == (
        "Tooling leather put in; R. Moorhen, by the maker’s sheet confirms that it may be burnt"
    )
    with pytest.raises(InvalidInput) as caught:  # not of another delivery
        new_wood(book, NewWood(called="Tooling leather, lot 2", begins="lot", of=str(made.key)), now=LATER)
    assert list(caught.value.fields) == ["confirmed_by"]
    changed = change_wood(book, str(made.key), {"confirmed_by": "J. Coot"}, version=1, now=LATER)
    assert (
        edit_line(book, int(changed.edit_id)).what == "Tooling leather changed; J. Coot confirms that it may be burnt"
    )


def test_what_was_confirmed_of_bare_oak_was_not_confirmed_of_lacquer(book: Book) -> None:
    key = str(new_wood(book, NewWood(called="Oak", begins="same", of="oak", confirmed_by="R. Moorhen"), now=NOW).key)

    with pytest.raises(InvalidInput) as caught:
        change_wood(book, key, {"surface": "lacquered"}, version=1, now=LATER)
    assert list(caught.value.fields) == ["confirmed_by"]

    change_wood(
        book, key, {"surface": "lacquered", "confirmed_by": "R. Moorhen"}, version=1, now="2026-07-01T08:00:00Z"
    )
    assert wood_of(book, key).confirmed_on == "2026-07-01"


BARN = NewWood(called="Reclaimed oak from the barn", begins="same", of="oak", confirmed_by="R. Moorhen")


@pytest.mark.parametrize(
    "changes", [{"called": "Driftwood, river bank"}, {"name": "elm, reclaimed"}, {"surface": "lacquered"}]
)
def test_what_was_confirmed_of_one_board_is_not_confirmed_of_another(book: Book, changes: dict[str, str]) -> None:
    barn = replace(BARN, begins="like") if "name" in changes else BARN  # that one has a curve of its own
    key = str(new_wood(book, barn, now=NOW).key)

    with pytest.raises(InvalidInput) as caught:
        change_wood(book, key, changes, version=1, now=LATER)
    assert "doubtful" in caught.value.fields["confirmed_by"]
    assert "R. Moorhen made sure of “Reclaimed oak from the barn” as it was" in caught.value.fields["confirmed_by"]
    assert wood_of(book, key).version == 1

    saved = change_wood(book, key, {**changes, "confirmed_by": "J. Coot"}, version=1, now=LATER)
    assert "J. Coot confirms that it may be burnt" in edit_line(book, int(saved.edit_id)).what


def test_a_confirmation_stays_where_nothing_is_said_otherwise_and_goes_where_the_board_is(book: Book) -> None:
    key = str(new_wood(book, replace(BARN, called="Oak"), now=NOW).key)
    change_wood(book, key, {"called": " OAK ", "name": "Oak", "surface": "bare"}, version=1, now=LATER)
    assert wood_of(book, key).confirmed_by == "R. Moorhen"

    saved = change_wood(
        book, key, {"called": "Oak, lot 2"}, version=2, now=LATER
    )  # not doubtful: nobody has to confirm

    assert wood_of(book, key).confirmed_by is None
    assert saved.what == "OAK is now called Oak, lot 2; nobody confirms it any more"
    undo_edit(book, saved.edit_id, now=LATER)
    assert wood_of(book, key).confirmed_by == "R. Moorhen"


def test_a_confirmation_is_withdrawn_and_its_pieces_get_no_program(book: Book, batch_folder: Path) -> None:
    file = batch_folder / "woods" / "club-maple.toml"
    text = file.read_text().replace("hard maple", "MDF")
    file.write_text(text + 'confirmed_by = "R. Moorhen"\nconfirmed_on = 2026-06-01\n')
    piece_id = take_in_batch(book, batch_folder, now=NOW).piece_ids[0]
    assert plan_piece(book, piece_id, now=NOW).summary.programs == 1

    saved = change_wood(book, "club-maple", {"confirmed_by": None}, version=1, now=LATER)

    assert (
        edit_line(book, int(saved.edit_id)).what == "MDF changed; nobody confirms it any more, and it gets no program"
    )
    stale = plan_of(book, piece_id)
    assert stale is not None
    assert not stale.fresh
    again = plan_piece(book, piece_id, now=LATER)
    assert again.summary.programs == 0
    checks = again.document()["pieces"][0]["checks"]
    assert [c["level"] for c in checks if c["code"] == "doubtful-material"] == ["stop"]
    change_wood(
        book, "club-maple", {"cut_J_per_mm3": 20.0}, version=2, now=LATER
    )  # other things may still be told of it
    with pytest.raises(InvalidInput, match="doubtful"):
        change_wood(book, "club-maple", {"called": "MDF, other"}, version=3, now=LATER)
    change_wood(book, "club-maple", {"confirmed_by": "J. Coot"}, version=3, now=LATER)
    assert plan_piece(book, piece_id, now=LATER).summary.programs == 1


def test_boards_that_only_their_name_makes_doubtful_are_not_planned(book: Book, taken: TakenIn) -> None:
    with book.writing() as connection:  # the folder that planning works from does not tell what they are called
        connection.execute(sa.update(wood).where(wood.c.id == "beech").values(name="MDF offcuts, beech face"))

    with pytest.raises(InvalidInput, match="is doubtful"):
        plan_piece(book, taken.piece_ids[1], now=LATER)
