"""Plan a batch: recipes, programs, pictures, proofs, run sheet and plan.json, all or nothing."""

from __future__ import annotations

import shutil
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

from evenburn.adapters.formats.plan_json import plan_document, plan_text
from evenburn.adapters.print.run_sheet import write_run_sheet
from evenburn.adapters.storage.folder import INDEX, OutputFolder
from evenburn.core.layout.place import outline_on_bed
from evenburn.core.nouns.plan import BatchPlan, BenchDay, BurntPiece, PiecePlan
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.planning.batch import set_up_order
from evenburn.core.planning.lens_table import lens_facts
from evenburn.core.planning.set_ups import settings_to_make, with_set_ups
from evenburn.services.load_batch import Batch, load_batch
from evenburn.services.progress import Progress, no_progress
from evenburn.services.work_through import surveyed_pieces
from evenburn.services.write_piece import small_look, write_piece
from evenburn.services.write_runs import write_runs

RUN_SHEET = "run-sheet.pdf"
JUST_A_BATCH = BenchDay()  # from files alone nobody knows what was burnt, nor how long a change-over takes
WORKERS = 2  # drawing, blurring and packing run outside the interpreter's lock; more workers would only take memory


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A batch as planned and written, and where."""

    plan: BatchPlan
    folder: Path
    files: tuple[str, ...]
    run_sheet_pages: int


def plan_batch(
    folder: Path,
    *,
    to: Path,
    date: str,
    progress: Progress = no_progress,
    sheet_by_sheet: bool = False,
    boards: Path | None = None,
    day: BenchDay = JUST_A_BATCH,
) -> Planned:
    """Plan a batch folder and write everything it needs.

    Parameters
    ----------
    date : ISO date that is printed and written; the same input and date give the same bytes.
    progress : told what is being done, how many steps are done, and of how many.
    sheet_by_sheet : each entry of the batch has the recipes it would have by itself, and they are burnt as listed; without
        it foci are agreed over all of them, and they are burnt with the fewest settings of the stand-off.
    boards : folder for a small picture of each board, PIECE.png; None where nobody wants them.
    day : what the bench knows of it; what is burnt already is only told, and not planned.

    Raises
    ------
    InvalidInput, UnreadableFile, NotFound
        If the folder's files do not hold; nothing is written.
    StorageError
        If the output cannot be written; what was there stays.
    """
    whole = load_batch(folder)
    batch, burnt = _left(whole, day)
    steps = len(batch.pieces) + 2
    progress("recipes, programs and proofs", 0, steps)
    with OutputFolder(to) as output, TemporaryDirectory() as looks_name:
        looks = {p.id: Path(looks_name) / f"{p.id}.png" for p in batch.pieces}
        planned = _pieces(batch, output, looks=looks, date=date, progress=progress, sheet_by_sheet=sheet_by_sheet)
        plan = BatchPlan(
            name=batch.name,
            subtitle=batch.subtitle,
            date=date,
            machine=batch.machine,
            lens=batch.lens,
            pieces=with_set_ups(
                _ordered(planned, places=_places(whole) if sheet_by_sheet else None),
                machine=batch.machine,
                lens=batch.lens,
                before=day.before_mm,
            ),
            lens_facts=lens_facts(batch.machine, batch.lens),
            day=day,
            burnt=burnt,
        )
        plan = replace(plan, runs=write_runs(batch, plan.pieces, output=output, date=date))
        progress("run sheet", steps - 1, steps)
        pages = write_run_sheet(plan, output.path(RUN_SHEET), pictures=looks)
        beam = beam_of_lens(batch.lens)
        document = plan_document(
            plan,
            waist_radius_mm=beam.waist_radius_mm,
            rayleigh_length_mm=beam.rayleigh_length_mm,
            boxes={p.id: outline_on_bed(p).bounds for p in batch.pieces},
            run_sheet=RUN_SHEET,
        )
        if boards is not None:
            for piece in plan.pieces:
                if piece.marks:
                    shutil.copyfile(small_look(looks[piece.piece.id]), boards / f"{piece.piece.id}.png")
        output.write_text(INDEX, plan_text(document))
        names = tuple(sorted(p.name for p in output.path(INDEX).parent.iterdir()))
        output.finish()
    progress("done", steps, steps)
    return Planned(plan=plan, folder=to, files=names, run_sheet_pages=pages)


def _pieces(
    batch: Batch, output: OutputFolder, *, looks: dict[str, Path], date: str, progress: Progress, sheet_by_sheet: bool
) -> list[PiecePlan]:
    """Return all pieces planned and written, two at a time, in their order.

    The first fault ends the work; what is still under way is waited for, so that nothing writes afterwards.
    """
    steps = len(batch.pieces) + 2
    surveyed = surveyed_pieces(batch, workers=WORKERS, each_by_itself=sheet_by_sheet)
    with ThreadPoolExecutor(max_workers=WORKERS) as workers:
        tasks = {
            workers.submit(
                write_piece,
                batch,
                piece,
                surveyed=surveyed[piece.id],
                output=output,
                look=looks[piece.id],
                date=date,
            ): piece
            for piece in batch.pieces
        }
        try:
            for done, task in enumerate(as_completed(tasks), start=1):
                task.result()
                progress(f"{tasks[task].name} planned", done, steps)
        except BaseException:
            workers.shutdown(wait=True, cancel_futures=True)
            raise
        return [task.result() for task in tasks]


def _places(batch: Batch) -> dict[str, int]:
    """Return piece id → its place in the batch as listed, from 1."""
    return {piece.id: place for place, piece in enumerate(batch.pieces, start=1)}


def _left(batch: Batch, day: BenchDay) -> tuple[Batch, tuple[BurntPiece, ...]]:
    """Return a batch without the pieces that are burnt already, and those."""
    at, places = dict(day.burnt), _places(batch)
    burnt = tuple(
        BurntPiece(
            piece=piece,
            wood=batch.woods[piece.wood_id],
            start_order=places[piece.id],
            burnt_at=at[batch.listed_as[piece.id]],
            spoiled=batch.listed_as[piece.id] in day.spoiled,
        )
        for piece in batch.pieces
        if batch.listed_as[piece.id] in at
    )
    left = tuple(piece for piece in batch.pieces if batch.listed_as[piece.id] not in at)
    return replace(batch, pieces=left), burnt


def _ordered(pieces: list[PiecePlan], *, places: dict[str, int] | None) -> tuple[PiecePlan, ...]:
    """Return the pieces in the order to burn them, with their place in it: as listed, or with the fewest settings."""
    if places is not None:
        return tuple(replace(piece, start_order=places[piece.piece.id]) for piece in pieces)
    order = set_up_order([settings_to_make(piece) for piece in pieces])
    return tuple(replace(pieces[index], start_order=place) for place, index in enumerate(order, start=1))
