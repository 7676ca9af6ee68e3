"""Whatever the bench, the lens, the wood, the piece and its place: what is planned can be burnt, and burns as planned.

Each job is planned in memory; each program is written as text and read twice, by the reader that checks every file and by
a second one that shares no code with anything. Limits are held against formulas written down once more, `by_hand`.
"""

from __future__ import annotations

import math
from itertools import groupby

import pytest
from hypothesis import given, settings

from evenburn.adapters.formats.ngc_reader import read_program
from evenburn.adapters.formats.ngc_writer import Head, program_lines
from evenburn.core.planning.mark_plan import MarkWork
from evenburn.core.planning.piece_plan import PieceWork
from evenburn.core.planning.power import full_power_s, power_word_decimals
from evenburn.services.verify_program import limits_of
from property.by_hand import Burnt, run_up_mm, unseen_L, watts
from property.jobs import Job, jobs
from service.second_reader import Stroke, interpret, time_s
from soaking import size

# each is planned, written and read back by two readers; tests/property/test_programs_proven.py takes others
EXAMPLES = size(daily=20, lap=60, campaign=3000)

SAME_TIME = 0.005  # what the contract allows between plan and file
SHORT_s, SAME_s = 4.0, 0.02  # … of very short ones a fiftieth of a second: coordinates are written to 1 µm
SAME_ENERGY = 0.01  # as the contract
WRITTEN_mm = 0.001  # places are written to 1 µm, so a length is right within that
ROUNDING = 1e-6  # the bound takes steps between lines to the nanometre
NOTICED_L = 2.3  # a tone that moves by less is not noticed [mahy1994]
AVERAGED_L = 0.1  # the plan averages over 33 places across a line spacing, by hand over 400


def program_of(job: Job, work: MarkWork) -> str:
    return "\n".join(program_lines(job.machine, work.events, head=Head(lines=("a test",)))) + "\n"


def lines_burnt(strokes: list[Stroke]) -> list[list[Stroke]]:
    """Return the moves between rests that burn somewhere: scan lines with their run-up, or followed paths."""
    runs = [list(run) for rapid, run in groupby(strokes, key=lambda s: s.rapid) if not rapid]
    return [run for run in runs if any(s.power_word > 0.0 for s in run)]


def check_readers(job: Job, work: MarkWork, text: str, strokes: list[Stroke]) -> None:
    """Both readers and the plan's clock agree on time and energy; nothing is found that would stop the program."""
    m, plan = job.machine, work.predicted
    report = read_program(text, limits_of(m))
    assert [f for f in report.findings if f.level == "stop"] == []
    slack_s = SAME_s if plan.time_s < SHORT_s else SAME_TIME * plan.time_s
    assert report.time_s == pytest.approx(plan.time_s, abs=slack_s)
    accel = (m.accel_x_mm_per_s2, m.accel_y_mm_per_s2)
    second_s = time_s(
        strokes,
        accel=accel,
        jerk=m.jerk_mm_per_s3,
        line_overhead_s=m.line_overhead_s,
        corner_tolerance_mm=m.corner_tolerance_mm,
    )
    assert second_s == pytest.approx(plan.time_s, abs=slack_s)
    assert plan.time_lower_bound_s <= plan.time_s * (1.0 + ROUNDING)
    assert report.full_power_s == pytest.approx(full_power_s(m, work.events), rel=SAME_ENERGY)
    if work.followed is None:
        dots_J = float(work.picture_W.sum(dtype="float64")) * work.grid.pixel_mm / work.recipe.speed_mm_per_s
        burnt_J = sum(watts(m, s.power_word / m.power_word_max) * s.length_mm / s.speed_mm_per_s for s in strokes)
        assert burnt_J == pytest.approx(work.recipe.passes * dots_J, rel=SAME_ENERGY)


def check_moves(job: Job, work: MarkWork, strokes: list[Stroke]) -> None:
    """Laser off unless a line is burnt; inside the travel; power and speed inside what is allowed."""
    m = job.machine
    least = m.power_least_fraction * m.power_word_max
    most = m.power_cap_fraction * m.power_word_max
    for stroke in strokes:
        for x, y in (stroke.start, stroke.end):
            assert 0.0 <= x <= m.bed_x_mm
            assert 0.0 <= y <= m.bed_y_mm
        if stroke.rapid:
            assert stroke.power_word == 0.0
        else:
            assert stroke.speed_mm_per_s <= m.speed_max_mm_per_s + 1e-3  # F is written to 0.1 mm/min
        if stroke.power_word > 0.0:
            assert least - 1e-6 <= stroke.power_word <= most + 1e-6, (least, stroke.power_word, most, work.recipe)


def check_run_up(job: Job, strokes: list[Stroke]) -> None:
    """Each scan line reaches its speed before it burns, and burns no more when it slows."""
    m = job.machine
    for run in lines_burnt(strokes):
        along = 0 if abs(run[-1].end[0] - run[0].start[0]) > abs(run[-1].end[1] - run[0].start[1]) else 1
        accel = (m.accel_x_mm_per_s2, m.accel_y_mm_per_s2)[along]
        speed = run[0].speed_mm_per_s
        needed = run_up_mm(speed, accel, m.jerk_mm_per_s3) * (1.0 - 1e-4) - WRITTEN_mm  # F is written to 0.1 mm/min
        lit = [i for i, s in enumerate(run) if s.power_word > 0.0]
        assert sum(s.length_mm for s in run[: lit[0]]) >= needed
        assert sum(s.length_mm for s in run[lit[-1] + 1 :]) >= needed


def check_limits(job: Job, work: MarkWork, planned: PieceWork) -> None:
    """Every limit that did not give way holds, by other formulas than the search's."""
    mark, recipe, gave_way = work.mark, work.recipe, work.found.gave_way
    burnt = Burnt(
        machine=job.machine,
        lens=job.lens,
        curve=job.wood.curve,
        recipe=recipe,
        unevenness_mm=job.piece.blank.unevenness_mm,
    )
    told = {check.code for check in planned.checks if check.mark_id == mark.id}
    wrong = {}
    if "banding" not in gave_way and "banding-visible" not in told:  # told: at a power that the wished tone is below
        unseen = unseen_L(mark.tone_L, recipe.line_spacing_mm, mark.reading_distance_mm)
        half = 0.5 * 10.0 ** -power_word_decimals(job.machine) / (recipe.power_fraction * job.machine.power_word_max)
        as_solved = (
            burnt.banding_L(power_W=recipe.power_W * (1.0 + up)) for up in (-half, 0.0, half)
        )  # before it was rounded
        wrong["banding"] = min(as_solved) - unseen - 0.02
    if "char" not in gave_way:
        word = recipe.power_fraction * job.machine.power_word_max
        least = (
            word - 10.0 ** -power_word_decimals(job.machine)
            < job.machine.power_least_fraction * job.machine.power_word_max
        )
        step = math.log10(1.0 + 0.5 / word) if least else 0.0  # no lower word fires: the nearest may be half a step up
        wrong["char"] = burnt.sharp_exposures()[0] - job.wood.curve.x_char - 0.002 - step
    if "warp" not in gave_way:
        wrong["warp"] = burnt.warp_L() - NOTICED_L - 0.02
    if "tone" not in gave_way and "tone-missed" not in told:
        wrong["tone"] = abs(burnt.tone_L() - mark.tone_L) - NOTICED_L - 0.02
    kept = burnt.kept_mm(burnt.tone_L())
    seen = abs(burnt.tone_L() - job.wood.curve.bare_L) > NOTICED_L  # what nobody sees has no edge to keep
    if "sharpness" not in gave_way and seen:
        wrong["sharpness"] = kept - mark.sharpness_mm - 0.002
    if "detail" not in gave_way and seen:
        own = [w for w in (work.survey.widths.stroke_mm, work.survey.widths.gap_mm) if w is not None]
        wrong["detail"] = kept - min([mark.sharpness_mm, *own]) - 0.002
    wrong["predicted tone"] = abs(burnt.tone_L() - work.predicted.tone_L) - AVERAGED_L
    bad = {name: round(by, 4) for name, by in wrong.items() if by > 0.0}
    assert not bad, (bad, gave_way, sorted(told), recipe)


def check_mark(job: Job, work: MarkWork, planned: PieceWork) -> None:
    text = program_of(job, work)
    strokes = interpret(text, rapid_mm_per_s=job.machine.rapid_mm_per_s)
    check_moves(job, work, strokes)
    check_readers(job, work, text, strokes)
    if work.followed is None:
        check_run_up(job, strokes)
        check_limits(job, work, planned)


@settings(max_examples=EXAMPLES)
@given(job=jobs())
def test_whatever_may_be_burnt_burns_as_planned_and_keeps_every_limit(job: Job) -> None:
    planned = job.work()
    for work in planned.marks:
        assert math.isfinite(work.predicted.time_s)
        if planned.may_burn(work.mark.id):
            check_mark(job, work, planned)
