"""Take a batch folder into the book: its machine, woods with curves and cards, artwork, and pieces in their order.

What the book holds already is used again where it is the same, and kept beside the new under another id where it is not:
nothing in the book is overwritten.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.formats.batch_toml import PieceTable, read_batch
from evenburn.adapters.formats.machine_toml import MachineTable
from evenburn.adapters.formats.strict import StrictModel, checked, read_toml
from evenburn.adapters.formats.wood_toml import CurveDocument, WoodTable, read_wood, shipped_ids, shipped_wood
from evenburn.adapters.storage.book.keeping import keep
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import Change, change
from evenburn.adapters.storage.book.tables import artwork, batch, curve, machine, piece, wood
from evenburn.core.errors import EvenburnError, InvalidInput
from evenburn.services.book.aside import Run, here
from evenburn.services.book.names import MEDIA_TYPES, file_name, files_named, new_id, plain, with_files_renamed
from evenburn.services.book.take_in_cards import CardFound, cards_in, keep_cards
from evenburn.services.progress import Progress, no_progress

POSITION_STEP = 1024  # between neighbouring pieces, so that one can be put between two without moving the others


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenIn:
    """What was taken into the book; `edit_id` is for `undo_edit`, `notes` say what was kept apart or left out."""

    batch_id: str
    machine_id: str
    piece_ids: tuple[int, ...]
    wood_ids: tuple[str, ...]
    notes: tuple[str, ...]
    edit_id: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _WoodFound:
    """A wood of a folder: its document without the curve's name and what it is called, its curve's, and what it is called.

    `called` is empty where the folder says no more than its name.
    """

    document: dict[str, Any]
    curve: dict[str, Any] | None
    called: str = ""

    @property
    def name(self) -> str:
        """Return its name in the book."""
        return self.called or str(self.document["name"])

    def is_that(self, standing: tuple[str, dict[str, Any], dict[str, Any] | None]) -> bool:
        """Return whether a wood of the book is this one: its name counts where the folder gives one."""
        name, document, curve = standing
        return (document, curve) == (self.document, self.curve) and self.called in ("", name)


def take_in_demo(book: Book, *, now: str, progress: Progress = no_progress, run: Run = here) -> TakenIn:
    """Take the shipped batch into the book, its card read and fitted; raises as `take_in_batch` and `learn_demo_cards`."""
    from evenburn.services.demo import lay_out_demo, learn_demo_cards

    with TemporaryDirectory(prefix="evenburn-demo-") as name:
        folder = lay_out_demo(Path(name))
        run(learn_demo_cards, folder=folder, date=now[:10], progress=progress)
        return take_in_batch(book, folder, now=now)


def take_in_batch(book: Book, folder: Path, *, now: str) -> TakenIn:
    """Take a batch folder into the book, all of it or nothing.

    Raises
    ------
    InvalidInput, UnreadableFile, NotFound
        With every fault of the folder, as `load_batch`; also of its cards and of woods that no piece is of.
    StorageError
        If the book cannot be written.
    """
    from evenburn.services.load_batch import load_batch

    load_batch(folder)  # tells every fault that planning would
    table = read_batch(folder / "batch.toml")
    machine_document = _document(MachineTable, folder / table.machine, name=table.machine)
    notes: list[str] = []
    woods = _woods(folder, {entry.wood for entry in table.piece}, notes)
    cards = [card for card in cards_in(folder, notes) if _known(card, woods, notes)]
    documents = [p.model_dump(mode="json", exclude_unset=True, exclude_none=True) for p in table.piece]
    with book.writing() as connection:
        machine_id, changes = _machine(connection, machine_document, notes)
        wood_ids = _ids_of_woods(connection, woods, notes)
        names = _keep_files(book, connection, folder, documents=documents, now=now)
        batch_id = new_id(table.name, _ids(connection, batch), otherwise="batch")
        changes += [
            Change(
                table=wood,
                key=wood_ids[found],
                values={"name": one.name, "document": one.document, "curve_id": None},
            )
            for found, one in woods.items()
            if not _stands(connection, wood_ids[found])
        ]
        new_woods = {str(c.key) for c in changes if c.table is wood}
        changes.append(
            Change(
                table=batch,
                key=batch_id,
                values={
                    "position": _last(connection, batch) + POSITION_STEP,
                    "document": {
                        "name": table.name,
                        "subtitle": table.subtitle,
                        "machine": machine_id,
                        "lens": table.lens,
                    },
                },
            )
        )
        for place, (entry, document) in enumerate(zip(table.piece, documents, strict=True), start=1):
            named = with_files_renamed({**document, "wood": wood_ids[entry.wood]}, names)
            changes.append(Change(table=piece, key=None, values=piece_values(named, batch_id, place * POSITION_STEP)))
        made = change(connection, changes, what=f"“{table.name}” taken in", now=now)
        _keep_curves(connection, woods, wood_ids=wood_ids, new=new_woods, now=now)
        reading_ids = keep_cards(book, connection, cards, wood_ids=wood_ids, now=now)
        _name_sources(connection, reading_ids)
    return TakenIn(
        batch_id=batch_id,
        machine_id=machine_id,
        piece_ids=tuple(int(k) for k, c in zip(made.keys, changes, strict=True) if c.table is piece),
        wood_ids=tuple(dict.fromkeys(wood_ids.values())),
        notes=tuple(notes),
        edit_id=made.edit_id,
    )


def piece_values(document: Mapping[str, Any], batch_id: str, position: int) -> dict[str, Any]:
    """Return the columns of a piece, from its document."""
    return {
        "batch_id": batch_id,
        "slug": document["id"],
        "position": position,
        "wood_id": document["wood"],
        "name": document.get("name") or document["id"].replace("-", " "),
        "document": dict(document),
    }


# ---- machine and woods -------------------------------------------------------------------------------------------


def _machine(connection: sa.Connection, document: dict[str, Any], notes: list[str]) -> tuple[str, list[Change]]:
    """Return the id of a machine, and the change that adds it unless the book has it."""
    standing = connection.execute(sa.select(machine.c.id, machine.c.document).where(machine.c.removed_at.is_(None)))
    for id_, known in standing:
        if known == document:
            return str(id_), []
    stem = plain(document["name"]) or "machine"
    machine_id = new_id(document["name"], _ids(connection, machine), otherwise="machine")
    if machine_id != stem[:64]:
        notes.append(f'The book has another machine "{stem}"; this one goes by {machine_id}.')
    return machine_id, [Change(table=machine, key=machine_id, values={"document": document})]


def _woods(folder: Path, used: set[str], notes: list[str]) -> dict[str, _WoodFound]:
    """Return the woods of a folder, those that pieces are of and those with a file; every fault at once."""
    found: dict[str, _WoodFound] = {}
    wrong: dict[str, str] = {}
    filed = {path.stem for path in sorted((folder / "woods").glob("*.toml"))}
    for wood_id in sorted(used | filed):
        if plain(wood_id) != wood_id or len(wood_id) > 64:
            notes.append(f"woods/{wood_id}.toml is left out: no piece could name it.")
            continue
        name = f"woods/{wood_id}.toml"
        try:
            read_wood(folder, wood_id)
            if wood_id not in filed:
                found[wood_id] = _WoodFound(document={"name": shipped_wood(wood_id).name}, curve=None)
                continue
            document = _document(WoodTable, folder / "woods" / f"{wood_id}.toml", name=name)
            curve_name = document.pop("curve", None)
            called = document.pop("called", "")
            found[wood_id] = _WoodFound(document=document, curve=_curve(folder, curve_name), called=called)
        except InvalidInput as error:
            wrong |= {f"{name}: {field}" if field else name: text for field, text in error.fields.items()}
        except EvenburnError as error:
            wrong[name] = error.message
    if wrong:
        raise InvalidInput(wrong, hint="docs/reference/wood.md lists every key.")
    return found


def _document(model: type[StrictModel], path: Path, *, name: str) -> dict[str, Any]:
    """Return a TOML file as the book keeps it: what was given in it, a day as text; raises as `read_toml` and `checked`."""
    return checked(model, read_toml(path, name=name), name=name).model_dump(
        mode="json", exclude_unset=True, exclude_none=True
    )


def _curve(folder: Path, name: str | None) -> dict[str, Any] | None:
    """Return a curve's document, found as `read_wood` finds it, which has checked it."""
    if name is None:
        return None
    beside = folder / "woods" / name
    data: dict[str, Any] = json.loads((beside if beside.exists() else folder / name).read_text(encoding="utf-8"))
    checked(CurveDocument, data, name=name)
    return data


def _known(card: CardFound, woods: dict[str, _WoodFound], notes: list[str]) -> bool:
    """Return whether a card's wood is taken in; a wood that ships is taken in for its card's sake."""
    from evenburn.services.demo import CARDS

    if card.wood_id in woods:
        return True
    if card.wood_id in shipped_ids():
        woods[card.wood_id] = _WoodFound(document={"name": shipped_wood(card.wood_id).name}, curve=None)
        return True
    notes.append(f"{CARDS}/{card.folder.name} is left out: the folder has no wood {card.wood_id}.")
    return False


def _ids_of_woods(connection: sa.Connection, woods: Mapping[str, _WoodFound], notes: list[str]) -> dict[str, str]:
    """Return the id that each wood goes by in the book: its own where it is free or means the same, else a new one."""
    ids: dict[str, str] = {}
    taken = _ids(connection, wood)
    for wood_id, one in woods.items():
        standing = _standing(connection, wood_id)
        if standing is None or one.is_that(standing):
            ids[wood_id] = wood_id
            continue
        same = _same_wood(connection, one)
        ids[wood_id] = same or new_id(wood_id, taken, otherwise="wood")
        taken.add(ids[wood_id])
        if same is None:
            notes.append(f"The book has another {wood_id}, or another curve of it; this one goes by {ids[wood_id]}.")
    return ids


def _standing(connection: sa.Connection, wood_id: str) -> tuple[str, dict[str, Any], dict[str, Any] | None] | None:
    row = connection.execute(
        sa.select(wood.c.name, wood.c.document, curve.c.document)
        .select_from(wood.outerjoin(curve, wood.c.curve_id == curve.c.id))
        .where(wood.c.id == wood_id, wood.c.removed_at.is_(None))
    ).one_or_none()
    return None if row is None else (row[0], row[1], row[2])


def _stands(connection: sa.Connection, wood_id: str) -> bool:
    return _standing(connection, wood_id) is not None


def _same_wood(connection: sa.Connection, one: _WoodFound) -> str | None:
    rows = connection.execute(
        sa.select(wood.c.id, wood.c.name, wood.c.document, curve.c.document)
        .select_from(wood.outerjoin(curve, wood.c.curve_id == curve.c.id))
        .where(wood.c.name == one.name, wood.c.removed_at.is_(None))
    )
    return next((str(r[0]) for r in rows if one.is_that((r[1], r[2], r[3]))), None)


def _keep_curves(
    connection: sa.Connection,
    woods: Mapping[str, _WoodFound],
    *,
    wood_ids: Mapping[str, str],
    new: set[str],
    now: str,
) -> None:
    """Keep the curves of woods that are new to the book, and let the woods work with them."""
    for found, one in woods.items():
        wood_id = wood_ids[found]
        if one.curve is None or wood_id not in new:
            continue
        made = connection.execute(sa.insert(curve).values(wood_id=wood_id, made_at=now, document=one.curve, source=[]))
        key = made.inserted_primary_key
        assert key is not None  # noqa: S101  # one row was inserted
        connection.execute(sa.update(wood).where(wood.c.id == wood_id).values(curve_id=key[0]))


def _name_sources(connection: sa.Connection, reading_ids: Mapping[str, list[int]]) -> None:
    """Say of each wood's curve which readings it was fitted to."""
    for wood_id, ids in reading_ids.items():
        curve_id = connection.execute(sa.select(wood.c.curve_id).where(wood.c.id == wood_id)).scalar_one_or_none()
        if curve_id is not None and ids:
            connection.execute(
                sa.update(curve).where(curve.c.id == curve_id, curve.c.wood_id == wood_id).values(source=ids)
            )


def _ids(connection: sa.Connection, table: sa.Table) -> set[str]:
    return set(connection.execute(sa.select(table.c.id)).scalars())


def _last(connection: sa.Connection, table: sa.Table) -> int:
    return int(connection.execute(sa.select(sa.func.max(table.c.position))).scalar() or 0)


# ---- files -------------------------------------------------------------------------------------------------------


def _keep_files(
    book: Book, connection: sa.Connection, folder: Path, *, documents: list[dict[str, Any]], now: str
) -> dict[str, str]:
    """Keep every file that the pieces name, and return what each goes by in the book."""
    names: dict[str, str] = {}
    for document in documents:
        for written, endings in files_named(document).items():
            if written not in names:
                data = (folder / written).read_bytes()
                names[written] = keep_artwork(book, connection, data, written=written, endings=endings, now=now)
    return names


def keep_artwork(
    book: Book, connection: sa.Connection, data: bytes, *, written: str, endings: tuple[str, ...], now: str
) -> str:
    """Keep a file that pieces name and return what it goes by: once for the same data, a name of its own for others."""
    wished = file_name(written, (), endings=endings)
    ending = wished[wished.rindex(".") :]
    sha256 = keep(book, connection, data, media_type=MEDIA_TYPES[ending], now=now)
    known = {str(name): str(sha) for name, sha in connection.execute(sa.select(artwork.c.name, artwork.c.sha256))}
    same = [name for name, sha in known.items() if sha == sha256 and name.endswith(ending)]
    if same:
        return wished if wished in same else same[0]
    name = file_name(written, known, endings=endings)
    connection.execute(sa.insert(artwork).values(sha256=sha256, name=name, added_at=now))
    return name


def checked_piece(document: Mapping[str, Any], *, name: str = "piece") -> dict[str, Any]:
    """Return a piece's document checked by the reader of batch.toml, with only what was given in it; raises as `checked`."""
    table = checked(PieceTable, dict(document), name=name)
    return table.model_dump(mode="json", exclude_unset=True, exclude_none=True)
