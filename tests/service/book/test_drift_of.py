"""Drift told from the logbook: burns of several woods, made up here, whose shifts are known."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from evenburn.adapters.formats.outcome_json import outcome_document
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.tables import burn
from evenburn.core.nouns.outcome import ExposureShift, Got, Outcome, Promised
from evenburn.core.nouns.recipe import Recipe
from evenburn.services.book.drift_of import drift_of
from evenburn.services.book.take_in import TakenIn
from service.book.test_logbook import burnt

LOST = -0.0555  # decades: a loss of 12 % of the power, log10(0.88)
DECADES_SD = 0.008
RECIPE = Recipe(
    power_W=20.0,
    power_fraction=0.35,
    speed_mm_per_s=300.0,
    line_spacing_mm=0.12,
    focus_offset_mm=2.0,
    stand_off_mm=11.5,
    passes=1,
    scan_axis="x",
    air_kPa=None,
)


def looked_at(book: Book, taken: TakenIn, wood_id: str, decades: float, *, machine: str = "Boathouse bench") -> None:
    """Put a burn into the logbook whose outcome tells a shift of the exposure."""
    shift = ExposureShift(decades=decades, decades_sd=DECADES_SD, slope_L_per_decade=-80.0)
    outcome = Outcome(
        piece_id="plaque",
        mark_id="front",
        wood_id=wood_id,
        machine_name=machine,
        lens_name="2 inch",
        date="2026-06-20",
        promised=Promised(tone_L=40.0, tone_L_sd=1.0, dose_J_per_mm2=1.0, dwell_ms=0.7, passes=1),
        got=Got(
            tone_L=40.0 - 80.0 * decades,
            own_L_sd=0.4,
            shared_L_sd=0.2,
            spread_L=0.5,
            bare_L=80.0,
            inside_mm2=400.0,
            photographs=1,
        ),
        board_L=0.5,
        shift=shift,
    )
    document = outcome_document(
        outcome, recipe=RECIPE, planned_on="2026-06-09", photographs=[{"name": "a.jpg"}], update=None
    )
    burn_id = burnt(book, taken.piece_ids[0], "front")
    with book.writing() as connection:
        kept = {"photographs": [], "compared": document, "not_compared": ""}
        connection.execute(sa.update(burn).where(burn.c.id == burn_id).values(outcome=kept))


def test_without_outcomes_nothing_is_told(book: Book, taken: TakenIn) -> None:
    burnt(book, taken.piece_ids[0], "front")
    assert drift_of(book, taken.machine_id) is None


@pytest.mark.parametrize(("decades", "kind"), [(LOST, "drift"), (0.0, "none")])
def test_what_all_woods_have_in_common_is_the_bench(book: Book, taken: TakenIn, decades: float, kind: str) -> None:
    for wood_id in ("hard-maple", "beech", "cherry"):
        for _ in range(2):
            looked_at(book, taken, wood_id, decades)
    looked_at(book, taken, "oak", 0.3, machine="another bench")  # tells nothing of this one
    told = drift_of(book, taken.machine_id)
    assert told is not None
    assert (told.kind, told.burns, told.lots) == (kind, 6, 3)
    assert told.text
