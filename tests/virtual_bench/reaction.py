"""Compiled inner loops: what a line of the beam does to a tile of wood, and what the tile looks like then."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from virtual_bench.colour import BANDS_nm, L_of, eye_y
from virtual_bench.woods import GAS_J_PER_mol_K, Wood

FloatArray = NDArray[np.float64]
Float32 = NDArray[np.float32]
STEP_K = 4.0
ROOM_K = 293.0


@dataclass(slots=True, kw_only=True)
class Tile:
    """State of a piece of the surface, row 0 the lowest y; all in float32."""

    brown: Float32  # converted energy, J/mm²
    char: Float32  # the same, times yield
    ash: Float32
    water: Float32  # still to go, J/mm²
    dose: Float32  # J/mm²
    dwell: Float32  # dose times dwell, J s/mm²
    absorbed: Float32  # share of the beam
    grain: Float32  # absorption of light by the bare wood, over its mean

    @classmethod
    def bare(cls, absorbed: Float32, grain: Float32, water_J_per_mm2: float) -> Tile:
        """A surface that no beam has touched."""
        zero = [np.zeros(absorbed.shape, np.float32) for _ in range(5)]
        water = np.full(absorbed.shape, water_J_per_mm2, np.float32)
        return cls(
            brown=zero[0], char=zero[1], ash=zero[2], water=water, dose=zero[3], dwell=zero[4],
            absorbed=absorbed, grain=grain,
        )  # fmt: skip

    def state(self, *, turned: bool = False) -> tuple[Float32, ...]:
        """The arrays as the compiled loop wants them; turned for a line that runs along y."""
        arrays = (self.brown, self.char, self.ash, self.water, self.dose, self.dwell, self.absorbed)
        return tuple(a.T for a in arrays) if turned else arrays


def rates_of(wood: Wood) -> Float32:
    """(3, K / 4): rates of browning and charring [1/s], and char yield over that at 1000 K, by temperature rise."""
    t: FloatArray = np.asarray(ROOM_K + STEP_K * np.arange(1200), np.float64)

    def rate(per_s: float, J_per_mol: float) -> FloatArray:
        return np.asarray(per_s * np.exp(-J_per_mol / (GAS_J_PER_mol_K * t)))

    def share(kelvin: FloatArray) -> FloatArray:
        rt = GAS_J_PER_mol_K * kelvin
        char, tar, gas = 1.08e7 * np.exp(-121e3 / rt), 2.0e8 * np.exp(-133e3 / rt), 1.3e8 * np.exp(-140e3 / rt)
        return np.asarray(char / (char + tar + gas))

    yield_ = np.ones_like(t) if wood.stone else share(t) / share(np.array([1000.0]))[0]
    return np.array(
        [rate(wood.brown_per_s, wood.brown_J_per_mol), rate(wood.char_per_s, wood.char_J_per_mol), yield_],
        dtype=np.float32,
    )


def law_of(wood: Wood) -> Float32:
    """The wood's constants in the order in which the compiled loop counts them."""
    return np.array(
        [
            wood.plume_W_per_mm2,
            max(1e-6, 0.5 * wood.water_J_per_mm2),
            wood.vapour_K,
            wood.ripe_J_per_mm2,
            wood.shield,
            wood.ash_at,
            wood.ash_share,
        ],
        dtype=np.float32,
    )


@numba.njit(cache=True, fastmath=True, nogil=True, inline="always")
def _pulse(brown, char, ash, water, q, tau, heat, linger, law, rates):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202, PLR0917
    """One pulse on one place: q J/mm² arriving in tau s, `heat` J/mm² per kelvin, `linger` s near the top temperature."""
    q *= 1.0 / (1.0 + np.sqrt(q / (0.63 * tau * law[0])))
    gone = min(water * q / (q + law[1]), 0.8 * q)
    water -= gone
    q -= gone
    rise = q / heat
    rise = rise / (1.0 + rise / law[2])
    at = rise / STEP_K
    i = int(at)
    part = at - i
    kb = (rates[0, i] + part * (rates[0, i + 1] - rates[0, i])) * linger
    kc = (rates[1, i] + part * (rates[1, i + 1] - rates[1, i])) * linger
    brown += q * kb / (1.0 + kb)
    charring = q * kc / (1.0 + kc)
    share = char * char
    ash += charring * law[6] * share / (share + law[5] * law[5])
    browned = brown * brown
    char += charring * rates[2, i] * browned / (browned + law[3] * law[3]) / (1.0 + char / law[4])
    return brown, char, ash, water


@numba.njit(cache=True, fastmath=True, nogil=True)
def burn_line(  # type: ignore[no-untyped-def]  # noqa: PLR0917
    brown, char, ash, water, dose, dwell, absorbed,  # noqa: ANN001
    first_row, last_row, first_column, middle_mm, pixel_mm,  # noqa: ANN001
    core, tail, across_mm, tail_width, tau, heat, linger, law, rates,  # noqa: ANN001
):  # fmt: skip
    """One line along a row. `core`, `tail`: J/mm at each column, spread along already; `across_mm`: 1/e² radius there."""
    norm = np.sqrt(2.0 / np.pi)
    for r in range(first_row, last_row):
        dy = (r + 0.5) * pixel_mm - middle_mm
        for k in range(core.size):
            if core[k] + tail[k] <= 1e-7:
                continue
            w = across_mm[k]
            s = dy / w
            if abs(s) > 2.7:
                continue
            st = s / tail_width
            f = norm / w * (core[k] * np.exp(-2.0 * s * s) + tail[k] / tail_width * np.exp(-2.0 * st * st))
            c = first_column + k
            dose[r, c] += f
            dwell[r, c] += f * tau[k]
            brown[r, c], char[r, c], ash[r, c], water[r, c] = _pulse(
                brown[r, c],
                char[r, c],
                ash[r, c],
                water[r, c],
                f * absorbed[r, c],
                tau[k],
                heat[k],
                linger[k],
                law,
                rates,
            )


@numba.njit(cache=True, fastmath=True, nogil=True)
def burn_map(  # type: ignore[no-untyped-def]  # noqa: PLR0917
    brown, char, ash, water, dose, dwell, absorbed,  # noqa: ANN001
    first_row, first_column, fluence, tau, heat, linger, law, rates,  # noqa: ANN001
):  # fmt: skip
    """A piece of a path that follows no axis, its fluence laid out as a small map."""
    for r in range(fluence.shape[0]):
        for k in range(fluence.shape[1]):
            f = fluence[r, k]
            if f <= 1e-4:
                continue
            y, c = first_row + r, first_column + k
            dose[y, c] += f
            dwell[y, c] += f * tau
            brown[y, c], char[y, c], ash[y, c], water[y, c] = _pulse(
                brown[y, c], char[y, c], ash[y, c], water[y, c], f * absorbed[y, c], tau, heat, linger, law, rates
            )


@numba.njit(cache=True, fastmath=True, nogil=True)
def _seen(brown, char, ash, grain, bare, brown_ks, char_ks, ash_r, optics, fold, out):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202, PLR0917
    """Reflectance in each band, averaged over `fold` by `fold` pixels."""
    rows, columns, bands = out.shape
    for i in range(rows):
        for j in range(columns):
            for b in range(bands):
                out[i, j, b] = 0.0
            for r in range(i * fold, (i + 1) * fold):
                for c in range(j * fold, (j + 1) * fold):
                    made = 0.0
                    if brown[r, c] > 0.0:
                        made = 1.0 - np.exp(-((brown[r, c] / optics[0]) ** optics[3]))
                    covered = ash[r, c] / (ash[r, c] + 1.0)
                    for b in range(bands):
                        if optics[2] > 0.5:  # stone: frost scatters, glass absorbs
                            ks = bare[b] * grain[r, c] / (1.0 + brown_ks[b] * made) + char_ks[b] * char[r, c]
                        else:
                            ks = bare[b] * grain[r, c] + brown_ks[b] * made + char_ks[b] * char[r, c]
                        deep = 1.0 + ks - np.sqrt(ks * (ks + 2.0))
                        whole = deep + (ash_r[b] - deep) * covered
                        out[i, j, b] += optics[1] + (1.0 - optics[1]) * whole
            for b in range(bands):
                out[i, j, b] /= fold * fold


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What a wood looks like: Kubelka and Munk's K/S of what it holds, band by band."""

    bare: Float32
    brown: Float32
    char: Float32
    ash: Float32
    optics: Float32

    def bands(self, tile: Tile, *, fold: int) -> Float32:
        """(rows / fold, columns / fold, 6) mean reflectance."""
        rows, columns = tile.brown.shape
        out = np.empty((rows // fold, columns // fold, BANDS_nm.size), np.float32)
        _seen(
            tile.brown, tile.char, tile.ash, tile.grain, self.bare, self.brown, self.char, self.ash, self.optics, fold, out
        )  # fmt: skip
        return out


def look_of(wood: Wood, *, bare_L: float) -> Look:
    """The look of a board of a wood whose bare tone is known."""
    shape = np.exp(-(BANDS_nm - 560.0) / wood.warmth_nm)
    low, high = 1e-4, 60.0
    for _ in range(70):
        ks = np.sqrt(low * high)
        bands = wood.gloss + (1.0 - wood.gloss) * (1.0 + ks * shape - np.sqrt(ks * shape * (ks * shape + 2.0)))
        low, high = (ks, high) if float(L_of(float(bands @ eye_y()))) > bare_L else (low, ks)
    if wood.stone:
        brown = np.full(BANDS_nm.size, wood.brown_darkness)
    else:
        brown = wood.brown_darkness * np.exp(-(BANDS_nm - 560.0) / wood.brown_nm)
    char = wood.char_darkness * np.exp(-(BANDS_nm - 560.0) / 420.0)
    ash = float((wood.ash_L + 16.0) / 116.0) ** 3 * (1.0 + 0.1 * (BANDS_nm - 560.0) / 120.0)
    optics: list[float] = [wood.brown_J_per_mm2, wood.gloss, float(wood.stone), wood.brown_order]
    as32: list[Any] = [np.asarray(a, np.float32) for a in (ks * shape, brown, char, ash, optics)]
    return Look(bare=as32[0], brown=as32[1], char=as32[2], ash=as32[3], optics=as32[4])
