"""Pictures of the zoomable proof as PNG: written fast rather than small, since they travel inside one computer."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

QUICK = (cv2.IMWRITE_PNG_COMPRESSION, 1)


def tile_png(colours: NDArray[np.uint8]) -> bytes:
    """Return a picture, (rows, columns, 3) sRGB, as PNG."""
    kept, data = cv2.imencode(".png", np.ascontiguousarray(colours[:, :, ::-1]), QUICK)
    assert kept  # noqa: S101  # three bytes a pixel can always be written
    return data.tobytes()
