"""Learning from readings: what is left out, what is shared, which cards are refused, lots, boards and what to burn next."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.core.card.learning import (
    FIRST,
    WITHIN_BOARD,
    Learnt,
    belief_of_board,
    belief_of_lots,
    belief_of_wood,
    learn,
)
from evenburn.core.card.next_patches import next_patches
from evenburn.core.card.observing import gather
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.card import Card, CardKind, CardPatch, Mat, Reading
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.response.curve import tone_L
from service.burnt_cards import TRUTH, reading_of

TODAY = Provenance(kind="fitted", detail="a test")
MAPLE = belief_of_wood(shipped_wood("hard-maple").curve)
EXPOSURES = TRUTH.x_mid + np.linspace(-0.6, 0.3, 19)


def card(*, kind: CardKind = "wood", patches: int = 48, radius_mm: float = 0.13, offset_mm: float = 1.8) -> Card:
    """Four speeds, powers evenly in logs, every eighth patch in two passes."""
    found = []
    for n in range(patches):
        power = 4.0 * (48.0 / 4.0) ** (n / max(1, patches - 1))
        found.append(
            CardPatch(
                id=f"a{n + 1}",
                box_mm=(0.0, 0.0, 7.0, 7.0),
                power_W=power,
                power_fraction=power / 60.0,
                speed_mm_per_s=(110.0, 160.0, 230.0, 330.0)[n % 4] if kind == "wood" else 160.0,
                line_spacing_mm=0.1,
                passes=2 if kind == "wood" and n % 8 == 3 else 1,
            )
        )
    mat = Mat(
        page="A4", page_mm=(210.0, 297.0), window_mm=(0.0, 0.0, 1.0, 1.0), markers=(), grey_steps=(),
        scale_bar_mm=((0.0, 0.0), (1.0, 0.0)),
    )  # fmt: skip
    return Card(
        kind=kind, wood_id="hard-maple", machine_name="Boathouse bench", lens_name="2 inch", size_mm=(90.0, 60.0),
        origin_bed_mm=(0.0, 0.0), focus_offset_mm=offset_mm, beam_radius_mm=radius_mm, patches=tuple(found), lines=(),
        corner_marks=(), mat=mat,
    )  # fmt: skip


def learnt(*readings: Reading) -> Learnt:
    return learn(readings, MAPLE, provenance=TODAY)


def worst_L(curve: CharacteristicCurve, truth: CharacteristicCurve = TRUTH) -> float:
    return float(np.abs(tone_L(curve, EXPOSURES) - tone_L(truth, EXPOSURES)).max())


def test_a_card_tells_the_curve_it_was_burnt_on() -> None:
    """48 patches of ± 0.5 L*: within 1 L* along the curve, where the starting value was some 20 L* off."""
    assert worst_L(MAPLE.curve) > 8.0
    assert worst_L(learnt(reading_of(card(), noise_L=0.5)).curve) < 1.0


def test_flagged_patches_are_left_out_and_move_nothing() -> None:
    clean = reading_of(card(), noise_L=0.4)
    spoilt = [replace(p, tone_L=95.0, flags=("glare",)) if p.patch.id in ("a7", "a30") else p for p in clean.patches]
    found = learnt(replace(clean, patches=tuple(spoilt)))
    assert [p.patch.id for _, p, _ in found.gathered.left_out] == ["a7", "a30"]
    assert len(found.gathered.patches) == 46
    assert np.abs(tone_L(found.curve, EXPOSURES) - tone_L(learnt(clean).curve, EXPOSURES)).max() < 0.3


def test_a_blurred_or_uneven_patch_stays_in() -> None:
    found = gather([reading_of(card(), flags={"a3": ("uneven",), "a4": ("blurred",)})])
    assert len(found.patches) == 48


def test_what_all_patches_share_does_not_average_out() -> None:
    """An offset of ± 2 L* that all share leaves the bare tone as uncertain as that, over 48 patches as over 12."""
    for patches in (12, 48):
        reading = reading_of(card(patches=patches), offset_L_sd=2.0, gain_sd=0.0, bare_wood_L_sd=2.1)
        sd = float(learnt(reading).fitted.curve.covariance[FIRST, FIRST]) ** 0.5
        assert 1.8 < sd < 2.3
    sure = reading_of(card(), offset_L_sd=0.0, gain_sd=0.0, bare_wood_L_sd=0.3)
    assert float(learnt(sure).fitted.curve.covariance[FIRST, FIRST]) ** 0.5 < 0.4


def test_readings_of_two_lights_share_their_offset_within_each() -> None:
    """Two cards at two focus offsets, read 3 L* apart by light that says ± 2: no patch of them is an outlier."""
    first = reading_of(card(), offset_L=1.5, offset_L_sd=2.0, seed=1)
    second = reading_of(card(radius_mm=0.2, offset_mm=3.0), offset_L=-1.5, offset_L_sd=2.0, seed=2)
    found = learnt(first, second)
    assert worst_L(found.curve) < 1.5
    assert found.fitted.weights.min() > 0.2
    assert found.boards_measured == 2
    assert np.unique(found.gathered.observed.dwell_ms).size == 8


def test_boards_that_differ_are_told_by_their_own_readings() -> None:
    """Four boards at ± 3 L*, read without doubt of the light: the spread of boards grows towards that."""
    offsets = (3.0, -3.0, 3.0, -3.0)
    readings = [
        reading_of(replace(card(), focus_offset_mm=1.8), offset_L=o, offset_L_sd=0.05, gain_sd=0.0, seed=n)
        for n, o in enumerate(offsets)
    ]
    alike = [replace(r, patches=reading_of(card(), seed=n).patches) for n, r in enumerate(readings)]
    assert learnt(*readings).curve.board_L > 1.8
    assert learnt(*alike).curve.board_L < 1.2


def test_the_woods_own_scatter_is_kept_apart_from_the_readings() -> None:
    even = learnt(reading_of(card(), noise_L=0.5)).curve
    blotchy = [learnt(reading_of(card(), noise_L=2.0, seed=n)).curve for n in (1, 2, 3)]
    assert even.reading_L == blotchy[0].reading_L == pytest.approx(0.5)
    assert even.evenness_L < 0.7
    assert 1.4 < np.mean([c.evenness_L for c in blotchy]) < 2.2  # 2.0 less 0.5 in quadrature, tails of t counted less
    assert blotchy[0].board_L > even.board_L


def test_a_strip_moves_a_known_lot_to_its_board() -> None:
    lot = learnt(reading_of(card(), noise_L=0.4)).curve
    board = replace(TRUTH, bare_L=TRUTH.bare_L - 2.0, x_mid=TRUTH.x_mid + 0.02)
    belief = belief_of_board(replace(lot, board_L=2.0))
    strip = reading_of(card(kind="strip", patches=6), board, noise_L=0.3, offset_L_sd=0.2)
    found = learn([strip], belief, provenance=TODAY).curve
    assert worst_L(lot, board) > 1.9
    assert worst_L(found, board) < 1.2
    assert found.board_L == pytest.approx(WITHIN_BOARD * 2.0)
    assert found.kappa == pytest.approx(lot.kappa, abs=0.02)


def test_other_lots_stand_in_for_what_a_strip_cannot_tell() -> None:
    lots = [
        learnt(reading_of(card(), replace(TRUTH, x_mid=TRUTH.x_mid + d), noise_L=0.5, seed=n)).curve
        for n, d in enumerate((-0.04, 0.0, 0.05))
    ]
    belief = belief_of_lots(lots)
    assert belief.known
    assert belief.curve.kappa == pytest.approx(TRUTH.kappa, abs=0.03)
    new = replace(TRUTH, x_mid=TRUTH.x_mid + 0.08, bare_L=TRUTH.bare_L - 3.0)
    strip = reading_of(card(kind="strip", patches=6), new, noise_L=0.3, offset_L_sd=0.2)
    assert worst_L(learn([strip], belief, provenance=TODAY).curve, new) < 1.5


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"full_L": 75.0}, "hardly darkened"),
        ({"x_mid": -3.0}, "burnt through"),
        ({"bare_L": 40.0, "full_L": 80.0}, "the other way"),
    ],
)
def test_cards_that_tell_no_curve_are_refused(change: dict[str, Any], says: str) -> None:
    with pytest.raises(InvalidInput, match=says) as caught:
        learnt(reading_of(card(), replace(TRUTH, reversal_L=0.0, **change)))
    assert caught.value.hint


def test_tones_of_another_card_are_refused() -> None:
    reading = reading_of(card())
    tones = np.random.default_rng(3).permutation([p.tone_L for p in reading.patches])
    mixed = tuple(replace(p, tone_L=float(t)) for p, t in zip(reading.patches, tones, strict=True))
    with pytest.raises(InvalidInput, match="do not follow the exposure"):
        learnt(replace(reading, patches=mixed))


def test_too_few_patches_and_cards_that_do_not_go_together_are_refused() -> None:
    flags: dict[str, tuple[str, ...]] = {f"a{n}": ("glare",) for n in range(1, 43)}
    with pytest.raises(InvalidInput, match="6 count, 42 are set aside"):
        learnt(reading_of(card(), flags=flags))
    other = reading_of(replace(card(), wood_id="beech", lens_name="4 inch"))
    with pytest.raises(InvalidInput, match="beech, hard-maple") as caught:
        gather([reading_of(card()), other])
    assert set(caught.value.fields) == {"wood", "lens"}
    with pytest.raises(InvalidInput, match="motion card"):
        gather([reading_of(replace(card(), kind="motion"))])
    with pytest.raises(InvalidInput, match="none is given"):
        gather([])


def test_what_to_burn_next_narrows_a_poor_card_more_than_a_full_one() -> None:
    poor = reading_of(card(patches=9), noise_L=0.5)
    full = reading_of(card(), noise_L=0.5)
    gains = []
    for reading in (poor, full):
        found = learnt(reading)
        next_ones = next_patches(
            found.curve, [reading], covariance=found.fitted.covariance, generator=np.random.default_rng(1)
        )
        sds = [next_ones.now_L_sd, *(p.tone_L_sd for p in next_ones.patches)]
        assert sds == sorted(sds, reverse=True)
        assert len({(p.power_W, p.speed_mm_per_s, p.passes) for p in next_ones.patches}) == len(next_ones.patches)
        burnt = [p.patch.power_W for p in reading.patches]
        assert all(min(burnt) <= p.power_W <= max(burnt) + 1e-9 for p in next_ones.patches)
        gains.append(sds[-1] / sds[0])
    assert gains[0] < gains[1]
