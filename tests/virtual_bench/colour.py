"""Six bands of light, and what an eye or a camera makes of them. Shares nothing with the code it is used to judge.

Eye: CIE 1931 observer in the multi-lobe fit of Wyman, Sloan and Shirley (2013), and D65, both from memory; each channel is
scaled so that a white of reflectance 1 is exactly 1. Camera: three Gaussian filters and a 3 x 3 matrix.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Float32 = NDArray[np.float32]
BANDS_nm = np.array([430.0, 480.0, 530.0, 580.0, 630.0, 680.0])
_FINE_nm = np.arange(400.0, 711.0, 2.0)
_D65 = np.interp(  # relative, every 20 nm
    _FINE_nm,
    np.arange(400.0, 721.0, 20.0),
    [82.8, 93.4, 104.9, 117.8, 115.9, 109.4, 104.8, 104.4, 100.0, 95.8, 90.0, 87.7, 83.7, 80.2, 78.3, 71.6, 61.6],
)
_XYZ_TO_RGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


def _lobe(middle_nm: float, below_nm: float, above_nm: float) -> FloatArray:
    width = np.where(_FINE_nm < middle_nm, below_nm, above_nm)
    return np.asarray(np.exp(-0.5 * ((_FINE_nm - middle_nm) / width) ** 2))


def _into_bands(sensitivity: FloatArray) -> FloatArray:
    """Share of each band in a channel, where reflectance runs straight between the middles of the bands."""
    hats = np.array([np.interp(_FINE_nm, BANDS_nm, row) for row in np.eye(BANDS_nm.size)])
    return np.asarray(hats @ sensitivity)


@cache
def eye_rgb() -> FloatArray:
    """(3, 6): linear sRGB of a reflectance under D65."""
    x = 1.056 * _lobe(599.8, 37.9, 31.0) + 0.362 * _lobe(442.0, 16.0, 26.7) - 0.065 * _lobe(501.1, 20.4, 26.2)
    y = 0.821 * _lobe(568.8, 46.9, 40.5) + 0.286 * _lobe(530.9, 16.3, 31.1)
    z = 1.217 * _lobe(437.0, 11.8, 36.0) + 0.681 * _lobe(459.0, 26.0, 13.8)
    xyz = np.array([_into_bands(c * _D65) for c in (x, y, z)])
    rgb = _XYZ_TO_RGB @ (xyz / xyz[1].sum())
    return np.asarray(rgb / rgb.sum(axis=1, keepdims=True))


@cache
def eye_y() -> FloatArray:
    """(6,): luminance of a reflectance, white being 1."""
    return np.asarray(LUMINANCE @ eye_rgb())


def light_of_K(temperature_K: float) -> FloatArray:
    """(6,): a black body's light in each band, 1 at 560 nm."""
    nm = np.append(BANDS_nm, 560.0)
    power = nm**-5.0 / np.expm1(1.4388e7 / (nm * temperature_K))
    return np.asarray(power[:-1] / power[-1])


def camera_rgb(
    light: FloatArray, *, believed: FloatArray | None = None, green_nm: float = 532.0, red_nm: float = 602.0
) -> FloatArray:
    """(3, 6): what a camera makes of a reflectance under a light, perfectly balanced for white.

    Its matrix is the best one for greys, saturated and brown colours under the light that the camera takes it for.
    """
    filters = np.array([_lobe(red_nm, 32.0, 38.0), _lobe(green_nm, 36.0, 40.0), _lobe(462.0, 26.0, 24.0)])

    def raw(illuminant: FloatArray) -> FloatArray:
        bands = np.array([_into_bands(f * illuminant) for f in filters])
        return np.asarray(bands / bands.sum(axis=1, keepdims=True))

    spectrum = np.interp(_FINE_nm, BANDS_nm, light)
    day = raw(spectrum if believed is None else np.interp(_FINE_nm, BANDS_nm, believed))
    slope = np.linspace(-1.0, 1.0, BANDS_nm.size)
    samples = [np.full(6, 0.9), np.full(6, 0.3)]
    samples += [0.45 + 0.4 * np.sin(2.0 * slope + phase) for phase in (0.0, 1.5, 3.0, 4.5)]
    samples += [0.4 + 0.3 * slope, 0.2 + 0.15 * slope]
    known = np.array(samples)
    matrix = np.linalg.lstsq(known @ day.T, known @ eye_rgb().T, rcond=None)[0].T
    matrix /= matrix.sum(axis=1, keepdims=True)  # greys stay grey
    return np.asarray(matrix @ raw(spectrum))


def L_of(luminance: float | FloatArray | Float32) -> FloatArray:
    """CIE L* of a luminance, white being 1."""
    y = np.asarray(luminance, dtype=np.float64)
    return np.asarray(np.where(y > (6.0 / 29.0) ** 3, 116.0 * np.cbrt(y) - 16.0, (29.0 / 3.0) ** 3 * y))


def luminance_of(tone_L: float | FloatArray) -> FloatArray:
    """Luminance of an L*, white being 1."""
    tone = np.asarray(tone_L, dtype=np.float64)
    return np.asarray(np.where(tone > 8.0, ((tone + 16.0) / 116.0) ** 3, tone * (3.0 / 29.0) ** 3))


def srgb_coded(linear: FloatArray | Float32) -> FloatArray:
    """IEC 61966-2-1: linear light to code, both 0 to 1."""
    v: FloatArray = np.clip(np.asarray(linear, np.float64), 0.0, 1.0)
    return np.asarray(np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1.0 / 2.4) - 0.055))


def srgb_linear(code: FloatArray) -> FloatArray:
    """IEC 61966-2-1: code to linear light."""
    c = np.clip(code, 0.0, 1.0)
    return np.asarray(np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4))
