"""A card in its mat, printed, laid out and photographed by the tests: a plain double with its own printer and camera.

It shares no formula with what it tests but CIE L* and the sRGB curve of the standard.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from evenburn.core.card.mat_geometry import frame_box_mm, mat_for_card
from evenburn.core.card.wood_card import FORMS, corner_marks
from evenburn.core.nouns.card import Box, Card, CardPatch, Mat

Picture = NDArray[np.uint8]
Light = NDArray[np.float32]
PAGE_px_per_mm = 12.0
ROUND_mm = 22.0  # of the table in sight round the frame


def light_of(lightness: float | NDArray[np.float64]) -> NDArray[np.float64]:
    """CIE L* to Y [cie15]."""
    level = np.asarray(lightness, dtype=np.float64)
    return np.where(level > 8.0, ((level + 16.0) / 116.0) ** 3, level * 27.0 / 24389.0)


def lightness_of(light: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where(light > 216.0 / 24389.0, 116.0 * np.cbrt(light) - 16.0, light * 24389.0 / 27.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Printer:
    paper_L: float = 93.5
    toner_L: float = 16.0
    gain: float = 0.15  # of a half tone's area
    skew: float = 0.0
    spreading: float = 1.6  # Yule and Nielsen's n
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)  # of the paper, linear
    scale: float = 1.0
    uneven_L: float = 0.25  # from step to step of one grey

    def light(self, nominal_L: float) -> float:
        y = float(light_of(nominal_L))
        value = 12.92 * y if y <= 0.0031308 else 1.055 * y ** (1 / 2.4) - 0.055
        ink = 1.0 - value
        ink = min(1.0, ink + 4.0 * self.gain * ink * (1.0 - ink) * (1.0 + self.skew * (1.0 - 2.0 * ink)))
        paper, toner = float(light_of(self.paper_L)), float(light_of(self.toner_L))
        n = self.spreading
        return float(((1.0 - ink) * paper ** (1 / n) + ink * toner ** (1 / n)) ** n)


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    size_px: tuple[int, int] = (4032, 3024)
    focal_share: float = 0.85  # focal length over width: 61 degrees across
    k1: float = -0.05
    tilt_deg: float = 12.0
    tilt_towards_deg: float = 40.0
    turn_deg: float = 3.0
    fill: float = 0.86  # of the picture's width or height that the frame takes up
    blur_px: float = 1.0
    noise: float = 0.006  # at mid grey, encoded
    exposure: float = 0.80  # encoded value of the brightest paper
    contrast: float = 0.15  # of the S-curve over sRGB
    gamma: float = 1.0  # of the encoded value, 1 is sRGB
    flare: float = 0.002  # of white, veiling
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)  # of the light as the camera balances it, linear
    quality: int = 92
    sigmoid: float = 0.0  # slope of a logistic S instead of the polynomial one; 0 is none


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    card: Card
    tones: dict[str, float]  # of each patch, L*
    bare_L: float = 80.0
    mark_L: float = 35.0
    hue: tuple[float, float, float] = (1.16, 0.98, 0.76)  # of the wood, linear, before it is made to hold its Y
    grain_L: float = 1.2
    hue_sd: float = 0.06
    printer: Printer = field(default_factory=Printer)
    camera: Camera = field(default_factory=Camera)
    light_across: float = 0.25  # fall-off over the frame
    light_towards_deg: float = 200.0
    light_curve: float = 0.08  # of its second order
    shift_mm: tuple[float, float] = (0.8, -0.6)
    askew_deg: float = 0.7
    half_turned: bool = False
    edge_shadow: float = 0.12
    seed: int = 1


def card_of(kind: str = "wood", *, page: str = "A4") -> Card:
    form = FORMS[kind]
    patches = tuple(
        CardPatch(
            id=f"{'abcdefgh'[row]}{column + 1}",
            box_mm=form.patch_box_mm(column=column, row=row),
            power_W=10.0 + 3.0 * ((7 * (row * form.columns + column)) % 11),
            power_fraction=0.3,
            speed_mm_per_s=100.0,
            line_spacing_mm=0.1,
            passes=1,
        )
        for row in range(form.rows)
        for column in range(form.columns)
    )
    return Card(
        kind="wood" if kind == "wood" else "strip",
        wood_id="hard-maple",
        machine_name="Boathouse bench",
        lens_name="2 inch",
        size_mm=form.size_mm,
        origin_bed_mm=(20.0, 20.0),
        focus_offset_mm=0.0,
        beam_radius_mm=0.12,
        patches=patches,
        lines=(),
        corner_marks=corner_marks(form.size_mm),
        mat=mat_for_card(form.size_mm, kind="wood" if kind == "wood" else "strip", page=page),
    )


def tones_of(card: Card, *, bare_L: float = 80.0, full_L: float = 28.0) -> dict[str, float]:
    """Tones that follow the power: bare at 10 W, full at 40 W, some scatter by place."""
    return {
        p.id: bare_L - (bare_L - full_L) * ((p.power_W - 8.0) / 32.0) ** 0.8 + ((n * 37) % 7 - 3) * 0.35
        for n, p in enumerate(card.patches)
    }


def scene(card: Card | None = None, **changes: object) -> Scene:
    card = card or card_of()
    return replace(Scene(card=card, tones=tones_of(card)), **changes)  # type: ignore[arg-type]


def page_light(s: Scene) -> tuple[Light, Box]:
    """Linear light coming off page, wood and table under an even light, rows down; and the box it covers on the page."""
    rng = np.random.default_rng(s.seed)
    mat = s.card.mat
    f = frame_box_mm(mat)
    box = (f[0] - ROUND_mm, f[1] - ROUND_mm, f[2] + ROUND_mm, f[3] + ROUND_mm)
    u = PAGE_px_per_mm
    rows, columns = round((box[3] - box[1]) * u), round((box[2] - box[0]) * u)
    page = np.empty((rows, columns, 3), np.float32)
    page[:] = 0.12 * np.array([1.1, 1.0, 0.9], np.float32)  # the table

    def fill(b: Box, light: float, tint: tuple[float, float, float]) -> None:
        c0, c1 = (round((x - box[0]) * u) for x in (b[0], b[2]))
        r0, r1 = (round((box[3] - y) * u) for y in (b[3], b[1]))
        page[max(r0, 0) : r1, max(c0, 0) : c1] = light * np.asarray(tint, np.float32)

    tint = np.asarray(s.printer.tint) / float(np.dot(s.printer.tint, [0.2126, 0.7152, 0.0722]))
    w, h = mat.page_mm
    fill((0.0, 0.0, w, h), s.printer.light(100.0), tuple(tint))
    for step in mat.grey_steps:
        y = s.printer.light(step.nominal_L)
        y = float(light_of(float(lightness_of(np.array(y))) + rng.normal(0.0, s.printer.uneven_L)))
        fill(step.box_mm, y, tuple(tint))
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for marker in mat.markers:
        bits = cv2.aruco.generateImageMarker(dictionary, marker.id, 8)
        (x0, y1), (x1, _) = marker.corners_mm[0], marker.corners_mm[2]
        cell = (x1 - x0) / 8.0
        for r in range(8):
            for c in range(8):
                if bits[r, c] == 0:
                    cell_box = (x0 + c * cell, y1 - (r + 1) * cell, x0 + (c + 1) * cell, y1 - r * cell)
                    fill(cell_box, s.printer.light(0.0), (1.0, 1.0, 1.0))
    _lay_wood(page, box, s, rng)
    return page, box


def _lay_wood(page: Light, box: Box, s: Scene, rng: np.random.Generator) -> None:
    u = PAGE_px_per_mm
    mat = s.card.mat
    x0, y0, x1, y1 = mat.window_mm
    c0, c1 = (round((x - box[0]) * u) for x in (x0, x1))
    r0, r1 = (round((box[3] - y) * u) for y in (y1, y0))
    rows, columns = r1 - r0, c1 - c0
    yy, xx = np.mgrid[0:rows, 0:columns]
    px, py = x0 + (xx + 0.5) / u, y1 - (yy + 0.5) / u
    # page to card: the card lies a little off and askew; on a page printed small it looks larger
    mx, my = 0.5 * (x0 + x1) + s.shift_mm[0], 0.5 * (y0 + y1) + s.shift_mm[1]
    a = np.deg2rad(s.askew_deg + (180.0 if s.half_turned else 0.0))
    dx, dy = (px - mx) * s.printer.scale, (py - my) * s.printer.scale
    cx = np.cos(a) * dx + np.sin(a) * dy + 0.5 * s.card.size_mm[0]
    cy = -np.sin(a) * dx + np.cos(a) * dy + 0.5 * s.card.size_mm[1]
    tone = np.full((rows, columns), s.bare_L)
    soft = 0.1  # mm, of a burnt edge

    def inside(b: Box) -> NDArray[np.float64]:
        wx = np.clip((np.minimum(cx - b[0], b[2] - cx)) / soft + 0.5, 0.0, 1.0)
        wy = np.clip((np.minimum(cy - b[1], b[3] - cy)) / soft + 0.5, 0.0, 1.0)
        return wx * wy

    light = light_of(tone)
    depth = np.ones_like(light)  # of the hue: browner where toasted, greyer where it chars, a little by chance
    for patch in s.card.patches:
        there = inside(patch.box_mm)
        level = s.tones[patch.id]
        deep = 0.75 + 0.9 * np.exp(-(((level - 55.0) / 22.0) ** 2)) + rng.normal(0.0, s.hue_sd)
        light = light * (1.0 - there) + there * float(light_of(level))
        depth = depth * (1.0 - there) + there * deep
    for mark in s.card.corner_marks:
        there = inside(mark.box_mm) - (inside(mark.hole_mm) if mark.hole_mm else 0.0)
        light = light * (1.0 - there) + there * float(light_of(s.mark_L))
    grain = rng.normal(size=(rows, columns)).astype(np.float32)
    grain = np.asarray(cv2.GaussianBlur(grain, (0, 0), sigmaX=4.0 * u, sigmaY=0.25 * u), np.float32)
    grain *= s.grain_L / grain.std()
    light = light_of(lightness_of(light) + grain)
    hue = np.asarray(s.hue)[None, None, :] ** depth[..., None]
    wood = light[..., None] * hue / (hue @ np.array([0.2126, 0.7152, 0.0722]))[..., None]
    edge = np.minimum(np.minimum(px - x0, x1 - px), np.minimum(py - y0, y1 - py))
    wood *= (1.0 - s.edge_shadow * np.exp(-edge / 0.4))[..., None]
    page[r0:r1, c0:c1] = wood


def photograph(s: Scene, *, shadow: str = "", glare: tuple[float, float, float, float] | None = None) -> Picture:
    """The picture as the phone saves it, RGB. `glare` is x, y on the page, radius in mm and strength in white."""
    rng = np.random.default_rng(s.seed + 1000)
    page, box = page_light(s)
    u = PAGE_px_per_mm
    rows, columns = page.shape[:2]
    yy, xx = np.mgrid[0:rows, 0:columns].astype(np.float32)
    px, py = box[0] + (xx + 0.5) / u, box[3] - (yy + 0.5) / u
    f = frame_box_mm(s.card.mat)
    half = 0.5 * max(f[2] - f[0], f[3] - f[1])
    nx, ny = (px - 0.5 * (f[0] + f[2])) / half, (py - 0.5 * (f[1] + f[3])) / half
    t = np.deg2rad(s.light_towards_deg)
    along = nx * np.cos(t) + ny * np.sin(t)
    field = np.exp(0.5 * np.log(1.0 - s.light_across) * -along - s.light_curve * (nx**2 + ny**2 + 0.5 * nx * ny))
    page *= field[..., None]
    if glare is not None:
        gx, gy, radius, strength = glare
        page += (strength * np.exp(-0.5 * ((px - gx) ** 2 + (py - gy) ** 2) / radius**2))[..., None]
    if shadow == "hard":
        page[px + 0.4 * py > 0.5 * (f[0] + f[2]) + 0.4 * 0.5 * (f[1] + f[3])] *= 0.6
    picture = _through_lens(page, box, s)
    c = s.camera
    picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), c.blur_px), np.float32) if c.blur_px > 0 else picture
    brightest = float(light_of(s.printer.paper_L)) * float(field.max())
    picture = (picture + c.flare) * (np.asarray(c.cast, np.float32)) / brightest
    value = _encoded(picture, c)
    value += rng.standard_normal(value.shape).astype(np.float32) * c.noise
    seen = np.clip(np.rint(value * 255.0), 0, 255).astype(np.uint8)
    _, jpeg = cv2.imencode(".jpg", seen[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, c.quality])
    return np.ascontiguousarray(np.asarray(cv2.imdecode(jpeg, cv2.IMREAD_COLOR), np.uint8)[..., ::-1])


def _encoded(light: Light, c: Camera) -> Light:
    """Scene light, 1 is the brightest paper, as the phone encodes it: exposure, S-curve, sRGB."""
    top = c.exposure

    def tone(v: NDArray[np.float64]) -> NDArray[np.float64]:
        v = np.clip(v, 0.0, 1.0) ** c.gamma
        if c.sigmoid > 0.0:
            ends = 1.0 / (1.0 + np.exp(c.sigmoid * np.array([0.5, -0.5])))
            return np.asarray((1.0 / (1.0 + np.exp(c.sigmoid * (0.5 - v))) - ends[0]) / (ends[1] - ends[0]))
        return np.asarray(v + c.contrast * (3.0 * v**2 - 2.0 * v**3 - v))

    grid = np.linspace(0.0, 1.0, 4001)
    v_top = float(np.interp(top, tone(grid), grid))
    full = ((v_top + 0.055) / 1.055) ** 2.4 if v_top > 0.04045 else v_top / 12.92
    linear = np.linspace(0.0, 1.0, 4001)
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    fine = np.linspace(0.0, 1.0, 4001) ** 2
    table = tone(np.interp(fine, linear, coded))
    return np.interp(np.sqrt(np.clip(light * full, 0.0, 1.0)), np.sqrt(fine), table).astype(np.float32)


def _through_lens(page: Light, box: Box, s: Scene) -> Light:
    c = s.camera
    wide, high = c.size_px
    focal = c.focal_share * wide
    tilt, towards, turn = np.deg2rad([c.tilt_deg, c.tilt_towards_deg, c.turn_deg])
    axis = np.array([np.cos(towards), np.sin(towards), 0.0]) * tilt
    rotation = cv2.Rodrigues(axis)[0] @ cv2.Rodrigues(np.array([0.0, 0.0, turn]))[0]
    f = frame_box_mm(s.card.mat)
    middle = np.array([0.5 * (f[0] + f[2]), 0.5 * (f[1] + f[3])])
    distance = max((f[2] - f[0]) * focal / (c.fill * wide), (f[3] - f[1]) * focal / (c.fill * high))
    # page x right, y up -> camera x right, y down
    r = rotation @ np.diag([1.0, -1.0, 1.0])
    corners = np.array([(x, y, 0.0) for x in (f[0], f[2]) for y in (f[1], f[3])]) - np.append(middle, 0.0)
    for _ in range(40):  # step back until the whole frame is in the picture
        at = corners @ r.T + np.array([0.0, 0.0, distance])
        reach = np.abs(at[:, :2] / at[:, 2:]) * focal / np.array([0.5 * wide, 0.5 * high])
        if reach.max() < 0.95:
            break
        distance *= 1.02
    camera = np.array([[focal, 0, 0.5 * (wide - 1)], [0, focal, 0.5 * (high - 1)], [0, 0, 1.0]])
    homography = camera @ np.column_stack(
        [r[:, 0], r[:, 1], -r[:, 0] * middle[0] - r[:, 1] * middle[1] + np.array([0, 0, distance])]
    )
    back = np.linalg.inv(homography)
    k = np.array([c.k1, 0.0, 0.0, 0.0])
    ys, xs = np.mgrid[0:high:16, 0:wide:16].astype(np.float64)
    points = np.stack([xs.ravel(), ys.ravel()], axis=-1)[:, None]
    flat = cv2.undistortPoints(points, camera, k, P=camera)[:, 0]
    p = np.column_stack([flat, np.ones(len(flat))]) @ back.T
    mm = p[:, :2] / p[:, 2:]
    u = PAGE_px_per_mm
    map_x = ((mm[:, 0] - box[0]) * u - 0.5).reshape(xs.shape).astype(np.float32)
    map_y = ((box[3] - mm[:, 1]) * u - 0.5).reshape(xs.shape).astype(np.float32)
    gx, gy = np.meshgrid(np.arange(wide, dtype=np.float32) / 16, np.arange(high, dtype=np.float32) / 16)
    full_x = cv2.remap(map_x, gx, gy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    full_y = cv2.remap(map_y, gx, gy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(
        cv2.remap(
            page, full_x, full_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=(0.12, 0.11, 0.1)
        ),
        np.float32,
    )


def mat_of(card: Card) -> Mat:
    return card.mat


def true_tones(s: Scene, *, edge_mm: float = 0.8) -> dict[str, float]:
    """L* of the mean luminance of each patch as it lies on the page, its edge left out, grain and all."""
    page, box = page_light(replace(s, edge_shadow=0.0))
    luminance = page @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    x0, y0, x1, y1 = s.card.mat.window_mm
    middle = np.array([0.5 * (x0 + x1) + s.shift_mm[0], 0.5 * (y0 + y1) + s.shift_mm[1]])
    a = np.deg2rad(s.askew_deg + (180.0 if s.half_turned else 0.0))
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    found = {}
    for patch in s.card.patches:
        b = patch.box_mm
        xs = np.linspace(b[0] + edge_mm, b[2] - edge_mm, 60)
        ys = np.linspace(b[1] + edge_mm, b[3] - edge_mm, 60)
        points = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2) - 0.5 * np.asarray(s.card.size_mm)
        page_mm = points @ turn.T / s.printer.scale + middle
        columns = ((page_mm[:, 0] - box[0]) * PAGE_px_per_mm).astype(int)
        rows = ((box[3] - page_mm[:, 1]) * PAGE_px_per_mm).astype(int)
        found[patch.id] = float(lightness_of(np.array(float(luminance[rows, columns].mean()))))
    return found
