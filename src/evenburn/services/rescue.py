"""Rescue a piece that went wrong: how deep it is burnt, what sanding takes, what covers it, and where it lies now."""

from __future__ import annotations

import difflib
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from evenburn.core.errors import InvalidInput, NotFound
from evenburn.core.nouns.mark import Mark, Piece
from evenburn.core.nouns.wood import Wood
from evenburn.core.planning.checks import material_check
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.materials import is_forbidden
from evenburn.core.planning.piece_plan import PieceWork
from evenburn.core.planning.rescue.advice import Advice
from evenburn.core.planning.rescue.again import Again, burnt_again
from evenburn.core.planning.rescue.burn_depth import BurnDepth, Burnt, Happened, burn_depth, burnt_with, is_stone
from evenburn.core.planning.rescue.cover import Cover, cover_grid, cover_of, exposure_map
from evenburn.core.planning.rescue.grown import Grown, grown_mark
from evenburn.core.planning.rescue.judge import cover_advice, rerun_advice
from evenburn.core.planning.rescue.register import MEASURED_TO_mm, Point, Registration, far_corner_mm, placed, register
from evenburn.core.planning.rescue.sanding import Sanding, sanding
from evenburn.core.response.curve import tone_L
from evenburn.services.load_batch import Batch, load_batch
from evenburn.services.plan_batch import WORKERS, Planned
from evenburn.services.progress import Progress, no_progress
from evenburn.services.rescue_run import plan_rescued
from evenburn.services.work_through import material_of, surveyed_pieces, work_through

COVER_ID = "cover"


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverWish:
    """What to burn over the spoilt mark: itself, grown, or another mark of the batch; at a place, in a tone.

    `other` is "MARK" of the same piece or "PIECE/MARK"; None is the spoilt mark's own art.
    """

    other: str | None = None
    grow_mm: float = 0.0
    at_mm: Point | None = None
    tone_L: float | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be drawn."""
        wrong: dict[str, str] = {}
        if not (math.isfinite(self.grow_mm) and 0.0 <= self.grow_mm <= 50.0):
            wrong["grow_mm"] = f"is {self.grow_mm:g}; allowed is 0 to 50 mm"
        if self.tone_L is not None and not (math.isfinite(self.tone_L) and 0.0 <= self.tone_L <= 100.0):
            wrong["tone_L"] = f"is {self.tone_L:g}; allowed is 0 to 100"
        if self.at_mm is not None and not all(math.isfinite(v) for v in self.at_mm):
            wrong["at_mm"] = "holds something that is no finite number"
        if wrong:
            raise InvalidInput(wrong)


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Points of the drawing found again on the bed, and how well they were measured. [mm]

    `on_mark` says that they were drawn from the lower left corner of the mark's box, not of the blank's.
    """

    drawn_mm: Sequence[Point]
    found_mm: Sequence[Point]
    measured_to_mm: float = MEASURED_TO_mm
    on_mark: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a person asks for one spoilt piece; without a mark, all of its marks are looked at."""

    mark_id: str | None = None
    happened: Happened = field(default_factory=Happened)
    veneer_mm: float | None = None
    cover: CoverWish | None = None
    found: Found | None = None

    def __post_init__(self) -> None:
        """Refuse a veneer that is none."""
        if self.veneer_mm is not None and not (math.isfinite(self.veneer_mm) and self.veneer_mm > 0.0):
            raise InvalidInput({"veneer_mm": f"is {self.veneer_mm:g}; it has to be above 0"})


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkRescue:
    """One burnt mark: what it had, how deep it is, and what sanding it out takes."""

    mark: Mark
    burnt: Burnt
    tone_L: float
    depth: BurnDepth
    sanding: Sanding


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverReport:
    """A new design over the burnt mark: what it is, what it leaves to be seen, and what is to be said of it."""

    label: str
    new: MarkWork
    cover: Cover
    advice: tuple[Advice, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rerun:
    """Where the piece lies now, how well that is known, and the plan made for it there.

    `errors_mm` is for each mark the miss to be expected at its far corner, one standard deviation. `again` is the mark
    burnt over itself. `planned` is None where no folder was named.
    """

    registration: Registration
    piece: Piece
    errors_mm: dict[str, float]
    again: dict[str, Again]
    advice: tuple[Advice, ...]
    planned: Planned | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rescued:
    """All that is found out about a spoilt piece."""

    batch_name: str
    piece: Piece
    wood: Wood
    marks: tuple[MarkRescue, ...]
    cover: CoverReport | None
    rerun: Rerun | None


def rescue_piece(
    folder: Path,
    piece_id: str,
    *,
    asked: Asked,
    to: Path | None = None,
    date: str = "",
    progress: Progress = no_progress,
) -> Rescued:
    """Return what can be done for a piece that went wrong, and plan its re-run where a folder is named.

    Parameters
    ----------
    to : folder for the re-run's plan; it needs points. date : as for `plan_batch`.

    Raises
    ------
    InvalidInput, UnreadableFile, NotFound
        If the batch does not hold, there is no such piece or mark, or what was asked does not; or if the material must
        not be burnt.
    StorageError
        If the plan cannot be written.
    """
    if to is not None and asked.found is None:
        raise InvalidInput(
            {"--to": "is given, but no --point"},
            hint="A re-run needs two points of the drawing found on the bed. A blank that was not moved: evenburn plan.",
        )
    batch = load_batch(folder)
    piece = _piece(batch, piece_id)
    wood = batch.woods[piece.wood_id]
    material = material_of(wood)
    if material is not None and is_forbidden(material):
        check = material_check(wood.name, material, confirmed=False)
        raise InvalidInput({piece.id: check.text}, hint=check.remedy)
    if asked.mark_id is not None:
        _mark(piece, asked.mark_id)
    chosen = [m for m in piece.marks if asked.mark_id in (None, m.id)]
    if len(chosen) > 1 and (asked.cover is not None or (asked.found is not None and asked.found.on_mark)):
        raise InvalidInput({"--mark": f"is missing; {piece.id} has {', '.join(m.id for m in piece.marks)}"})
    registration = None if asked.found is None else _register(batch, asked.found, chosen[0])
    work = _planned(batch, piece)
    works = {m.mark.id: m for m in work.marks}
    marks = tuple(_mark_rescue(works[m.id], piece, wood=work.wood, asked=asked) for m in chosen)
    error_mm = None if registration is None else max(_errors_mm(registration, chosen).values())
    cover = None
    if asked.cover is not None:
        cover = _cover(batch, piece, old=works[chosen[0].id], burnt=marks[0].burnt, wish=asked.cover, error_mm=error_mm)
    rerun = None
    if registration is not None:
        rerun = _rerun(registration, piece, wood=work.wood, marks=marks, works=works)
        if to is not None:
            planned = plan_rescued(
                folder,
                batch,
                piece=rerun.piece,
                turned_deg=registration.turn_deg - piece.turn_deg,
                recipes={m.id: works[m.id].recipe for m in chosen},
                to=to,
                date=date,
                progress=progress,
            )
            rerun = replace(rerun, planned=planned)
    return Rescued(batch_name=batch.name, piece=piece, wood=work.wood, marks=marks, cover=cover, rerun=rerun)


def _planned(batch: Batch, piece: Piece) -> PieceWork:
    """Return a piece as the whole batch is planned: pieces of one thickness agree on their focus."""
    alike = [p for p in batch.pieces if round(p.blank.thickness_mm, 2) == round(piece.blank.thickness_mm, 2)]
    surveyed = surveyed_pieces(replace(batch, pieces=tuple(alike)), workers=WORKERS)
    return work_through(batch, piece, surveyed=surveyed[piece.id])


def _piece(batch: Batch, piece_id: str) -> Piece:
    for piece in batch.pieces:
        if piece.id == piece_id:
            return piece
    ids = [p.id for p in batch.pieces]
    near = difflib.get_close_matches(piece_id, ids, n=1, cutoff=0.5)
    raise NotFound(
        f'piece "{piece_id}" is not in this batch; it has {", ".join(ids[:20])}{" …" if len(ids) > 20 else ""}',
        hint=f"Did you mean {near[0]}?" if near else "Name a piece by its id.",
    )


def _mark(piece: Piece, mark_id: str) -> Mark:
    for mark in piece.marks:
        if mark.id == mark_id:
            return mark
    raise NotFound(
        f'mark "{mark_id}" is not on {piece.id}; it has {", ".join(m.id for m in piece.marks)}',
        hint="Name a mark by its id.",
    )


def _mark_rescue(work: MarkWork, piece: Piece, *, wood: Wood, asked: Asked) -> MarkRescue:
    burnt = burnt_with(work.recipe, beam=work.wish.beam, happened=asked.happened)
    depth = burn_depth(burnt, wood=wood, happened=asked.happened)
    return MarkRescue(
        mark=work.mark,
        burnt=burnt,
        tone_L=float(tone_L(wood.curve, burnt.exposure(wood.curve))),
        depth=depth,
        sanding=sanding(depth, piece=piece, mark=work.mark, wood=wood, veneer_mm=asked.veneer_mm),
    )


def _register(batch: Batch, found: Found, mark: Mark) -> Registration:
    """Return how the piece lies; points on the mark are led back to the blank, points off the bed refused."""
    wrong = {
        f"--point {number}": f"was found at {x:g}, {y:g} mm; the bed is {batch.machine.bed_x_mm:g} × "
        f"{batch.machine.bed_y_mm:g} mm"
        for number, (x, y) in enumerate(found.found_mm, start=1)
        if not (0.0 <= x <= batch.machine.bed_x_mm and 0.0 <= y <= batch.machine.bed_y_mm)
    }
    if wrong:
        raise InvalidInput(wrong, hint="A point is DRAWN_X,DRAWN_Y=BED_X,BED_Y; what the pointer showed stands last.")
    origin = mark.place_mm if found.on_mark else (0.0, 0.0)
    drawn = [(x + origin[0], y + origin[1]) for x, y in found.drawn_mm]
    return register(drawn, found.found_mm, measured_to_mm=found.measured_to_mm)


def _errors_mm(registration: Registration, marks: Sequence[Mark]) -> dict[str, float]:
    return {m.id: registration.error_at_mm(far_corner_mm(registration, mark=m)) for m in marks}


def _rerun(
    registration: Registration, piece: Piece, *, wood: Wood, marks: tuple[MarkRescue, ...], works: dict[str, MarkWork]
) -> Rerun:
    errors = _errors_mm(registration, [m.mark for m in marks])
    again = {}
    for one in marks:
        if one.mark.treatment != "cut":
            work = works[one.mark.id]
            anew = burnt_with(work.recipe, beam=work.wish.beam, happened=Happened())
            again[one.mark.id] = burnt_again(
                wood.curve, old_exposure=one.burnt.exposure(wood.curve), new_exposure=anew.exposure(wood.curve)
            )
    return Rerun(
        registration=registration,
        piece=placed(piece, registration),
        errors_mm=errors,
        again=again,
        advice=rerun_advice(registration, piece=piece, errors_mm=errors, again=again, turns_lighter=is_stone(wood)),
        planned=None,
    )


def _cover(
    batch: Batch, piece: Piece, *, old: MarkWork, burnt: Burnt, wish: CoverWish, error_mm: float | None
) -> CoverReport:
    """Return what a new design over the burnt mark leaves to be seen."""
    owner, source = _candidate(batch, piece, wish.other or old.mark.id)
    artwork = batch.artworks[owner.id, source.id]
    mark = replace(source, id=COVER_ID)
    if mark.treatment == "cut" or old.mark.treatment == "cut":
        raise InvalidInput({"cover": "is or lies over a cut; what is cut through cannot be covered"})
    label = source.id if owner.id == piece.id else f"{owner.id}/{source.id}"
    if wish.grow_mm > 0.0:
        if mark.treatment != "solid":
            raise InvalidInput(
                {"--grow-mm": f"is given, but {label} is a {mark.treatment}; only solid ink can be grown"}
            )
        artwork = Grown(artwork=artwork, size_mm=mark.size_mm, by_mm=wish.grow_mm)
        mark = grown_mark(mark, by_mm=wish.grow_mm)
        label = f"{label} grown by {wish.grow_mm:g} mm"
    if wish.at_mm is not None:
        mark = replace(mark, place_mm=wish.at_mm)
    if wish.tone_L is not None:
        mark = replace(mark, tone_L=wish.tone_L)
    alone = replace(piece, marks=(mark,))
    work = work_through(
        replace(
            batch, artworks={**batch.artworks, (piece.id, COVER_ID): artwork}, faults={**batch.faults, piece.id: ()}
        ),
        alone,
    )
    new, curve = work.marks[0], work.wood.curve
    as_new = burnt_with(new.recipe, beam=new.wish.beam, happened=Happened())
    grid = cover_grid(old, new)
    cover = cover_of(
        curve,
        old_map=exposure_map(old, curve, grid=grid, burnt=burnt),
        new_map=exposure_map(new, curve, grid=grid, burnt=as_new),
        grid=grid,
        piece=piece,
        reading_distance_mm=mark.reading_distance_mm,
        old_exposure=burnt.exposure(curve),
        new_exposure=as_new.exposure(curve),
        old_is_even=old.mark.treatment != "photo",
        new_is_even=mark.treatment != "photo",
    )
    stops = tuple(
        Advice(level="stop", text=f"As planned it must not be burnt: {check.text} {check.remedy}")
        for check in work.checks
        if check.level == "stop"
    )
    said = cover_advice(cover, error_mm=error_mm, turns_lighter=is_stone(work.wood))
    return CoverReport(label=label, new=new, cover=cover, advice=stops + said)


def _candidate(batch: Batch, piece: Piece, name: str) -> tuple[Piece, Mark]:
    """Return the mark that is named, "MARK" of this piece or "PIECE/MARK", and the piece it belongs to."""
    owner_id, slash, mark_id = name.partition("/")
    owner = _piece(batch, owner_id) if slash else piece
    return owner, _mark(owner, mark_id if slash else name)
