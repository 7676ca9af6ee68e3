"""Draw docs/pictures/halftones.png: one picture by power and by six halftones, as dots and as it will look on maple.

.venv/bin/python tools/draw_halftones.py
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from evenburn.adapters.artwork.faces import face_file
from evenburn.adapters.artwork.photo import open_photo
from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.core.motion.raster import raster_events
from evenburn.core.nouns.mark import Preparation
from evenburn.core.optics.lines import dwell_ms
from evenburn.core.proof.dose import DoseGrid, collect, dose_map_J_per_mm2
from evenburn.core.proof.look import wood_colours
from evenburn.core.response.curve import exposure_shift, tone_L
from evenburn.core.tone.colour import lightness_L, luminance
from evenburn.core.tone.halftone import (
    HALFTONES,
    Burning,
    averaged_exposures_for_tones,
    clustered_cell_px,
    coverages_for_tones,
    screened,
    tones_of_coverages_L,
)
from evenburn.core.tone.prepare import prepare_light
from evenburn.core.tone.reproduce import wished_tones_L

PICTURES = Path(__file__).resolve().parents[1] / "docs" / "pictures"
SIDE_mm = (18.0, 13.5)
CROP = (0.30, 0.25, 0.60, 0.62)
SPACING_mm, RADIUS_mm, SPEED_mm_per_s = 0.12, 0.11, 200.0
FULL_L, FINE, SCALE = 34.0, 5, 0.5
HEAD_px, GAP_px = 34, 14
PAPER, INK = (244, 247, 241), (17, 22, 18)


def main() -> None:
    """Draw the sheet."""
    wood = shipped_wood("hard-maple")
    with resources.as_file(resources.files("evenburn") / "assets" / "demo") as folder:
        photo = open_photo(folder / "art" / "boathouse.jpg", name="boathouse.jpg", crop=CROP)
        machine = read_machine(folder / "machine.toml", name="machine.toml")
    columns, rows = (round(side / SPACING_mm) for side in SIDE_mm)
    light = prepare_light(
        photo.light(width_px=columns, height_px=rows)[::-1],
        coverage=None,
        pixel_mm=SPACING_mm,
        preparation=Preparation(),
        resolvable_mm=0.25,
        darkens=True,
    )
    wished = wished_tones_L(light, bare_L=wood.curve.bare_L, full_L=FULL_L)
    steps = np.linspace(wood.curve.bare_L, FULL_L, 200)
    exposures = averaged_exposures_for_tones(wood.curve, steps, beam_radius_mm=RADIUS_mm, line_spacing_mm=SPACING_mm)
    shift = float(
        exposure_shift(wood.curve, dwell_ms=dwell_ms(beam_radius_mm=RADIUS_mm, speed_mm_per_s=SPEED_mm_per_s))
    )
    full_W = 10.0 ** (float(exposures[-1]) - shift) * SPEED_mm_per_s * SPACING_mm
    burning = Burning(
        curve=wood.curve,
        full_exposure=float(exposures[-1]),
        beam_radius_mm=RADIUS_mm,
        smear_mm=SPEED_mm_per_s * machine.rise_time_s,
        pixel_mm=SPACING_mm,
    )

    def burnt(power_W: NDArray[np.float32]) -> NDArray[np.uint8]:
        events = list(
            raster_events(
                machine, power_W.astype(np.float32), axis="x", along_origin_mm=60.0, cross_origin_mm=60.0,
                line_spacing_mm=SPACING_mm, speed_mm_per_s=SPEED_mm_per_s, passes=1,
            )
        )  # fmt: skip
        fine = SPACING_mm / FINE
        grid = DoseGrid(
            x0_mm=60.0, y0_mm=60.0, pixel_x_mm=fine, pixel_y_mm=fine, rows=rows * FINE, columns=columns * FINE
        )
        dose = dose_map_J_per_mm2(collect(events, grid), beam_radius_mm=RADIUS_mm, rise_time_s=machine.rise_time_s)
        with np.errstate(divide="ignore"):
            seen = luminance(tone_L(wood.curve, np.log10(np.maximum(dose, 0.0).astype(np.float64)) + shift))
        small = cv2.resize(seen.astype(np.float32), None, fx=SCALE, fy=SCALE, interpolation=cv2.INTER_AREA)
        level = lightness_L(small[::-1]).astype(np.float32)
        return wood_colours(wood, level, grain=np.zeros_like(level))

    powers = full_W * 10.0 ** (np.interp(wished, steps[::-1], exposures[::-1]) - float(exposures[-1]))
    tiles = [("power follows the tone", burnt(np.where(np.abs(wished - wood.curve.bare_L) > 0.5, powers, 0.0)))]
    for name in HALFTONES:
        shares, tones = tones_of_coverages_L(burning, name=name)
        coverage = coverages_for_tones(wished, coverages=shares, tone_of_coverage=tones)
        dots = screened(coverage, name=name, cell_px=clustered_cell_px(burning))
        tiles.append((name, burnt(np.where(dots, full_W, 0.0))))
    plain = (wished - wood.curve.bare_L) / (FULL_L - wood.curve.bare_L)
    dots = screened(plain.astype(np.float32), name="blue-noise", cell_px=4)
    tiles.append(("blue-noise, dot gain left in", burnt(np.where(dots, full_W, 0.0))))
    high, wide = tiles[0][1].shape[:2]
    sheet = Image.new("RGB", (4 * wide + 5 * GAP_px, 2 * (high + HEAD_px) + 3 * GAP_px), PAPER)
    canvas = ImageDraw.Draw(sheet)
    font = ImageFont.truetype(str(face_file("sheet-sans")), 20)
    for number, (title, tile) in enumerate(tiles):
        x = GAP_px + (number % 4) * (wide + GAP_px)
        y = GAP_px + (number // 4) * (high + HEAD_px + GAP_px)
        canvas.text((x, y + 4), title, font=font, fill=INK)
        sheet.paste(Image.fromarray(tile), (x, y + HEAD_px))
    sheet.save(PICTURES / "halftones.png", optimize=True)
    print("drew docs/pictures/halftones.png", sheet.size)


if __name__ == "__main__":
    main()
