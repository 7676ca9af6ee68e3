"""Programs that burn several marks in one run, written beside the marks' own and read back."""

from __future__ import annotations

from collections.abc import Sequence

from evenburn.adapters.formats.ngc_writer import Head, lot_comments, program_lines
from evenburn.adapters.storage.folder import OutputFolder
from evenburn.core.layout.place import outline_on_bed
from evenburn.core.nouns.cautions import PROGRAM_WORDS
from evenburn.core.nouns.plan import PiecePlan, SharedRun
from evenburn.core.planning.together import Member, RunPlan, groups_of, run_of
from evenburn.core.units import duration_text, lines_per_inch
from evenburn.services.load_batch import Batch
from evenburn.services.prove import prove_program


def write_runs(batch: Batch, pieces: Sequence[PiecePlan], *, output: OutputFolder, date: str) -> tuple[SharedRun, ...]:
    """Return the runs that burn several marks at once, their programs written and proven.

    Marks are drawn anew, one group at a time; nothing of their planning needs to be kept but the plan itself.

    Parameters
    ----------
    pieces : planned and written, in the order of the batch.

    Raises
    ------
    ProgramNotSound
        If a program does not pass when it is read back.
    """
    runs: list[SharedRun] = []
    for group in groups_of(batch.machine, pieces):
        planned = run_of(batch.machine, lens=batch.lens, group=group, artworks=batch.artworks)
        if planned is None:
            continue
        name = f"together_{len(runs) + 1}.ngc"  # no id holds an underscore, so no mark's program is called so
        head = Head(lines=run_head(batch, planned, date=date))
        output.write_text(name, "\n".join(program_lines(batch.machine, planned.events, head=head)) + "\n")
        prove_program(output.path(name), batch.machine, events=planned.events, time_s=planned.time_s)
        runs.append(
            SharedRun(
                marks=tuple((member.piece.id, member.plan.mark.id) for member in planned.members),
                file=name,
                time_s=planned.time_s,
                saved_s=planned.saved_s,
                time_lower_bound_s=planned.time_lower_bound_s,
            )
        )
    return tuple(runs)


def run_head(batch: Batch, planned: RunPlan, *, date: str) -> tuple[str, ...]:
    """Return what the head of a run says: every piece with its place, every mark with its power, the one set-up."""
    recipe, piece = planned.members[0].plan.recipe, planned.members[0].piece
    air = "as low as it goes" if recipe.air_kPa is None else f"{recipe.air_kPa:.0f} kPa"
    by_piece: dict[str, list[Member]] = {}
    for member in planned.members:
        by_piece.setdefault(member.piece.id, []).append(member)
    lying = [line for members in by_piece.values() for line in _piece_lines(members)]
    return (
        f"evenburn program for {len(planned.members)} marks in one run, planned {date}",
        f"batch {batch.name}",
        f"machine {batch.machine.name}, lens {batch.lens.name}",
        "it takes the place of their own programs: run this one or those",
        *lying,
        f"blanks {piece.blank.thickness_mm:g} mm thick, all on the bed before it starts",
        f"set stand-off {recipe.stand_off_mm:.1f} mm, focus offset {recipe.focus_offset_mm:+.1f} mm",
        f"speed {recipe.speed_mm_per_s:.0f} mm/s, passes {recipe.passes}, scan along {recipe.scan_axis}",
        f"line spacing {recipe.line_spacing_mm:.3f} mm, {lines_per_inch(recipe.line_spacing_mm):.0f} LPI",
        f"air {air}",
        f"time {duration_text(planned.time_s)}, {duration_text(planned.saved_s)} less than one after another",
        PROGRAM_WORDS,
    )


def _piece_lines(members: Sequence[Member]) -> list[str]:
    piece, wood = members[0].piece, members[0].wood
    x0, y0, _, _ = outline_on_bed(piece).bounds
    turned = f", turned {piece.turn_deg:g} degrees" if piece.turn_deg else ""
    lines = [
        f"piece {piece.id}",
        f"its lower left corner lies at x {x0:.1f}, y {y0:.1f} mm{turned}",
        f"wood {wood.name}, {wood.curve.provenance.kind}",
        *lot_comments(wood),
    ]
    for member in members:
        recipe, predicted = member.plan.recipe, member.plan.predicted
        lines.append(f"mark {member.plan.mark.id}")
        lines.append(
            f"power {recipe.power_W:.1f} W, {100.0 * recipe.power_fraction:.1f} percent, "
            f"tone L* {predicted.tone_L:.1f} +/- {predicted.tone_L_sd:.1f}"
        )
    return lines
