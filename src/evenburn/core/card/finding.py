"""From a photograph to millimetres: the mat by its markers, the card by its burnt corner marks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from evenburn.core.card.mat_geometry import frame_box_mm, kind_of_marker, marker_place
from evenburn.core.card.page_view import Flat, FloatArray, PageView, Picture, flattened, page_view
from evenburn.core.card.quality import check_sharp
from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.card.sharpness import blur_mm
from evenburn.core.nouns.card import Box, Card, CornerMark, Mat

NB = "\u00a0"
KINDS_IN_WORDS = {"wood": "a wood card", "strip": "a strip", "beam": "a focus ladder", "motion": "a motion card"}
SMALLEST_px = 600  # of the shorter side: below it a marker's cell is no two pixels
LEAST_px_per_mm = 4.0  # then a patch of 7 mm has 28 pixels across, its edges 3 on each side
MOST_px_per_mm = 16  # what the rectified page is drawn with at most
MOST_SMEAR_px = 6.0  # in a sharp picture some edge is within 4, whatever it shows
DETECT_px = 2000  # longest side of the picture in which markers are looked for first
LEAST_FOR_A_VIEW = 4  # markers
ELSEWHERE_mm = 2.5  # no page curls so much in a window's frame: the markers are another mat's
NOT_FLAT_mm = 0.5  # markers off a plane by more: the page is curled. A third of what a patch's edge leaves out
SEARCH_mm = 7.0  # a corner mark is looked for within: 2 mm aside, 2 degrees, 6 % of the print's scale
LOOK_px_per_mm = 8
LEAST_MATCH = 0.45  # correlation of a burnt square with what is there
CANDIDATES = 6
MISFIT_mm = 0.5  # four marks that are off their square by more are not the card's
PRINT_SCALE_LIMIT = 0.015  # a printer's own error stays below half a percent; "fit to page" starts at 3 to 6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeenMarker:
    """A marker in the picture: its number and corners, clockwise from its own upper left. [px]"""

    id: int
    corners_px: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundCard:
    """Where the card lies on the page.

    Attributes
    ----------
    to_page : (2, 3) card to page, both in mm.
    print_scale_error : printed over nominal length of the mat, minus 1.
    misfit_mm : what the corner marks miss by.
    burns_light : whether burning made this wood lighter, as slate.
    """

    to_page: FloatArray
    print_scale_error: float
    misfit_mm: float
    burns_light: bool

    def page_mm(self, places_mm: FloatArray) -> FloatArray:
        """Return (N, 2) places on the page of places on the card. [mm] Definition."""
        return np.asarray(places_mm @ self.to_page[:, :2].T + self.to_page[:, 2])

    def card_map(self) -> FloatArray:
        """Return (2, 3) page to card, both in mm. Definition."""
        return np.asarray(cv2.invertAffineTransform(self.to_page), dtype=np.float64)


def seen_markers(picture: Picture, *, dictionary: str) -> tuple[SeenMarker, ...]:
    """Return every marker in a picture, each place once, by number.

    Source
    ------
    Own choice: OpenCV's detector of square fiducial markers, corners refined by the gradient around them.
    """
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    chosen = cv2.aruco.getPredefinedDictionary(int(getattr(cv2.aruco, dictionary)))
    found: list[SeenMarker] = []
    longest = max(grey.shape)
    for step in sorted({max(1, round(longest / DETECT_px)), 1, max(1, round(longest / 1000.0))}, reverse=True):
        small = grey if step == 1 else cv2.resize(grey, None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA)
        for marker in _detected(small, chosen):
            corners = (marker.corners_px + 0.5) * step - 0.5
            if not any(_same_place(corners, other.corners_px) for other in found):
                found.append(SeenMarker(id=marker.id, corners_px=corners))
        if step > 1 and len(found) >= 8:
            break
    return tuple(sorted((_refined(m, grey) for m in found), key=lambda m: m.id))


def _detected(grey: NDArray[np.uint8] | cv2.typing.MatLike, chosen: cv2.aruco.Dictionary) -> list[SeenMarker]:
    settings = cv2.aruco.DetectorParameters()
    settings.adaptiveThreshWinSizeMin, settings.adaptiveThreshWinSizeMax, settings.adaptiveThreshWinSizeStep = 5, 45, 10
    settings.minMarkerPerimeterRate = 0.02
    corners, numbers, _ = cv2.aruco.ArucoDetector(chosen, settings).detectMarkers(np.asarray(grey, np.uint8))
    if numbers is None:  # OpenCV's own stubs do not know it
        return []  # type: ignore[unreachable]
    return [
        SeenMarker(id=int(n), corners_px=np.asarray(c, np.float64).reshape(4, 2))
        for n, c in zip(np.asarray(numbers).ravel(), corners, strict=True)
    ]


def _same_place(one: FloatArray, other: FloatArray) -> bool:
    side = float(np.linalg.norm(one[0] - one[2]))
    return bool(np.linalg.norm(one.mean(axis=0) - other.mean(axis=0)) < 0.5 * side)


def _refined(marker: SeenMarker, grey: cv2.typing.MatLike) -> SeenMarker:
    sides = np.linalg.norm(np.roll(marker.corners_px, -1, axis=0) - marker.corners_px, axis=1)
    window = int(
        np.clip(round(float(sides.min()) / 8.0 * 0.6), 2, 12)
    )  # inside the black border and the white round it
    points = marker.corners_px.astype(np.float32).reshape(-1, 1, 2)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.01)
    refined = cv2.cornerSubPix(grey, points.copy(), (window, window), (-1, -1), stop).reshape(4, 2)
    moved = np.linalg.norm(refined - marker.corners_px, axis=1)
    keep = moved[:, None] > 1.5 * window
    return SeenMarker(id=marker.id, corners_px=np.where(keep, marker.corners_px, refined).astype(np.float64))


def find_page(picture: Picture, mat: Mat) -> PageView:
    """Return how the camera saw the mat.

    Parameters
    ----------
    picture : (rows, columns, 3) RGB.

    Raises
    ------
    PhotographRefused
        If the picture is too small, shows no mat, another mat, two, a mirrored one, or not all of its markers.

    Source
    ------
    `seen_markers` and `page_view`.
    """
    rows, columns = picture.shape[:2]
    if min(rows, columns) < SMALLEST_px:
        raise PhotographRefused(
            "too-small",
            f"The picture has {columns} × {rows}{NB}pixels; at least {SMALLEST_px} are needed on the shorter side.",
            remedy="Send the photograph as the camera took it, not a preview or a screenshot.",
        )
    dictionary = mat.markers[0].dictionary
    seen = seen_markers(picture, dictionary=dictionary)
    _refuse_other_mats(seen, mat, picture)
    by_id = {m.id: m for m in seen}
    missing = [m.id for m in mat.markers if m.id not in by_id]
    if missing:
        _refuse_blurred(picture, mat, by_id)
        places = "; ".join(marker_place(mat, number) for number in missing)
        raise PhotographRefused(
            "markers-hidden",
            f"{len(missing)} of {len(mat.markers)} markers cannot be seen: {places}.",
            remedy="Take the picture again with the whole mat in it, nothing lying on it, and no glare on the markers.",
        )
    view = _view_of(mat, by_id, size_px=(columns, rows))
    frame = frame_box_mm(mat)
    fine = min(view.px_per_mm((x, y)) for x in (frame[0], frame[2]) for y in (frame[1], frame[3]))
    if fine < LEAST_px_per_mm:
        raise PhotographRefused(
            "too-small",
            f"A millimetre of the mat is only {fine:.1f}{NB}pixels; at least {LEAST_px_per_mm:g} are needed.",
            remedy="Go closer, until the markers nearly fill the picture, and send it as the camera took it.",
        )
    if view.rms_px / fine > ELSEWHERE_mm:
        raise PhotographRefused(
            "wrong-mat",
            f"The markers lie {view.rms_px / fine:.1f}{NB}mm from where the card file has them: the mat is another one's.",
            remedy="Use the mat.pdf that was written with this card.json, or the card.json of this card.",
        )
    if view.rms_px / fine > NOT_FLAT_mm:
        raise PhotographRefused(
            "mat-not-flat",
            f"The markers lie {view.rms_px / fine:.1f}{NB}mm off a plane; {NOT_FLAT_mm:g}{NB}mm is allowed.",
            remedy="Lay the mat flat, weigh its corners down outside the markers, and take the picture again.",
        )
    return view


def _view_of(mat: Mat, by_id: dict[int, SeenMarker], *, size_px: tuple[int, int]) -> PageView:
    markers = [m for m in mat.markers if m.id in by_id]
    places_mm = np.array([c for m in markers for c in m.corners_mm])
    places_px = np.concatenate([by_id[m.id].corners_px for m in markers])
    inward = np.tile([[1.0, -1.0], [-1.0, -1.0], [-1.0, 1.0], [1.0, 1.0]], (len(markers), 1))
    return page_view(places_mm, places_px, inward=inward, size_px=size_px)


def _refuse_blurred(picture: Picture, mat: Mat, by_id: dict[int, SeenMarker]) -> None:
    """Say so where the markers that are missing are lost in a blur."""
    if len(by_id) < LEAST_FOR_A_VIEW:
        return
    view = _view_of(mat, by_id, size_px=(picture.shape[1], picture.shape[0]))
    check_sharp(blur_mm(flat_frame(picture, view, mat=mat), mat))


def _refuse_other_mats(seen: Sequence[SeenMarker], mat: Mat, picture: Picture) -> None:
    mine = {m.id for m in mat.markers}
    numbers = [m.id for m in seen]
    ours = [n for n in numbers if n in mine]
    others = [n for n in numbers if n not in mine and kind_of_marker(n) is not None]
    double = sorted({n for n in ours if ours.count(n) > 1})
    if double or (len(ours) >= 2 and len(others) >= 2):
        raise PhotographRefused(
            "two-mats",
            f"Two mats are in the picture: {len(numbers)} markers, and one mat has {len(mine)}.",
            remedy="Photograph one card in one mat at a time.",
        )
    if len(others) >= 2:
        kind, page = kind_of_marker(max(set(others), key=others.count)) or ("wood", "A4")
        raise PhotographRefused(
            "wrong-mat",
            f"This is the mat of {KINDS_IN_WORDS[kind]} on {page}, not the one that belongs to the card file.",
            remedy="Use the mat.pdf that was written with this card.json, or the card.json of this card.",
        )
    if len(ours) >= 2:
        return
    mirrored = seen_markers(np.ascontiguousarray(picture[:, ::-1]), dictionary=mat.markers[0].dictionary)
    if sum(m.id in mine for m in mirrored) >= 2:
        raise PhotographRefused(
            "mirrored",
            "The picture is mirrored.",
            remedy="Use the camera on the back of the phone, or turn mirroring off; a scan has to be face up.",
        )
    smear_px = _smear_px(picture)
    if smear_px > MOST_SMEAR_px:
        raise PhotographRefused(
            "blurred",
            f"No mat is to be seen, and nothing in the picture is sharper than {smear_px:.0f}{NB}pixels.",
            remedy="Tap on the card to focus, hold the phone still or lean it on something, and use more light.",
        )
    raise PhotographRefused(
        "no-mat",
        f"No mat is to be seen: {len(ours)} of its {len(mine)} markers were found.",
        remedy="Lay the printed mat round the card, get all its markers into the picture, sharp and evenly lit.",
    )


def _smear_px(picture: Picture) -> float:
    """Return the standard deviation of blur that the sharpest edges show, the greater of both ways. [px]

    Source
    ------
    Own derivation: a step of height C under Gaussian blur has the slope C / (σ √(2π)) at its middle.
    """
    grey = cv2.GaussianBlur(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), (0, 0), 1.5).astype(np.float32)
    contrast = float(np.quantile(grey[::8, ::8], 0.98) - np.quantile(grey[::8, ::8], 0.02))
    slopes = (np.abs(cv2.Sobel(grey, cv2.CV_32F, dx, 1 - dx, ksize=1))[::2, ::2] * 0.5 for dx in (0, 1))
    steepest = min(float(np.quantile(s, 0.9995)) for s in slopes)
    return contrast / max(steepest * float(np.sqrt(2.0 * np.pi)), 1e-6)


def flat_frame(picture: Picture, view: PageView, *, mat: Mat) -> Flat:
    """Return the mat's frame rectified, as finely as the picture was taken. Source: `flattened`."""
    frame = frame_box_mm(mat)
    fine = view.px_per_mm((0.5 * (frame[0] + frame[2]), 0.5 * (frame[1] + frame[3])))
    return flattened(picture, view, box_mm=frame, px_per_mm=int(np.clip(round(fine), 4, MOST_px_per_mm)))


# ---- the card ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spot:
    """A place that looks like a burnt square: where on the page, how much so, and whether lighter."""

    x_mm: float
    y_mm: float
    match: float


def find_card(flat: Flat, card: Card) -> FoundCard:
    """Return where the card lies on the page, from its four burnt corner marks.

    Raises
    ------
    PhotographRefused
        If they are not found, the card is mirrored, or the mat was not printed at 100 %.

    Source
    ------
    Own derivation, docs/how-it-works/card.md: squares by correlation, then by least squares of a blurred square.
    """
    grey, window, u = _window_grey(flat, card.mat)
    nominal = _nominal_places(card)
    spots = [_candidates(grey, window, u, middle) for middle in nominal]
    if any(not s for s in spots):
        raise _not_found(card)
    quad = _best_quad(spots, nominal)
    if quad is None:
        raise _not_found(card)
    refined = np.array([_exact(grey, window, u, spot) for spot in quad])
    holes = [_hole(grey, window, u, place, light=quad[0].match < 0.0) for place in refined]
    turned = _turned(card.corner_marks, holes)
    marks = np.array([_middle(m.box_mm) for m in card.corner_marks])
    source = np.roll(marks, 2, axis=0) if turned else marks
    to_page, misfit = _affine(source, refined)
    scales = np.linalg.svd(to_page[:, :2], compute_uv=False)
    errors = 1.0 / scales - 1.0
    error = float(1.0 / np.sqrt(scales[0] * scales[1]) - 1.0)
    if misfit > MISFIT_mm:
        raise _not_found(card)
    if np.abs(errors).max() > PRINT_SCALE_LIMIT:
        told = float(errors[np.abs(errors).argmax()])
        raise PhotographRefused(
            "print-scale",
            f"The mat was printed at {100.0 * (1.0 + told):.1f}{NB}%, by the card's burnt corner marks; "
            f"{100.0 * (1.0 - PRINT_SCALE_LIMIT):.1f} to {100.0 * (1.0 + PRINT_SCALE_LIMIT):.1f}{NB}% is allowed.",
            remedy=f"Print mat.pdf at 100{NB}%, “actual size”, not “fit to page”. If the bar on it does measure 100{NB}mm, "
            "this card.json belongs to another card.",
        )
    return FoundCard(to_page=to_page, print_scale_error=error, misfit_mm=misfit, burns_light=quad[0].match < 0.0)


def _not_found(card: Card) -> PhotographRefused:
    wide, high = card.size_mm
    return PhotographRefused(
        "card-not-found",
        f"The four burnt corner marks of a card of {wide:g} × {high:g}{NB}mm were not found inside the mat's window.",
        remedy="Lay the mat so that the card is in the middle of its window, all four corner marks in sight; "
        "check that this card.json belongs to this card.",
    )


def _middle(box: Box) -> tuple[float, float]:
    return 0.5 * (box[0] + box[2]), 0.5 * (box[1] + box[3])


def _window_grey(flat: Flat, mat: Mat) -> tuple[NDArray[np.float32], Box, int]:
    """Return the window in grey, its box, and its pixels per mm."""
    window = mat.window_mm
    part = flat.part(window)
    grey = cv2.cvtColor(part, cv2.COLOR_RGB2GRAY).astype(np.float32)
    u = min(LOOK_px_per_mm, flat.px_per_mm)
    wide, high = (round((window[n + 2] - window[n]) * u) for n in (0, 1))
    return np.asarray(cv2.resize(grey, (wide, high), interpolation=cv2.INTER_AREA), np.float32), window, u


def _nominal_places(card: Card) -> list[tuple[float, float]]:
    """Return where the middles of the corner marks are on the page if the card lies in the middle of the window."""
    x0, y0, x1, y1 = card.mat.window_mm
    left, low = 0.5 * (x0 + x1 - card.size_mm[0]), 0.5 * (y0 + y1 - card.size_mm[1])
    return [(left + x, low + y) for x, y in (_middle(m.box_mm) for m in card.corner_marks)]


MARK_mm, ROUND_MARK_mm = 3.0, 0.9


def _candidates(grey: NDArray[np.float32], window: Box, u: int, place: tuple[float, float]) -> list[_Spot]:
    """Return what looks most like a burnt square near a place."""
    side, edge = round(MARK_mm * u), round(ROUND_MARK_mm * u)
    template = np.ones((side + 2 * edge, side + 2 * edge), np.float32)
    template[edge:-edge, edge:-edge] = 0.0
    template = cv2.GaussianBlur(template, (0, 0), 0.15 * u).astype(np.float32)
    half = 0.5 * template.shape[0]
    column, row = (place[0] - window[0]) * u, (window[3] - place[1]) * u
    left, right = (int(np.clip(column + s * SEARCH_mm * u + s * half, 0, grey.shape[1])) for s in (-1, 1))
    top, bottom = (int(np.clip(row + s * SEARCH_mm * u + s * half, 0, grey.shape[0])) for s in (-1, 1))
    part = grey[top:bottom, left:right]
    if min(part.shape) <= template.shape[0]:
        return []
    match = np.nan_to_num(cv2.matchTemplate(part, template, cv2.TM_CCOEFF_NORMED), posinf=0.0, neginf=0.0)
    found: list[_Spot] = []
    for _ in range(CANDIDATES):
        r, c = np.unravel_index(int(np.abs(match).argmax()), match.shape)
        value = float(match[r, c])
        if abs(value) < LEAST_MATCH:
            break
        found.append(
            _Spot(
                x_mm=window[0] + (left + c + half) / u,
                y_mm=window[3] - (top + r + half) / u,
                match=value,
            )
        )
        reach = round(0.7 * MARK_mm * u)
        match[max(0, r - reach) : r + reach + 1, max(0, c - reach) : c + reach + 1] = 0.0
    return found


def _best_quad(spots: list[list[_Spot]], nominal: list[tuple[float, float]]) -> tuple[_Spot, ...] | None:
    """Return the four that match best and lie like the card's corners, up to place, turn and size."""
    target = np.array([x + 1j * y for x, y in nominal])
    best, best_score = None, -np.inf
    for quad in product(*spots):
        if len({s.match > 0.0 for s in quad}) != 1:
            continue
        seen = np.array([s.x_mm + 1j * s.y_mm for s in quad])
        a, b = target - target.mean(), seen - seen.mean()
        turn = np.vdot(a, b) / np.vdot(a, a)
        misfit = float(np.sqrt(np.mean(np.abs(b - turn * a) ** 2)))
        score = sum(abs(s.match) for s in quad) - 2.0 * misfit
        if misfit < 2.0 * MISFIT_mm and abs(abs(turn) - 1.0) < 0.15 and score > best_score:
            best, best_score = quad, score
    return best


def _exact(grey: NDArray[np.float32], window: Box, u: int, spot: _Spot) -> FloatArray:
    """Return the middle of a burnt square on the page, to a fraction of a pixel."""
    reach = MARK_mm * 0.5 + ROUND_MARK_mm
    column, row = (spot.x_mm - window[0]) * u - 0.5, (window[3] - spot.y_mm) * u - 0.5
    left, right = max(0, round(column - reach * u)), round(column + reach * u) + 1
    top, bottom = max(0, round(row - reach * u)), round(row + reach * u) + 1
    part = grey[top:bottom, left:right].astype(np.float64)
    rows, columns = part.shape
    cc, rr = np.meshgrid(np.arange(columns) + left - column, np.arange(rows) + top - row)
    cc, rr = cc / u, rr / u
    outside = np.maximum(np.abs(cc), np.abs(rr)) > 0.4 * MARK_mm  # the hole is not looked at
    ground, mark = float(np.median(part[np.maximum(np.abs(cc), np.abs(rr)) > 0.6 * MARK_mm])), float(np.median(part))
    start = np.array([0.0, 0.0, 0.5 * MARK_mm, 0.15, ground, mark - ground, 0.0, 0.0])

    def misses(v: FloatArray) -> FloatArray:
        soft = abs(v[3]) + 0.02
        across, down = (0.5 * (np.tanh((d + v[2]) / soft) - np.tanh((d - v[2]) / soft)) for d in (cc - v[0], rr - v[1]))
        return np.asarray((v[4] + v[5] * across * down + v[6] * cc + v[7] * rr - part)[outside])

    solved = least_squares(
        misses, start, loss="soft_l1", f_scale=8.0, x_scale=np.array([0.1, 0.1, 0.1, 0.1, 9, 9, 9, 9])
    )
    dx, dy = float(solved.x[0]), float(solved.x[1])
    if max(abs(dx), abs(dy)) > 0.5 * MARK_mm:
        dx = dy = 0.0
    return np.array([spot.x_mm + dx, spot.y_mm - dy])


def _hole(grey: NDArray[np.float32], window: Box, u: int, place_mm: FloatArray, *, light: bool) -> float:
    """Return how far the middle of a square is like the wood round it: near 0 burnt, towards 1 bare."""
    column, row = (place_mm[0] - window[0]) * u - 0.5, (window[3] - place_mm[1]) * u - 0.5
    rr, cc = np.mgrid[0 : grey.shape[0], 0 : grey.shape[1]]
    far = np.maximum(np.abs(cc - column), np.abs(rr - row)) / u
    middle, burnt = grey[far <= 0.3], grey[(far >= 0.75) & (far <= 1.2)]
    bare = grey[(far >= 0.5 * MARK_mm + 0.35) & (far <= 0.5 * MARK_mm + 0.8)]
    if min(middle.size, burnt.size, bare.size) == 0:
        return 0.0
    step = float(np.median(bare) - np.median(burnt)) * (-1.0 if light else 1.0)
    return float((middle.mean() - np.median(burnt)) * (-1.0 if light else 1.0)) / max(step, 1e-6)


def _turned(marks: Sequence[CornerMark], holes: list[float]) -> bool:
    """Return whether the card lies half a turn round in the window."""
    own = next((n for n, m in enumerate(marks) if m.hole_mm is not None), 0)
    seen = int(np.argmax(holes))
    others = max(h for n, h in enumerate(holes) if n != seen)
    if holes[seen] < 0.25 or holes[seen] - others < 0.12:
        raise PhotographRefused(
            "corner-hole",
            "None of the four corner marks shows its hole clearly, so it cannot be told which way the card lies.",
            remedy="Take a sharper picture, or brush the soot out of the corner mark with the hole.",
        )
    if seen == own:
        return False
    if seen == (own + 2) % 4:
        return True
    raise PhotographRefused(
        "card-mirrored",
        f"The corner mark with the hole is the {marks[seen].id} one; it should be the {marks[own].id} one.",
        remedy="The card was burnt mirrored or lies on its side: check the machine's axes, and the card in the window.",
    )


def _affine(source: FloatArray, target: FloatArray) -> tuple[FloatArray, float]:
    """Return the affine map of points on points by least squares, and what it misses by."""
    rows = np.column_stack([source, np.ones(len(source))])
    solution, *_ = np.linalg.lstsq(rows, target, rcond=None)
    off = rows @ solution - target
    return np.asarray(solution.T, np.float64), float(np.sqrt(np.mean(np.square(off).sum(axis=1))))
