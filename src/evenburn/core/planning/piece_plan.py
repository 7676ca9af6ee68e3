"""One piece worked through: its marks, its checks, and what its proof shows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from evenburn.core.art.picture import Artwork
from evenburn.core.layout.place import outline_on_bed
from evenburn.core.nouns.check import LEVELS, Check
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Piece
from evenburn.core.nouns.wood import Wood
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.planning.checks import look_checks, tone_checks, wood_checks
from evenburn.core.planning.focus import search_together
from evenburn.core.planning.mark_plan import MarkWork, wish_for, work_mark
from evenburn.core.planning.materials import Material
from evenburn.core.planning.placing_checks import bed_checks, blank_checks
from evenburn.core.planning.survey import survey_mark
from evenburn.core.proof.board import Board, Burn, Enlargement, draw_board, enlarge, telling_place_mm
from evenburn.core.proof.turning import place_on_board
from evenburn.core.tone.reproduce import Diffuse

OFFSETS_SHOWN_mm = (0.0, 1.0, 2.0)
LINES_SHOWN = 36


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceWork:
    """All marks of a piece with the checks, worst first."""

    piece: Piece
    wood: Wood
    marks: tuple[MarkWork, ...]
    checks: tuple[Check, ...]

    def may_burn(self, mark_id: str) -> bool:
        """Return whether no stop forbids a mark: neither its own nor one of the whole piece."""
        return not any(c.level == "stop" and c.mark_id in ("", mark_id) for c in self.checks)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofPictures:
    """What the proof of a piece shows: the board, one part as planned, and the same part at three focus offsets."""

    board: Board
    shown_mark_id: str
    middle_on_board: tuple[float, float]
    planned: Enlargement
    offsets: tuple[Enlargement, ...]


def work_piece(
    machine: Machine,
    *,
    lens: Lens,
    wood: Wood,
    piece: Piece,
    artworks: Mapping[str, Artwork],
    diffuse: Diffuse,
    material: Material | None,
    confirmed: bool,
) -> PieceWork:
    """Return a piece worked through from artwork to checks.

    Parameters
    ----------
    artworks : mark id → artwork.
    """
    beam = beam_of_lens(lens)
    surveys = [
        survey_mark(machine, piece=piece, mark=mark, wood=wood, artwork=artworks[mark.id]) for mark in piece.marks
    ]
    wishes = [
        wish_for(machine, lens=lens, beam=beam, curve=wood.curve, piece=piece, mark=mark, survey=survey)
        for mark, survey in zip(piece.marks, surveys, strict=True)
    ]
    works: list[MarkWork] = []
    checks = wood_checks(wood, material=material, confirmed=confirmed)
    for mark, survey, (wish, found) in zip(piece.marks, surveys, search_together(wishes), strict=True):
        work = work_mark(wish, found, survey=survey, piece=piece, mark=mark, artwork=artworks[mark.id], diffuse=diffuse)
        works.append(work)
        checks += blank_checks(work, piece)
        checks += bed_checks(work, piece)
        checks += tone_checks(work, wood)
        checks += look_checks(work, piece)
    ordered = sorted(checks, key=lambda c: LEVELS.index(c.level))
    return PieceWork(piece=piece, wood=wood, marks=tuple(works), checks=tuple(ordered))


def burn_of(work: MarkWork) -> Burn:
    """Return what the proof has to know of a mark."""
    return Burn(
        grid=work.grid,
        events=work.events,
        beam=work.wish.beam,
        focus_offset_mm=work.recipe.focus_offset_mm,
        speed_mm_per_s=work.recipe.speed_mm_per_s,
        line_spacing_mm=work.recipe.line_spacing_mm,
        passes=work.recipe.passes,
        rise_time_s=work.wish.machine.rise_time_s,
        reversal_offset_mm=work.wish.machine.reversal_offset_mm,
    )


def proof_pictures(
    work: PieceWork,
    *,
    board_px: int,
    planned_px: tuple[int, int],
    offset_px: tuple[int, int],
    generator: Callable[[], np.random.Generator],
) -> ProofPictures:
    """Return the pictures of a piece's proof.

    Parameters
    ----------
    board_px : longest side of the board; planned_px, offset_px : width and height of the enlargements.
    generator : makes a fresh generator of the wood's blotches, the same each time it is called.
    """
    shown = max(work.marks, key=lambda m: float((m.picture_W > 0.0).sum()) * m.grid.pixel_mm**2)
    burn = burn_of(shown)
    pixel = LINES_SHOWN * shown.recipe.line_spacing_mm / planned_px[1]
    middle = telling_place_mm(
        shown.picture_W, shown.grid, width_mm=planned_px[0] * pixel, height_mm=planned_px[1] * pixel
    )
    outline = outline_on_bed(work.piece)

    def part(size_px: tuple[int, int], offset_mm: float) -> Enlargement:
        return enlarge(
            burn,
            work.wood,
            middle_mm=middle,
            size_px=size_px,
            pixel_mm=pixel,
            focus_offset_mm=offset_mm,
            generator=generator(),
            turn_deg=work.piece.turn_deg,
            others=[burn_of(m) for m in work.marks if m is not shown],
        )

    return ProofPictures(
        board=draw_board(
            outline,
            work.wood,
            burns=[burn_of(m) for m in work.marks],
            turn_deg=work.piece.turn_deg,
            longest_px=board_px,
            generator=generator(),
        ),
        shown_mark_id=shown.mark.id,
        middle_on_board=place_on_board(outline, middle, turn_deg=work.piece.turn_deg),
        planned=part(planned_px, shown.recipe.focus_offset_mm),
        offsets=tuple(part(offset_px, offset) for offset in OFFSETS_SHOWN_mm),
    )
