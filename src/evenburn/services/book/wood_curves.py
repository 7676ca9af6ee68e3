"""The curves of a wood: one beside the one that it works with, figure by figure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import card, curve, reading
from evenburn.core.errors import NotFound
from evenburn.core.nouns.wood import Wood
from evenburn.core.response.curve import exposures_for_tones, tone_range_L
from evenburn.core.response.shades import shades_L
from evenburn.services.book.wood_cards import cards_in
from evenburn.services.book.wood_curve import NARROW, WIDE, CurveDrawing, curve_drawing, middle_dwell_ms, patches_of
from evenburn.services.book.wood_figures import readings_under, sd_of, tone_sd_L
from evenburn.services.book.wood_history import made_from, pieces_of
from evenburn.services.book.wood_rows import row_with_curve, wood_of_row

TONES_MOST = 12
NB = "\u00a0"


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """A figure before and after, in words with their units."""

    what: str
    before: str
    after: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePage:
    """A curve of a wood beside the one that it works with.

    Attributes
    ----------
    cards : numbers of the cards it was fitted to, with their ids.
    moved : figures of both; `needs` the exposures that the tones wished for need by both.
    drawing : the curve with its patches, the present one dashed.
    """

    wood_id: str
    name: str
    version: int
    curve_id: int
    made_at: str
    kind: str
    detail: str
    works: bool
    present: str
    cards: tuple[tuple[int, int], ...]
    moved: tuple[Moved, ...]
    needs: tuple[Moved, ...]
    drawing: CurveDrawing
    drawing_narrow: CurveDrawing
    piece_count: int


def curve_page(book: Book, wood_id: str, curve_id: int) -> CurvePage:
    """Return a curve of a wood beside the one it works with; NotFound if it is none of that wood."""
    with book.reading() as connection:
        row, own = row_with_curve(connection, wood_id)
        found = connection.execute(
            sa.select(curve.c.made_at, curve.c.document, curve.c.source).where(
                curve.c.id == curve_id, curve.c.wood_id == wood_id
            )
        ).one_or_none()
        if found is None:
            raise NotFound(f"curve {curve_id} is none of {row['name']}")
        made_at, document, source = found
        cards = cards_in(connection, wood_id)
        pieces, piece_count = pieces_of(connection, wood_id)
        works_with = connection.execute(
            sa.select(curve.c.document, curve.c.source).where(curve.c.id == row["curve_id"])
        ).one_or_none()
    present = wood_of_row(wood_id, row["document"], own)
    one = wood_of_row(wood_id, row["document"], document)
    works = row["curve_id"] == curve_id
    readings = readings_under(cards, list(source))
    patches = patches_of(one.curve, [r for _, r in readings], named=len(readings) > 1)
    dwell = middle_dwell_ms([r for _, r in readings])
    before = None if works else present.curve
    numbers = {c.card_id: c.number for c in cards}
    tones = sorted({tone for line in pieces for tone in line.tones_L}, reverse=not one.curve.full_L > one.curve.bare_L)
    return CurvePage(
        wood_id=wood_id,
        name=row["name"],
        version=row["version"],
        curve_id=curve_id,
        made_at=str(made_at),
        kind=one.curve.provenance.kind,
        detail=made_from(document, source, cards),
        works=works,
        present=present.curve.provenance.kind
        + (", from memory" if works_with is None else f", {made_from(works_with[0], works_with[1], cards)}"),
        cards=tuple((c, numbers[c]) for c, _ in readings),
        moved=_moved(present, one, dwell=dwell),
        needs=tuple(_need(present, one, tone) for tone in tones[:TONES_MOST]),
        drawing=curve_drawing(one, patches, frame=WIDE, dwell=dwell, before=before),
        drawing_narrow=curve_drawing(one, patches, frame=NARROW, dwell=dwell, before=before),
        piece_count=piece_count,
    )


def newest_curve(book: Book, wood_id: str) -> int:
    """Return the newest curve of a wood; NotFound if it has none."""
    with book.reading() as connection:
        found = connection.execute(sa.select(sa.func.max(curve.c.id)).where(curve.c.wood_id == wood_id)).scalar()
    if found is None:
        raise NotFound("no curve was fitted for this wood yet", hint="Photograph a card of it first.")
    return int(found)


def curve_of_reading(book: Book, reading_id: int) -> int | None:
    """Return the newest curve that was fitted to a reading, perhaps among others; None where there is none."""
    with book.reading() as connection:
        wood_id = connection.execute(
            sa.select(card.c.wood_id).join(reading, reading.c.card_id == card.c.id).where(reading.c.id == reading_id)
        ).scalar_one_or_none()
        rows = connection.execute(
            sa.select(curve.c.id, curve.c.source).where(curve.c.wood_id == wood_id).order_by(curve.c.id.desc())
        )
        return next((int(id_) for id_, source in rows if reading_id in source), None)


def _moved(before: Wood, after: Wood, *, dwell: float) -> tuple[Moved, ...]:
    def figures(one: Wood) -> list[tuple[str, str]]:
        own = one.curve
        faint, full = tone_range_L(own)
        return [
            ("shades told apart", f"{len(shades_L(own))}"),
            ("bare surface", f"L*\u00a0{own.bare_L:.1f}"),
            ("tones it takes", f"L*\u00a0{faint:.0f} to {full:.0f}"),
            ("char limit", f"{10.0**own.x_char:.2f}\u00a0J/mm²"),
            ("evenness", f"{own.evenness_L:.1f}\u00a0L*"),
            ("board to board", f"{own.board_L:.1f}\u00a0L*"),
            ("κ", f"{own.kappa:.2f}\u00a0±\u00a0{sd_of(one, 'kappa'):.2f}".replace("-", "−")),
            ("tones known to", f"±\u00a0{tone_sd_L(one, dwell=dwell):.1f}\u00a0L*"),
        ]

    return tuple(
        Moved(what=what, before=then, after=now)
        for (what, then), (_, now) in zip(figures(before), figures(after), strict=True)
    )


def _need(before: Wood, after: Wood, tone: float) -> Moved:
    def needed(one: Wood) -> float | None:
        faint, full = tone_range_L(one.curve)
        if not min(faint, full) <= tone <= max(faint, full):
            return None
        return float(10.0 ** exposures_for_tones(one.curve, np.array([tone]))[0])

    then, now = needed(before), needed(after)
    texts = ["out of reach" if v is None else f"{v:.2f}\u00a0J/mm²" for v in (then, now)]
    if then is not None and now is not None:
        share = 100.0 * (now / then - 1.0)
        texts[1] += (
            ", as before" if abs(share) < 0.5 else f", {abs(share):.0f}\u00a0% {'more' if share > 0 else 'less'}"
        )
    return Moved(what=f"L*\u00a0{tone:g}", before=texts[0], after=texts[1])
