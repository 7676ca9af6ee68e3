"""One piece of a batch: worked through, and its programs, pictures and proof written."""

from __future__ import annotations

import zlib
from pathlib import Path

import numpy as np

from evenburn.adapters.formats.ngc_writer import Head, lot_comments, program_lines
from evenburn.adapters.pictures.bed_drawing import write_bed_drawing
from evenburn.adapters.pictures.board import write_board
from evenburn.adapters.pictures.burn_image import write_burn_image
from evenburn.adapters.pictures.proof import BOARD_px, OFFSET_px, PLANNED_px, ProofCaption, write_proof
from evenburn.adapters.pictures.small_board import small_board_png
from evenburn.adapters.storage.folder import OutputFolder
from evenburn.core.errors import ProgramNotSound
from evenburn.core.layout.place import blank_size_text, outline_on_bed
from evenburn.core.motion.timing import lead_mm
from evenburn.core.nouns.cautions import PROGRAM_WORDS
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Piece
from evenburn.core.nouns.plan import MarkPlan, PiecePlan
from evenburn.core.planning.binding import bindings
from evenburn.core.planning.choice import choice
from evenburn.core.planning.concede import concessions
from evenburn.core.planning.follow_checks import follow_bindings
from evenburn.core.planning.lens_table import other_lenses
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.piece_plan import PieceSurvey, PieceWork, proof_pictures
from evenburn.core.units import duration_text, lines_per_inch
from evenburn.services.load_batch import Batch
from evenburn.services.prove import prove_program
from evenburn.services.work_through import work_through
from evenburn.services.write_trace import write_trace

SAME_LINES = 1e-6  # of a line spacing: the grid's own, or a fault of ours
SMALL_px = (320, 224)  # of a board in a list: three to four times what a row shows, for sharp screens


def write_piece(
    batch: Batch, piece: Piece, *, surveyed: PieceSurvey, output: OutputFolder, look: Path, date: str
) -> PiecePlan:
    """Return a piece planned, its files written into the output folder and the look of its board into `look`.

    Its place in the order is not known yet and stands at 0. Of what must not be burnt nothing is written.

    Raises
    ------
    ProgramNotSound
        If a program does not pass when it is read back.
    """
    work = work_through(batch, piece, surveyed=surveyed)
    marks = tuple(_write_mark(batch, output, work, mark, date=date) for mark in work.marks)
    doubtful = any(check.code == "doubtful-material" for check in work.checks)
    planned = PiecePlan(
        piece=piece,
        wood=work.wood,
        start_order=0,
        marks=marks,
        checks=work.checks,
        confirmation=batch.confirmations.get(piece.wood_id) if doubtful else None,
    )
    if marks:
        _write_proof(output.path(f"{piece.id}-proof.png"), work, planned, board=look)
    return planned


def small_look(look: Path) -> Path:
    """Return where the small picture of a board lies that stands beside its look for the run sheet."""
    return look.with_name(f"{look.stem}-small.png")


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
        *lot_comments(work.wood),
        f"machine {machine.name}, lens {lens.name}",
        f"blank {work.piece.blank.thickness_mm:g} mm thick",
        f"set stand-off {recipe.stand_off_mm:.1f} mm, focus offset {recipe.focus_offset_mm:+.1f} mm",
        f"power {recipe.power_W:.1f} W, {100.0 * recipe.power_fraction:.1f} percent",
        *_way_lines(machine, mark),
        f"air {air}",
        f"tone L* {predicted.tone_L:.1f} +/- {predicted.tone_L_sd:.1f}, time {duration_text(predicted.time_s)}",
        PROGRAM_WORDS,
    )


def _way_lines(machine: Machine, mark: MarkWork) -> tuple[str, ...]:
    """Return speed and the way the head goes: in lines to and fro, or along the outlines."""
    recipe = mark.recipe
    if mark.followed is not None:
        what = "kerf" if mark.mark.treatment == "cut" else "line"
        return (
            f"speed {recipe.speed_mm_per_s:g} mm/s at most, passes {recipe.passes}, following {mark.followed.outlines} paths",
            f"{what} {recipe.line_spacing_mm:.3f} mm wide, {mark.followed.length_mm:.0f} mm long",
        )
    return (
        f"speed {recipe.speed_mm_per_s:.0f} mm/s, passes {recipe.passes}, scan along {recipe.scan_axis}",
        f"line spacing {recipe.line_spacing_mm:.3f} mm, {lines_per_inch(recipe.line_spacing_mm):.0f} LPI",
        f"lead {lead_mm(machine, speed_mm_per_s=recipe.speed_mm_per_s):.3f} mm, run-up {mark.predicted.run_up_mm:.2f} mm",
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
        _demand_its_lines(mark, program)
        lines = program_lines(
            machine,
            mark.events,
            head=Head(lines=head_lines(machine, batch.lens, work, mark, batch_name=batch.name, date=date)),
        )
        output.write_text(program, "\n".join(lines) + "\n")
        prove_program(output.path(program), machine, events=mark.events, time_s=mark.predicted.time_s)
    return MarkPlan(
        mark=mark.mark,
        box_bed_mm=mark.survey.box_bed_mm,
        recipe=mark.recipe,
        predicted=mark.predicted,
        binding=bindings(mark) if mark.followed is None else follow_bindings(mark, piece, wood=work.wood),
        stroke_mm=mark.survey.widths.stroke_mm,
        gap_mm=mark.survey.widths.gap_mm,
        program_file=program,
        image_file=f"{stem}.png",
        drawing_file=f"{stem}.svg",
        proof_file=f"{piece.id}-proof.png",
        reproduction=mark.reproduction,
        reproduction_why=mark.reproduction_why,
        gave_way=concessions(mark.wish, mark.found, recipe=mark.recipe) if mark.followed is None else (),
        choice=choice(mark.wish, mark.found, recommended=mark.recipe) if mark.followed is None else (),
        islands=mark.islands,
        trace_file=write_trace(output, machine, piece=piece, work=mark, batch_name=batch.name, date=date),
        other_lenses=other_lenses(mark.wish, mark.found) if mark.followed is None else (),
    )


def _demand_its_lines(mark: MarkWork, program: str) -> None:
    """Demand that a scanned mark lies on its recipe's own lines, and not on pixels made only to be looked at."""
    apart_mm, recipe_mm = mark.grid.pixel_mm, mark.recipe.line_spacing_mm
    if mark.followed is None and abs(apart_mm - recipe_mm) > SAME_LINES * recipe_mm:
        raise ProgramNotSound(
            f"{program} would burn lines {apart_mm:.3f} mm apart, and its recipe is for {recipe_mm:.3f} mm",
            hint="Please tell us: this is a fault of evenburn's.",
        )


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
    way_facts = (
        (
            (f"{predicted.ripple_L:.1f}{nb}L*", f"banding, {seen}"),
            (f"{predicted.detail_mm:.2f}{nb}mm", "smallest stroke kept"),
        )
        if recipe.way == "scan"
        else ((f"{recipe.line_spacing_mm:.2f}{nb}mm", "kerf" if recipe.way == "cut" else "width of the line"),)
    )
    resting = f"Curve of {work.wood.name}: {curve.provenance.kind}"
    write_board(board, pictures.board)
    small_look(board).write_bytes(small_board_png(pictures.board, most_px=SMALL_px))
    write_proof(
        target,
        pictures,
        ProofCaption(
            title=work.piece.name,
            subtitle=f"{work.wood.label}, {blank_size_text(work.piece.blank)}",
            planned_offset_mm=recipe.focus_offset_mm,
            line_spacing_mm=recipe.line_spacing_mm if recipe.way == "scan" else None,
            shown_mark=shown.mark.id,
            facts=(
                (f"L*{nb}{predicted.tone_L:.1f}{nb}±{nb}{predicted.tone_L_sd:.1f}", "tone"),
                *way_facts,
                (f"{curve.evenness_L:.1f}{nb}L*", "blotches of the wood itself"),
            ),
            remark=f"{resting}, {curve.provenance.detail}." if curve.provenance.detail else f"{resting}.",
            stopped=planned.stopped(),
        ),
        lost=work.lost,
    )
