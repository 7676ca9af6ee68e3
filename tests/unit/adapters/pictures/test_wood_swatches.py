"""Small pictures of a wood, and its tones as colours."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from evenburn.adapters.formats.wood_toml import shipped_ids, shipped_wood
from evenburn.adapters.pictures.wood_swatches import evenness_jpeg, shades_jpeg, tone_colours
from evenburn.core.proof.look import wood_colours
from evenburn.core.tone.colour import lab_from_srgb

JPEG_L = 2.5  # JPEG at quality 92 and the grain's mean over a field


@pytest.mark.parametrize("wood_id", shipped_ids())
def test_tones_have_the_colours_of_the_proof(wood_id: str) -> None:
    wood = shipped_wood(wood_id)
    tones = tuple(float(t) for t in np.arange(12.0, 90.0, 3.5))
    there = np.array([tones], np.float32)
    proof = wood_colours(wood, there, grain=np.zeros_like(there))[0].astype(int)
    ours = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in tone_colours(wood, tones)])
    assert np.abs(ours - proof).max() <= 2  # the proof's table has 100 steps on the way and eighths of an L*


def lightness(jpeg: bytes) -> np.ndarray:
    return np.asarray(lab_from_srgb(np.asarray(Image.open(io.BytesIO(jpeg)), np.float64) / 255.0))[..., 0]


def test_each_shade_is_as_light_as_it_says() -> None:
    wood = shipped_wood("hard-maple")
    even = replace(wood, curve=replace(wood.curve, evenness_L=0.5))
    seen = lightness(shades_jpeg(even, (75.0, 55.0, 35.0), size_px=(300, 40)))
    assert seen.shape == (40, 300)
    for n, tone in enumerate((75.0, 55.0, 35.0)):
        assert seen[:, 100 * n + 10 : 100 * n + 90].mean() == pytest.approx(tone, abs=JPEG_L)


def test_a_solid_mark_lies_on_bare_wood_and_is_as_blotchy_as_the_wood() -> None:
    wood = shipped_wood("oak")
    seen = lightness(evenness_jpeg(wood, 40.0, size_px=(600, 88), edge_px=18))
    assert seen[:, :12].mean() == pytest.approx(wood.curve.bare_L, abs=2.0 * wood.curve.evenness_L)  # a narrow edge
    mark = seen[:, 40:560]
    assert mark.mean() == pytest.approx(40.0, abs=wood.curve.evenness_L)
    assert 0.3 * wood.curve.evenness_L < mark.std() < 2.0 * wood.curve.evenness_L  # of 60 mm of a board
