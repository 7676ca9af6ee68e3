"""Lay pieces of the book out as a batch folder, from which the planner works as from any other."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from evenburn.adapters.formats.batch_text import batch_text
from evenburn.adapters.formats.batch_toml import BatchTable
from evenburn.adapters.formats.json_file import json_text
from evenburn.adapters.formats.strict import checked
from evenburn.adapters.storage.book.keeping import path_of
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import batch, piece
from evenburn.core.errors import InvalidInput, NotFound, StorageError
from evenburn.services.book.forbidden import only_called_so
from evenburn.services.book.inputs import Sources, inputs_sha256, sources_of
from evenburn.services.book.names import FILE_NAME, files_named

STAGE_PREFIX = ".laying-"
BATCH_FILE = "batch.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class LaidOut:
    """A batch folder as laid out, the SHA-256 of all that went into it, and the pieces' ids in it."""

    folder: Path
    inputs_sha256: str
    slugs: tuple[str, ...]


def lay_out_piece(book: Book, piece_id: int, *, to: Path) -> LaidOut:
    """Lay one piece out as a batch folder.

    Raises
    ------
    NotFound
        If the piece, or something that it needs, is not in the book.
    StorageError
        If the folder cannot be written, or holds something else; what was there stays.
    """
    with book.reading() as connection:
        row = row_of(connection, piece, piece_id)
        sources = sources_of(connection, row["batch_id"], [row["document"]])
    return lay_out(book, sources, [row["document"]], to=to)


def lay_out_batch(book: Book, batch_id: str, *, to: Path) -> LaidOut:
    """Lay a whole batch out as a batch folder, its pieces in their order; raises as `lay_out_piece`."""
    with book.reading() as connection:
        row_of(connection, batch, batch_id)
        documents = list(
            connection.execute(
                sa.select(piece.c.document)
                .where(piece.c.batch_id == batch_id, piece.c.removed_at.is_(None))
                .order_by(piece.c.position, piece.c.id)
            ).scalars()
        )
        sources = sources_of(connection, batch_id, documents)
    if not documents:
        raise NotFound(f"the batch {batch_id} has no pieces", hint="Add one first.")
    return lay_out(book, sources, documents, to=to)


def lay_out(book: Book, sources: Sources, documents: Sequence[Mapping[str, Any]], *, to: Path) -> LaidOut:
    """Lay pieces out as a batch folder from what they rest on; raises as `lay_out_piece`."""
    _demand_all(sources, documents)
    table = checked(BatchTable, {**sources.batch, "machine": "machine.toml", "piece": list(documents)}, name=BATCH_FILE)
    texts = {BATCH_FILE: batch_text(table), "machine.toml": toml_text(sources.machine)}
    for wood_id in sorted({str(d["wood"]) for d in documents}):
        source = sources.woods[wood_id]
        named = {} if source.curve is None else {"curve": f"{wood_id}.curve.json"}
        texts[f"woods/{wood_id}.toml"] = toml_text({**source.laid(), **named})
        if source.curve is not None:
            texts[f"woods/{wood_id}.curve.json"] = json_text(source.curve)
    files = {name: path_of(book, sources.files[name]) for d in documents for name in files_named(d)}
    _write(texts, files, to=to, book=book)
    return LaidOut(
        folder=to,
        inputs_sha256=inputs_sha256(sources, documents),
        slugs=tuple(str(d["id"]) for d in documents),
    )


def _demand_all(sources: Sources, documents: Sequence[Mapping[str, Any]]) -> None:
    """Refuse pieces that name what the book does not have, or boards that what they are called stops."""
    wrong: dict[str, str] = {}
    for document in documents:
        source = sources.woods.get(document["wood"])
        if source is None:
            wrong["wood"] = f'is "{document["wood"]}", which is not in the book'
        elif (stop := only_called_so(document["wood"], source.document, called=source.name)) is not None:
            wrong["wood"] = stop.text
        for name in files_named(document):
            if name not in sources.files or FILE_NAME.fullmatch(name) is None:
                wrong["artwork"] = f'"{name}" is not in the book'
    if wrong:
        raise InvalidInput(wrong, hint="Bring it back by undo, or name another.")


def _write(texts: Mapping[str, str], files: Mapping[str, Path], *, to: Path, book: Book) -> None:
    """Write a folder beside its place and move it in; what stood there goes only then, and only if it was a batch."""
    if to.exists() and any(to.iterdir()) and not (to / BATCH_FILE).is_file():
        raise StorageError(f"{to.name} holds something else than a batch", hint="Choose another folder.")
    stage: Path | None = None
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        stage = Path(tempfile.mkdtemp(prefix=STAGE_PREFIX, dir=to.parent))
        (stage / "new" / "woods").mkdir(parents=True)
        for name, text in texts.items():
            (stage / "new" / name).write_text(text, encoding="utf-8", newline="\n")
        for name, source in files.items():
            shutil.copyfile(source, stage / "new" / name)
        if to.exists():
            to.rename(stage / "old")
        (stage / "new").rename(to)
    except FileNotFoundError as error:
        raise StorageError(f"{book.name}: a file is missing", hint="Restore a backup.") from error
    except OSError as error:
        raise StorageError(
            f"cannot lay the batch into {to.name}: {error.strerror or error}", hint="Is the disk full?"
        ) from error
    finally:
        if stage is not None:
            if (stage / "old").exists() and not to.exists():
                (stage / "old").rename(to)
            shutil.rmtree(stage, ignore_errors=True)


def toml_text(document: Mapping[str, Any]) -> str:
    """Return a document as TOML that is read back as the same."""
    return "".join(f"{key} = {_value(value)}\n" for key, value in document.items() if value is not None)


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items() if v is not None) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    return json.dumps(value, ensure_ascii=False, allow_nan=False).replace("\x7f", "\\u007f")
