"""The wood card: what its patches tell, where they lie, how it is burnt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.core.card.burning import card_events, card_picture_W
from evenburn.core.card.card_focus import card_focus, even_radius_mm
from evenburn.core.card.informing import Candidate, Informed, beliefs, believed_covariance, wished_exposures
from evenburn.core.card.wood_card import FORMS, ROWS_AT, card_speeds_mm_per_s, choose_patches, corner_marks
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.card import CardPatch
from evenburn.core.nouns.events import Sweep
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve
from evenburn.core.optics.beam import Beam, beam_radius_mm
from evenburn.core.optics.lines import ripple_modulation
from evenburn.core.response.curve import effective_exposure, exposure_for_tone, tone_L

RADIUS_mm, SPACING_mm = 0.14, 0.10
POWERS_W = np.geomspace(4.0, 48.0, 40)
ROUNDING = 1e-9


@pytest.fixture(scope="module")
def maple() -> CharacteristicCurve:
    return shipped_wood("hard-maple").curve


def speeds(curve: CharacteristicCurve, *, least: float = 4.0, most: float = 48.0) -> list[float]:
    found = card_speeds_mm_per_s(
        curve,
        beam_radius_mm=RADIUS_mm,
        line_spacing_mm=SPACING_mm,
        power_least_W=least,
        power_most_W=most,
        speed_most_mm_per_s=600.0,
        count=4,
    )
    return [float(v) for v in found]


def patches(curve: CharacteristicCurve, kind: str = "wood", *, seed: int = 1) -> tuple[CardPatch, ...]:
    rows = speeds(curve)
    return choose_patches(
        curve,
        believed_covariance(curve),
        form=FORMS[kind],
        row_speeds_mm_per_s=[rows[i] for i in ROWS_AT[kind]],
        powers_W=POWERS_W,
        power_fractions=POWERS_W / 60.0,
        beam_radius_mm=RADIUS_mm,
        line_spacing_mm=SPACING_mm,
        twice=6,
        generator=np.random.default_rng(seed),
    )


@pytest.fixture(scope="module")
def card(maple: CharacteristicCurve) -> tuple[CardPatch, ...]:
    return patches(maple)


def informed_by(curve: CharacteristicCurve, candidates: list[Candidate], *, seed: int = 5) -> float:
    """Variance of the tone after all of them are burnt."""
    informed = Informed(
        curve,
        believed_covariance(curve),
        candidates=candidates,
        beam_radius_mm=RADIUS_mm,
        line_spacing_mm=SPACING_mm,
        twice=True,
        generator=np.random.default_rng(seed),
    )
    for index in range(len(candidates)):
        informed.add(index)
    return informed.mean_sd_L() ** 2


def test_the_card_tells_more_than_a_plain_grid(maple: CharacteristicCurve, card: tuple[CardPatch, ...]) -> None:
    """Judged on beliefs drawn from other seeds than the card was chosen on; the grid burns six patches twice as well."""
    chosen = [
        Candidate(power_W=p.power_W, power_fraction=0.5, speed_mm_per_s=p.speed_mm_per_s, passes=p.passes) for p in card
    ]
    gains = []
    for powers in (np.linspace(4.0, 48.0, 10), np.geomspace(4.0, 48.0, 10)):
        grid = [
            Candidate(power_W=float(w), power_fraction=0.5, speed_mm_per_s=float(v), passes=2 if n == 4 else 1)
            for v in np.linspace(100.0, 450.0, 6)
            for n, w in enumerate(powers)
        ]
        each = [informed_by(maple, grid, seed=s) / informed_by(maple, chosen, seed=s) for s in (5, 6, 7, 8)]
        gains.append(float(np.mean(each)))

    # seen: 2.3 and 1.2; equal steps of power have to cost half as much again, equal steps of its logarithm a tenth
    assert gains[0] > 1.5
    assert gains[1] > 1.1


def test_every_patch_adds_what_bayes_linear_regression_says(maple: CharacteristicCurve) -> None:
    """One candidate added twice against (P⁻¹ + Σ aᵀa)⁻¹, the posterior of any textbook of linear regression (from memory)."""
    one = Candidate(power_W=15.0, power_fraction=0.3, speed_mm_per_s=200.0, passes=1)
    informed = Informed(
        maple,
        believed_covariance(maple),
        candidates=[one],
        beam_radius_mm=RADIUS_mm,
        line_spacing_mm=SPACING_mm,
        twice=False,
        generator=np.random.default_rng(0),
    )
    row = informed.rows[0][0]
    bare = np.zeros(row.size)
    bare[0] = 1.0
    expected = np.linalg.inv(
        np.linalg.inv(believed_covariance(maple)) + 2.0 * np.outer(row, row) + np.outer(bare, bare)
    )
    foreseen = informed.gains()[0]
    before = informed.mean_sd_L()
    informed.add(0)
    after = informed.mean_sd_L()
    informed.add(0)

    np.testing.assert_allclose(informed.known[0], expected, rtol=1e-6, atol=1e-9)  # inversion of a 9 × 9
    assert foreseen == pytest.approx(2.0 * len(informed.known) * np.log(before / after), rel=1e-9)


def test_exposures_reach_from_toe_to_past_char(maple: CharacteristicCurve, card: tuple[CardPatch, ...]) -> None:
    dose = np.array([p.passes * p.power_W / (p.speed_mm_per_s * p.line_spacing_mm) for p in card])
    dwell = np.array([2e3 * RADIUS_mm / p.speed_mm_per_s for p in card])
    x = effective_exposure(maple, dose_J_per_mm2=dose, dwell_ms=dwell, passes=np.array([p.passes for p in card]))

    assert x.min() < maple.x_mid - 0.8
    assert x.max() > maple.x_char + 0.4  # a wood that takes 0.4 decades more is still charred somewhere
    bends = np.abs(x - maple.x_mid) < 0.45
    assert bends.mean() > 0.5, "more than half of the patches lie where this curve bends or runs"


def test_dwell_is_spread_at_equal_dose(card: tuple[CardPatch, ...]) -> None:
    rows = sorted({p.speed_mm_per_s for p in card})
    assert len(rows) == 4
    assert rows[-1] / rows[0] > 3.0
    by_row = [[p.power_W * p.passes / p.speed_mm_per_s for p in card if p.speed_mm_per_s == v] for v in rows]
    shared = min(max(doses) for doses in by_row) / max(min(doses) for doses in by_row)
    assert shared > 2.0, "all rows have a range of doses in common"


def test_repeats_lie_far_apart(card: tuple[CardPatch, ...]) -> None:
    """What else stands twice are powers that a row has anyway, one of them in two passes."""
    seen: dict[tuple[float, float, int], list[CardPatch]] = {}
    for p in card:
        seen.setdefault((p.speed_mm_per_s, p.power_W, p.passes), []).append(p)
    apart = [np.hypot(*(np.subtract(a.box_mm[:2], b.box_mm[:2]))) for a, b in (v for v in seen.values() if len(v) == 2)]
    assert len(apart) == 4
    assert min(apart) > 20.0


def test_patches_lie_inside_and_apart(card: tuple[CardPatch, ...]) -> None:
    assert len(card) == len({p.id for p in card}) == 60
    assert 6 <= sum(p.passes == 2 for p in card) <= 8  # six chosen, and perhaps a repeat of one
    marks = [m.box_mm for m in corner_marks((90.0, 60.0))]
    boxes = [*(p.box_mm for p in card), *marks]
    for n, (ax0, ay0, ax1, ay1) in enumerate(boxes):
        assert ax0 >= 1.0
        assert ay0 >= 1.0
        assert ax1 <= 89.0
        assert ay1 <= 59.0
        for bx0, by0, bx1, by1 in boxes[n + 1 :]:
            assert max(ax0, bx0) - min(ax1, bx1) >= 0.7 or max(ay0, by0) - min(ay1, by1) >= 0.7


def test_the_same_seed_makes_the_same_card(maple: CharacteristicCurve, card: tuple[CardPatch, ...]) -> None:
    assert patches(maple) == card
    assert patches(maple, seed=2) != card


def test_a_machine_with_few_powers_repeats_some(maple: CharacteristicCurve) -> None:
    few = np.array([8.0, 16.0, 32.0])
    made = choose_patches(
        maple,
        believed_covariance(maple),
        form=FORMS["strip"],
        row_speeds_mm_per_s=[200.0],
        powers_W=few,
        power_fractions=few / 60.0,
        beam_radius_mm=RADIUS_mm,
        line_spacing_mm=SPACING_mm,
        twice=0,
        generator=np.random.default_rng(1),
    )
    assert len(made) == 6
    assert {p.power_W for p in made} <= set(few.tolist())


@pytest.mark.parametrize(("least", "most"), [(4.0, 48.0), (20.0, 48.0), (1.0, 8.0)])
def test_speeds_serve_woods_far_from_what_is_believed(maple: CharacteristicCurve, least: float, most: float) -> None:
    rows = speeds(maple, least=least, most=most)
    assert rows == sorted(rows, reverse=True)
    darkest, faintest = (
        float(effective_exposure(maple, dose_J_per_mm2=w / (v * SPACING_mm), dwell_ms=2e3 * RADIUS_mm / v))
        for w, v in ((most, rows[-1]), (least, rows[0]))
    )
    assert darkest > maple.x_char + 0.4
    assert faintest < maple.x_mid - (0.4 if least < 10.0 else 0.2)  # 20 W at 600 mm/s is what there is


def test_a_laser_too_weak_is_told() -> None:
    with pytest.raises(InvalidInput, match="char limit"):
        speeds(shipped_wood("slate").curve, least=0.01, most=0.05)


def test_beliefs_are_balanced_and_char_moves_along(maple: CharacteristicCurve) -> None:
    drawn = beliefs(maple, believed_covariance(maple), generator=np.random.default_rng(3))
    assert np.mean([b.x_mid for b in drawn]) == pytest.approx(maple.x_mid, abs=ROUNDING)
    assert {round(b.x_char - b.x_mid, 9) for b in drawn} == {round(maple.x_char - maple.x_mid, 9)}
    assert min(b.steepness_per_decade for b in drawn) > 0.0


def test_wished_tones_are_even(maple: CharacteristicCurve) -> None:
    tones = tone_L(maple, wished_exposures(maple))
    steps = np.diff(tones)
    np.testing.assert_allclose(steps, steps.mean(), rtol=0.03)  # read off a grid of 400
    assert exposure_for_tone(maple, 55.0) > wished_exposures(maple)[0]


def test_belief_is_wide_about_a_guess_and_narrow_about_a_fit(maple: CharacteristicCurve) -> None:
    at = CURVE_PARAMETERS.index("x_mid")
    guess = believed_covariance(maple)
    like = believed_covariance(maple, likeness=True)
    fitted = believed_covariance(replace(maple, provenance=Provenance(kind="fitted", detail="")))
    assert np.sqrt(guess[at, at]) == pytest.approx(0.3)  # a factor of two: from memory
    assert like[at, at] > guess[at, at] > fitted[at, at] > maple.covariance[at, at]
    for matrix in (guess, like, fitted):
        assert np.linalg.eigvalsh(matrix).min() >= -ROUNDING


# ---- focus --------------------------------------------------------------------------------------------------------

LENS = Beam(waist_radius_mm=0.075, rayleigh_length_mm=1.27)


def test_even_radius_keeps_the_ripple_of_the_theta_series_small(maple: CharacteristicCurve) -> None:
    """The whole series of [dlmf] 20.2.3 instead of its leading term."""
    ratio = even_radius_mm(maple, line_spacing_mm=1.0)
    modulation = ripple_modulation(beam_radius_mm=ratio, line_spacing_mm=1.0)
    # a logistic is steepest at its middle: 56 L* × 8.5 / 4 = 119 L* per decade, by hand
    banding_L = 1.5 * 119.0 * np.log10((1.0 + modulation) / (1.0 - modulation))
    assert banding_L == pytest.approx(0.5, rel=0.01)


def test_focus_is_left_just_far_enough(maple: CharacteristicCurve) -> None:
    focus = card_focus(maple, LENS)
    assert focus.offset_mm % 0.5 == 0.0
    assert focus.line_spacing_mm == 0.10
    nearer = float(beam_radius_mm(LENS, offset_mm=focus.offset_mm - 0.5))
    too_near = float(beam_radius_mm(LENS, offset_mm=focus.offset_mm - 1.0))
    needed = 0.10 * even_radius_mm(maple, line_spacing_mm=1.0)
    assert too_near < needed <= nearer


def test_a_wide_beam_stays_in_focus_a_fine_one_gets_finer_lines(maple: CharacteristicCurve) -> None:
    wide = card_focus(maple, Beam(waist_radius_mm=0.25, rayleigh_length_mm=10.0))
    assert wide.offset_mm == 0.0
    assert wide.line_spacing_mm > 0.15
    fine = card_focus(maple, Beam(waist_radius_mm=0.02, rayleigh_length_mm=0.6))
    assert fine.line_spacing_mm < 0.10


def test_an_offset_that_was_told_is_kept_or_refused(maple: CharacteristicCurve) -> None:
    kept = card_focus(maple, LENS, offset_mm=0.0)
    assert (kept.offset_mm, kept.beam_radius_mm) == (0.0, 0.075)
    assert kept.line_spacing_mm <= 0.075 / even_radius_mm(maple, line_spacing_mm=1.0)
    for offset in (20.0, -20.0, float("nan")):
        with pytest.raises(InvalidInput, match="focus-offset"):
            card_focus(maple, LENS, offset_mm=offset)
    with pytest.raises(InvalidInput, match="too fine"):
        card_focus(maple, Beam(waist_radius_mm=0.01, rayleigh_length_mm=0.3), offset_mm=0.0)
    with pytest.raises(InvalidInput, match="too fine"):
        card_focus(maple, Beam(waist_radius_mm=0.005, rayleigh_length_mm=0.05))


# ---- burning ------------------------------------------------------------------------------------------------------


def machine() -> Machine:
    lens = Lens(
        name="l",
        focal_length_mm=50.8,
        beam_diameter_mm=6.0,
        beam_quality_m2=1.3,
        wavelength_um=10.6,
        focus_stand_off_mm=9.5,
    )
    return Machine(
        name="m",
        bed_x_mm=600.0,
        bed_y_mm=400.0,
        power_max_W=60.0,
        power_curve=((0.0, 0.0), (1.0, 60.0)),
        power_least_fraction=0.05,
        power_cap_fraction=0.8,
        power_word_max=1000.0,
        speed_max_mm_per_s=600.0,
        rapid_mm_per_s=600.0,
        accel_x_mm_per_s2=5000.0,
        accel_y_mm_per_s2=3000.0,
        jerk_mm_per_s3=None,
        line_overhead_s=0.0,
        rise_time_s=0.0,
        reversal_offset_mm=0.0,
        air_kPa=(),
        lenses=(lens,),
    )


def test_each_patch_gets_the_energy_it_stands_for() -> None:
    """Energy over area, 5 W at 100 mm/s on lines 0.1 mm apart: 0.5 J/mm², twice where there are two passes. By hand."""
    form = FORMS["strip"]
    made = [
        CardPatch(
            id=f"a{n + 1}",
            box_mm=form.patch_box_mm(column=n, row=0),
            power_W=5.0,
            power_fraction=0.1,
            speed_mm_per_s=100.0,
            line_spacing_mm=0.1,
            passes=1 + n % 2,
        )
        for n in range(form.columns)
    ]
    events = card_events(
        machine(),
        made,
        marks=(),
        origin_bed_mm=(100.0, 50.0),
        mark_power_W=40.0,
        mark_speed_mm_per_s=200.0,
        mark_line_spacing_mm=0.1,
    )
    for patch in made:
        x0, y0, x1, y1 = patch.box_mm
        burnt_J = 0.0
        for event in events:
            if isinstance(event, Sweep):
                ends = np.sort(np.stack((event.edges_mm[:-1], event.edges_mm[1:])), axis=0)
                inside = (ends[0] > 100.0 + x0 - 1e-6) & (ends[1] < 100.0 + x1 + 1e-6)
                burnt_J += float((event.power_W * (ends[1] - ends[0]))[inside].sum()) / event.speed_mm_per_s
        dose = burnt_J / ((x1 - x0) * (y1 - y0))
        assert dose == pytest.approx(0.5 * patch.passes, rel=0.02)  # whole lines: at most 1 of 72 is missing


def test_the_picture_shows_what_burns_and_the_hole(card: tuple[CardPatch, ...]) -> None:
    marks = corner_marks((90.0, 60.0))
    picture = card_picture_W(card, marks=marks, mark_power_W=30.0, size_mm=(90.0, 60.0), pixel_mm=0.1)
    assert picture.shape == (600, 900)
    assert picture[25, 25] == 0.0
    assert picture[15, 15] == 30.0
    assert picture[575, 25] == 30.0
    assert picture[575, 875] == 30.0
    one = card[7]
    x, y = (round(10.0 * 0.5 * (one.box_mm[i] + one.box_mm[i + 2])) for i in (0, 1))
    assert picture[y, x] == np.float32(one.power_W)
