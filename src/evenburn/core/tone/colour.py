"""sRGB, luminance and CIE L*a*b* under D65."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# D65 white for the 2° observer, x 0.3127 y 0.3290, scaled to Y = 1 [iec61966-2-1]
WHITE_XYZ = np.array([0.3127 / 0.3290, 1.0, (1.0 - 0.3127 - 0.3290) / 0.3290])
# linear sRGB to XYZ, rows X Y Z [iec61966-2-1]
SRGB_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
LUMINANCE = SRGB_TO_XYZ[1]  # weights of linear red, green and blue in luminance
XYZ_TO_SRGB = np.linalg.inv(SRGB_TO_XYZ)
CUBE_LIMIT = 216.0 / 24389.0
CUBE_SLOPE = 24389.0 / 27.0


def srgb_decode(value: ArrayLike) -> FloatArray:
    """Return linear light 0–1 of sRGB values 0–1.

    Source
    ------
    [iec61966-2-1], with the limit 0.04045.
    """
    v = np.asarray(value, dtype=np.float64)
    return np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0.0) + 0.055) / 1.055) ** 2.4)


def srgb_encode(linear: ArrayLike) -> FloatArray:
    """Return sRGB values 0–1 of linear light 0–1.

    Source
    ------
    [iec61966-2-1], with the limit 0.0031308.
    """
    c = np.asarray(linear, dtype=np.float64)
    return np.where(c <= 0.0031308, 12.92 * c, 1.055 * np.maximum(c, 0.0) ** (1.0 / 2.4) - 0.055)


def lightness_L(luminance: ArrayLike) -> FloatArray:
    """Return CIE L* of a luminance Y/Yn, 0–1. [L*]

    Source
    ------
    [cie15], 8.2.1.
    """
    t = np.asarray(luminance, dtype=np.float64)
    return np.where(t > CUBE_LIMIT, 116.0 * np.cbrt(t) - 16.0, CUBE_SLOPE * t)


def luminance(lightness: ArrayLike) -> FloatArray:
    """Return the luminance Y/Yn, 0–1, of CIE L*.

    Source
    ------
    [cie15], 8.2.1 inverted.
    """
    level = np.asarray(lightness, dtype=np.float64)
    return np.where(level > 8.0, ((level + 16.0) / 116.0) ** 3, level / CUBE_SLOPE)


def srgb_from_lab(lab: ArrayLike) -> FloatArray:
    """Return sRGB 0–1, shape (..., 3), of CIE L*a*b* under D65; colours outside sRGB are cut to it.

    Source
    ------
    [cie15], 8.2.1 and [iec61966-2-1].
    """
    values = np.asarray(lab, dtype=np.float64)
    fy = (values[..., 0] + 16.0) / 116.0
    f = np.stack([fy + values[..., 1] / 500.0, fy, fy - values[..., 2] / 200.0], axis=-1)
    t = np.where(f > 6.0 / 29.0, f**3, (116.0 * f - 16.0) / CUBE_SLOPE)
    return np.clip(srgb_encode((t * WHITE_XYZ) @ XYZ_TO_SRGB.T), 0.0, 1.0)


def lab_from_srgb(rgb: ArrayLike) -> FloatArray:
    """Return CIE L*a*b* under D65, shape (..., 3), of sRGB 0–1.

    Source
    ------
    [cie15], 8.2.1 and [iec61966-2-1].
    """
    t = (srgb_decode(rgb) @ SRGB_TO_XYZ.T) / WHITE_XYZ
    f = np.where(t > CUBE_LIMIT, np.cbrt(t), (CUBE_SLOPE * t + 16.0) / 116.0)
    return np.stack(
        [116.0 * f[..., 1] - 16.0, 500.0 * (f[..., 0] - f[..., 1]), 200.0 * (f[..., 1] - f[..., 2])], axis=-1
    )
