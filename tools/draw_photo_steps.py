"""Draw docs/pictures/photo-steps.png: a photograph as it came and made ready, and what both become on three surfaces.

    python tools/draw_photo_steps.py

All of it is the model's: the tones wished, the exposure for them, the beam's blur, the curve, the wood's colours.
"""

from __future__ import annotations

import math
from importlib.resources import files
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from evenburn.adapters.artwork.faces import face_file
from evenburn.adapters.artwork.photo import open_photo
from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.core.art.detail import narrowest_kept_mm
from evenburn.core.nouns.mark import Preparation
from evenburn.core.nouns.wood import Wood
from evenburn.core.proof.grain import grain_L
from evenburn.core.proof.look import averaged_tone_L, wood_colours
from evenburn.core.response.curve import exposure_for_tone
from evenburn.core.tone.colour import lightness_L, srgb_encode
from evenburn.core.tone.halftone import averaged_exposures_for_tones
from evenburn.core.tone.prepare import prepare_light
from evenburn.core.tone.reproduce import wished_tones_L

HOME = Path(__file__).resolve().parents[1]
TARGET = HOME / "docs" / "pictures" / "photo-steps.png"
Picture = NDArray[np.float32]
Colours = NDArray[np.uint8]

WIDTH_mm, HEIGHT_mm, SPACING_mm = 96.0, 66.0, 0.10  # of the mark, and of its lines
BEAM_RADIUS_mm, SMEAR_mm = 0.11, 0.03  # a little off focus, 150 mm/s, and a laser that answers in 0.2 ms
TONES_L = {"hard-maple": 34.0, "walnut": 20.0, "slate": 62.0}
ASKED = Preparation(fade_mm=6.0)
STEPS = 256

PANE_W, PANE_H, MARGIN, GAP, HEAD, CAPTION = 600, 413, 40, 24, 132, 60
LEAF, INK, INK2 = (245, 248, 241), (23, 34, 30), (67, 82, 75)


def resolvable_mm(wood: Wood, full: float) -> float:
    """Return the narrowest detail this recipe keeps on a wood. [mm]"""
    middle = exposure_for_tone(wood.curve, 0.5 * (wood.curve.bare_L + full))
    share = 10.0 ** (middle - exposure_for_tone(wood.curve, full))
    kept = narrowest_kept_mm(
        beam_radius_mm=BEAM_RADIUS_mm, smear_mm=SMEAR_mm, line_spacing_mm=SPACING_mm, half_tone_dose_fraction=share
    )
    return float(kept)


def burnt_L(light: Picture, *, wood: Wood, full: float) -> Picture:
    """Return the tone each place comes out at where power follows the tone, (rows, columns). [L*]"""
    curve = wood.curve
    wished = wished_tones_L(light, bare_L=curve.bare_L, full_L=full)
    tones = np.linspace(curve.bare_L, full, STEPS)
    exposures = averaged_exposures_for_tones(curve, tones, beam_radius_mm=BEAM_RADIUS_mm, line_spacing_mm=SPACING_mm)
    doses = np.where(np.abs(tones - curve.bare_L) < 0.5, 0.0, 10.0**exposures)
    rising = np.argsort(tones)
    dose = np.interp(wished, tones[rising], doses[rising]).astype(np.float32)
    along = math.hypot(0.5 * BEAM_RADIUS_mm, SMEAR_mm) / SPACING_mm
    across = math.hypot(0.5 * BEAM_RADIUS_mm, SPACING_mm / math.sqrt(12.0)) / SPACING_mm
    dose = np.asarray(cv2.GaussianBlur(dose, (0, 0), sigmaX=along, sigmaY=across), np.float32)
    levels = np.linspace(0.0, float(dose.max()), 4096)
    with np.errstate(divide="ignore"):
        seen = averaged_tone_L(curve, np.log10(levels), beam_radius_mm=BEAM_RADIUS_mm, line_spacing_mm=SPACING_mm)
    return np.interp(dose, levels, seen).astype(np.float32)


def in_colour(tone: Picture, wood: Wood) -> Colours:
    """Return a board's colours, its own grain along x."""
    rows, columns = tone.shape
    grain = grain_L(wood, rows=rows, columns=columns, pixel_mm=SPACING_mm, generator=np.random.default_rng(4))
    return wood_colours(wood, tone, grain=grain)


def in_grey(light: Picture) -> Colours:
    """Return a picture's own greys."""
    grey = np.rint(255.0 * srgb_encode(light)).astype(np.uint8)
    return np.stack([grey] * 3, axis=-1)


def panes() -> list[tuple[Colours, str, str]]:
    """Return the panes, row by row, with their captions in two lines."""
    photo = open_photo(files("evenburn") / "assets" / "demo" / "art" / "boathouse.jpg", name="boathouse.jpg")
    size = {"width_px": round(WIDTH_mm / SPACING_mm), "height_px": round(HEIGHT_mm / SPACING_mm)}
    came, coverage = photo.light(**size), photo.coverage(**size)

    def ready(wood: Wood, full: float) -> Picture:
        return prepare_light(
            came,
            coverage=coverage,
            pixel_mm=SPACING_mm,
            preparation=ASKED,
            resolvable_mm=resolvable_mm(wood, full),
            darkens=full < wood.curve.bare_L,
        )

    maple = shipped_wood("hard-maple")
    kept = resolvable_mm(maple, TONES_L["hard-maple"])
    made = [
        (in_grey(came), "The photograph", range_in_words(lightness_L(came))),
        (
            in_grey(ready(maple, TONES_L["hard-maple"])),
            "Made ready",
            f"for details of {kept:.2f} mm, with a fade of 6 mm",
        ),
    ]
    for wood_id, full in TONES_L.items():
        wood = shipped_wood(wood_id)
        for light, words in ((came, "as it came"), (ready(wood, full), "made ready")):
            tone = burnt_L(light, wood=wood, full=full)
            name = wood.name[0].upper() + wood.name[1:]
            made.append((in_colour(tone, wood), f"{name}, {words}", range_in_words(tone)))
    return made


def range_in_words(tone: NDArray[np.floating]) -> str:
    """Return the tones that most of a picture has, and their spread."""
    low, high = np.quantile(tone, (0.01, 0.99))
    return f"tones from L* {low:.0f} to {high:.0f}; standard deviation {tone.std():.1f}"


def main() -> None:
    """Draw the sheet and save it."""
    made = panes()
    rows = (len(made) + 1) // 2
    sheet = Image.new("RGB", (2 * (MARGIN + PANE_W) + GAP, HEAD + rows * (PANE_H + CAPTION + GAP)), LEAF)
    draw = ImageDraw.Draw(sheet)
    title = ImageFont.truetype(face_file("sheet-serif-bold"), 38)
    name = ImageFont.truetype(face_file("sheet-sans-bold"), 22)
    small = ImageFont.truetype(face_file("sheet-sans"), 19)
    draw.text((MARGIN, 60), "A photograph made ready for what it is burnt on", font=title, fill=INK, anchor="ls")
    words = f"{WIDTH_mm:.0f} × {HEIGHT_mm:.0f} mm, lines {SPACING_mm:.2f} mm apart; tones and blur as predicted, without the lines themselves."
    draw.text((MARGIN, 92), words, font=small, fill=INK2, anchor="ls")
    draw.line((MARGIN, HEAD - 24, sheet.width - MARGIN, HEAD - 24), fill=INK, width=2)
    for index, (colours, caption, figures) in enumerate(made):
        left = MARGIN + (index % 2) * (PANE_W + GAP)
        top = HEAD + (index // 2) * (PANE_H + CAPTION + GAP)
        pane = Image.fromarray(colours).resize((PANE_W, PANE_H), Image.Resampling.LANCZOS)
        sheet.paste(pane, (left, top))
        draw.text((left, top + PANE_H + 28), caption, font=name, fill=INK, anchor="ls")
        draw.text((left, top + PANE_H + 54), figures, font=small, fill=INK2, anchor="ls")
    TARGET.parent.mkdir(parents=True, exist_ok=True)
    few = sheet.quantize(256, method=Image.Quantize.MEDIANCUT, kmeans=2, dither=Image.Dither.NONE)
    few.save(TARGET, optimize=True)
    print(f"{TARGET.name}: {sheet.width} x {sheet.height} px, {TARGET.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
