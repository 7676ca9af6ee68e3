"""The mat as it is printed: markers where card.json says, greys as bright, one page, same bytes."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
import pypdfium2
import pytest

from evenburn.adapters.print.mat import mat_pdf
from evenburn.core.card.mat_geometry import mat_for_card
from evenburn.core.card.wood_card import FORMS, corner_marks
from evenburn.core.nouns.card import Card, CardKind

PX_PER_mm = 30.0
PLACE_mm = 0.05  # the renderer fills every pixel that a square touches: up to one each way, 0.047 mm
GREY_L = 0.5  # an 8-bit step is at most 0.4 L*, in the dark


def card_of(kind: CardKind, page: str) -> Card:
    size = FORMS[kind].size_mm
    return Card(
        kind=kind,
        wood_id="hard-maple",
        machine_name="Boathouse bench",
        lens_name="2 inch",
        size_mm=size,
        origin_bed_mm=(0.0, 0.0),
        focus_offset_mm=2.0,
        beam_radius_mm=0.14,
        patches=(),
        lines=(),
        corner_marks=corner_marks(size),
        mat=mat_for_card(size, kind=kind, page=page),
    )


@pytest.mark.parametrize(("kind", "page"), list(itertools.product(("wood", "strip"), ("A4", "Letter"))))
def test_the_print_is_what_the_card_says(kind: CardKind, page: str) -> None:
    card = card_of(kind, page)
    data = mat_pdf(card)
    document = pypdfium2.PdfDocument(data)
    assert len(document) == 1
    wide, high = document[0].get_size()
    assert (wide * 25.4 / 72.0, high * 25.4 / 72.0) == pytest.approx(card.mat.page_mm, abs=0.01)
    picture = np.asarray(document[0].render(scale=PX_PER_mm * 25.4 / 72.0, grayscale=True).to_numpy()).squeeze()

    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11), parameters)
    corners, ids, _ = detector.detectMarkers(picture)
    found = {int(i): c.reshape(4, 2) for i, c in zip(ids.ravel(), corners, strict=True)}
    assert set(found) == {m.id for m in card.mat.markers}
    for marker in card.mat.markers:
        x = (found[marker.id][:, 0] + 0.5) / PX_PER_mm
        y = card.mat.page_mm[1] - (found[marker.id][:, 1] + 0.5) / PX_PER_mm
        off = np.hypot(*(np.stack((x, y)) - np.array(marker.corners_mm).T))
        assert off.max() < PLACE_mm

    for step in card.mat.grey_steps:
        x0, y0, x1, y1 = step.box_mm
        top = card.mat.page_mm[1]
        part = picture[
            round((top - y1 + 0.5) * PX_PER_mm) : round((top - y0 - 0.5) * PX_PER_mm),
            round((x0 + 0.5) * PX_PER_mm) : round((x1 - 0.5) * PX_PER_mm),
        ]
        value = float(part.mean()) / 255.0
        # IEC 61966-2-1 and CIE L*, written anew
        linear = value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4
        lightness = 116.0 * np.cbrt(linear) - 16.0 if linear > 216.0 / 24389.0 else linear * 24389.0 / 27.0
        assert lightness == pytest.approx(step.nominal_L, abs=GREY_L)
        assert part.std() < 0.5


def test_same_card_same_bytes() -> None:
    assert mat_pdf(card_of("wood", "A4")) == mat_pdf(card_of("wood", "A4"))


def test_it_says_what_it_is_and_how_it_is_printed() -> None:
    page = pypdfium2.PdfDocument(mat_pdf(card_of("strip", "Letter")))[0]
    text = page.get_textpage().get_text_bounded().replace("\u00a0", " ")
    for words in (
        "for a strip of 60 × 15 mm",
        "Letter, at 100 %",
        "1 Print",
        "4 Photograph",
        "cut out along",
        "100 mm",
    ):
        assert words in " ".join(text.split()), words
