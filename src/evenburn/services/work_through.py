"""One piece of a loaded batch worked through: what planning it and checking it have in common."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from itertools import groupby

from evenburn.adapters.artwork.sizes import smallest_letter_mm, wider_faces
from evenburn.adapters.formats.wood_toml import materials
from evenburn.core.nouns.mark import Piece
from evenburn.core.nouns.wood import Wood
from evenburn.core.planning.materials import Material, find_material, is_forbidden, spoken_of
from evenburn.core.planning.piece_plan import (
    NOT_SURVEYED,
    PieceSurvey,
    PieceWork,
    agree,
    survey_piece,
    work_piece,
)
from evenburn.services.load_batch import Batch


def surveyed_pieces(batch: Batch, *, workers: int, each_by_itself: bool = False) -> dict[str, PieceSurvey]:
    """Return piece id → what it asks for, the foci agreed over the whole batch.

    Parameters
    ----------
    each_by_itself : foci are agreed within each entry of the batch alone, as where it is planned without the others.
    workers : pieces at a time; what comes of it does not hang on their number or order.
    """

    def one(number: int) -> PieceSurvey:
        piece = batch.pieces[number]
        if is_forbidden(material_of(batch.woods[piece.wood_id])):
            return NOT_SURVEYED
        return survey_piece(
            batch.machine,
            lens=batch.lens,
            wood=batch.woods[piece.wood_id],
            piece=piece,
            artworks={m.id: batch.artworks[piece.id, m.id] for m in piece.marks},
            number=number,
            faults=batch.faults.get(piece.id, ()),
        )

    with ThreadPoolExecutor(max_workers=workers) as pool:
        surveys = list(pool.map(one, range(len(batch.pieces))))
    numbered = zip(batch.pieces, surveys, strict=True)
    agreed: list[PieceSurvey] = []
    for _, entry in groupby(numbered, key=lambda pair: batch.listed_as[pair[0].id] if each_by_itself else 0):
        agreed += agree([survey for _, survey in entry])
    return {piece.id: survey for piece, survey in zip(batch.pieces, agreed, strict=True)}


def material_of(wood: Wood) -> Material | None:
    """Return the material to refuse or to doubt that a wood's file names, None where it names none."""
    return _material(spoken_of(wood))


@lru_cache(maxsize=256)
def _material(names: tuple[str, ...]) -> Material | None:
    return find_material(materials(), *names)


def work_through(batch: Batch, piece: Piece, *, surveyed: PieceSurvey | None = None) -> PieceWork:
    """Return a piece worked through from its artwork to its checks; nothing is written."""
    wood = batch.woods[piece.wood_id]

    def faces_of(mark_id: str) -> Sequence[tuple[str, float]]:
        """Return other faces for a mark's words, each with its narrowest at their size; none for a drawing."""
        set_as = batch.letterings.get((piece.id, mark_id))
        return () if set_as is None else wider_faces(set_as.text, face=set_as.face, letter_mm=set_as.letter_mm)

    def least_letter(mark_id: str, kept_mm: float) -> str:
        """Return in words the least height of a mark's letters that keeps all of them; nothing for a drawing."""
        set_as = batch.letterings.get((piece.id, mark_id))
        if set_as is None:
            return ""
        least_mm = smallest_letter_mm(set_as.face, text=set_as.text, stroke_kept_mm=kept_mm, gap_kept_mm=kept_mm)
        called = set_as.face if isinstance(set_as.face, str) else set_as.face.name
        return f"In {called} these words need capitals of {least_mm:.1f} mm here; they have {set_as.letter_mm:.1f}."

    return work_piece(
        batch.machine,
        lens=batch.lens,
        wood=wood,
        piece=piece,
        artworks={m.id: batch.artworks[piece.id, m.id] for m in piece.marks},
        material=material_of(wood),
        confirmed=batch.confirmed[piece.wood_id],
        confirmation=batch.confirmations.get(piece.wood_id),
        faults=batch.faults.get(piece.id, ()),
        faces_of=faces_of,
        least_letter=least_letter,
        surveyed=surveyed,
    )
