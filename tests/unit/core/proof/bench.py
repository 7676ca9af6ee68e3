"""A small bench for proofs: a machine without inertia to speak of, woods with round numbers, and a burnt letter F."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from evenburn.core.art.picture import Artwork, draw_on_bed, grid_in_box
from evenburn.core.layout.place import mark_on_bed, outline_on_bed, rectangle_outline
from evenburn.core.motion.raster import raster_events
from evenburn.core.nouns.blank import Blank
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Hold, Mark, Piece
from evenburn.core.nouns.path import Polyline
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.wood import CharacteristicCurve, Wood
from evenburn.core.optics.beam import Beam
from evenburn.core.proof.board import Burn
from evenburn.core.tone.colour import lab_from_srgb

Picture = NDArray[np.float32]

BARE_L, FULL_L = 80.0, 30.0
HALF_L = 55.0  # at 1 J/mm², where `wood` has done half of the way by the definition of x_mid
SPACING_mm = 0.1
SPEED_mm_per_s = 100.0
POWER_W = 10.0  # 10 W / (100 mm/s × 0.1 mm) = 1 J/mm²
BLANK_mm = (40.0, 30.0)
MARK_PLACE_mm = (5.0, 4.0)
MARK_SIZE_mm = (20.0, 24.0)


def wood(*, evenness_L: float = 2.4, grain: bool = True, lightens: bool = False, unevenly: bool = False) -> Wood:
    """Return a wood that is half burnt at 1 J/mm², whatever the dwell."""
    bare, full = (35.0, 65.0) if lightens else (BARE_L, FULL_L)
    curve = CharacteristicCurve(
        bare_L=bare,
        full_L=full,
        x_mid=0.0,
        steepness_per_decade=8.0,
        asymmetry=1.0,
        reversal_L=0.0,
        x_reversal=1.0,
        kappa=0.0,
        pass_exponent=1.0,
        x_low=-1.5,
        x_high=0.6,
        x_char=0.6,
        covariance=np.zeros((9, 9)),
        evenness_L=evenness_L,
        board_L=2.0,
        reading_L=0.0,
        provenance=Provenance(kind="starting value"),
    )
    return Wood(
        id="test-wood",
        name="test wood",
        surface="bare",
        curve=curve,
        bare_ab=(-0.8, -2.5) if lightens else (4.0, 22.0),
        full_ab=(-0.3, -1.0) if lightens else (8.0, 13.0),
        grain=grain,
        burns_unevenly=unevenly,
        finishing=(),
    )


def machine() -> Machine:
    lens = Lens(
        name="2 inch",
        focal_length_mm=50.8,
        beam_diameter_mm=6.0,
        beam_quality_m2=1.3,
        wavelength_um=10.6,
        focus_stand_off_mm=9.5,
    )
    return Machine(
        name="test bench",
        bed_x_mm=600.0,
        bed_y_mm=400.0,
        power_max_W=60.0,
        power_curve=((0.0, 0.0), (1.0, 60.0)),
        power_least_fraction=0.0,
        power_cap_fraction=1.0,
        power_word_max=1000.0,
        speed_max_mm_per_s=600.0,
        rapid_mm_per_s=600.0,
        accel_x_mm_per_s2=5000.0,
        accel_y_mm_per_s2=3000.0,
        jerk_mm_per_s3=None,
        line_overhead_s=0.0,
        rise_time_s=0.0002,
        reversal_offset_mm=0.0,
        air_kPa=(),
        lenses=(lens,),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """Artwork that is a picture of ink, top row first."""

    picture: Picture

    def ink(self, *, width_px: int, height_px: int) -> Picture:
        return np.asarray(cv2.resize(self.picture, (width_px, height_px), interpolation=cv2.INTER_AREA), np.float32)

    def light(self, *, width_px: int, height_px: int) -> Picture:
        return np.asarray(1.0 - self.ink(width_px=width_px, height_px=height_px), np.float32)

    def outlines(self, *, width_mm: float, height_mm: float) -> tuple[Polyline, ...]:
        del width_mm, height_mm
        return ()


def letter_f() -> Picture:
    """Return ink of an F that fills its box: no turn and no mirror maps it onto itself."""
    ink = np.zeros((240, 200), np.float32)
    ink[:, :50] = 1.0
    ink[:50, :] = 1.0
    ink[100:140, :130] = 1.0
    return ink


def solid() -> Picture:
    return np.ones((240, 200), np.float32)


def burnt(picture: Picture, *, turn_deg: float = 0.0, focus_offset_mm: float = 1.5) -> tuple[Polygon, Burn]:
    """Return the blank's outline on the bed and the burnt mark of a piece that lies turned on the bed."""
    mark = Mark(
        id="front",
        art_label="letter",
        treatment="solid",
        tone_L=HALF_L,
        place_mm=MARK_PLACE_mm,
        size_mm=MARK_SIZE_mm,
        hold=Hold(),
    )
    blank = Blank(
        shape="rectangle",
        size_mm=BLANK_mm,
        thickness_mm=10.0,
        unevenness_mm=0.0,
        outline=rectangle_outline(BLANK_mm),
        margin_mm=0.0,
    )
    piece = Piece(
        id="letter",
        name="Letter",
        wood_id="test-wood",
        blank=blank,
        place_bed_mm=(101.3, 57.9),
        turn_deg=turn_deg,
        marks=(mark,),
    )
    artwork: Artwork = Drawn(picture=picture)
    box = mark_on_bed(piece, place_mm=mark.place_mm, size_mm=mark.size_mm).bounds
    grid = grid_in_box(box, pixel_mm=SPACING_mm)
    ink = draw_on_bed(artwork, grid=grid, size_mm=mark.size_mm, turn_deg=turn_deg, as_light=False)
    events = raster_events(
        machine(),
        np.where(ink > 0.5, np.float32(POWER_W), np.float32(0.0)),
        axis="x",
        along_origin_mm=grid.x0_mm,
        cross_origin_mm=grid.y0_mm,
        line_spacing_mm=SPACING_mm,
        speed_mm_per_s=SPEED_mm_per_s,
        passes=1,
    )
    burn = Burn(
        grid=grid,
        events=tuple(events),
        beam=Beam(waist_radius_mm=0.05, rayleigh_length_mm=1.0),
        focus_offset_mm=focus_offset_mm,
        speed_mm_per_s=SPEED_mm_per_s,
        line_spacing_mm=SPACING_mm,
        passes=1,
        rise_time_s=0.0002,
    )
    outline = outline_on_bed(piece)
    assert isinstance(outline, Polygon)
    return outline, burn


def on_bed_mm(place_mm: tuple[float, float], *, turn_deg: float) -> tuple[float, float]:
    """Return where a place of the blank lies on the bed, by hand: turned, then shifted to its place."""
    angle = np.deg2rad(turn_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    corners = np.array([[0.0, 0.0], [BLANK_mm[0], 0.0], [0.0, BLANK_mm[1]], BLANK_mm]) @ turn.T
    x, y = turn @ np.array(place_mm) - corners.min(axis=0) + (101.3, 57.9)
    return float(x), float(y)


def light_of(colours: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Return L* of a picture in sRGB."""
    return np.asarray(lab_from_srgb(colours / 255.0)[..., 0])
