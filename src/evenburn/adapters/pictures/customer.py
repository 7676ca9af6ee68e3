"""Pictures for a customer: the board on white paper, and the printed sheet as a picture to send."""

from __future__ import annotations

import io

import numpy as np
import pypdfium2
from numpy.typing import NDArray
from PIL import Image

QUALITY = 92
PIXELS_PER_INCH = 150


def board_jpeg(colours: NDArray[np.uint8]) -> bytes:
    """Return a picture, (rows, columns, 3) sRGB, as JPEG: small enough for a sheet that is sent by mail."""
    stage = io.BytesIO()
    Image.fromarray(colours).save(stage, format="JPEG", quality=QUALITY, subsampling=0)
    return stage.getvalue()


def sheet_png(pdf: bytes) -> bytes:
    """Return the first page of a PDF as PNG at 150 pixels to the inch."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        picture = document[0].render(scale=PIXELS_PER_INCH / 72.0).to_pil()
    finally:
        document.close()
    stage = io.BytesIO()
    picture.convert("RGB").save(stage, format="PNG", dpi=(PIXELS_PER_INCH, PIXELS_PER_INCH))
    return stage.getvalue()
