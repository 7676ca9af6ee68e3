"""The bench that the figures are drawn for: the demo's."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import Path

from evenburn.core.optics.beam import beam_of_lens, beam_radius_mm
from evenburn.core.planning.mark_plan import wish_for
from evenburn.core.planning.survey import survey_mark
from evenburn.core.planning.wish import Wish
from evenburn.services.load_batch import Batch, load_batch


@cache
def bench() -> Batch:
    """Return the demo batch."""
    return load_batch(Path(str(files("evenburn") / "assets" / "demo")))


@cache
def demo_wish(piece_id: str, mark_id: str) -> Wish:
    """Return what the recipe search is asked for one mark of the demo."""
    batch = bench()
    piece = next(p for p in batch.pieces if p.id == piece_id)
    mark = next(m for m in piece.marks if m.id == mark_id)
    wood = batch.woods[piece.wood_id]
    survey = survey_mark(batch.machine, piece=piece, mark=mark, wood=wood, artwork=batch.artworks[piece_id, mark_id])
    beam = beam_of_lens(batch.lens)
    return wish_for(batch.machine, lens=batch.lens, beam=beam, curve=wood.curve, piece=piece, mark=mark, survey=survey)


def radius(offset_mm: float) -> float:
    """Return the beam radius of the demo's lens. [mm]"""
    return float(beam_radius_mm(beam_of_lens(bench().lens), offset_mm=offset_mm))
