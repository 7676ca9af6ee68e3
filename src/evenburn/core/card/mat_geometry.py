"""Where everything lies on a mat: window, markers, grey steps and the white between them.

From the window outwards: white paper, a row of grey steps on each side, white paper, a ring of markers, white paper. The
same steps stand on all four sides and run the other way on opposite ones, so that the light's fall-off and the grey of a
step cannot be taken for one another, and so that one grey is seen under light of several strengths.
"""

from __future__ import annotations

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.card import Box, CardKind, GreyStep, Mat, MatMarker, Point

PAGES_mm = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; 8.5 by 11 inches
DICTIONARY = (
    "DICT_APRILTAG_36h11"  # 587 markers, any two differ in 11 of 36 cells or more: blur turns none into another
)
MODULES = 8  # cells of a marker along each side, its black border included
MARKER_mm = 14.0  # a cell is 1.75 mm: some 15 pixels in a photograph of 12 megapixels held as the mat asks
WINDOW_ROOM_mm = 6.0  # bare wood between the card and the window's edge, on every side
SURROUND_mm = 8.0  # white paper between the window and the steps
STEP_mm = 7.0
STEP_PITCH_mm = 8.0
QUIET_mm = 4.0  # white between steps and markers: more than the one cell that a marker needs round it
MARGIN_mm = 4.0  # white outside the markers
UNPRINTED_mm = 5.0  # edge of the page that an office printer may leave blank
MARKER_SPACING_mm = 45.0  # markers stand about so far apart along the ring, three at least to a side
STEPS_L = (
    0.0,
    11.0,
    22.0,
    33.0,
    44.0,
    55.0,
    66.0,
    77.0,
    87.0,
    95.0,
)  # of the PDF's greys; dark, even steps, paper-like
SCALE_BAR_mm = 100.0
SCALE_BAR_BELOW_mm = 12.0  # the scale bar lies so far below the frame
NUMBERS_EACH = 16  # numbers that a kind of card and page has to itself; a mat of another kind is told by them
KINDS: tuple[CardKind, ...] = ("wood", "strip", "beam", "motion")


def mat_for_card(card_size_mm: tuple[float, float], *, kind: CardKind, page: str = "A4") -> Mat:
    """Return the mat for a card, its window in the middle of the page.

    Parameters
    ----------
    card_size_mm : width and height of the card. [mm]
    page : "A4" or "Letter".

    Raises
    ------
    InvalidInput
        If there is no such page, or the card is too large for it.

    Source
    ------
    Own choice, drawn in docs/how-it-works/card.md.
    """
    if page not in PAGES_mm:
        raise InvalidInput({"page": f"is {page!r}; allowed are {', '.join(PAGES_mm)}"})
    wide, high = PAGES_mm[page]
    window_w, window_h = (side + 2.0 * WINDOW_ROOM_mm for side in card_size_mm)
    middle = (0.5 * wide, 0.5 * high)
    window = _box(middle, window_w, window_h)
    ring = SURROUND_mm + STEP_mm + QUIET_mm + 0.5 * MARKER_mm  # from the window to the middles of the markers
    ring_w, ring_h = window_w + 2.0 * ring, window_h + 2.0 * ring
    room_w, room_h = (side - 2.0 * (UNPRINTED_mm + 0.5 * MARKER_mm + MARGIN_mm) for side in (wide, high))
    if ring_w > room_w or ring_h > room_h:
        largest = tuple(room - 2.0 * ring - 2.0 * WINDOW_ROOM_mm for room in (room_w, room_h))
        raise InvalidInput(
            {
                "card": f"is {card_size_mm[0]:g} × {card_size_mm[1]:g} mm; a mat on {page} takes one of at most "
                f"{largest[0]:.0f} × {largest[1]:.0f} mm"
            },
            hint="Make the card smaller, or turn it.",
        )
    first = NUMBERS_EACH * (2 * KINDS.index(kind) + (page == "Letter"))
    places = _ring(middle, ring_w, ring_h)
    markers = tuple(
        MatMarker(id=first + n, dictionary=DICTIONARY, corners_mm=_corners(_box(place, MARKER_mm, MARKER_mm)))
        for n, place in enumerate(places)
    )
    frame = _box(middle, ring_w + MARKER_mm + 2.0 * MARGIN_mm, ring_h + MARKER_mm + 2.0 * MARGIN_mm)
    bar_y = frame[1] - SCALE_BAR_BELOW_mm
    bar = ((middle[0] - 0.5 * SCALE_BAR_mm, bar_y), (middle[0] + 0.5 * SCALE_BAR_mm, bar_y))
    return Mat(
        page="A4" if page == "A4" else "Letter",
        page_mm=(wide, high),
        window_mm=window,
        markers=markers,
        grey_steps=_steps(middle, window_w=window_w, window_h=window_h),
        scale_bar_mm=bar,
    )


def frame_box_mm(mat: Mat) -> Box:
    """Return the part of the page that has to be in the photograph: the markers and the white round them. [mm] Definition."""
    xs = [x for m in mat.markers for x, _ in m.corners_mm]
    ys = [y for m in mat.markers for _, y in m.corners_mm]
    return (min(xs) - MARGIN_mm, min(ys) - MARGIN_mm, max(xs) + MARGIN_mm, max(ys) + MARGIN_mm)


def marker_box_mm(marker: MatMarker) -> Box:
    """Return the square a marker covers on the page. [mm] Definition."""
    xs, ys = zip(*marker.corners_mm, strict=True)
    return (min(xs), min(ys), max(xs), max(ys))


def kind_of_marker(number: int) -> tuple[CardKind, str] | None:
    """Return which kind of card and page a marker's number belongs to, or None if to no mat. Definition."""
    block = number // NUMBERS_EACH
    if not 0 <= block < 2 * len(KINDS):
        return None
    return KINDS[block // 2], "Letter" if block % 2 else "A4"


def marker_place(mat: Mat, number: int) -> str:
    """Return a marker as it is called on the mat and where it lies: `marker 3, upper right`. Definition."""
    marker = next(m for m in mat.markers if m.id == number)
    x0, y0, x1, y1 = marker_box_mm(marker)
    left, low, right, high = frame_box_mm(mat)
    across = _third(0.5 * (x0 + x1), left, right, names=("left", "", "right"))
    up = _third(0.5 * (y0 + y1), low, high, names=("lower", "", "upper"))
    place = " ".join(word for word in (up, across) if word) or "middle"
    if not across:
        place = f"{up} edge"
    elif not up:
        place = f"{across} edge"
    return f"marker\u00a0{marker_number(mat, number)}, {place}"


def marker_number(mat: Mat, number: int) -> int:
    """Return what is printed beside a marker: 1 and up, clockwise from the upper left. Definition."""
    return 1 + [m.id for m in mat.markers].index(number)


def _third(value: float, low: float, high: float, *, names: tuple[str, str, str]) -> str:
    share = (value - low) / (high - low)
    return names[0] if share < 0.3 else names[2] if share > 0.7 else names[1]


def _box(middle: Point, width: float, height: float) -> Box:
    x, y = middle
    return (
        round(x - 0.5 * width, 4),
        round(y - 0.5 * height, 4),
        round(x + 0.5 * width, 4),
        round(y + 0.5 * height, 4),
    )


def _corners(box: Box) -> tuple[Point, Point, Point, Point]:
    x0, y0, x1, y1 = box
    return ((x0, y1), (x1, y1), (x1, y0), (x0, y0))


def _ring(middle: Point, width: float, height: float) -> list[Point]:
    """Return the middles of the markers, clockwise from the upper left corner."""
    x0, x1 = middle[0] - 0.5 * width, middle[0] + 0.5 * width
    y0, y1 = middle[1] - 0.5 * height, middle[1] + 0.5 * height
    across, up = (max(2, round(side / MARKER_SPACING_mm)) for side in (width, height))
    xs = [x0 + (x1 - x0) * n / across for n in range(across + 1)]
    ys = [y0 + (y1 - y0) * n / up for n in range(up + 1)]
    top = [(x, y1) for x in xs]
    right = [(x1, y) for y in reversed(ys[1:-1])]
    bottom = [(x, y0) for x in reversed(xs)]
    left = [(x0, y) for y in ys[1:-1]]
    return top + right + bottom + left


def _steps(middle: Point, *, window_w: float, window_h: float) -> tuple[GreyStep, ...]:
    """Return the rows of steps round the window: as many as a side has room for, spread over all greys."""
    out = SURROUND_mm + 0.5 * STEP_mm
    found: list[GreyStep] = []
    sides = (
        (window_w, (0.0, 0.5 * window_h + out), (1.0, 0.0), 1),
        (window_h, (0.5 * window_w + out, 0.0), (0.0, -1.0), 1),
        (window_w, (0.0, -0.5 * window_h - out), (1.0, 0.0), -1),
        (window_h, (-0.5 * window_w - out, 0.0), (0.0, -1.0), -1),
    )
    for side, (dx, dy), (along_x, along_y), way in sides:
        count = min(len(STEPS_L), int((side + 2.0 * SURROUND_mm) / STEP_PITCH_mm))
        picked = [STEPS_L[round(n * (len(STEPS_L) - 1) / max(1, count - 1))] for n in range(count)]
        for n, nominal in enumerate(picked[::way]):
            along = (n - 0.5 * (count - 1)) * STEP_PITCH_mm
            place = (middle[0] + dx + along * along_x, middle[1] + dy + along * along_y)
            found.append(GreyStep(box_mm=_box(place, STEP_mm, STEP_mm), nominal_L=nominal))
    return tuple(found)
