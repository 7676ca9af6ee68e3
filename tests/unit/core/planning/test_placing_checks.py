"""A mark that would leave the wood as it is, is told before its blank is clamped."""

from __future__ import annotations

import pytest
import shapely

from evenburn.core.nouns.mark import Reproduction
from evenburn.core.planning.placing_checks import blank_checks
from unit.core.examples import mark, piece
from unit.core.planning.drawn_marks import hold, worked

GREY = shapely.box(0.0, 0.0, 40.0, 20.0)
NB = "\u00a0"


@pytest.mark.parametrize(
    ("reproduction", "tone_L", "speed_mm_per_s", "said"),
    [
        # at 300 mm/s L* 79 takes 6.1 W, at a third of it a third, nearer to nothing than to what 4 W leave
        ("continuous", 79.0, 100.0, f"all its tones are too faint for the 4.0{NB}W from which this laser fires."),
        ("continuous", 79.0, 300.0, ""),
        ("ordered", 40.0, 100.0, ""),
    ],
)
def test_a_picture_that_stays_bare_is_a_stop(
    reproduction: Reproduction, tone_L: float, speed_mm_per_s: float, said: str
) -> None:
    photo = mark(
        treatment="photo",
        reproduction=reproduction,
        tone_L=tone_L,
        hold=hold(power_W=10.0, speed_mm_per_s=speed_mm_per_s),
    )
    work = worked(photo, piece(marks=(photo,)), shape=GREY)
    found = [check for check in blank_checks(work, piece(marks=(photo,))) if check.code == "nothing-to-burn"]

    assert work.picture_W.any() == (not said)
    assert [(check.level, check.text) for check in found] == (
        [("stop", f"crew.svg would stay bare: {said}")] if said else []
    )
    assert all(check.remedy.startswith("Let go of the held power, speed") for check in found)
