"""Put a wood into the book, change what is told of it, take it out, and choose the curve it works with; all can be undone.

What people call a wood, say "Hard maple, lot HM-2", is its name in the book; what it is, "hard maple", stands in its document, and
planning takes colours, finishing and cautions from the wood that ships under that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import sqlalchemy as sa

from evenburn.adapters.formats.curve_json import curve_document
from evenburn.adapters.formats.strict import checked
from evenburn.adapters.formats.wood_toml import WoodTable, shipped_as, shipped_ids, shipped_wood
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change, row_of
from evenburn.adapters.storage.book.tables import blank, curve, piece, wood
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.planning.materials import Material
from evenburn.services.book.names import new_id, same_words
from evenburn.services.book.saved import Saved
from evenburn.services.book.wood_cards import cards_in
from evenburn.services.book.wood_history import made_from
from evenburn.services.book.wood_rows import LEARNT, curve_of, material_of, row_with_curve, wood_of_row

SURFACES = ("bare", "sanded", "oiled", "lacquered", "masked")
CALLED_LONGEST, WHAT_LONGEST = 120, 240
KEYS = ("called", "name", "surface", "cut_J_per_mm3", "confirmed_by")
CONFIRMED = ("confirmed_by", "confirmed_on")
TAKEN = frozenset({"new"})  # an address of ours
Begins = Literal["same", "like", "lot"]


@dataclass(frozen=True, slots=True, kw_only=True)
class NewWood:
    """A wood as a person puts it in.

    Attributes
    ----------
    called : what people call it.
    begins : "same": it is the wood `of` that ships; "like": another wood, only like that one; "lot": a new lot of the
        wood `of` of the book.
    surface : None for that of the wood it is a lot of, else bare.
    confirmed_by : who made sure that a doubtful material may be burnt; None where nobody did.
    """

    called: str
    begins: Begins
    of: str
    surface: str | None = None
    cut_J_per_mm3: float | None = None
    confirmed_by: str | None = None


def new_wood(book: Book, wish: NewWood, *, now: str, wrong_already: Mapping[str, str] | None = None) -> Saved:
    """Put a wood into the book; `key` of what is returned is its id.

    Parameters
    ----------
    wrong_already : what a form saw to be wrong, to be told with all the rest.

    Raises
    ------
    InvalidInput
        With every field that does not hold; also where a wood is called so already, and where the material must not be
        burnt, or is doubtful and nobody confirms it.
    NotFound
        If what it begins with is neither shipped nor in the book.
    """
    already = dict(wrong_already or {})
    called = " ".join(wish.called.split())
    with book.writing() as connection:
        wrong = _wrong_name(wish.called) or _taken_name(connection, called)
        try:
            document, began = _beginning(connection, wish, called=called or "wood", day=now[:10])
            table = _checked(document)
        except InvalidInput as error:
            raise InvalidInput({**error.fields, **wrong, **already}) from error
        wrong = {**wrong, **_wrong_material(called, table), **already}
        if wrong:
            raise InvalidInput(wrong)
        taken = set(connection.execute(sa.select(wood.c.id)).scalars()) | TAKEN | _strange_ids(table.name)
        wood_id = new_id(called, taken, otherwise="wood")
        values = {"name": called, "document": document, "curve_id": None}
        what = f"{called} put in{_confirming(document)}"
        made = change(connection, [Change(table=wood, key=wood_id, values=values)], what=what[:WHAT_LONGEST], now=now)
        if began is not None:
            insert = sa.insert(curve).values(wood_id=wood_id, made_at=now, document=began, source=[])
            key = connection.execute(insert).inserted_primary_key
            assert key is not None  # noqa: S101  # one row was inserted
            connection.execute(sa.update(wood).where(wood.c.id == wood_id).values(curve_id=int(key[0])))
    return Saved(edit_id=made.edit_id, what=what, key=wood_id, version=1)


def _confirming(document: Mapping[str, Any]) -> str:
    """Return in words who answers for a doubtful material; empty where nobody does."""
    by = document.get("confirmed_by")
    return f"; {by} confirms that it may be burnt" if by else ""


def _strange_ids(name: str) -> set[str]:
    """Return the ids that would make the wood another one: those of woods that ship, but its own."""
    return set(shipped_ids()) - {shipped_as("", name) or ""}


def _beginning(
    connection: sa.Connection, wish: NewWood, *, called: str, day: str
) -> tuple[dict[str, Any], dict[str, Any] | None]:
    """Return the document of a new wood, and the curve it begins with where that is no shipped one by its name."""
    extra: dict[str, Any] = {} if wish.cut_J_per_mm3 is None else {"cut_J_per_mm3": wish.cut_J_per_mm3}
    if wish.confirmed_by:
        extra |= {"confirmed_by": wish.confirmed_by, "confirmed_on": day}
    if wish.begins == "lot":
        row, own = row_with_curve(connection, wish.of)
        document = {k: v for k, v in row["document"].items() if k not in CONFIRMED} | extra  # a lot is confirmed anew
        if wish.surface is not None:
            document["surface"] = wish.surface
        if own is None:
            return document, None
        return document, _curve_of_lot(own, called=str(row["name"]))
    if wish.of not in shipped_ids():
        raise InvalidInput({"of": f'"{wish.of[:40]}" is no wood that ships; there are {", ".join(shipped_ids())}'})
    document = {"name": shipped_wood(wish.of).name, "surface": wish.surface or "bare", **extra}
    if wish.begins == "same":
        return document, None
    name = called.lower()
    return {**document, "name": name}, _shipped_curve(wish.of, f"from memory, like {shipped_wood(wish.of).name}")


def _shipped_curve(wood_id: str, detail: str) -> dict[str, Any]:
    own = shipped_wood(wood_id)
    document = curve_document(own.curve, wood_name=own.name)
    detail += "; to be replaced by a card of your own lot"
    return {**document, "provenance": {"kind": "starting value", "detail": detail}}


def _curve_of_lot(own: Mapping[str, Any], *, called: str) -> dict[str, Any]:
    """Return what is believed of a new lot: the curve of the one it is like, less sure by what lots differ by."""
    from evenburn.core.card.learning import belief_of_lots

    known = curve_of(own)
    if known.provenance.kind not in LEARNT:
        return dict(own)
    belief = belief_of_lots([known])
    provenance = Provenance(kind="starting value", detail=f"from {called}; to be replaced by a card of this lot")
    lot = replace(belief.curve, covariance=belief.covariance, provenance=provenance)
    return curve_document(lot, wood_name=str(own["wood"]))


def change_wood(book: Book, wood_id: str, changes: Mapping[str, Any], *, version: int, now: str) -> Saved:
    """Change what is told of a wood: called, name, surface, cut_J_per_mm3, confirmed_by; None takes a value away.

    A confirmation is of one board: where it is called, named or finished otherwise, it is dropped unless given anew. With
    None it is withdrawn, and a doubtful material is then not burnt until somebody confirms it again.

    Raises
    ------
    InvalidInput
        With every field that does not hold.
    NotFound, ChangedMeanwhile
        If the wood is not in the book, or not as the person saw it.
    """
    strange = {key: f"is no field of a wood; there are {', '.join(KEYS)}" for key in changes if key not in KEYS}
    if strange:
        raise InvalidInput(strange)
    with book.writing() as connection:
        row, own = row_with_curve(connection, wood_id)
        called = " ".join(str(changes.get("called", row["name"])).split())
        document = {**row["document"], **{k: v for k, v in changes.items() if k != "called"}}
        other = _board(row["name"], row["document"]) != _board(called, document)
        if other and "confirmed_by" not in changes:
            document["confirmed_by"] = None  # it was confirmed of another board
        before = row["document"].get("confirmed_by")
        anew = other or document.get("confirmed_by") != before
        if anew:
            document["confirmed_on"] = None if document.get("confirmed_by") is None else now[:10]
        document = {k: v for k, v in document.items() if v is not None}
        try:
            table = _checked(document)
        except InvalidInput as error:
            raise InvalidInput({**error.fields, **_wrong_name(called)}) from error
        fields = _wrong_name(called)
        if same_words(called) != same_words(row["name"]):
            fields |= _taken_name(connection, called)
        withdrawn = before is not None and "confirmed_by" in changes and table.confirmed_by is None
        stays = not other and before is None  # a doubtful one that nobody confirms may be told more of
        fields |= _wrong_material(called, table, wood_id, unconfirmed=withdrawn or stays)
        if other and before is not None and "confirmed_by" in fields:
            fields["confirmed_by"] += f"; {before} made sure of “{row['name']}” as it was, not of this"
        if own is None and shipped_as("", table.name) is None:
            fields["name"] = f'"{table.name}" does not ship, and no curve of it was measured yet'
        elif material_of(called) is not None and material_of(table.name, table.surface, wood_id) is None:
            fields.setdefault("called", "names another material than the wood was put in as; put that in anew")
        if fields:
            raise InvalidInput(fields)
        wood_of_row(wood_id, document, own)
        what = f"{row['name']} changed" if called == row["name"] else f"{row['name']} is now called {called}"
        if anew:
            doubtful = material_of(called, table.name, wood_id, table.surface) is not None
            dropped = f"; nobody confirms it any more{', and it gets no program' if doubtful else ''}" if before else ""
            tail = _confirming(document) or dropped
            what = what[: WHAT_LONGEST - len(tail)] + tail
        values = {"name": called, "document": document}
        made = change(
            connection,
            [Change(table=wood, key=wood_id, values=values, version=version)],
            what=what[:WHAT_LONGEST],
            now=now,
        )
    return Saved(edit_id=made.edit_id, what=what, key=wood_id, version=version + 1)


def remove_wood(book: Book, wood_id: str, *, version: int, now: str) -> Saved:
    """Take a wood out of the book; undo brings it back.

    Raises
    ------
    InvalidInput
        If pieces or blanks are of it.
    NotFound, ChangedMeanwhile
        If the wood is not in the book, or not as the person saw it.
    """
    with book.writing() as connection:
        row = row_of(connection, wood, wood_id)
        using = _count(connection, piece, piece.c.wood_id == wood_id)
        lying = _count(connection, blank, blank.c.wood_id == wood_id, blank.c.left_count > 0)
        if using or lying:
            told = [f"{n} {word if n == 1 else word + 's'}" for n, word in ((using, "piece"), (lying, "blank")) if n]
            verb = "is" if using + lying == 1 else "are"
            raise InvalidInput(
                {"": f"{' and '.join(told)} {verb} of {row['name']}; it stays in the book"},
                hint="Give them another wood first, or take them out.",
            )
        what = f"{row['name']} taken out"
        made = change(connection, [Change(table=wood, key=wood_id, values=None, version=version)], what=what, now=now)
    return Saved(edit_id=made.edit_id, what=what, key=wood_id, version=version + 1)


def take_curve(book: Book, wood_id: str, curve_id: int | None, *, version: int, now: str) -> Saved:
    """Let a wood work with one of its curves, or with the starting value for None; plans of its pieces grow stale.

    Raises
    ------
    InvalidInput
        If it works with that one already, or no starting value ships for it.
    NotFound, ChangedMeanwhile
        If wood or curve is not in the book, or the wood not as the person saw it.
    """
    with book.writing() as connection:
        row = row_of(connection, wood, wood_id)
        if row["curve_id"] == curve_id:
            with_what = "its starting value" if curve_id is None else "this curve"
            raise InvalidInput({"curve": f"{row['name']} works with {with_what} already; nothing had to be changed"})
        if curve_id is None:
            if shipped_as(wood_id, row["document"]["name"]) is None:
                raise InvalidInput({"curve": f"no starting value ships for {row['name']}"})
            what = f"{row['name']} works with its starting value"
        else:
            found = connection.execute(
                sa.select(curve.c.document, curve.c.source).where(curve.c.id == curve_id, curve.c.wood_id == wood_id)
            ).one_or_none()
            if found is None:
                raise NotFound(f"curve {curve_id} is none of {row['name']}")
            wood_of_row(wood_id, row["document"], found[0])
            made = made_from(found[0], found[1], cards_in(connection, wood_id))
            what = f"{row['name']} works with the curve {made.split(';')[0]}"
        values = {"curve_id": curve_id}
        kept = change(
            connection, [Change(table=wood, key=wood_id, values=values, version=version)], what=what[:240], now=now
        )
    return Saved(edit_id=kept.edit_id, what=what, key=wood_id, version=version + 1)


def _wrong_name(text: str) -> dict[str, str]:
    called = " ".join(text.split())
    if not called:
        return {"called": "is empty; say what the boards are called"}
    if len(called) > CALLED_LONGEST or not called.isprintable():
        return {"called": f"has {len(called)} characters; allowed are {CALLED_LONGEST}, all printable"}
    return {}


def _taken_name(connection: sa.Connection, called: str) -> dict[str, str]:
    names = connection.execute(sa.select(wood.c.name).where(wood.c.removed_at.is_(None))).scalars()
    if same_words(called) not in map(same_words, names):
        return {}
    return {"called": f"“{called}” is in the book already; call this one otherwise, say by its lot, or use that one"}


def _checked(document: Mapping[str, Any]) -> WoodTable:
    try:
        return checked(WoodTable, dict(document), name="wood")
    except InvalidInput as error:
        raise InvalidInput(error.fields) from error


def _board(called: str, document: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what a person says of a board, so that two that are said alike are one."""
    told = (called, str(document.get("name") or ""), str(document.get("surface") or "bare"))
    return tuple(same_words(words) for words in told)


def _wrong_material(called: str, table: WoodTable, wood_id: str = "", *, unconfirmed: bool = False) -> dict[str, str]:
    """Return what is wrong with burning a material that names or surface mention, at the field where it is decided.

    Parameters
    ----------
    unconfirmed : whether a doubtful one may stand without anybody who confirms it; planning stops it then.
    """
    found = material_of(called, table.name, wood_id, table.surface)
    if found is None or (found.level == "doubtful" and (unconfirmed or table.confirmed_by is not None)):
        return {}
    if found.level == "forbidden":
        return {"called": f"{_lead(found)} must not be burnt. {found.why} No setting makes it safe."}
    return {
        "confirmed_by": f"{_lead(found)} is doubtful. {found.why} Ask the maker what it gives off; if it may be burnt, "
        "write who made sure of it"
    }


def _lead(material: Material) -> str:
    return material.name[:1].upper() + material.name[1:]


def _count(connection: sa.Connection, table: sa.Table, *where: sa.ColumnElement[bool]) -> int:
    query = sa.select(sa.func.count()).select_from(table).where(*where, table.c.removed_at.is_(None))
    return int(connection.execute(query).scalar_one())
