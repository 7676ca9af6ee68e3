"""From readings of cards to what a fit wants: doses, dwells and tones, which patches are left out, and what they share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.card import SET_ASIDE, PatchReading, Reading
from evenburn.core.optics.lines import dwell_ms, effective_passes, mean_dose_J_per_mm2
from evenburn.core.response.fitting import Observed

FloatArray = NDArray[np.float64]

LEAST_SD_L = 0.05  # no patch is read better than this, whatever its file says


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gathered:
    """Patches of one or more readings, ready for a fit.

    Attributes
    ----------
    observed : the patches that count.
    patches, reading_of : (N,) the same in the same order, and which reading each is from.
    left_out : patches that were set aside with the flags that did it, and which reading each is from.
    bare_L, bare_L_sd, bare_shared_L : the untouched wood, all readings together, and what the shared errors do to it. [L*]
    radii_mm : of the beam of each reading.
    readings : what was gathered.
    """

    observed: Observed
    patches: tuple[PatchReading, ...]
    reading_of: NDArray[np.intp]
    left_out: tuple[tuple[int, PatchReading, tuple[str, ...]], ...]
    bare_L: float
    bare_L_sd: float
    bare_shared_L: FloatArray
    radii_mm: tuple[float, ...]
    readings: tuple[Reading, ...]

    def shared_at(self, tones_L: FloatArray) -> Observed:
        """Return the patches with what they share reckoned at other tones than those read, (N,).

        At the tones read, a stretch would shrink their scatter as well, and a fit would take it for that.

        Source
        ------
        Definition.
        """
        shared = [_shared(r, tones_L, inside=self.reading_of == n) for n, r in enumerate(self.readings)]
        return replace(self.observed, shared_L=np.column_stack(shared))

    def own_sd_L(self) -> float:
        """Return the standard deviation that reading leaves of one patch, root mean square. [L*] Definition."""
        return float(np.sqrt(np.mean(np.square(self.observed.tone_L_sd))))


def gather(readings: Sequence[Reading]) -> Gathered:
    """Return the patches of readings that count, and what those of one reading have in common.

    Each reading brings two shared errors: its offset, and its stretch about its pivot. Cards of several focus offsets go
    together, for each brings its own beam radius and so its own dwell.

    Raises
    ------
    InvalidInput
        If there is no reading, or they are not all of one wood under one lens of one machine.

    Source
    ------
    Definition; `core.card.flagging` says which flags set a patch aside.
    """
    _of_one_kind(readings)
    kept: list[PatchReading] = []
    owner: list[int] = []
    radii: list[float] = []
    left_out: list[tuple[int, PatchReading, tuple[str, ...]]] = []
    for number, reading in enumerate(readings):
        for patch in reading.patches:
            why = tuple(f for f in patch.flags if f in SET_ASIDE)
            if why:
                left_out.append((number, patch, why))
                continue
            kept.append(patch)
            owner.append(number)
            radii.append(reading.card.beam_radius_mm)
    of = np.array(owner, dtype=np.intp)
    tone = np.array([p.tone_L for p in kept])
    observed = Observed(
        log10_dose=np.log10(
            mean_dose_J_per_mm2(
                power_W=np.array([p.patch.power_W for p in kept]),
                speed_mm_per_s=np.array([p.patch.speed_mm_per_s for p in kept]),
                line_spacing_mm=np.array([p.patch.line_spacing_mm for p in kept]),
                passes=np.array([float(p.patch.passes) for p in kept]),
            )
        ),
        dwell_ms=dwell_ms(
            beam_radius_mm=np.array(radii), speed_mm_per_s=np.array([p.patch.speed_mm_per_s for p in kept])
        ),
        passes=effective_passes(
            passes=np.array([float(p.patch.passes) for p in kept]),
            beam_radius_mm=np.array(radii),
            line_spacing_mm=np.array([p.patch.line_spacing_mm for p in kept]),
        ),
        tone_L=tone,
        tone_L_sd=np.maximum(np.array([p.own_L_sd or p.tone_L_sd for p in kept]), LEAST_SD_L),
        shared_L=np.column_stack([_shared(r, tone, inside=of == n) for n, r in enumerate(readings)]),
    )
    bare_L, bare_L_sd, bare_shared_L = _bare(readings)
    return Gathered(
        observed=observed,
        patches=tuple(kept),
        reading_of=of,
        left_out=tuple(left_out),
        bare_L=bare_L,
        bare_L_sd=bare_L_sd,
        bare_shared_L=bare_shared_L,
        radii_mm=tuple(r.card.beam_radius_mm for r in readings),
        readings=tuple(readings),
    )


def _shared(reading: Reading, tone: FloatArray, *, inside: NDArray[np.bool_]) -> FloatArray:
    """Return what a reading's offset and stretch, each by one standard deviation, do to tones; 0 outside of it."""
    both = np.column_stack((np.full(tone.size, reading.offset_L_sd), reading.gain_sd * (tone - reading.pivot_L)))
    return np.asarray(np.where(inside[:, None], both, 0.0), dtype=np.float64)


def _bare(readings: Sequence[Reading]) -> tuple[float, float, FloatArray]:
    """Return the bare tone meant over readings, what is its own of the doubt, and what the shared errors do to it."""
    count = len(readings)
    values = np.array([r.bare_wood_L for r in readings])
    shared = np.array([[r.offset_L_sd, r.gain_sd * (r.bare_wood_L - r.pivot_L)] for r in readings]) / count
    whole = np.array([r.bare_wood_L_sd for r in readings])
    own = np.sqrt(np.maximum(np.square(whole) - np.square(count * shared).sum(axis=1), (0.3 * whole) ** 2))
    return float(values.mean()), max(LEAST_SD_L, float(np.sqrt(np.square(own).sum()) / count)), shared.ravel()


def _of_one_kind(readings: Sequence[Reading]) -> None:
    fields: dict[str, str] = {}
    if not readings:
        raise InvalidInput({"READING": "none is given"})
    for name, what in (("wood_id", "wood"), ("lens_name", "lens"), ("machine_name", "machine")):
        found = sorted({str(getattr(r.card, name)) for r in readings})
        if len(found) > 1:
            fields[what] = f"the readings are of more than one: {', '.join(found)}"
    if fields:
        raise InvalidInput(fields, hint="Fit readings of each by themselves.")
    for reading in readings:
        if reading.card.kind not in ("wood", "strip"):
            raise InvalidInput(
                {"READING": f"a {reading.card.kind} card tells nothing of the wood's tones"},
                hint="Burn a wood card: evenburn card wood --help.",
            )
