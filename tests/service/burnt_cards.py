"""Readings for tests of `fit`: cards as evenburn designs them, burnt on a curve that is known, and read with known errors."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from evenburn.adapters.formats.card_json import read_card
from evenburn.adapters.formats.json_file import write_json
from evenburn.adapters.formats.reading_json import photograph_entry, reading_document
from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.core.nouns.card import Card, PatchReading, Reading
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.optics.lines import dwell_ms, mean_dose_J_per_mm2
from evenburn.core.response.curve import effective_exposure, tone_L

HERE = Path(__file__).parent
TRUTH = replace(
    shipped_wood("hard-maple").curve, bare_L=79.0, full_L=30.0, x_mid=-0.10, steepness_per_decade=9.5, kappa=0.08
)


@cache
def card(folder: Path) -> Card:
    return read_card(folder / "card.json", name="card.json")


def true_tones_L(truth: CharacteristicCurve, read: Card) -> np.ndarray:
    patches = read.patches
    exposure = effective_exposure(
        truth,
        dose_J_per_mm2=mean_dose_J_per_mm2(
            power_W=np.array([p.power_W for p in patches]),
            speed_mm_per_s=np.array([p.speed_mm_per_s for p in patches]),
            line_spacing_mm=np.array([p.line_spacing_mm for p in patches]),
            passes=np.array([p.passes for p in patches]),
        ),
        dwell_ms=dwell_ms(
            beam_radius_mm=read.beam_radius_mm, speed_mm_per_s=np.array([p.speed_mm_per_s for p in patches])
        ),
        passes=np.array([p.passes for p in patches]),
    )
    return tone_L(truth, exposure)


def reading_of(
    read: Card,
    truth: CharacteristicCurve = TRUTH,
    *,
    seed: int = 1,
    noise_L: float = 0.6,
    offset_L: float = 0.0,
    flags: dict[str, tuple[str, ...]] | None = None,
    **changes: Any,
) -> Reading:
    """Return a card's reading: true tones, noise of its own on each, one offset on all."""
    generator = np.random.default_rng(seed)
    tones = true_tones_L(truth, read) + offset_L + noise_L * generator.normal(size=len(read.patches))
    patches = tuple(
        PatchReading(
            patch=p,
            tone_L=float(t),
            tone_L_sd=1.2,
            own_L_sd=0.5,
            spread_L=0.8,
            pixels=9000,
            flags=(flags or {}).get(p.id, ()),
        )
        for p, t in zip(read.patches, tones, strict=True)
    )
    settings: dict[str, Any] = {
        "bare_wood_L": truth.bare_L + offset_L,
        "bare_wood_L_sd": 1.1,
        "paper_L": 94.0,
        "print_scale_error": 0.001,
        "offset_L_sd": 1.0,
        "gain_sd": 0.01,
        "photographs": 1,
    }
    return Reading(card=read, patches=patches, **{**settings, **changes})


def write_reading(path: Path, reading: Reading) -> Path:
    write_json(path, reading_document(reading, photographs=[photograph_entry("photo.jpg")]))
    return path
