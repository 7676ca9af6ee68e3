"""Draw docs/pictures/faces.png, a specimen of every engraving face, with nothing but the installed package.

python tools/make_faces_picture.py
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from evenburn.adapters.artwork.faces import face_file, list_faces
from evenburn.adapters.artwork.ink import render_lettering
from evenburn.adapters.artwork.lettering import set_text

TARGET = Path(__file__).resolve().parent.parent / "docs" / "pictures" / "faces.png"
SAMPLE = "Novice Fours, Sedgeholm 2026  é ő ß"
LEAF, INK, INK2, RULE2 = (245, 248, 241), (23, 34, 30), (67, 82, 75), (117, 133, 124)
WOOD, BURN = (234, 211, 169), (74, 45, 24)  # L* 86 and 22 of the exposure scale
WIDTH_PX, MARGIN_PX, LABEL_PX, STRIP_PX, GAP_PX, HEAD_PX = 1600, 48, 250, 92, 14, 128
CAPITAL_PX = 40.0  # height of an H: all faces stand at one height


def main() -> None:
    """Draw the sheet and save it."""
    faces = list_faces()
    height_px = HEAD_PX + len(faces) * (STRIP_PX + GAP_PX) + MARGIN_PX
    sheet = Image.new("RGB", (WIDTH_PX, height_px), LEAF)
    draw = ImageDraw.Draw(sheet)
    title = ImageFont.truetype(face_file("sheet-serif-bold"), 40)
    name = ImageFont.truetype(face_file("sheet-sans-bold"), 23)
    small = ImageFont.truetype(face_file("sheet-sans"), 19)
    draw.text((MARGIN_PX, 62), "Faces for engraving", font=title, fill=INK, anchor="ls")
    note = f"{len(faces)} faces, each with its H at one height. On the left: id, kind and licence."
    draw.text((MARGIN_PX, 94), note, font=small, fill=INK2, anchor="ls")
    draw.line((MARGIN_PX, HEAD_PX - 18, WIDTH_PX - MARGIN_PX, HEAD_PX - 18), fill=INK, width=2)
    for row, face in enumerate(faces):
        top = HEAD_PX + row * (STRIP_PX + GAP_PX)
        draw.text((MARGIN_PX, top + 42), face.id, font=name, fill=INK, anchor="ls")
        draw.text((MARGIN_PX, top + 68), f"{face.kind}, {face.licence}", font=small, fill=INK2, anchor="ls")
        left, right = MARGIN_PX + LABEL_PX, WIDTH_PX - MARGIN_PX
        draw.rectangle((left, top, right, top + STRIP_PX - 1), fill=WOOD, outline=RULE2)
        font = face_file(face.id)
        capital = set_text("H", font, face_name=face.id).bounds_em
        em_px = CAPITAL_PX / (capital[3] - capital[1])
        x0, y0, x1, y1 = set_text(SAMPLE, font, face_name=face.id).bounds_em
        em_px = min(em_px, (right - left - 40) / (x1 - x0), (STRIP_PX - 12) / (y1 - y0))
        box = (math.ceil((x1 - x0) * em_px), math.ceil((y1 - y0) * em_px))
        lettering = set_text(SAMPLE, font, face_name=face.id)
        ink = render_lettering(lettering, width_px=box[0], height_px=box[1])
        mask = Image.fromarray(np.rint(ink * 255.0).astype(np.uint8))
        baseline = top + STRIP_PX / 2 + CAPITAL_PX / 2
        y = round(min(max(baseline - y1 * em_px, top + 5), top + STRIP_PX - 5 - box[1]))
        sheet.paste(BURN, (left + 20, y), mask)
    TARGET.parent.mkdir(parents=True, exist_ok=True)
    sheet.save(TARGET, optimize=True)
    print(f"{TARGET.name}: {sheet.width} x {sheet.height} px")


if __name__ == "__main__":
    main()
