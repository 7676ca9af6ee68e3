"""What the recipe search is asked: everything that bounds it, for one mark at its place."""

from __future__ import annotations

from dataclasses import dataclass

from evenburn.core.art.detail import Widths
from evenburn.core.art.ink import InkProfile
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Axis, Hold
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.optics.beam import Beam


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """Tone, detail, room and limits for one mark.

    Attributes
    ----------
    profiles : what lines along each axis meet.
    room_mm : for each axis, free distance before and after the ink inside the bed. [mm]
    faint_L : the faintest tone a photograph asks for; None for even tone. [L*]
    least_spacing_mm : below it the burn image would not fit into memory. [mm]
    common_offset_mm : the focus offset shared by all marks of the piece, where one was agreed. [mm]
    banding_factor : 1 asks for banding below sight; larger lets more pass.
    """

    machine: Machine
    lens: Lens
    beam: Beam
    curve: CharacteristicCurve
    tone_L: float
    faint_L: float | None
    profiles: dict[Axis, InkProfile]
    room_mm: dict[Axis, tuple[float, float]]
    widths: Widths
    unevenness_mm: float
    sharpness_mm: float
    reading_distance_mm: float
    hold: Hold
    banding_factor: float = 1.0
    least_spacing_mm: float = 0.0
    common_offset_mm: float | None = None

    def finest_mm(self) -> float:
        """Return the detail that has to survive: the wished sharpness, or finer where the artwork is finer. [mm]"""
        own = [w for w in (self.widths.stroke_mm, self.widths.gap_mm) if w is not None]
        return min([self.sharpness_mm, *own])
