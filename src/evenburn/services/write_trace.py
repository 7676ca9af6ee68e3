"""The dry trace of one mark, written and read back."""

from __future__ import annotations

from evenburn.adapters.formats.ngc_writer import Head, program_lines
from evenburn.adapters.storage.folder import OutputFolder
from evenburn.core.layout.place import outline_on_bed
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Piece
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.trace_plan import DryTrace, dry_trace_of
from evenburn.core.units import duration_text
from evenburn.services.prove import prove_program


def write_trace(
    output: OutputFolder, machine: Machine, *, piece: Piece, work: MarkWork, batch_name: str, date: str
) -> str | None:
    """Return the name of a mark's dry trace, written and proven; None where there is nothing on the bed to walk round.

    Raises
    ------
    ProgramNotSound
        If it does not pass when it is read back.
    """
    trace = dry_trace_of(work, piece)
    if trace is None:
        return None
    name = f"{piece.id}-{work.mark.id}-trace.ngc"
    head = Head(lines=trace_head(trace, piece, mark_id=work.mark.id, batch_name=batch_name, date=date))
    output.write_text(name, "\n".join(program_lines(machine, trace.events, head=head)) + "\n")
    prove_program(output.path(name), machine, events=trace.events, time_s=trace.time_s)
    return name


def trace_head(trace: DryTrace, piece: Piece, *, mark_id: str, batch_name: str, date: str) -> tuple[str, ...]:
    """Return what the head of a dry trace says."""
    x0, y0, _, _ = outline_on_bed(piece).bounds
    off = (
        *(("the mark's box reaches over the bed's edge: walked as far as it goes",) if trace.box_cut_off else ()),
        *(("RUN-UP LEAVES THE BED: walked as far as it goes, see the checks",) if trace.run_up_cut_off else ()),
    )
    return (
        f"evenburn dry trace, planned {date}: the laser stays off",
        f"batch {batch_name}",
        f"piece {piece.id}, mark {mark_id}",
        f"the blank's lower left corner lies at x {x0:.1f}, y {y0:.1f} mm",
        "walked: the mark's box with a rest at each corner, round what it",
        "burns, then as far as the head goes, run-up included",
        *off,
        f"pace {trace.pace_mm_per_s:g} mm/s, time {duration_text(trace.time_s)}",
        "nothing burns; keep hands and tools out of the head's way",
    )
