"""Plan a batch: recipes, programs, pictures, proofs, run sheet and plan.json, all or nothing."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from evenburn.adapters.formats.ngc_reader import Report, verify_file
from evenburn.adapters.formats.ngc_writer import Head, program_lines
from evenburn.adapters.formats.plan_json import plan_document, plan_text
from evenburn.adapters.formats.wood_toml import materials
from evenburn.adapters.pictures.bed_drawing import write_bed_drawing
from evenburn.adapters.pictures.board import write_board
from evenburn.adapters.pictures.burn_image import error_diffusion, write_burn_image
from evenburn.adapters.pictures.proof import BOARD_px, OFFSET_px, PLANNED_px, ProofCaption, write_proof
from evenburn.adapters.print.run_sheet import write_run_sheet
from evenburn.adapters.storage.folder import INDEX, OutputFolder
from evenburn.core.errors import ProgramNotSound
from evenburn.core.layout.place import blank_size_text, outline_on_bed
from evenburn.core.motion.raster import lead_mm
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.plan import BatchPlan, MarkPlan, PiecePlan
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.planning.batch import set_up_order
from evenburn.core.planning.binding import bindings
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.materials import find_material
from evenburn.core.planning.piece_plan import PieceWork, proof_pictures, work_piece
from evenburn.core.units import duration_text, lines_per_inch
from evenburn.services.load_batch import Batch, load_batch
from evenburn.services.verify_program import limits_of

RUN_SHEET = "run-sheet.pdf"
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A batch as planned and written, and where."""

    plan: BatchPlan
    folder: Path
    files: tuple[str, ...]
    run_sheet_pages: int


def _silent(_what: str, _done: int, _of: int) -> None:
    """Report no progress."""


def plan_batch(folder: Path, *, to: Path, date: str, progress: Progress = _silent) -> Planned:
    """Plan a batch folder and write everything it needs.

    Parameters
    ----------
    date : ISO date that is printed and written; the same input and date give the same bytes.
    progress : told what is being done, how many steps are done, and of how many.

    Raises
    ------
    InvalidInput, UnreadableFile, NotFound
        If the folder's files do not hold; nothing is written.
    StorageError
        If the output cannot be written; what was there stays.
    """
    batch = load_batch(folder)
    steps = 2 * len(batch.pieces) + 1
    works: list[PieceWork] = []
    looks: dict[str, Path] = {}
    with OutputFolder(to) as output, TemporaryDirectory() as looks_name:
        looks_folder = Path(looks_name)
        planned: list[PiecePlan] = []
        for number, piece in enumerate(batch.pieces):
            progress(f"{piece.name}: recipe and program", 2 * number, steps)
            wood = batch.woods[piece.wood_id]
            work = work_piece(
                batch.machine,
                lens=batch.lens,
                wood=wood,
                piece=piece,
                artworks={m.id: batch.artworks[piece.id, m.id] for m in piece.marks},
                diffuse=error_diffusion,
                material=find_material(materials(), wood.name, wood.id),
                confirmed=batch.confirmed[piece.wood_id],
            )
            marks = tuple(_write_mark(batch, output, work, mark, date=date) for mark in work.marks)
            planned.append(PiecePlan(piece=piece, wood=wood, start_order=0, marks=marks, checks=work.checks))
            progress(f"{piece.name}: proof", 2 * number + 1, steps)
            proof = output.path(f"{piece.id}-proof.png")
            looks[piece.id] = looks_folder / f"{piece.id}.png"
            _write_proof(proof, work, planned[-1], board=looks[piece.id])
            works.append(replace_without_pictures(work))
        plan = BatchPlan(
            name=batch.name,
            subtitle=batch.subtitle,
            date=date,
            machine=batch.machine,
            lens=batch.lens,
            pieces=_ordered(planned),
        )
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
        output.write_text(INDEX, plan_text(document))
        names = tuple(sorted(p.name for p in output.path(INDEX).parent.iterdir()))
        output.finish()
    progress("done", steps, steps)
    return Planned(plan=plan, folder=to, files=names, run_sheet_pages=pages)


def replace_without_pictures(work: PieceWork) -> PieceWork:
    """Return a piece's work without its marks, which hold the large arrays."""
    return replace(work, marks=())


def _ordered(pieces: list[PiecePlan]) -> tuple[PiecePlan, ...]:
    """Return the pieces in the order to burn them, numbered from 1."""
    order = set_up_order([(p.piece.blank.thickness_mm, p.marks[0].recipe.stand_off_mm) for p in pieces])
    return tuple(replace(pieces[index], start_order=place) for place, index in enumerate(order, start=1))


def head_lines(
    machine: Machine, lens: Lens, work: PieceWork, mark: MarkWork, *, batch_name: str, date: str
) -> tuple[str, ...]:
    """Return what the head of a program says: piece, mark, recipe, set-up, cautions, date."""
    recipe, predicted = mark.recipe, mark.predicted
    air = "as low as it goes" if recipe.air_kPa is None else f"{recipe.air_kPa:.0f} kPa"
    return (
        f"evenburn program, planned {date}",
        f"batch {batch_name}",
        f"piece {work.piece.id}, mark {mark.mark.id}, {mark.mark.treatment}",
        f"wood {work.wood.name}, {work.wood.curve.provenance.kind}",
        f"machine {machine.name}, lens {lens.name}",
        f"blank {work.piece.blank.thickness_mm:g} mm thick",
        f"set stand-off {recipe.stand_off_mm:.1f} mm, focus offset {recipe.focus_offset_mm:+.1f} mm",
        f"power {recipe.power_W:.1f} W, {100.0 * recipe.power_fraction:.1f} percent",
        f"speed {recipe.speed_mm_per_s:.0f} mm/s, passes {recipe.passes}, scan along {recipe.scan_axis}",
        f"line spacing {recipe.line_spacing_mm:.3f} mm, {lines_per_inch(recipe.line_spacing_mm):.0f} LPI",
        f"air {air}",
        f"lead {lead_mm(machine, speed_mm_per_s=recipe.speed_mm_per_s):.3f} mm, run-up {predicted.run_up_mm:.2f} mm",
        f"tone L* {predicted.tone_L:.1f} +/- {predicted.tone_L_sd:.1f}, time {duration_text(predicted.time_s)}",
        "never leave it burning alone; extraction on; lid shut or eyes protected",
    )


def _write_mark(batch: Batch, output: OutputFolder, work: PieceWork, mark: MarkWork, *, date: str) -> MarkPlan:
    piece, machine = work.piece, batch.machine
    stem = f"{piece.id}-{mark.mark.id}"
    image = write_burn_image(
        output.path(f"{stem}.png"),
        mark.picture_W,
        power_full_W=mark.recipe.power_W,
        pixel_mm=mark.grid.pixel_mm,
    )
    grid = mark.grid
    write_bed_drawing(
        output.path(f"{stem}.svg"),
        title=f"{piece.name}, mark {mark.mark.id}, on the bed of {machine.name}",
        bed_mm=(machine.bed_x_mm, machine.bed_y_mm),
        outline=outline_on_bed(piece),
        box_bed_mm=mark.survey.box_bed_mm,
        image=image,
        image_box_mm=(
            grid.x0_mm,
            grid.y0_mm,
            grid.x0_mm + grid.columns * grid.pixel_mm,
            grid.y0_mm + grid.rows * grid.pixel_mm,
        ),
    )
    program: str | None = None
    if work.may_burn(mark.mark.id):
        program = f"{stem}.ngc"
        lines = program_lines(
            machine,
            mark.events,
            head=Head(lines=head_lines(machine, batch.lens, work, mark, batch_name=batch.name, date=date)),
        )
        output.write_text(program, "\n".join(lines) + "\n")
        _prove(output.path(program), machine, mark)
    return MarkPlan(
        mark=mark.mark,
        box_bed_mm=mark.survey.box_bed_mm,
        recipe=mark.recipe,
        predicted=mark.predicted,
        binding=bindings(mark),
        stroke_mm=mark.survey.widths.stroke_mm,
        gap_mm=mark.survey.widths.gap_mm,
        program_file=program,
        image_file=f"{stem}.png",
        drawing_file=f"{stem}.svg",
        proof_file=f"{piece.id}-proof.png",
    )


def _prove(program: Path, machine: Machine, mark: MarkWork) -> Report:
    """Read a program back from disk; a program that does not pass is never kept."""
    report = verify_file(program, limits_of(machine))
    faults = [f"{f.code}, line {f.line}: {f.text}" for f in report.findings if f.level == "stop"]
    if abs(report.time_s - mark.predicted.time_s) > max(0.005 * mark.predicted.time_s, 0.5):
        faults.append(
            f"it takes {report.time_s:.1f} s by the reader's clock, {mark.predicted.time_s:.1f} s by the plan's"
        )
    if faults:
        raise ProgramNotSound(
            f"{program.name} did not pass its own check: {'; '.join(faults[:3])}",
            hint="This is a fault of evenburn. Nothing was written; please report the batch folder.",
        )
    return report


def _write_proof(target: Path, work: PieceWork, planned: PiecePlan, *, board: Path) -> None:
    """Write the proof of a piece, and beside it the board alone for the run sheet."""
    seed = zlib.crc32(work.piece.id.encode())  # each piece its own wood, the same every time it is planned
    pictures = proof_pictures(
        work,
        board_px=BOARD_px,
        planned_px=PLANNED_px,
        offset_px=OFFSET_px,
        generator=lambda: np.random.default_rng(seed),
    )
    shown = next(m for m in planned.marks if m.mark.id == pictures.shown_mark_id)
    recipe, predicted, curve = shown.recipe, shown.predicted, work.wood.curve
    nb = "\u00a0"
    seen = "seen" if predicted.ripple_L > predicted.ripple_limit_L else "unseen"
    resting = f"Curve of {work.wood.name}: {curve.provenance.kind}"
    write_board(board, pictures.board)
    write_proof(
        target,
        pictures,
        ProofCaption(
            title=work.piece.name,
            subtitle=f"{work.wood.name}, {blank_size_text(work.piece.blank)}",
            planned_offset_mm=recipe.focus_offset_mm,
            line_spacing_mm=recipe.line_spacing_mm,
            shown_mark=shown.mark.id,
            facts=(
                (f"L*{nb}{predicted.tone_L:.1f}{nb}±{nb}{predicted.tone_L_sd:.1f}", "tone"),
                (f"{predicted.ripple_L:.1f}{nb}L*", f"banding, {seen}"),
                (f"{predicted.detail_mm:.2f}{nb}mm", "smallest stroke kept"),
                (f"{curve.evenness_L:.1f}{nb}L*", "blotches of the wood itself"),
            ),
            remark=f"{resting}, {curve.provenance.detail}." if curve.provenance.detail else f"{resting}.",
            stopped=planned.stopped(),
        ),
    )
