"""The picture a customer agrees on: the piece as predicted, its size and wood and a line to sign; no figures of the bench."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import batch, piece
from evenburn.core.errors import NotFound
from evenburn.core.nouns.wood import Wood
from evenburn.core.proof.scene import draw_window
from evenburn.core.units import to_inch
from evenburn.services.book.forbidden import forbidden_in
from evenburn.services.book.plan_piece import INDEX, plan_of
from evenburn.services.book.proof_of import board_window, look_of
from evenburn.services.book.proof_tiles import WHITE, prepared
from evenburn.services.book.today import size_mm
from evenburn.services.book.wood_rows import row_with_curve, wood_of_row

NB, TIMES = "\u00a0", "\u00a0×\u00a0"
PICTURE_px = (1800, 1600)
LETTERS = "Please look at every letter and every number. What is burnt stays."
WOOD = "Wood grows, and no two boards are alike: grain and tone will differ a little from this picture."
OTHER = "No two pieces of such material are quite alike: its look will differ a little from this picture."


@dataclass(frozen=True, slots=True, kw_only=True)
class CustomerProof:
    """What the sheet says, as a page shows it. `slugs` are id and name of each piece that a list of names makes."""

    piece_id: int
    plan: str
    slug: str
    slugs: tuple[tuple[str, str], ...]
    name: str
    says: str
    facts: tuple[tuple[str, str], ...]
    sentences: tuple[str, ...]
    date: str
    fresh: bool


def customer_proof(book: Book, piece_id: int, *, date: str, slug: str = "", inch: bool = False) -> CustomerProof:
    """Return what the sheet for the customer says; nothing is drawn for it.

    Parameters
    ----------
    date : ISO, of the day it is given out.
    slug : which piece of a list of names; empty for the first.

    Raises
    ------
    NotFound
        If the piece is not in the book, has no proof yet, or must not be burnt at all.
    """
    planned = plan_of(book, piece_id)
    if planned is None or not (planned.folder / INDEX).is_file():
        raise NotFound(f"piece {piece_id} has no proof yet", hint="Plan it; the proof comes with the plan.")
    with book.reading() as connection:
        row = row_of(connection, piece, piece_id)
        whose = row_of(connection, batch, row["batch_id"])["document"]
        about, own = row_with_curve(connection, row["wood_id"])
        forbidden = forbidden_in(connection, row["wood_id"])
    if forbidden is not None:
        raise NotFound("there is nothing to agree on of what must not be burnt", hint=forbidden.text)
    wood = wood_of_row(row["wood_id"], about["document"], own)
    pieces = planned.document()["pieces"]
    mine: Mapping[str, Any] | None = next((one for one in pieces if slug in {"", one["id"]}), None)
    if mine is None:
        raise NotFound(f"“{slug[:64]}” is none of this piece's names")
    return CustomerProof(
        piece_id=piece_id,
        plan=planned.inputs_sha256,
        slug=mine["id"],
        slugs=tuple((one["id"], one["name"]) for one in pieces),
        name=mine["name"],
        says=str(whose.get("subtitle") or whose["name"]),
        facts=(
            ("size", _size_text(row["document"]["blank"], mine, inch=inch)),
            ("material", _wood_text(wood)),
            *_words(row["document"]),
        ),
        sentences=(LETTERS, WOOD if wood.grain else OTHER),
        date=date,
        fresh=planned.fresh,
    )


def customer_sheet_pdf(book: Book, told: CustomerProof) -> bytes:
    """Return the sheet as PDF, one page A4; raises as `customer_proof`."""
    from evenburn.adapters.pictures.customer import board_jpeg
    from evenburn.adapters.print.customer import CustomerSheet, customer_pdf

    look = look_of(book, told.piece_id, plan=told.plan, slug=told.slug)
    _, ready = prepared(book, told.piece_id, plan=told.plan, slug=told.slug)
    colours = draw_window(ready.scene, board_window(look, most_px=PICTURE_px), around=WHITE)
    return customer_pdf(
        CustomerSheet(
            title=told.name,
            says=told.says,
            picture=board_jpeg(colours),
            board_mm=look.size_mm,
            facts=told.facts,
            sentences=told.sentences,
            date=told.date,
        )
    )


def customer_sheet_png(book: Book, told: CustomerProof) -> bytes:
    """Return the sheet as PNG, as it is printed; raises as `customer_proof`."""
    from evenburn.adapters.pictures.customer import sheet_png

    return sheet_png(customer_sheet_pdf(book, told))


def _size_text(blank: Mapping[str, Any], planned: Mapping[str, Any], *, inch: bool) -> str:
    """Return box and thickness; of an outline that lies askew on the bed only the thickness, for its box is not told."""
    box = _box_mm(blank, planned)
    thick_mm = float(blank["thickness_mm"])
    sides = (*box, thick_mm) if box is not None else (thick_mm,)
    shown = [f"{to_inch(v):.2f}".rstrip("0").rstrip(".") if inch else f"{v:.1f}".removesuffix(".0") for v in sides]
    return TIMES.join(shown) + NB + ("in" if inch else "mm") + ("" if box is not None else " thick")


def _box_mm(blank: Mapping[str, Any], planned: Mapping[str, Any]) -> tuple[float, float] | None:
    wide, high, _ = size_mm(blank)
    if wide is not None and high is not None:
        return wide, high
    x0, y0, x1, y1 = planned["outline_box_bed_mm"]
    turns = float(planned["turn_deg"]) / 90.0
    if not turns.is_integer():
        return None
    return (y1 - y0, x1 - x0) if int(turns) % 2 else (x1 - x0, y1 - y0)


def _wood_text(wood: Wood) -> str:
    name = wood.name[:1].upper() + wood.name[1:]
    return name if wood.surface in {"", "bare"} else f"{name}, {wood.surface}"


def _words(document: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Return what the piece says in letters, where a person typed it."""
    texts = [" / ".join(str(mark["text"]).splitlines()) for mark in document["mark"] if mark.get("text")]
    return (("words", ", ".join(f"“{text}”" for text in texts)),) if texts else ()
