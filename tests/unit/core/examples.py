"""Values at hand for tests of the core: a bench, a lens, a wood's curve; change what the test is about, keep the rest."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from evenburn.core.layout.place import rectangle_outline
from evenburn.core.nouns.blank import Blank
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Hold, Mark, Piece
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve

LENS = Lens(
    name="2 inch",
    focal_length_mm=50.8,
    beam_diameter_mm=6.0,
    beam_quality_m2=1.3,
    wavelength_um=10.6,
    focus_stand_off_mm=9.5,
)

MACHINE = Machine(
    name="boathouse bench",
    bed_x_mm=600.0,
    bed_y_mm=400.0,
    power_max_W=60.0,
    power_curve=((0.0, 0.0), (0.1, 4.0), (0.5, 31.0), (1.0, 60.0)),
    power_least_fraction=0.1,
    power_cap_fraction=0.8,
    power_word_max=1000.0,
    speed_max_mm_per_s=600.0,
    rapid_mm_per_s=600.0,
    accel_x_mm_per_s2=5000.0,
    accel_y_mm_per_s2=3000.0,
    jerk_mm_per_s3=None,
    line_overhead_s=0.0,
    rise_time_s=0.0002,
    reversal_offset_mm=0.0,
    air_kPa=(20.0, 200.0),
    lenses=(LENS,),
)

# a wood that darkens from 82 to 28, half of it at 0.5 J/mm² in 1 ms, and turns light again well past its darkest point
CURVE = CharacteristicCurve(
    bare_L=82.0,
    full_L=28.0,
    x_mid=-0.3,
    steepness_per_decade=6.0,
    asymmetry=0.8,
    reversal_L=4.0,
    x_reversal=1.0,
    kappa=0.1,
    pass_exponent=0.95,
    x_low=-1.3,
    x_high=0.8,
    x_char=0.75,
    covariance=np.diag(np.square([0.4, 0.9, 0.02, 0.3, 0.08, 0.3, 0.04, 0.02, 0.03])),
    evenness_L=2.0,
    board_L=1.5,
    reading_L=0.6,
    provenance=Provenance(kind="starting value"),
)

# slate: the only one that turns lighter
SLATE = replace(CURVE, bare_L=34.0, full_L=68.0, reversal_L=-3.0)


def machine(**changes: Any) -> Machine:
    """Return the bench with some of it changed."""
    return replace(MACHINE, **changes)


def curve(**changes: Any) -> CharacteristicCurve:
    """Return the wood's curve with some of it changed."""
    return replace(CURVE, **changes)


def plain_curve(**changes: Any) -> CharacteristicCurve:
    """Return a curve of 80 to 20 without turn, char limit, reciprocity failure or spread."""
    plain = replace(
        CURVE,
        bare_L=80.0,
        full_L=20.0,
        x_mid=0.0,
        steepness_per_decade=8.0,
        asymmetry=1.0,
        reversal_L=0.0,
        x_reversal=8.0,
        kappa=0.0,
        pass_exponent=1.0,
        x_low=-1.5,
        x_high=1.5,
        x_char=8.0,
        covariance=np.zeros((len(CURVE_PARAMETERS), len(CURVE_PARAMETERS))),
    )
    return replace(plain, **changes)


def blank(*, size_mm: tuple[float, float] = (100.0, 60.0), **changes: Any) -> Blank:
    """Return a rectangular blank."""
    plain = Blank(
        shape="rectangle",
        size_mm=size_mm,
        thickness_mm=12.1,
        unevenness_mm=0.0,
        outline=rectangle_outline(size_mm),
        margin_mm=2.0,
    )
    return replace(plain, **changes)


def mark(**changes: Any) -> Mark:
    """Return a solid mark of 40 by 20 mm."""
    plain = Mark(
        id="front",
        art_label="crew.svg",
        treatment="solid",
        tone_L=40.0,
        place_mm=(10.0, 10.0),
        size_mm=(40.0, 20.0),
        hold=Hold(),
    )
    return replace(plain, **changes)


def piece(**changes: Any) -> Piece:
    """Return a rectangular piece with one mark, lying well inside the bed."""
    plain = Piece(
        id="novice-fours",
        name="Novice Fours",
        wood_id="hard-maple",
        blank=blank(),
        place_bed_mm=(120.0, 90.0),
        turn_deg=0.0,
        marks=(mark(),),
    )
    return replace(plain, **changes)
