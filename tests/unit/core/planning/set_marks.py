"""A mark on a blank as it is set at the machine, at hand to be laid nearer or further."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from evenburn.core.nouns.mark import Treatment
from evenburn.core.nouns.recipe import Recipe, Way
from evenburn.core.nouns.wood import CharacteristicCurve, Wood
from evenburn.core.planning.off_focus import SetMark
from unit.core.examples import LENS, MACHINE, blank, mark, piece, plain_curve

TREATMENTS: dict[Way, Treatment] = {"scan": "solid", "line": "line", "cut": "cut"}


def wood(curve: CharacteristicCurve, *, cut_J_per_mm3: float | None = None) -> Wood:
    """Return a wood of which only the curve matters."""
    return Wood(
        id="maple",
        name="hard maple",
        surface="bare",
        curve=curve,
        bare_ab=(6.0, 18.0),
        full_ab=(4.0, 6.0),
        grain=True,
        burns_unevenly=False,
        finishing=(),
        cut_J_per_mm3=cut_J_per_mm3,
    )


def set_mark(
    *,
    power_W: float,
    offset_mm: float = 0.0,
    spacing_mm: float = 0.05,
    speed_mm_per_s: float = 200.0,
    thickness_mm: float = 12.0,
    uneven_mm: float = 0.0,
    sharpness_mm: float = 10.0,
    curve: CharacteristicCurve | None = None,
    way: Way = "scan",
    name: str = "front",
    cut_J_per_mm3: float | None = None,
    **changes: Any,
) -> SetMark:
    """Return a mark of 40 by 20 mm on the plain curve of 80 to 20, and a laser that is never late."""
    on = mark(id=name, sharpness_mm=sharpness_mm, treatment=TREATMENTS[way])
    plain = SetMark(
        machine=replace(MACHINE, rise_time_s=0.0),
        lens=LENS,
        piece=piece(blank=blank(thickness_mm=thickness_mm, unevenness_mm=uneven_mm), marks=(on,)),
        wood=wood(plain_curve() if curve is None else curve, cut_J_per_mm3=cut_J_per_mm3),
        mark=on,
        recipe=Recipe(
            power_W=power_W,
            power_fraction=power_W / 60.0,
            speed_mm_per_s=speed_mm_per_s,
            line_spacing_mm=spacing_mm,
            focus_offset_mm=offset_mm,
            stand_off_mm=LENS.focus_stand_off_mm + offset_mm,
            passes=1,
            scan_axis="x",
            air_kPa=20.0,
            way=way,
        ),
        finest_mm=sharpness_mm,
    )
    return replace(plain, **changes)
