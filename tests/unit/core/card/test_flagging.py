"""Doubts about single patches: what is flagged, what is not, and how they are listed."""

from __future__ import annotations

import numpy as np
import pytest

from evenburn.core.card.flagging import Evidence, NEAR_mm, check_flags, evidence, grown, in_runs
from evenburn.core.card.patches import Measured
from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.nouns.card import GLARE, SHADOW
from unit.core.card.photographed import card_of

HUE = np.array([1.25, 0.97, 0.62])  # of wood, linear, about its luminance
HUE = HUE / float(HUE @ [0.2126, 0.7152, 0.0722])
PLACES = np.array([(8.0 * column, 8.0 * row) for row in range(6) for column in range(10)])


def seen(added: np.ndarray | None = None, *, kept: np.ndarray | None = None, seed: int = 1) -> Evidence:
    """Evidence on 60 patches of one wood, tones mixed, each with a hue of its own; white is added or light taken away."""
    rng = np.random.default_rng(seed)
    more = np.zeros(60) if added is None else added
    left = np.ones(60) if kept is None else kept
    light = rng.permutation(np.geomspace(0.06, 0.45, 60))
    hue = HUE[None, :] ** (1.0 + rng.normal(0.0, 0.02, (60, 1)))
    reflectances = (light[:, None] * hue + more[:, None]) * left[:, None]
    blocks = reflectances[:, None, :] * (1.0 + rng.normal(0.0, 0.005, (60, 9, 1)))
    gap = (0.55 * HUE[None, :] * (1.0 + rng.normal(0.0, 0.02, (60, 1))) + more[:, None]) * left[:, None]
    measured = Measured(
        places_mm=PLACES,
        shares=np.zeros((60, 3, 256)),
        pixels=np.full(60, 4000),
        spread_L=np.full(60, 1.0),
        blocks=blocks,
        gap=gap,
        clipped=np.zeros(60),
    )
    return evidence(
        measured,
        reflectances=reflectances,
        wood_reflectances=np.zeros((0, 3)),
        wood_places_mm=np.zeros((0, 2)),
        paper_reflectance=1.0,
    )


@pytest.mark.parametrize("seed", range(8))
def test_an_untouched_card_is_not_doubted(seed: int) -> None:
    found = seen(seed=seed)
    assert not grown(found.glare, PLACES).any()
    assert not grown(found.shadow, PLACES).any()


@pytest.mark.parametrize("seed", range(4))
def test_white_light_on_patches_is_glare(seed: int) -> None:
    """Worked by hand: 0.03 of white more on a patch of Y 0.10 is L* 37.8 read as 42.6, by CIE L*."""
    middle = np.array([36.0, 20.0])
    added = 0.05 * np.exp(-0.5 * np.square(np.linalg.norm(PLACES - middle, axis=1) / 9.0))

    touched = grown(seen(added, seed=seed).glare, PLACES)

    assert touched[added > 0.03].all()
    assert not touched[np.linalg.norm(PLACES - middle, axis=1) > 40.0].any()


def test_light_taken_away_is_shadow() -> None:
    kept = np.where(PLACES[:, 0] > 60.0, 0.8, 1.0)
    touched = grown(seen(kept=kept).shadow, PLACES)
    assert (touched == (kept < 1.0)).all()


def test_one_faint_oddity_by_itself_is_wood_and_not_light() -> None:
    alone = np.zeros(60)
    alone[23] = 1.2
    assert not grown(alone, PLACES).any()

    alone[24] = 0.8  # beside it
    assert np.flatnonzero(grown(alone, PLACES)).tolist() == [23, 24]

    alone[24], alone[23] = 0.0, 2.0
    assert np.flatnonzero(grown(alone, PLACES)).tolist() == [23]
    assert NEAR_mm > 8.0 * np.sqrt(2.0)  # the eight round a patch


def test_names_are_drawn_together() -> None:
    assert in_runs(["b7", "b8", "b9"]) == "b7–b9"
    assert in_runs(["a1", "a2", "b3", "c9", "c10", "c11"]) == "a1, a2, b3, c9–c11"
    assert in_runs(["a9", "b10"]) == "a9, b10"
    assert in_runs([]) == ""


def test_a_picture_mostly_under_glare_is_refused() -> None:
    card = card_of()
    flags: list[tuple[str, ...]] = [(GLARE,) if n < 18 else () for n in range(60)]
    check_flags(card, flags)

    with pytest.raises(PhotographRefused, match=r"Glare lies on 19 of 60\u00a0patches: a1–a10, b1–b9\.") as caught:
        check_flags(card, [*flags[:18], (GLARE,), *flags[19:]])
    assert caught.value.code == "glare"
    assert caught.value.remedy.startswith("Tilt the phone")
    with pytest.raises(PhotographRefused, match="A shadow lies on 60"):
        check_flags(card, [(SHADOW,)] * 60)
