"""A first look at a photograph somebody sent: is it one, by what is in it and not by its name, and how does it look small."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from io import BytesIO

from PIL import Image, ImageOps, UnidentifiedImageError

from evenburn.adapters.photographs.opening import DAMAGE, HEIC_BRANDS, LARGEST_px, LEAST_px
from evenburn.core.errors import UnreadableFile

KINDS = {"JPEG": ("image/jpeg", ".jpg"), "PNG": ("image/png", ".png"), "WEBP": ("image/webp", ".webp"),
         "TIFF": ("image/tiff", ".tif")}  # fmt: skip
SMALL_px = (352, 280)  # twice what a list shows, for sharp screens
QUALITY = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class Glanced:
    """What a photograph is: its kind as its bytes say, its size upright, and a small JPEG drawn anew from its pixels."""

    media_type: str
    ending: str
    size_px: tuple[int, int]
    small_jpeg: bytes


def glance_at(data: bytes, *, name: str) -> Glanced:
    """Return what a photograph is.

    Raises
    ------
    UnreadableFile
        If it is no picture that can be read, is damaged, or absurdly large.
    """
    if not data:
        raise UnreadableFile(name, "is empty", hint="Send it once more.")
    if data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS:
        raise UnreadableFile(
            name,
            "is a HEIC picture, which not every computer can read",
            hint="Set the phone’s camera to take JPEG (“most compatible”), or choose the picture as JPEG.",
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of oddities in the file, and of sizes, for which our own limit stands
            with Image.open(BytesIO(data), formats=tuple(KINDS)) as picture:
                return _glanced(picture, name=name)
    except UnreadableFile:
        raise
    except Image.DecompressionBombError as error:
        raise _too_large(f"more than {LARGEST_px // 1_000_000} million pixels", name=name) from error
    except UnidentifiedImageError as error:
        raise UnreadableFile(
            name,
            "is no photograph; allowed are JPEG, PNG, WebP and TIFF",
            hint="Send the photograph as the camera took it.",
        ) from error
    except DAMAGE as error:
        raise UnreadableFile(name, "is damaged or cut short", hint="Send it once more.") from error


def _glanced(picture: Image.Image, *, name: str) -> Glanced:
    media_type, ending = KINDS[str(picture.format)]
    if picture.size[0] * picture.size[1] > LARGEST_px:
        raise _too_large(f"{picture.size[0]} × {picture.size[1]}\u00a0pixels", name=name)
    if min(picture.size) < LEAST_px:
        raise UnreadableFile(
            name,
            f"has {picture.size[0]} × {picture.size[1]}\u00a0pixels; a photograph has at least {LEAST_px} each way",
            hint="Send the photograph itself, not its small preview.",
        )
    size = picture.size
    picture.draft("RGB", (2 * SMALL_px[0], 2 * SMALL_px[1]))  # a JPEG is then read to its end, but not drawn in full
    picture.load()
    picture.thumbnail((2 * SMALL_px[0], 2 * SMALL_px[1]), Image.Resampling.BOX)
    small = ImageOps.exif_transpose(picture)
    turned = (small.size[0] > small.size[1]) != (picture.size[0] > picture.size[1])
    small = small.convert("RGB")
    small.thumbnail(SMALL_px, Image.Resampling.LANCZOS)
    small.info.clear()  # comments and place of the file that was sent stay out of what pages show
    stage = BytesIO()
    small.save(stage, format="JPEG", quality=QUALITY)
    return Glanced(
        media_type=media_type,
        ending=ending,
        size_px=(size[1], size[0]) if turned else size,
        small_jpeg=stage.getvalue(),
    )


def _too_large(seen: str, *, name: str) -> UnreadableFile:
    return UnreadableFile(
        name,
        f"has {seen}; allowed are {LARGEST_px // 1_000_000} million in all",
        hint="Take the picture with the phone’s ordinary resolution, 12 megapixels.",
    )
