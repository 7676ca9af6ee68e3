"""Outlines of the blanks that are no rectangle."""

from __future__ import annotations

from demo_art.ink import document


def oar_blade_svg() -> str:
    """Return the trophy blade, 520 x 160 mm, its tip to the left."""
    d = (
        "M0 80C0 60 1 44 5 32C8 22 16 17 27 14"
        "C62 4 98 0 138 0C218 0 262 34 318 50C344 57.5 366 60 392 60H506"
        "Q520 60 520 74"
        "V86Q520 100 506 100H392C366 100 344 102.5 318 110C262 126 218 160 138 160C98 160 62 156 27 146"
        "C16 143 8 138 5 128C1 116 0 100 0 80Z"
    )
    return document(f'<path d="{d}"/>', width_mm=520, height_mm=160, title="Oar blade, blank")


def tray_svg() -> str:
    """Return the tray, 380 x 260 mm, with two handle holes."""
    d = (
        "M30 0H350A30 30 0 0 1 380 30V230A30 30 0 0 1 350 260H30A30 30 0 0 1 0 230V30A30 30 0 0 1 30 0Z"
        "M29 85A11 11 0 0 0 18 96V164A11 11 0 0 0 40 164V96A11 11 0 0 0 29 85Z"
        "M351 85A11 11 0 0 0 340 96V164A11 11 0 0 0 362 164V96A11 11 0 0 0 351 85Z"
    )
    return document(
        f'<path fill-rule="evenodd" d="{d}"/>', width_mm=380, height_mm=260, title="Tray with two handles, blank"
    )


def coaster_set_svg() -> str:
    """Return four coasters, 100 x 100 mm each, 10 mm apart."""
    squares = "".join(f'<use href="#coaster" x="{x}" y="{y}"/>' for x in (0, 110) for y in (0, 110))
    return document(
        f'<defs><rect id="coaster" width="100" height="100" rx="6"/></defs>\n{squares}',
        width_mm=210,
        height_mm=210,
        title="Four coasters in their frame, blank",
    )
