"""One piece worked through: its marks, its checks, and what its proof shows."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenburn.core.art.picture import Artwork, draw_on_bed, grid_in_box
from evenburn.core.layout.place import outline_on_bed
from evenburn.core.nouns.check import LEVELS, Check
from evenburn.core.nouns.confirmation import Confirmation
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Piece
from evenburn.core.nouns.wood import Wood
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.planning.candidates import Found
from evenburn.core.planning.checks import look_checks, tone_checks, wood_checks
from evenburn.core.planning.detail_checks import detail_checks
from evenburn.core.planning.focus import FocusAsk, agree_foci, own_foci
from evenburn.core.planning.follow_checks import follow_checks
from evenburn.core.planning.follow_plan import followed_offset_mm, work_follow
from evenburn.core.planning.mark_plan import MarkWork, wish_for, work_mark
from evenburn.core.planning.materials import Material, is_forbidden
from evenburn.core.planning.overlap_checks import overlap_checks
from evenburn.core.planning.placing_checks import bed_checks, blank_checks
from evenburn.core.planning.recipe import search
from evenburn.core.planning.stand_off_checks import stand_off_checks, thickness_checks
from evenburn.core.planning.survey import Survey, survey_mark
from evenburn.core.planning.wish import Wish
from evenburn.core.proof.board import Board, Burn, Enlargement, draw_board, enlarge, telling_place_mm
from evenburn.core.proof.lost_places import LostDetail, LostPlace, detail_grid, lost_places
from evenburn.core.proof.turning import place_on_board

FOLLOWED_PIXELS = 10_000_000
OFFSETS_SHOWN_mm = (0.0, 1.0, 2.0)
LINES_SHOWN = 36


FacesOf = Callable[[str], Sequence[tuple[str, float]]]


LeastLetter = Callable[[str, float], str]


def no_letter(_mark_id: str, _kept_mm: float) -> str:
    """Return no words. Definition."""
    return ""


def no_faces(_mark_id: str) -> Sequence[tuple[str, float]]:
    """Return no other faces. Definition."""
    return ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceWork:
    """All marks of a piece with the checks, worst first, and where strokes and gaps are lost.

    Where its material must not be burnt there are no marks, and of the checks only the one that says so.
    """

    piece: Piece
    wood: Wood
    marks: tuple[MarkWork, ...]
    checks: tuple[Check, ...]
    lost: tuple[LostPlace, ...]

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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PieceSurvey:
    """What the marks of a piece are like and ask for, before any of them is worked.

    Attributes
    ----------
    asks : of every mark, in the order of the piece.
    agreed : wish and recipe of every scanned mark, None for those that are followed: by itself at first, with the focus
        of the whole batch after `agree`.
    surveys, inks : of every scanned mark; the ink is kept packed, eight to a byte, until the mark is worked.
    """

    asks: tuple[FocusAsk, ...]
    agreed: tuple[tuple[Wish, Found] | None, ...]
    surveys: tuple[Survey | None, ...]
    inks: tuple[NDArray[np.uint8] | None, ...]

    def survey(self, index: int) -> Survey:
        """Return the survey of a scanned mark, its ink unpacked."""
        survey, ink = self.surveys[index], self.inks[index]
        assert survey is not None and ink is not None  # noqa: PT018, S101  # asked only for what is scanned
        bits = np.unpackbits(ink, count=survey.grid.rows * survey.grid.columns)
        return replace(survey, ink=bits.reshape(survey.grid.rows, survey.grid.columns).astype(np.bool_))


def survey_piece(
    machine: Machine,
    *,
    lens: Lens,
    wood: Wood,
    piece: Piece,
    artworks: Mapping[str, Artwork],
    number: int = 0,
    faults: Sequence[Check] = (),
) -> PieceSurvey:
    """Return what the marks of a piece ask for, each by itself.

    Parameters
    ----------
    number : tells this piece from the others of its batch.
    faults : a mark with a stop among them is not burnt and takes no part in agreeing on a focus.
    """
    beam = beam_of_lens(lens)
    stopped = {fault.mark_id for fault in faults if fault.level == "stop"}
    asks: list[FocusAsk] = []
    surveys: list[Survey | None] = []
    inks: list[NDArray[np.uint8] | None] = []
    for mark in piece.marks:
        wish = alone = fixed = survey = ink = None
        if mark.treatment in ("solid", "photo"):
            full = survey_mark(machine, piece=piece, mark=mark, wood=wood, artwork=artworks[mark.id])
            wish = wish_for(machine, lens=lens, beam=beam, curve=wood.curve, piece=piece, mark=mark, survey=full)
            alone = search(wish)
            ink = np.packbits(full.ink)
            survey = replace(full, ink=np.zeros((0, 0), np.bool_))
        else:
            fixed = followed_offset_mm(machine, lens=lens, wood=wood, piece=piece, mark=mark)
        takes_part = not stopped & {"", mark.id}
        asks.append(
            FocusAsk(
                thickness_mm=piece.blank.thickness_mm,
                piece=number,
                wish=wish,
                alone=alone,
                fixed_offset_mm=fixed,
                takes_part=takes_part,
            )
        )
        surveys.append(survey)
        inks.append(ink)
    return PieceSurvey(asks=tuple(asks), agreed=own_foci(asks), surveys=tuple(surveys), inks=tuple(inks))


NOT_SURVEYED = PieceSurvey(asks=(), agreed=(), surveys=(), inks=())  # what must not be burnt asks for nothing


def agree(surveys: Sequence[PieceSurvey]) -> tuple[PieceSurvey, ...]:
    """Return the pieces of a batch with their foci agreed. Source: `agree_foci`."""
    pairs = iter(agree_foci([ask for survey in surveys for ask in survey.asks]))
    return tuple(replace(survey, agreed=tuple(next(pairs) for _ in survey.asks)) for survey in surveys)


def work_piece(
    machine: Machine,
    *,
    lens: Lens,
    wood: Wood,
    piece: Piece,
    artworks: Mapping[str, Artwork],
    material: Material | None,
    confirmed: bool,
    confirmation: Confirmation | None = None,
    faults: Sequence[Check] = (),
    faces_of: FacesOf = no_faces,
    least_letter: LeastLetter = no_letter,
    surveyed: PieceSurvey | None = None,
) -> PieceWork:
    """Return a piece worked through from artwork to checks; of what must not be burnt no mark is.

    Parameters
    ----------
    artworks : mark id → artwork.
    faults : what was found wrong with the artworks themselves, before any planning.
    faces_of : for a mark's id other faces, each with the narrowest its words have at the same size; asked only where
        strokes or gaps are lost.
    least_letter : for a mark's id and what its recipe keeps, in mm, words on the least height its letters need; empty
        for a drawing. Asked as `faces_of`.
    surveyed : what the piece asks for, its foci agreed with the batch; where not given, it is surveyed here by itself.
    """
    said = wood_checks(wood, material=material, confirmed=confirmed, confirmation=confirmation)
    if is_forbidden(material):
        return PieceWork(piece=piece, wood=wood, marks=(), checks=tuple(said), lost=())
    if surveyed is None:
        alone = survey_piece(machine, lens=lens, wood=wood, piece=piece, artworks=artworks, faults=faults)
        (surveyed,) = agree([alone])
    works: dict[str, MarkWork] = {}
    for index, mark in enumerate(piece.marks):
        pair, artwork = surveyed.agreed[index], artworks[mark.id]
        if pair is None:
            works[mark.id] = work_follow(machine, lens=lens, wood=wood, piece=piece, mark=mark, artwork=artwork)
        else:
            survey = surveyed.survey(index)
            works[mark.id] = work_mark(*pair, survey=survey, piece=piece, mark=mark, artwork=artwork)
    checks = [*said, *faults, *thickness_checks(piece)]
    lost: dict[str, LostDetail] = {}
    faulty = {fault.mark_id for fault in faults}
    for mark in piece.marks:
        work = works[mark.id]
        if mark.id not in faulty:
            checks += blank_checks(work, piece)
        checks += bed_checks(work, piece)
        checks += stand_off_checks(work, piece)
        if work.followed is None:
            checks += tone_checks(work, wood)
            checks += look_checks(work, piece)
            if mark.treatment == "solid" and mark.id not in faulty and _finer_than_kept(work):
                lost[mark.id] = _lost(work, piece, wood, artworks[mark.id])
                some = lost[mark.id].places != ()
                told = detail_checks(
                    work,
                    piece,
                    lost=lost[mark.id],
                    faces=faces_of(mark.id) if some else (),
                    lenses=machine.lenses if some else (),
                )
                words = least_letter(mark.id, work.predicted.detail_mm) if some else ""
                checks += [replace(c, remedy=f"{c.remedy} {words}".strip()) for c in told]
        else:
            checks += follow_checks(work, piece, wood=wood)
    checks += overlap_checks(tuple(works[m.id] for m in piece.marks), piece, wood=wood)
    ordered = sorted(checks, key=lambda c: LEVELS.index(c.level))
    return PieceWork(
        piece=piece,
        wood=wood,
        marks=tuple(works[m.id] for m in piece.marks),
        checks=tuple(ordered),
        lost=tuple(place for found in lost.values() for place in found.places),
    )


def _finer_than_kept(work: MarkWork) -> bool:
    """Return whether the artwork has strokes or gaps that the recipe may not keep; only then is it worth looking."""
    widths = work.survey.widths
    return any(w is not None and w < work.predicted.detail_mm for w in (widths.stroke_mm, widths.gap_mm))


def _lost(work: MarkWork, piece: Piece, wood: Wood, artwork: Artwork) -> LostDetail:
    """Return which strokes and gaps of a solid mark the predicted burn loses; none where nothing can be burnt at all."""
    grid = detail_grid(work.survey.box_bed_mm, line_spacing_mm=work.recipe.line_spacing_mm)
    coverage = draw_on_bed(artwork, grid=grid, size_mm=work.mark.size_mm, turn_deg=piece.turn_deg, as_light=False)
    return lost_places(
        burn_of(work),
        wood,
        coverage=coverage,
        grid=grid,
        tone_L=work.predicted.tone_L,
        size_mm=work.mark.size_mm,
        outline=outline_on_bed(piece),
        turn_deg=piece.turn_deg,
    )


def burn_of(work: MarkWork) -> Burn:
    """Return what the proof has to know of a mark; followed paths are seen on a grid fine enough for their width."""
    if work.followed is not None:
        x0, y0, x1, y1 = work.survey.box_bed_mm
        fine = max(0.5 * work.predicted.beam_radius_mm, math.sqrt((x1 - x0) * (y1 - y0) / FOLLOWED_PIXELS))
        return Burn(
            grid=grid_in_box(work.survey.box_bed_mm, pixel_mm=fine),
            events=work.events,
            beam=work.wish.beam,
            focus_offset_mm=work.recipe.focus_offset_mm,
            speed_mm_per_s=work.recipe.speed_mm_per_s,
            line_spacing_mm=0.25 * work.predicted.beam_radius_mm,  # no ripple: single lines are seen themselves
            passes=work.recipe.passes,
            rise_time_s=0.0,  # the power follows the speed, the laser is never late by much
            machine=work.wish.machine,
        )
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


def _shown(work: PieceWork) -> MarkWork:
    """Return the mark that a proof enlarges: a scanned one before a followed one, then the one that burns most."""
    return max(work.marks, key=lambda m: (m.followed is None, float((m.picture_W > 0.0).sum()) * m.grid.pixel_mm**2))


def _line_mm(work: MarkWork) -> float:
    """Return what an enlargement goes by: the line spacing, of a followed line its width, faint as it may be. [mm]

    Source
    ------
    Own choice: a line at the bare wood's tone has no width; a quarter of the beam radius still shows where it runs.
    """
    if work.followed is None:
        return work.recipe.line_spacing_mm
    return max(work.recipe.line_spacing_mm, 0.25 * work.predicted.beam_radius_mm)


def shown_place(work: PieceWork) -> tuple[str, tuple[float, float]]:
    """Return which mark a proof enlarges, and where on the upright board, shares 0–1 from its left and its lower edge.

    Source
    ------
    `telling_place_mm`, for a window `LINES_SHOWN` scan lines high and twice as wide.
    """
    shown = _shown(work)
    side = LINES_SHOWN * _line_mm(shown)
    middle = telling_place_mm(shown.picture_W, shown.grid, width_mm=2.0 * side, height_mm=side)
    return shown.mark.id, place_on_board(outline_on_bed(work.piece), middle, turn_deg=work.piece.turn_deg)


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
    shown = _shown(work)
    burn = burn_of(shown)
    pixel = LINES_SHOWN * _line_mm(shown) / planned_px[1]
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
            outline=outline,
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
