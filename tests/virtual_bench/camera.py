"""The virtual camera: a phone held over a mat on a board, its lens, sensor and taste."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from virtual_bench import spoil
from virtual_bench.colour import camera_rgb, light_of_K, srgb_coded
from virtual_bench.printer import Mat, Printer, Sheet
from virtual_bench.scene import lay_out

FloatArray = NDArray[np.float64]
Float32 = NDArray[np.float32]
Picture = NDArray[np.uint8]
ToPicture = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """How a photograph is taken. Lengths on the page in mm; angles in degrees; light 1 is a perfect white, brightest lit."""

    size_px: tuple[int, int] = (4000, 3000)
    focal_share: float = 0.76  # focal length over the longer side
    fill: float = 0.95
    tilt_deg: float = 0.0
    tilt_towards_deg: float = 0.0
    turn_deg: float = 0.0
    k1: float = 0.0
    light_across: float = 0.0
    light_towards_deg: float = 0.0
    light_bent: float = 0.0  # part of it that is quadratic
    light_K: float = 5500.0
    believed: float = 1.0  # times that, the camera takes it for
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    green_nm: float = 532.0
    red_nm: float = 602.0
    exposure: float = 0.85  # code-linear value of a perfect white, brightest lit
    contrast: float = 1.0  # of the S; 1 is none
    pivot: float = 1.0
    shoulder: float = 0.0
    flare: float = 0.0
    noise: float = 0.0
    blur_px: float = 0.0
    sharpened: float = 0.0
    quality: int = 92
    shift_mm: tuple[float, float] = (0.0, 0.0)
    askew_deg: float = 0.0
    cut_mm: tuple[float, float, float, float] = (
        0.0,
        0.0,
        0.0,
        0.0,
    )  # the knife strayed outwards, per side of the window
    lift_mm: float = 0.0  # of the paper over the wood
    shade: float = 0.0  # of its edge's shadow
    # what spoils it
    glare: tuple[float, float, float, float] | None = None  # x, y, radius, strength
    shadow: tuple[float, float, float, float] | None = None  # x, y on its edge; direction; light left
    hidden_marker: int | None = None  # its place in the list
    motion_px: float = 0.0
    defocus_px: float = 0.0
    mirrored: bool = False
    rotated_deg: int = 0
    second_mat: bool = False

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Shot:
        """An ordinary hand-held photograph at random."""
        warm = rng.normal(0.0, 0.035)
        return cls(
            focal_share=rng.uniform(0.70, 0.82),
            fill=rng.uniform(0.86, 0.97),
            tilt_deg=25.0 * rng.beta(1.3, 1.6),
            tilt_towards_deg=rng.uniform(0.0, 360.0),
            turn_deg=rng.normal(0.0, 4.0),
            k1=rng.uniform(-0.2, 0.1),
            light_across=rng.uniform(0.03, 0.35),
            light_towards_deg=rng.uniform(0.0, 360.0),
            light_bent=rng.uniform(-0.4, 0.4),
            light_K=rng.uniform(2800.0, 7500.0),
            believed=float(np.exp(rng.normal(0.0, 0.12))),
            balance=(float(np.exp(warm)), 1.0, float(np.exp(-warm + rng.normal(0.0, 0.02)))),
            green_nm=rng.normal(532.0, 4.0),
            red_nm=rng.normal(602.0, 4.0),
            exposure=rng.uniform(0.72, 1.0),
            contrast=rng.uniform(1.0, 1.35),
            pivot=rng.uniform(0.85, 1.15),
            shoulder=rng.uniform(0.0, 0.35),
            flare=rng.uniform(0.0, 0.006),
            noise=rng.uniform(0.002, 0.012),
            blur_px=rng.uniform(0.6, 1.6),
            sharpened=rng.uniform(0.0, 0.35),
            quality=int(rng.integers(85, 96)),
            shift_mm=(rng.uniform(-2.0, 2.0), rng.uniform(-2.0, 2.0)),
            askew_deg=rng.uniform(-2.0, 2.0),
            cut_mm=tuple(rng.normal(0.0, 0.2, 4)),
            lift_mm=rng.uniform(0.1, 0.5),
            shade=rng.uniform(0.15, 0.4),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """A photograph, and the truth about it.

    Attributes
    ----------
    image : (rows, columns, 3) uint8, RGB, as the camera hands it to its JPEG encoder.
    page_to_px, board_to_px : (N, 2) page or board places [mm] to (column, row) in the image.
    light_at : (N, 2) page places to the light that falls there, shadow and glare included, over the brightest even light.
    """

    image: Picture
    shot: Shot
    printer: Printer
    page_to_px: ToPicture = field(repr=False)
    board_to_px: ToPicture = field(repr=False)
    light_at: ToPicture = field(repr=False)

    def jpeg(self, *, exif_orientation: int = 1) -> bytes:
        """The file's bytes; an EXIF orientation other than 1 says how the pixels have to be turned to stand upright."""
        return jpeg_bytes(self.image, quality=self.shot.quality, exif_orientation=exif_orientation)

    def save_jpeg(self, path: str | Path, *, exif_orientation: int = 1) -> Path:
        """Write it as a phone would and return where."""
        target = Path(path)
        target.write_bytes(self.jpeg(exif_orientation=exif_orientation))
        return target

    def as_read(self) -> Picture:
        """The picture after its JPEG: what a reader gets."""
        return np.asarray(Image.open(io.BytesIO(self.jpeg())).convert("RGB"), np.uint8)


def jpeg_bytes(image: Picture, *, quality: int = 90, exif_orientation: int = 1) -> bytes:
    """An RGB picture as a JPEG file with a phone's chroma subsampling."""
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = exif_orientation
    Image.fromarray(image).save(out, "JPEG", quality=quality, subsampling=2, exif=exif)
    return out.getvalue()


def photograph(
    bands: Float32,
    map_mm: float,
    mat: Any,
    *,
    card_middle_mm: tuple[float, float],
    seed: int = 0,
    plain: bool = False,
    pdf: str | Path | None = None,
    printer: Printer | None = None,
    shot: Shot | None = None,
    print_scale: float | None = None,
    **changes: Any,
) -> Photo:
    """Photograph a board through a mat.

    Parameters
    ----------
    bands, map_mm : the board, row 0 its highest y, and the side of its pixels.
    mat : the `mat` of a card.json.
    card_middle_mm : place on the board that lies under the window's middle, but for `shift_mm` and `askew_deg`.
    plain : start from an ideal printer and camera instead of drawing ordinary ones.
    pdf : draw the page from this PDF; the mat still says where things are.
    printer, shot : taken as they are instead.
    print_scale : the page is printed so large (0.94, 0.97, 1.05).
    changes : fields of Shot or Printer to hold.
    """
    rng = np.random.default_rng([seed, 4711])
    drawn_printer = Printer.drawn(rng)
    drawn_shot = Shot.drawn(rng)
    if plain:
        drawn_printer, drawn_shot = Printer(paper_L=95.0, tint=0.0, gain=0.0, streaks=0.0, screen=False), Shot()
    names = {f.name for f in fields(Printer)}
    wants = {k: v for k, v in changes.items() if k in names}
    made = replace(printer or drawn_printer, **wants)
    taken = replace(shot or drawn_shot, **{k: v for k, v in changes.items() if k not in names})
    if print_scale is not None:
        made = replace(made, scale=(made.scale[0] * print_scale, made.scale[1] * print_scale))
    pages = [Mat(mat, made, pdf=Path(pdf) if pdf else None)]
    if taken.second_mat:
        wide = pages[0].frame_mm[2] - pages[0].frame_mm[0] + 12.0
        pages.append(Mat(mat, made, pdf=Path(pdf) if pdf else None, move_mm=(wide, 0.0)))
    view = View(taken, pages)
    sheet = view.sheet()
    believed = light_of_K(taken.light_K * taken.believed)
    colours = camera_rgb(light_of_K(taken.light_K), believed=believed, green_nm=taken.green_nm, red_nm=taken.red_nm)
    table = lay_out(sheet, pages, bands, map_mm, card_middle_mm=card_middle_mm, shot=taken, colours=colours, rng=rng)
    light = _light(taken, pages)
    table *= light(*_places(sheet, table.shape[:2]))[..., None].astype(np.float32) if _uneven(taken) else 1.0
    if taken.glare is not None:
        table += spoil.glare(taken.glare, *_places(sheet, table.shape[:2]))[..., None]
    picture = view.seen(table, sheet)
    if taken.hidden_marker is not None:
        corners = pages[0].physical(np.array(mat["markers"][taken.hidden_marker]["corners_mm"], dtype=np.float64))
        spoil.finger(picture, view.to_px(corners), np.random.default_rng([seed, 5]))
    image = developed(picture, taken, rng)
    turn = _turner(taken, image.shape)

    def board_to_px(points_mm: FloatArray) -> FloatArray:
        x0, y0, x1, y1 = pages[0].box(mat["window_mm"])
        a = np.deg2rad(taken.askew_deg)
        turn2 = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        middle = np.array([0.5 * (x0 + x1), 0.5 * (y0 + y1)]) + np.array(taken.shift_mm)
        return turn(view.to_px((np.asarray(points_mm, float) - np.array(card_middle_mm)) @ turn2.T + middle))

    return Photo(
        image=_oriented(image, taken),
        shot=taken,
        printer=made,
        page_to_px=lambda p: turn(view.to_px(pages[0].physical(np.asarray(p, float)))),
        board_to_px=board_to_px,
        light_at=lambda p: (
            light(*pages[0].physical(np.asarray(p, float)).T)
            + (spoil.glare(taken.glare, *pages[0].physical(np.asarray(p, float)).T) if taken.glare else 0.0)
        ),
    )


class View:
    """Where everything on the table comes to lie in the picture: a pinhole, a little distortion, a hand's tilt."""

    def __init__(self, shot: Shot, pages: list[Mat]) -> None:
        self.shot = shot
        boxes = np.array([p.frame_mm for p in pages])
        x0, y0 = boxes[:, :2].min(axis=0)
        x1, y1 = boxes[:, 2:].max(axis=0)
        long, short = max(shot.size_px), min(shot.size_px)
        self.wide, self.high = (long, short) if x1 - x0 >= y1 - y0 else (short, long)
        self.focal = shot.focal_share * long
        self.middle = np.array([0.5 * (x0 + x1), 0.5 * (y0 + y1)])
        towards, turn, tilt = np.deg2rad([shot.tilt_towards_deg, shot.turn_deg, shot.tilt_deg])
        hinge = np.array([np.cos(towards), np.sin(towards), 0.0]) * tilt
        self.rotation = (
            cv2.Rodrigues(np.array([0.0, 0.0, turn]))[0] @ cv2.Rodrigues(hinge)[0] @ np.diag([1.0, -1.0, -1.0])
        )
        self.camera = np.array(
            [[self.focal, 0.0, 0.5 * (self.wide - 1)], [0.0, self.focal, 0.5 * (self.high - 1)], [0.0, 0.0, 1.0]]
        )
        self.lens = np.array([shot.k1, 0.0, 0.0, 0.0])
        edge = np.array([[x, y] for x in (x0, 0.5 * (x0 + x1), x1) for y in (y0, 0.5 * (y0 + y1), y1)])
        half = 0.5 * np.array([self.wide, self.high]) * shot.fill
        self.aim, self.distance_mm = np.zeros(2), 2.0 * max(x1 - x0, y1 - y0)
        for _ in range(60):  # step back, and shift the phone, until all of it is in the picture
            seen = self.to_px(edge) - self.camera[:2, 2]
            low, high = seen.min(axis=0), seen.max(axis=0)
            self.distance_mm *= 1.0 + 0.7 * (float(np.max(0.5 * (high - low) / half)) - 1.0)
            self.aim = self.aim - 0.7 * 0.5 * (low + high) * self.distance_mm / self.focal

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """(N, 2) real mm on the table to (column, row)."""
        flat = np.column_stack([points_mm - self.middle, np.zeros(len(points_mm))]) @ self.rotation.T
        at = flat + np.array([*self.aim, self.distance_mm])
        px, _ = cv2.projectPoints(at[:, None], np.zeros(3), np.zeros(3), self.camera, self.lens)
        return np.asarray(px[:, 0], np.float64)

    def to_mm(self, px: FloatArray) -> FloatArray:
        """(N, 2) (column, row) to real mm on the table."""
        bent = (np.asarray(px, np.float64) - self.camera[:2, 2]) / self.focal
        far = np.maximum(np.hypot(bent[:, 0], bent[:, 1]), 1e-12)
        true = far.copy()
        for _ in range(12):  # Newton: r (1 + k1 r²) is what is seen
            true -= (true * (1.0 + self.shot.k1 * true**2) - far) / (1.0 + 3.0 * self.shot.k1 * true**2)
        rays = bent * (true / far)[:, None]
        origin = np.array([*self.aim, self.distance_mm])
        normal = self.rotation[:, 2]
        ray = np.column_stack([rays, np.ones(len(rays))])
        at = ray * ((normal @ origin) / (ray @ normal))[:, None]
        return np.asarray(((at - origin) @ self.rotation)[:, :2] + self.middle)

    def sheet(self) -> Sheet:
        """The part of the table that is seen, with about as many pixels as the picture has."""
        xs, ys = np.meshgrid(np.linspace(-1, self.wide, 9), np.linspace(-1, self.high, 9))
        mm = self.to_mm(np.column_stack([xs.ravel(), ys.ravel()]))
        (x0, y0), (x1, y1) = mm.min(axis=0) - 1.0, mm.max(axis=0) + 1.0
        px = self.to_px(self.middle + np.array([[-5.0, 0.0], [5.0, 0.0], [0.0, -5.0], [0.0, 5.0]]))
        scale = max(np.linalg.norm(px[1] - px[0]), np.linalg.norm(px[3] - px[2])) / 10.0
        scale = min(1.05 * scale, np.sqrt(22e6 / ((x1 - x0) * (y1 - y0))))
        return Sheet(x0_mm=float(x0), y0_mm=float(y0), x1_mm=float(x1), y1_mm=float(y1), px_per_mm=float(scale))

    def seen(self, table: Float32, sheet: Sheet) -> Float32:
        """The table through the lens, linear light."""
        coarse = 16
        ys, xs = np.mgrid[0 : self.high + coarse : coarse, 0 : self.wide + coarse : coarse].astype(np.float64)
        mm = self.to_mm(np.column_stack([xs.ravel(), ys.ravel()]))
        u = sheet.px_per_mm
        column = ((mm[:, 0] - sheet.x0_mm) * u - 0.5).reshape(xs.shape).astype(np.float32)
        row = ((sheet.y1_mm - mm[:, 1]) * u - 0.5).reshape(xs.shape).astype(np.float32)
        gx, gy = (np.arange(n, dtype=np.float32) / coarse for n in (self.wide, self.high))
        gx, gy = np.meshgrid(gx, gy)
        full = [cv2.remap(m, gx, gy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE) for m in (column, row)]
        return np.asarray(
            cv2.remap(table, full[0], full[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32
        )


def _places(sheet: Sheet, shape: tuple[int, int]) -> tuple[Float32, Float32]:
    """x and y of each pixel of a sheet, real mm, as a row and a column that broadcast."""
    x = sheet.x0_mm + (np.arange(shape[1], dtype=np.float32) + 0.5) / np.float32(sheet.px_per_mm)
    y = sheet.y1_mm - (np.arange(shape[0], dtype=np.float32) + 0.5) / np.float32(sheet.px_per_mm)
    return x[None, :], y[:, None]


def _uneven(shot: Shot) -> bool:
    return shot.light_across > 0.0 or shot.shadow is not None


def _light(shot: Shot, pages: list[Mat]) -> Callable[[Any, Any], Any]:
    """Light at places: falls off by `light_across` over the frame of the mat, straight and bent."""
    x0, y0, x1, y1 = pages[0].frame_mm
    half = 0.5 * np.hypot(x1 - x0, y1 - y0)
    middle = (0.5 * (x0 + x1), 0.5 * (y0 + y1))
    a = np.deg2rad(shot.light_towards_deg)

    def raw(x: Any, y: Any) -> Any:
        u, v = (x - middle[0]) / half, (y - middle[1]) / half
        along, across = u * np.cos(a) + v * np.sin(a), v * np.cos(a) - u * np.sin(a)
        return (1.0 - abs(shot.light_bent)) * along + shot.light_bent * (along**2 + 0.6 * across**2)

    edge = np.meshgrid(np.linspace(x0, x1, 15), np.linspace(y0, y1, 15))
    known = raw(*edge)
    span = max(1e-9, float(known.max() - known.min()))
    fall = np.log(1.0 - shot.light_across) / span

    def light(x: Any, y: Any) -> Any:
        even = np.exp(fall * (known.max() - raw(x, y)))
        return even * spoil.hard_shadow(shot.shadow, x, y) if shot.shadow is not None else even

    return light


def developed(picture: Float32, shot: Shot, rng: np.random.Generator) -> Picture:
    """Linear light to what the phone saves: blur, noise, balance, exposure, its own tone curve, sharpening."""
    if shot.motion_px > 0.0:
        picture = spoil.moved(picture, shot.motion_px, rng.uniform(0.0, 180.0))
    if shot.defocus_px > 0.0:
        picture = spoil.defocused(picture, shot.defocus_px)
    if shot.blur_px > 0.0:
        picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), shot.blur_px), np.float32)
    gain = np.array(shot.balance, np.float32) * np.float32(shot.exposure)
    picture = (picture + np.float32(shot.flare)) * gain
    if shot.noise > 0.0:
        grains = rng.standard_normal((1024, 1024, 3), dtype=np.float32)
        rows, columns = picture.shape[:2]
        for r in range(0, rows, 1024):
            for c in range(0, columns, 1024):
                part = picture[r : r + 1024, c : c + 1024]
                tile = np.roll(grains, tuple(rng.integers(0, 1024, 2)), axis=(0, 1))[: part.shape[0], : part.shape[1]]
                part += tile * np.sqrt(shot.noise**2 * np.maximum(part, 0.0) + (0.15 * shot.noise) ** 2)
    table = np.rint(255.0 * tone_curve(shot)(np.linspace(0.0, 1.0, 65536) ** 2)).astype(np.uint8)
    np.clip(picture, 0.0, 1.0, out=picture)
    index = np.sqrt(picture, out=picture)
    index *= np.float32(65535.0)
    image = table[index.astype(np.uint16)]
    if shot.sharpened > 0.0:
        soft = cv2.GaussianBlur(image, (0, 0), 1.3)
        image = np.asarray(cv2.addWeighted(image, 1.0 + shot.sharpened, soft, -shot.sharpened, 0.0), np.uint8)
    return np.asarray(image, np.uint8)


def tone_curve(shot: Shot) -> Callable[[FloatArray], FloatArray]:
    """Linear light to code, 0 to 1: shoulder, sRGB, then an S about its middle."""

    def curve(linear: FloatArray) -> FloatArray:
        h = shot.shoulder
        x = (1.0 - h) * linear + h * 1.7 * linear / (1.0 + 0.7 * linear)
        v = srgb_coded(x)
        up, down = v**shot.contrast, (shot.pivot * (1.0 - v)) ** shot.contrast
        return np.asarray(up / np.maximum(up + down, 1e-12)) if shot.contrast != 1.0 or shot.pivot != 1.0 else v

    return curve


def _oriented(image: Picture, shot: Shot) -> Picture:
    out = image[:, ::-1] if shot.mirrored else image
    return np.ascontiguousarray(np.rot90(out, (shot.rotated_deg // 90) % 4))


def _turner(shot: Shot, shape: tuple[int, ...]) -> ToPicture:
    """Pixel places of the upright picture to those of the picture as it is handed over."""
    rows, columns = shape[:2]

    def turn(px: FloatArray) -> FloatArray:
        x, y = px[:, 0].copy(), px[:, 1].copy()
        w, h = columns, rows
        if shot.mirrored:
            x = w - 1 - x
        for _ in range((shot.rotated_deg // 90) % 4):  # a quarter turn counter-clockwise
            x, y = y, w - 1 - x
            w, h = h, w
        return np.column_stack([x, y])

    return turn
