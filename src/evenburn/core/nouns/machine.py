"""The machine and its lenses, as a person describes them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from evenburn.core.nouns.provenance import Provenance

LensShape = Literal["meniscus", "plano-convex"]
Side = Literal["left", "right", "front", "back"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """A focusing lens and the beam that enters it.

    Attributes
    ----------
    focal_length_mm, beam_diameter_mm : the beam's 1/e² diameter at the lens. [mm]
    beam_quality_m2 : M², 1 for an ideal beam.
    wavelength_um : [µm]
    focus_stand_off_mm : nozzle-to-surface distance at which the waist lies on the surface. [mm]
    shape : decides the aberration term.
    waist_radius_mm, rayleigh_length_mm : measured values; they replace the computed ones. [mm]
    """

    name: str
    focal_length_mm: float
    beam_diameter_mm: float
    beam_quality_m2: float
    wavelength_um: float
    focus_stand_off_mm: float
    shape: LensShape = "meniscus"
    waist_radius_mm: float | None = None
    rayleigh_length_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PostProcessor:
    """What a machine's controller wants to read beyond the standard words."""

    on_word: Literal["M3", "M4"] = "M3"
    opening_lines: tuple[str, ...] = ()
    closing_lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """The bench: travel, motion and laser limits.

    Attributes
    ----------
    bed_x_mm, bed_y_mm : travel of the head from the origin, lower left. [mm]
    power_max_W : power on the work at power_fraction 1. [W]
    power_curve : (power_fraction, power_W) pairs in rising order; straight from (0, 0) to the maximum where not given.
    power_least_fraction : below it nothing fires.
    power_cap_fraction : the person's own limit, to spare the tube.
    power_word_max : the S word that means power_fraction 1.
    line_overhead_s : what the controller adds to each scan line. [s]
    rise_time_s : time constant of the laser's first-order response. [s]
    reversal_offset_mm : how far a line burnt in the + direction lands, towards +, from where one burnt in the
        − direction lands, apart from what the rise time explains. [mm]
    air_kPa : what can be set, least first. [kPa]
    reversal_sd_mm : standard deviation of what is known of the reversal offset; 0 where it is trusted. [mm]
    extraction_side : side of the bed the smoke is drawn to; lines then advance towards it, away from finished work.
    corner_tolerance_mm : how far the head may cut a corner of a path it follows without stopping. [mm]
    """

    name: str
    bed_x_mm: float
    bed_y_mm: float
    power_max_W: float
    power_curve: tuple[tuple[float, float], ...]
    power_least_fraction: float
    power_cap_fraction: float
    power_word_max: float
    speed_max_mm_per_s: float
    rapid_mm_per_s: float
    accel_x_mm_per_s2: float
    accel_y_mm_per_s2: float
    jerk_mm_per_s3: float | None
    line_overhead_s: float
    rise_time_s: float
    reversal_offset_mm: float
    air_kPa: tuple[float, ...]
    lenses: tuple[Lens, ...]
    corner_tolerance_mm: float = 0.02
    reversal_sd_mm: float = 0.0
    extraction_side: Side | None = None
    post_processor: PostProcessor = field(default_factory=PostProcessor)
    provenance: Provenance = field(default_factory=lambda: Provenance(kind="user", detail="machine.toml"))
