"""The recipe search estimates time in closed form; what is shown is the time of the events. The two stay close."""

from __future__ import annotations

from importlib import resources

import pytest

from evenburn.core.planning.piece_plan import work_piece
from evenburn.services.load_batch import load_batch


@pytest.mark.parametrize("piece_id", ["ferry-cup", "boathouse", "thwart-sign"])
def test_the_estimate_is_within_one_percent_of_the_events(piece_id: str) -> None:
    """1 %: the recipes within which the search chooses the sharpest differ by as much (NEAR_BEST)."""
    with resources.as_file(resources.files("evenburn") / "assets" / "demo") as folder:
        batch = load_batch(folder)
    piece = next(p for p in batch.pieces if p.id == piece_id)
    work = work_piece(
        batch.machine,
        lens=batch.lens,
        wood=batch.woods[piece.wood_id],
        piece=piece,
        artworks={m.id: batch.artworks[piece.id, m.id] for m in piece.marks},
        material=None,
        confirmed=False,
    )

    for mark in work.marks:
        assert mark.found.time_s == pytest.approx(mark.predicted.time_s, rel=0.01)
