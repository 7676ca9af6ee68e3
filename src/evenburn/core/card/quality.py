"""What makes a photograph unfit to be measured: too little or too much light, blur, shadow, glare, greys that disagree."""

from __future__ import annotations

import numpy as np

from evenburn.core.card import camera_curve as camera
from evenburn.core.card.lightness import Field, LightScale
from evenburn.core.card.mat_geometry import frame_box_mm
from evenburn.core.card.page_view import FloatArray
from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.card.sampling import Samples
from evenburn.core.nouns.card import Mat

NB = "\u00a0"
DARKEST_WHITE = 80.0  # of 255: a toner of L* 16 is then written as less than 10, in steps of a tenth of itself
CLIPPED_SHARE, CLIPPED_CELLS = 0.10, 0.04
MOST_BLUR_mm = 0.35  # then a patch of 7 mm keeps its middle 4 mm
OFF_SHADE, OFF_CELLS = 0.06, 0.03  # a white cell so far off the smooth light, and how many of them may be
GLARE_CELLS = 0.08  # a shine is a spot; where more of the paper is brighter, the rest lies in shadow
GREY_RMS_L = 1.6  # of one grey from side to side of the mat; an unedited picture keeps below 0.5

VEIL, VEILED_TONER_L = 0.012, 23.5  # light over all, as a share of white, and a toner lighter than office printers' is
UNLIKE = 60.0  # squared sds by which the camera's curve is off what phones do, in all


def check_sharp(blur_mm: float) -> None:
    """Raise PhotographRefused where the picture is too blurred."""
    if blur_mm > MOST_BLUR_mm:
        raise PhotographRefused(
            "blurred",
            f"Edges are blurred by {blur_mm:.2f}{NB}mm; {MOST_BLUR_mm:g}{NB}mm is allowed.",
            remedy="Tap on the card to focus, hold the phone still or lean it on something, and use more light.",
        )


def check_exposed(samples: Samples, mat: Mat) -> None:
    """Raise PhotographRefused where the paper is too dark to tell greys apart, or so bright that it ran into the end."""
    white = float(np.median(samples.white_coded.max(axis=1)))
    clipped = samples.white_clipped > CLIPPED_SHARE
    share = float(clipped.mean())
    if share > CLIPPED_CELLS:
        where = "everywhere" if share > 0.6 else _side(samples.white_mm[clipped], mat)
        raise PhotographRefused(
            "overexposed",
            f"{100.0 * share:.0f}{NB}% of the white paper is overexposed, {where}; {100.0 * CLIPPED_CELLS:.0f}{NB}% is allowed.",
            remedy="Turn the exposure down, tap on the white paper, and keep lamps from being mirrored in the print.",
        )
    if white < DARKEST_WHITE:
        raise PhotographRefused(
            "too-dark",
            f"The white paper is only {white:.0f} of 255 bright; at least {DARKEST_WHITE:.0f} is needed.",
            remedy="Use more light, by a window or under two lamps, no flash, and tap on the card to expose for it.",
        )


def check_even(samples: Samples, field: Field, *, white_off: FloatArray, mat: Mat) -> None:
    """Raise PhotographRefused where the light on the paper has an edge: a shadow, something lying on it, glare."""
    dark, bright = white_off < -OFF_SHADE, white_off > OFF_SHADE
    odd = dark | bright
    if float(odd.mean()) <= OFF_CELLS and float(field.keeps.mean()) > 1.0 - 5.0 * OFF_CELLS:
        return
    darker = float(dark.mean()) >= float(bright.mean())
    spot = not darker and float(bright.mean()) < GLARE_CELLS
    chosen = dark if darker else bright
    if not chosen.any():
        chosen = ~field.keeps
    most = 100.0 * float(np.abs(white_off[chosen]).max())
    where = _side(samples.white_mm[chosen], mat)
    if not spot:
        seen = dark if darker else bright
        raise PhotographRefused(
            "hard-shadow",
            f"The light on the white paper has an edge: {100.0 * float(seen.mean()):.0f}{NB}% of it is up to {most:.0f}{NB}% "
            f"{'darker' if darker else 'brighter'} than the rest lets expect, {where}.",
            remedy="Move so that neither you nor the phone throws a shadow on the mat, and take hands and tools off it.",
        )
    raise PhotographRefused(
        "glare",
        f"Glare brightens {100.0 * float(bright.mean()):.0f}{NB}% of the white paper by up to {most:.0f}{NB}%, {where}.",
        remedy="Tilt the phone or move the lamp until nothing shines on the mat.",
    )


def check_greys(scale: LightScale) -> None:
    """Raise PhotographRefused where one grey is read differently on different sides, or the greys are no print's."""
    curve = scale.curve()
    if curve.flare > VEIL and scale.toner_L > VEILED_TONER_L:
        raise PhotographRefused(
            "veiled",
            f"A veil of light lies over the picture, {100.0 * curve.flare:.1f}{NB}% of white or more: the mat's black looks "
            f"like L*{NB}{scale.toner_L:.0f}, and {VEILED_TONER_L:g} is the lightest that a printer's black is taken for.",
            remedy="Wipe the lens, keep windows and lamps from shining into it, and print the mat in full black. If the "
            "black is that light, measure it and tell it with --toner-L.",
        )
    told = np.array([curve.contrast, curve.bow, curve.tilt])
    unlike = float(np.square((told - camera.BELIEVED[:3]) / camera.BELIEVED_SD[:3]).sum())
    if unlike > UNLIKE:
        raise PhotographRefused(
            "greys-disagree",
            f"The mat's greys are rendered as no camera does, {np.sqrt(unlike):.0f} standard deviations off; "
            f"{np.sqrt(UNLIKE):.0f} are allowed.",
            remedy="Send the picture as the camera took it, without filters, edits or night mode.",
        )
    nominal = scale.samples.step_nominal_L
    off = scale.greys_off_L
    apart = np.concatenate([off[nominal == n] - np.median(off[nominal == n]) for n in np.unique(nominal)])
    rms = 1.4826 * float(np.median(np.abs(apart))) * 0.5 + 0.5 * float(np.sqrt(np.mean(np.square(apart))))
    if rms > GREY_RMS_L:
        raise PhotographRefused(
            "greys-disagree",
            f"The same grey is read {rms:.1f}{NB}L* apart on different sides of the mat; {GREY_RMS_L:g}{NB}L* is allowed.",
            remedy="Send the picture as the camera took it, without filters or edits; use one kind of light, and no flash.",
        )


def _side(places_mm: FloatArray, mat: Mat) -> str:
    """Return in words where on the mat most of some places are."""
    left, low, right, high = frame_box_mm(mat)
    x, y = np.median(places_mm, axis=0)
    across, up = (x - left) / (right - left), (y - low) / (high - low)
    words = [
        "lower" if up < 0.35 else "upper" if up > 0.65 else "",
        "left" if across < 0.35 else "right" if across > 0.65 else "",
    ]
    place = " ".join(w for w in words if w)
    return f"mostly {place}" if place else "in the middle or all round"
