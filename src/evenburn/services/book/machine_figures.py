"""What is told of a machine, figure by figure: its key in machine.toml, what it is called, its unit, and its digits.

One list serves the page, its form and the lines that say what a measurement changes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["number", "whole", "text", "choice"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureForm:
    """A figure of a machine or lens.

    Attributes
    ----------
    key : in machine.toml, or in one of its lenses.
    digits : after the point, at most.
    group : the part of the sheet that it stands in.
    needed : whether a machine cannot be without it.
    told : what it is, in a sentence for the form.
    """

    key: str
    name: str
    unit: str
    digits: int
    group: str
    needed: bool = False
    told: str = ""
    kind: Kind = "number"
    choices: tuple[str, ...] = ()


TRAVEL, MOTION, POWER, BEAM, AIR, PROGRAM = "travel", "motion", "power", "beam", "air", "program"

FIGURES: tuple[FigureForm, ...] = (
    FigureForm(
        key="bed_x_mm",
        name="travel along x",
        unit="mm",
        digits=1,
        group=TRAVEL,
        needed=True,
        told="How far the head really goes, from stop to stop.",
    ),
    FigureForm(key="bed_y_mm", name="travel along y", unit="mm", digits=1, group=TRAVEL, needed=True),
    FigureForm(
        key="speed_max_mm_per_s",
        name="greatest speed of a scan line",
        unit="mm/s",
        digits=1,
        group=MOTION,
        needed=True,
        told="No recipe goes faster.",
    ),
    FigureForm(
        key="rapid_mm_per_s",
        name="speed of moves that do not burn",
        unit="mm/s",
        digits=1,
        group=MOTION,
        needed=True,
    ),
    FigureForm(
        key="accel_x_mm_per_s2",
        name="acceleration along x",
        unit="mm/s²",
        digits=0,
        group=MOTION,
        needed=True,
        told="Decides the run-up beside each mark. The stopwatch measures it.",
    ),
    FigureForm(key="accel_y_mm_per_s2", name="acceleration along y", unit="mm/s²", digits=0, group=MOTION, needed=True),
    FigureForm(
        key="jerk_mm_per_s3",
        name="jerk, both axes",
        unit="mm/s³",
        digits=0,
        group=MOTION,
        told="Leave it empty where acceleration sets in at once.",
    ),
    FigureForm(
        key="line_overhead_s",
        name="added to each line by the controller",
        unit="s",
        digits=4,
        group=MOTION,
    ),
    FigureForm(
        key="corner_tolerance_mm",
        name="corners of an outline may be cut by",
        unit="mm",
        digits=3,
        group=MOTION,
        told="How far the head may leave an outline at a corner, without stopping there.",
    ),
    FigureForm(
        key="reversal_offset_mm",
        name="offset of lines burnt to and fro",
        unit="mm",
        digits=4,
        group=MOTION,
        told="How far a line burnt towards + lands, towards +, from one burnt towards −.",
    ),
    FigureForm(key="reversal_sd_mm", name="doubt of that offset", unit="mm", digits=4, group=MOTION),
    FigureForm(
        key="power_max_W",
        name="power on the work at 100 %",
        unit="W",
        digits=1,
        group=POWER,
        needed=True,
        told="By a power meter under the nozzle, not what the tube is sold as.",
    ),
    FigureForm(
        key="power_least_fraction",
        name="nothing fires below",
        unit="",
        digits=3,
        group=POWER,
        told="A fraction: 0.1 is 10 %.",
    ),
    FigureForm(
        key="power_cap_fraction",
        name="no recipe goes above",
        unit="",
        digits=3,
        group=POWER,
        told="Your own limit, to spare the tube. A fraction: 0.8 is 80 %.",
    ),
    FigureForm(
        key="rise_time_s",
        name="the laser’s rise time",
        unit="s",
        digits=6,
        group=POWER,
        told="Time constant of coming on and going off. The stopwatch card measures it.",
    ),
    FigureForm(
        key="extraction_side",
        name="smoke is drawn to the",
        unit="",
        digits=0,
        group=AIR,
        kind="choice",
        choices=("left", "right", "front", "back"),
        told="Lines then advance towards it, so that smoke passes no finished work.",
    ),
    FigureForm(
        key="power_word_max",
        name="S word at 100 %",
        unit="",
        digits=0,
        group=PROGRAM,
        told="What the controller takes as full power.",
    ),
)

LENS_FIGURES: tuple[FigureForm, ...] = (
    FigureForm(key="name", name="what it is called", unit="", digits=0, group=BEAM, needed=True, kind="text"),
    FigureForm(key="focal_length_mm", name="focal length", unit="mm", digits=1, group=BEAM, needed=True),
    FigureForm(
        key="focus_stand_off_mm",
        name="focus stand-off",
        unit="mm",
        digits=2,
        group=BEAM,
        needed=True,
        told="From the nozzle to the work when the waist lies on the work.",
    ),
    FigureForm(
        key="beam_diameter_mm",
        name="beam at the lens, 1/e²",
        unit="mm",
        digits=1,
        group=BEAM,
        needed=True,
    ),
    FigureForm(
        key="beam_quality_m2",
        name="beam quality M²",
        unit="",
        digits=2,
        group=BEAM,
        told="1 is ideal; no beam is better.",
    ),
    FigureForm(key="wavelength_um", name="wavelength", unit="µm", digits=2, group=BEAM),
    FigureForm(
        key="shape",
        name="shape",
        unit="",
        digits=0,
        group=BEAM,
        kind="choice",
        choices=("meniscus", "plano-convex"),
    ),
    FigureForm(
        key="waist_radius_mm",
        name="waist radius",
        unit="mm",
        digits=4,
        group=BEAM,
        told="Only where measured; the ladder does. Empty: reckoned from lens and beam.",
    ),
    FigureForm(key="rayleigh_length_mm", name="Rayleigh length", unit="mm", digits=3, group=BEAM),
)
BY_KEY = {form.key: form for form in FIGURES}
LENS_BY_KEY = {form.key: form for form in LENS_FIGURES}
