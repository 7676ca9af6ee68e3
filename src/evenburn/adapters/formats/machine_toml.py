"""machine.toml: the bench and its lenses, as a person writes them."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, Strict, model_validator

from evenburn.adapters.formats.quantities import LEAST
from evenburn.adapters.formats.strict import Name, PlainText, StrictModel, checked, read_toml
from evenburn.core.nouns.machine import Lens, Machine, PostProcessor
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.units import MM_PER_UM

LEAST_WINDOW = 0.001  # of the power fraction: programs tell a thousand powers apart at least
LEAST_BED_mm = 1.0  # below it no card, trial line or mark has room
SLOWEST = 0.1  # of acceleration and jerk, mm/s² and mm/s³: own choice, a ten-thousandth of a slow bench
LEAST_QUALITY = 0.7  # of M² from a waist and a Rayleigh length that were measured to some 15 % each; no beam is below 1
# of a lens: what arithmetic bears; what makes no lens within it is told by what its focus would be
Size_mm = Annotated[float, Field(ge=1e-3, le=1e4)]
Fraction = Annotated[float, Field(ge=0.0, le=1.0)]
CurvePoint = Annotated[tuple[Fraction, Annotated[float, Field(ge=0.0)]], Strict(strict=False)]  # TOML knows lists only
ProgramLine = Annotated[PlainText, Field(max_length=78)]


class LensTable(StrictModel):
    """One `[[lens]]`."""

    name: Name = Field(description="What batch.toml calls it.")
    focal_length_mm: Size_mm = Field(description="Focal length. [mm]")
    beam_diameter_mm: Size_mm = Field(description="1/e² diameter of the beam at the lens. [mm]")
    beam_quality_m2: Annotated[float, Field(ge=1.0, le=50.0)] = Field(default=1.3, description="M², 1 is ideal.")
    wavelength_um: Annotated[float, Field(gt=0.1, le=30.0)] = Field(default=10.6, description="Wavelength. [µm]")
    focus_stand_off_mm: Annotated[float, Field(ge=0.0, le=1000.0)] = Field(
        description="Nozzle-to-surface distance at which the waist lies on the surface. [mm]"
    )
    shape: Literal["meniscus", "plano-convex"] = Field(default="meniscus", description="Decides the aberration term.")
    waist_radius_mm: Size_mm | None = Field(default=None, description="Measured 1/e² radius at the waist. [mm]")
    rayleigh_length_mm: Size_mm | None = Field(default=None, description="Measured Rayleigh length. [mm]")

    @model_validator(mode="after")
    def _focuses(self) -> Self:
        lens = Lens(**self.model_dump())
        beam = beam_of_lens(lens)
        spot_mm = 2.0 * beam.waist_radius_mm
        if spot_mm >= self.beam_diameter_mm:
            raise ValueError(
                f"its focus would be {spot_mm:.3g} mm wide, and the beam that enters is {self.beam_diameter_mm:g} mm: no lens "
                "does that; look again at focal_length_mm, beam_diameter_mm and, where given, waist_radius_mm"
            )
        quality = math.pi * beam.waist_radius_mm**2 / (self.wavelength_um * MM_PER_UM * beam.rayleigh_length_mm)
        measured = self.waist_radius_mm is not None or self.rayleigh_length_mm is not None
        if measured and quality < LEAST_QUALITY:
            raise ValueError(
                f"a waist radius of {beam.waist_radius_mm:.3g} mm with a Rayleigh length of {beam.rayleigh_length_mm:.3g} mm "
                f"would be an M² of {quality:.2g}, and no beam is better than 1; measure both again, or leave both out"
            )
        return self


class PostProcessorTable(StrictModel):
    """`[post_processor]`: what the controller wants beyond the standard words."""

    on_word: Literal["M3", "M4"] = Field(default="M3", description="Word that switches the laser on.")
    opening_lines: list[ProgramLine] = Field(
        default_factory=list, max_length=20, description="Lines put in before the first move, the laser off."
    )
    closing_lines: list[ProgramLine] = Field(
        default_factory=list, max_length=20, description="Lines put in after the last M5, before M2."
    )


class MachineTable(StrictModel):
    """machine.toml."""

    name: Name = Field(description="What the bench is called on programs and sheets.")
    bed_x_mm: Annotated[float, Field(ge=LEAST_BED_mm, le=10000.0)] = Field(description="Travel along x. [mm]")
    bed_y_mm: Annotated[float, Field(ge=LEAST_BED_mm, le=10000.0)] = Field(description="Travel along y. [mm]")
    power_max_W: Annotated[float, Field(ge=LEAST, le=10000.0)] = Field(
        description="Power on the work at fraction 1. [W]"
    )
    power_curve: list[CurvePoint] | None = Field(
        default=None,
        description="Pairs of power fraction and power, both rising, the last at 1; straight from 0 without it. [W]",
    )
    power_least_fraction: Fraction = Field(default=0.0, description="Power fraction below which nothing fires.")
    power_cap_fraction: Annotated[float, Field(gt=0.0, le=1.0)] = Field(
        default=1.0, description="Power fraction no recipe goes above, to spare the tube."
    )
    power_word_max: Annotated[float, Field(ge=LEAST, le=1e6)] = Field(
        default=1000.0, description="S word at power fraction 1."
    )
    speed_max_mm_per_s: Annotated[float, Field(ge=0.2, le=20000.0)] = Field(
        description="Greatest speed of a scan line. [mm/s]"
    )
    rapid_mm_per_s: Annotated[float, Field(ge=0.2, le=20000.0)] = Field(
        description="Speed of moves that do not burn. [mm/s]"
    )
    accel_x_mm_per_s2: Annotated[float, Field(ge=SLOWEST, le=1e6)] = Field(description="Acceleration along x. [mm/s²]")
    accel_y_mm_per_s2: Annotated[float, Field(ge=SLOWEST, le=1e6)] = Field(description="Acceleration along y. [mm/s²]")
    jerk_mm_per_s3: Annotated[float, Field(ge=SLOWEST, le=1e9)] | None = Field(
        default=None, description="Jerk of both axes; without it acceleration sets in at once. [mm/s³]"
    )
    line_overhead_s: Annotated[float, Field(ge=0.0, le=10.0)] = Field(
        default=0.0, description="What the controller adds to each scan line. [s]"
    )
    rise_time_s: Annotated[float, Field(ge=0.0, le=0.1)] = Field(
        default=0.0, description="Time constant of the laser's first-order response. [s]"
    )
    corner_tolerance_mm: Annotated[float, Field(ge=0.001, le=1.0)] = Field(
        default=0.02, description="How far the head may cut a corner of an outline it follows without stopping. [mm]"
    )
    reversal_offset_mm: Annotated[float, Field(ge=-5.0, le=5.0)] = Field(
        default=0.0,
        description="How far a line burnt towards + lands, towards +, from one burnt towards −, rise time apart. [mm]",
    )
    reversal_sd_mm: Annotated[float, Field(ge=0.0, le=1.0)] = Field(
        default=0.0, description="Standard deviation of what you know of the reversal offset; 0: it is trusted. [mm]"
    )
    extraction_side: Literal["left", "right", "front", "back"] | None = Field(
        default=None,
        description="Side of the bed the smoke is drawn to; lines advance towards it, so smoke passes no finished work.",
    )
    air_kPa: list[Annotated[float, Field(ge=0.0, le=2000.0)]] | None = Field(
        default=None, max_length=20, description="Air that can be set, least and greatest. [kPa]"
    )
    lens: list[LensTable] = Field(min_length=1, max_length=20, description="The lenses there are, one table each.")
    post_processor: PostProcessorTable = Field(
        default_factory=PostProcessorTable, description="Only for a controller that wants more than the standard words."
    )

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if self.power_least_fraction >= self.power_cap_fraction:
            raise ValueError(
                f"power_least_fraction {self.power_least_fraction:g} must lie below "
                f"power_cap_fraction {self.power_cap_fraction:g}"
            )
        if self.power_cap_fraction - self.power_least_fraction < LEAST_WINDOW:
            raise ValueError(
                f"between power_least_fraction {self.power_least_fraction:g} and power_cap_fraction "
                f"{self.power_cap_fraction:g} may lie no power that the S word can say; leave {LEAST_WINDOW:g} or more between"
            )
        names = [lens.name for lens in self.lens]
        if len(set(names)) != len(names):
            raise ValueError(f"lens names must differ; they are {', '.join(names)}")
        if self.power_curve is not None:
            pairs = self.power_curve
            if len(pairs) < 2 or any(b[0] <= a[0] or b[1] <= a[1] for a, b in pairwise(pairs)):
                raise ValueError("power_curve needs at least two pairs, both numbers rising from pair to pair")
            if pairs[-1][0] != 1.0 or abs(pairs[-1][1] / self.power_max_W - 1.0) > 1e-6:
                raise ValueError(
                    f"power_curve ends at {100.0 * pairs[-1][0]:g} % with {pairs[-1][1]:g} W; it must end at 100 % with "
                    f"power_max_W, {self.power_max_W:g} W"
                )
            nothing = pairs[0][0] if pairs[0][1] == 0.0 else 0.0
            if self.power_cap_fraction - nothing < LEAST_WINDOW:
                raise ValueError(
                    f"power_curve gives nothing up to {100.0 * nothing:g} %, and power_cap_fraction allows no more than "
                    f"{100.0 * self.power_cap_fraction:g} %: nothing could be burnt"
                )
        return self


def machine_from_table(table: MachineTable, *, source: str) -> Machine:
    """Return the machine a table describes."""
    curve = tuple((float(f), float(w)) for f, w in table.power_curve or [(0.0, 0.0), (1.0, table.power_max_W)])
    if curve[0][0] > 0.0:
        curve = ((0.0, 0.0), *curve)
    return Machine(
        name=table.name,
        bed_x_mm=table.bed_x_mm,
        bed_y_mm=table.bed_y_mm,
        power_max_W=table.power_max_W,
        power_curve=curve,
        power_least_fraction=table.power_least_fraction,
        power_cap_fraction=table.power_cap_fraction,
        power_word_max=table.power_word_max,
        speed_max_mm_per_s=table.speed_max_mm_per_s,
        rapid_mm_per_s=table.rapid_mm_per_s,
        accel_x_mm_per_s2=table.accel_x_mm_per_s2,
        accel_y_mm_per_s2=table.accel_y_mm_per_s2,
        jerk_mm_per_s3=table.jerk_mm_per_s3,
        line_overhead_s=table.line_overhead_s,
        rise_time_s=table.rise_time_s,
        corner_tolerance_mm=table.corner_tolerance_mm,
        reversal_offset_mm=table.reversal_offset_mm,
        reversal_sd_mm=table.reversal_sd_mm,
        extraction_side=table.extraction_side,
        air_kPa=tuple(sorted(table.air_kPa or ())),
        lenses=tuple(Lens(**lens.model_dump()) for lens in table.lens),
        post_processor=PostProcessor(
            on_word=table.post_processor.on_word,
            opening_lines=tuple(table.post_processor.opening_lines),
            closing_lines=tuple(table.post_processor.closing_lines),
        ),
        provenance=Provenance(kind="user", detail=source),
    )


def read_machine(path: Path, *, name: str) -> Machine:
    """Return the machine in a machine.toml.

    Raises
    ------
    UnreadableFile, InvalidInput
        As `read_toml` and `checked`.
    """
    return machine_from_table(checked(MachineTable, read_toml(path, name=name), name=name), source=name)
