"""Opening a photograph to measure it: RGB as the camera encoded it, upright, within limits of size.

Unlike artwork it is not turned into light here; what the camera's curve was is found out from the picture itself.
"""

from __future__ import annotations

import importlib
import struct
import warnings
import zlib
from io import BytesIO
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.errors import UnreadableFile

FORMATS = ("JPEG", "PNG", "TIFF", "WEBP")
IN_WORDS = "JPEG, PNG, TIFF and WebP, and HEIC where its decoder is installed"
LARGEST_px = 170_000_000  # below what Pillow itself takes for an attack
LARGEST_bytes = 200 * 1024 * 1024
LEAST_px = 100
KEPT_px = 50_000_000  # a larger one is averaged down by whole steps; no card needs more
FLAT_SHARE, FLAT_STEPS = 0.08, 0  # so many rows or columns of exactly one colour has a screen and no camera
GREY_SHARE, GREY_STEPS = 0.995, 1  # of the pixels without any colour: a sensor's noise alone gives more
INKS = {"CMYK": "printing inks (CMYK)", "YCCK": "printing inks (YCCK)", "LAB": "Lab colours", "HSV": "HSV colours"}
HEIC_BRANDS = (b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1")
PLAIN_MODES = ("RGB", "RGBA")
# what decoders raise on damaged files, beside their own errors, which are OSErrors
DAMAGE = (OSError, SyntaxError, ValueError, TypeError, LookupError, AttributeError, ArithmeticError, EOFError,
          RuntimeError, MemoryError, struct.error, zlib.error)  # fmt: skip


def open_photograph(path: Path, *, name: str) -> NDArray[np.uint8]:
    """Return a photograph as (rows, columns, 3) sRGB bytes, turned as its Exif says.

    A colour profile in the file, as Display P3, is followed.

    Raises
    ------
    UnreadableFile
        If the file is missing or may not be read.
    PhotographRefused
        If it is no picture, is damaged, absurdly large, or needs a decoder that is not installed.
    """
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(32)
    except FileNotFoundError as error:
        raise UnreadableFile(name, "is missing") from error
    except OSError as error:
        raise UnreadableFile(name, f"cannot be read: {error.strerror}") from error
    if size == 0:
        raise PhotographRefused(
            "no-picture", f"{name} is empty.", remedy="Copy the photograph from the phone once more."
        )
    if size > LARGEST_bytes:
        raise PhotographRefused(
            "too-large",
            f"{name} has {size // 1024 // 1024}\u00a0MiB; allowed are {LARGEST_bytes // 1024 // 1024}.",
            remedy="Send the photograph as JPEG.",
        )
    formats = FORMATS + _heic_formats(head, name=name)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of oddities in the file, and of sizes, for which our own limit stands
            with Image.open(path, formats=formats) as picture:
                _check_size(picture.size, name=name)
                _check_mode(picture, name=name)
                if picture.size[0] * picture.size[1] > KEPT_px:
                    picture.draft("RGB", (picture.size[0] // 2, picture.size[1] // 2))  # JPEG alone can do that
                picture.load()
                plain = _upright_srgb(picture)
    except PhotographRefused:
        raise
    except Image.DecompressionBombError as error:
        raise _too_large(f"more than {LARGEST_px // 1_000_000} million pixels", name=name) from error
    except UnidentifiedImageError as error:
        raise PhotographRefused(
            "no-picture",
            f"{name} is no picture that can be read; {IN_WORDS} can.",
            remedy="Send the photograph as the camera took it, as JPEG.",
        ) from error
    except DAMAGE as error:
        what = error.strerror if isinstance(error, OSError) and error.strerror else error
        raise PhotographRefused(
            "damaged",
            f"{name} is damaged or cut short: {what or type(error).__name__}.",
            remedy="Copy the photograph from the phone once more.",
        ) from error
    _check_camera(plain, name=name)
    return plain


def _heic_formats(head: bytes, *, name: str) -> tuple[str, ...]:
    """Return the format to add where a file is HEIC, with its decoder made known to Pillow."""
    if head[4:8] != b"ftyp" or head[8:12] not in HEIC_BRANDS:
        return ()
    for module, formats in (("pi_heif", "HEIF"), ("pillow_heif", "HEIF")):
        try:
            importlib.import_module(module).register_heif_opener()
        except (ImportError, AttributeError):
            continue
        return (formats,)
    raise PhotographRefused(
        "heic",
        f"{name} is a HEIC picture, and no decoder for it is installed.",
        remedy="Set the phone's camera to take JPEG (“most compatible”), or export the picture as JPEG; "
        "or install the package pi-heif.",
    )


def _check_size(size: tuple[int, int], *, name: str) -> None:
    if size[0] * size[1] > LARGEST_px:
        raise _too_large(f"{size[0]} × {size[1]}\u00a0pixels", name=name)


def _too_large(seen: str, *, name: str) -> PhotographRefused:
    return PhotographRefused(
        "too-large",
        f"{name} has {seen}; allowed are {LARGEST_px // 1_000_000} million in all.",
        remedy="Take the picture with the phone's ordinary resolution, 12 megapixels.",
    )


def _check_mode(picture: Image.Image, *, name: str) -> None:
    mode = picture.mode
    if mode in PLAIN_MODES:
        return
    if mode == "P":
        seen = "holds a table of at most 256 colours"
    elif mode in INKS:
        seen = f"holds {INKS[mode]}"
    elif mode in ("1", "L", "LA", "La", "I", "F") or mode.startswith("I;"):
        seen = "is grey, without colours"
    else:
        seen = f"holds pixels of the kind {mode}"
    raise _no_colours(f"{name} {seen}, not the red, green and blue of a camera.")


def _no_colours(seen: str) -> PhotographRefused:
    return PhotographRefused(
        "no-colours",
        seen,
        remedy="Send the photograph in colour, as the camera took it, as JPEG, without filters or conversion.",
    )


def _check_camera(plain: NDArray[np.uint8], *, name: str) -> None:
    """Refuse what no camera wrote: a picture without colours, or with bars of one flat colour."""
    if min(plain.shape[:2]) < LEAST_px:
        return  # the reader refuses it for its size
    small = plain[:: max(1, plain.shape[0] // 400), :: max(1, plain.shape[1] // 400)].astype(np.int16)
    if float((np.ptp(small, axis=2) <= GREY_STEPS).mean()) > GREY_SHARE:
        raise _no_colours(f"{name} is grey: red, green and blue are the same everywhere.")
    for axis, words in ((1, "rows"), (0, "columns")):
        thin = plain[:, ::5] if axis == 1 else plain[::5]
        reach = thin.max(axis=axis).astype(np.int16) - thin.min(axis=axis)
        share = float((reach.max(axis=1) <= FLAT_STEPS).mean())
        if share > FLAT_SHARE:
            raise PhotographRefused(
                "screenshot",
                f"{100.0 * share:.0f}\u00a0% of the {words} of {name} are of one flat colour, as on a screen; "
                "a camera's picture has none.",
                remedy="Send the photograph itself, as the camera took it, not a screenshot or a picture with a border.",
            )


def _upright_srgb(picture: Image.Image) -> NDArray[np.uint8]:
    turned = ImageOps.exif_transpose(picture)
    profile = picture.info.get("icc_profile")
    plain = turned.convert("RGB")
    step = 1
    while plain.size[0] * plain.size[1] > KEPT_px * step * step:
        step += 1
    if step > 1:
        plain = plain.reduce(step)
    if profile:
        plain = _in_srgb(plain, profile)
    return np.ascontiguousarray(np.asarray(plain, np.uint8))


def _in_srgb(picture: Image.Image, profile: bytes) -> Image.Image:
    """Return a picture in sRGB; one whose profile makes no sense counts as sRGB."""
    try:
        source = ImageCms.ImageCmsProfile(BytesIO(profile))
        made = ImageCms.profileToProfile(
            picture,
            source,
            ImageCms.createProfile("sRGB"),
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            outputMode="RGB",
        )
    except (ImageCms.PyCMSError, *DAMAGE):
        return picture
    return made if made is not None else picture
