"""Reading a burn image back: how much ink, and how large a pixel is."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from evenburn.core.errors import UnreadableFile
from evenburn.core.units import MM_PER_INCH

LARGEST_px = 100_000_000
HINT = "It is written beside plan.json by `evenburn plan`; keep them together."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BurnImageRead:
    """Ink from 0 to 1, (rows, columns), row 0 at the upper edge, and what the picture measures. [mm]"""

    ink: NDArray[np.float32]
    size_mm: tuple[float, float]


def read_burn_image(path: Path, *, name: str) -> BurnImageRead:
    """Return a burn image: black burns.

    Raises
    ------
    UnreadableFile
        If it is missing, is no PNG, or does not say how large it is.
    """
    try:
        with Image.open(path, formats=("PNG",)) as picture:
            if picture.width * picture.height > LARGEST_px:
                raise UnreadableFile(name, f"has more than {LARGEST_px // 1_000_000} million pixels", hint=HINT)
            dpi = picture.info.get("dpi")
            grey = np.asarray(picture.convert("L"), np.float32)
    except FileNotFoundError as error:
        raise UnreadableFile(name, "is missing", hint=HINT) from error
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        raise UnreadableFile(name, "is not a PNG picture that can be read", hint=HINT) from error
    if dpi is None or min(dpi) <= 0.0:
        raise UnreadableFile(name, "does not say how large its pixels are", hint=HINT)
    rows, columns = grey.shape
    return BurnImageRead(
        ink=np.asarray(1.0 - grey / 255.0, np.float32),
        size_mm=(columns * MM_PER_INCH / float(dpi[0]), rows * MM_PER_INCH / float(dpi[1])),
    )
