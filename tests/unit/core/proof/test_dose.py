"""The dose map: all energy lands, where beam and laser put it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import erf

from evenburn.core.motion.follow import FollowPath, trace_events
from evenburn.core.motion.raster import raster_events
from evenburn.core.nouns.events import Event, Sweep, Trace, Travel
from evenburn.core.nouns.machine import Machine
from evenburn.core.optics.lines import line_peak_dose_J_per_mm2, mean_dose_J_per_mm2, ripple_factor
from evenburn.core.proof import dose as dose_module
from evenburn.core.proof.dose import (
    DoseGrid,
    collect,
    dose_map_J_per_mm2,
    total_energy_J,
    traced_map_J,
    traced_pieces,
)
from unit.core.examples import machine

FLOAT32 = 1e-5  # maps are float32: 6e-8 each, some hundred terms of one sign
PROMPT = machine(rise_time_s=0.0)


def grid(
    *, rows: int, columns: int, pixel_mm: float, x0_mm: float = 0.0, y0_mm: float = 0.0, **changes: Any
) -> DoseGrid:
    plain = DoseGrid(x0_mm=x0_mm, y0_mm=y0_mm, pixel_x_mm=pixel_mm, pixel_y_mm=pixel_mm, rows=rows, columns=columns)
    return replace(plain, **changes)


def burn(bench: Machine, picture_W: NDArray[np.floating] | Sequence[Sequence[float]], **changes: Any) -> list[Event]:
    settings: dict[str, Any] = {
        "axis": "x",
        "along_origin_mm": 0.0,
        "cross_origin_mm": 0.0,
        "line_spacing_mm": 0.1,
        "speed_mm_per_s": 200.0,
        "passes": 1,
    }
    return list(raster_events(bench, np.asarray(picture_W, np.float32), **{**settings, **changes}))


def one_line(*, power_W: float, speed: float, cross: float, edges: Sequence[float], forward: bool = True) -> Sweep:
    places = np.array(edges if forward else list(edges)[::-1], dtype=np.float64)
    sign = 1.0 if forward else -1.0
    return Sweep(
        axis="x",
        cross_mm=cross,
        start_mm=float(places[0]) - sign * 4.0,
        end_mm=float(places[-1]) + sign * 4.0,
        speed_mm_per_s=speed,
        edges_mm=places,
        power_W=np.full(places.size - 1, power_W),
    )


@pytest.mark.parametrize("axis", ["x", "y"])
@pytest.mark.parametrize("passes", [1, 2])
def test_the_map_holds_all_the_energy(axis: str, passes: int) -> None:
    rng = np.random.default_rng(5)
    picture = rng.integers(0, 4, (30, 40)) * 10.0
    bench = machine(rise_time_s=0.0003, reversal_offset_mm=0.05)
    events = burn(bench, picture, axis=axis, passes=passes)
    # wide enough for the beam's tails (4 σ) and for e⁻⁸ of the response; pixels that fit no line exactly
    window = grid(rows=340, columns=340, pixel_mm=0.017, x0_mm=-0.9, y0_mm=-0.9)
    dose = dose_map_J_per_mm2(collect(events, window), beam_radius_mm=0.12, rise_time_s=0.0003)
    assert float(dose.astype(np.float64).sum()) * 0.017**2 == pytest.approx(total_energy_J(events), rel=FLOAT32)


def test_split_energy_is_kept_before_beam_and_response_too() -> None:
    events = burn(machine(), [[10.0, 0.0, 30.0], [20.0, 20.0, 0.0]])
    lines = collect(events, grid(rows=37, columns=53, pixel_mm=0.031, x0_mm=-0.5, y0_mm=-0.4))
    forward = 40.0 * 0.1 / 200.0
    backward = 40.0 * 0.1 / 200.0
    assert float(lines.forward_J.sum()) == pytest.approx(forward, rel=FLOAT32)
    assert float(lines.backward_J.sum()) == pytest.approx(backward, rel=FLOAT32)


def test_a_window_holds_only_its_own_part() -> None:
    events = [one_line(power_W=30.0, speed=100.0, cross=1.0, edges=[0.0, 10.0])]
    lines = collect(events, grid(rows=20, columns=20, pixel_mm=0.1, x0_mm=4.0, y0_mm=0.0))
    assert float(lines.forward_J.sum()) == pytest.approx(30.0 * 2.0 / 100.0, rel=FLOAT32)
    elsewhere = collect(events, grid(rows=20, columns=20, pixel_mm=0.1, x0_mm=4.0, y0_mm=50.0))
    assert not elsewhere.forward_J.any()


@pytest.mark.parametrize("events", [[], [Travel(to_mm=(1.0, 1.0))]], ids=["empty", "travel only"])
def test_nothing_burnt_leaves_no_dose(events: list[Event]) -> None:
    lines = collect(events, grid(rows=4, columns=6, pixel_mm=0.1))
    dose = dose_map_J_per_mm2(lines, beam_radius_mm=0.1, rise_time_s=0.0002)
    assert dose.shape == (4, 6)
    assert not dose.any()
    assert total_energy_J(events) == 0.0


def test_the_map_is_linear_in_the_powers() -> None:
    rng = np.random.default_rng(6)
    one, other = rng.integers(1, 60, (12, 16)) * 1.0, rng.integers(1, 60, (12, 16)) * 1.0
    window = grid(rows=80, columns=100, pixel_mm=0.025, x0_mm=-0.4, y0_mm=-0.4)

    def dose(picture: NDArray[np.floating]) -> NDArray[np.float32]:
        return dose_map_J_per_mm2(collect(burn(machine(), picture), window), beam_radius_mm=0.1, rise_time_s=0.0002)

    together = dose(2.0 * one + 3.0 * other)
    assert 2.0 * dose(one) + 3.0 * dose(other) == pytest.approx(together, abs=FLOAT32 * float(together.max()))


def test_doubling_the_speed_halves_the_dose() -> None:
    window = grid(rows=60, columns=60, pixel_mm=0.025)
    slow, fast = (
        dose_map_J_per_mm2(
            collect(burn(PROMPT, np.full((15, 15), 20.0), speed_mm_per_s=v), window),
            beam_radius_mm=0.1,
            rise_time_s=0.0,
        )
        for v in (100.0, 200.0)
    )
    assert 2.0 * fast == pytest.approx(slow, abs=FLOAT32 * float(slow.max()))


@pytest.mark.parametrize("axis", ["x", "y"])
@pytest.mark.parametrize("passes", [1, 2])
def test_mean_dose_in_the_middle_of_a_wide_area_is_power_over_speed_and_spacing(axis: str, passes: int) -> None:
    # 60 W, 300 mm/s, 0.1 mm: 2.000 J/mm², check-values.md, 2
    events = burn(machine(), np.full((60, 60), 60.0), axis=axis, speed_mm_per_s=300.0, passes=passes)
    window = grid(rows=240, columns=240, pixel_mm=0.025)
    dose = dose_map_J_per_mm2(collect(events, window), beam_radius_mm=0.06, rise_time_s=0.0002)
    middle = dose[80:160, 80:160]  # 20 whole lines
    assert float(middle.astype(np.float64).mean()) == pytest.approx(2.0 * passes, rel=FLOAT32)
    by_formula = mean_dose_J_per_mm2(power_W=60.0, speed_mm_per_s=300.0, line_spacing_mm=0.1, passes=passes)
    assert float(by_formula) == pytest.approx(2.0 * passes, rel=1e-12)


def test_one_line_is_the_gaussian_of_the_line_integral() -> None:
    """60 W at 300 mm/s under w = 57.13 µm peaks at 2.793 J/mm²: check-values.md, 2."""
    w, pixel = 0.05713, 0.004
    # the line lies on the middle of row 100, so nothing is split
    window = grid(rows=201, columns=400, pixel_mm=pixel)
    events = [one_line(power_W=60.0, speed=300.0, cross=100.5 * pixel, edges=[-1.0, 3.0])]
    dose = dose_map_J_per_mm2(collect(events, window), beam_radius_mm=w, rise_time_s=0.0)
    across = dose[:, 200].astype(np.float64)
    y = (np.arange(201) - 100) * pixel
    # printed to four digits; the blur's kernel ends at 4 σ, which holds back 6e-5 of the energy
    assert across[100] == pytest.approx(2.793, rel=3e-4)
    expected = 2.793 * np.exp(-2.0 * (y / w) ** 2)
    assert across == pytest.approx(expected, abs=3e-4 * 2.793)
    assert line_peak_dose_J_per_mm2(power_W=60.0, speed_mm_per_s=300.0, beam_radius_mm=w) == pytest.approx(
        2.793, rel=2e-4
    )


def test_a_line_between_two_rows_is_split_without_moving_it() -> None:
    w, pixel = 0.1, 0.01
    window = grid(rows=101, columns=200, pixel_mm=pixel)
    events = [one_line(power_W=60.0, speed=300.0, cross=0.5032, edges=[-1.0, 3.0])]
    dose = dose_map_J_per_mm2(collect(events, window), beam_radius_mm=w, rise_time_s=0.0)
    across = dose[:, 100].astype(np.float64)
    y = (np.arange(101) + 0.5) * pixel
    assert float((across * y).sum() / across.sum()) == pytest.approx(0.5032, abs=1e-6)  # float32 sums


@pytest.mark.parametrize("direction", ["forward", "backward"])
def test_a_laser_that_answers_late_smears_the_edge_exponentially(direction: str) -> None:
    """Far from the beam's width: power rises as 1 − exp(−s/(v τ)) from where it was commanded, and dies away so."""
    forward = direction == "forward"
    v, tau, pixel, power = 200.0, 0.002, 0.01, 30.0
    length = v * tau  # 0.4 mm
    window = grid(rows=41, columns=1200, pixel_mm=pixel)
    edges = [2.0, 6.0] if forward else [6.0, 10.0]
    events = [one_line(power_W=power, speed=v, cross=20.5 * pixel, edges=edges, forward=forward)]
    lines = collect(events, window)
    dose = dose_map_J_per_mm2(lines, beam_radius_mm=1e-4, rise_time_s=tau).astype(np.float64)
    along = dose.sum(axis=0) * pixel * pixel / pixel  # line energy, J/mm
    x = (np.arange(1200) + 0.5) * pixel
    s = x - edges[0] if forward else edges[1] - x
    full = power / v
    on = np.where(s > 0.0, 1.0 - np.exp(-np.maximum(s, 0.0) / length), 0.0)
    off = np.where(s > 4.0, 1.0 - np.exp(-np.maximum(s - 4.0, 0.0) / length), 0.0)
    # the response is cut at e⁻⁸ = 3.4e-4; within a pixel of 1/40 v τ the mean differs by 1/24 (1/40)² = 3e-5
    assert along == pytest.approx(full * (on - off), abs=5e-4 * full)


def test_the_edge_under_a_beam_is_the_error_function() -> None:
    w, pixel = 0.1, 0.005
    window = grid(rows=41, columns=400, pixel_mm=pixel)
    events = [one_line(power_W=60.0, speed=300.0, cross=20.5 * pixel, edges=[1.0, 5.0])]
    dose = dose_map_J_per_mm2(collect(events, window), beam_radius_mm=w, rise_time_s=0.0).astype(np.float64)
    along = dose[20] / dose[20, 300]  # 0.5 mm inside the edge, and as far from where the window ends
    x = (np.arange(400) + 0.5) * pixel
    expected = 0.5 * (1.0 + erf(math.sqrt(2.0) * (x - 1.0) / w))  # knife edge: check-values.md, 1
    # averaging over a pixel of w/20 moves it by (1/20)²/24 of the curvature; the kernel ends at 4 σ
    assert along[:300] == pytest.approx(expected[:300], abs=3e-4)


@pytest.mark.parametrize("ratio", [1.0, 1.5, 2.0])
def test_ripple_in_the_map_is_that_of_the_theta_function(ratio: float) -> None:
    """p/w of 1, 1.5 and 2 ripple by 0.01438, 0.22304 and 0.57420: check-values.md, 2."""
    expected = {1.0: 0.0143838, 1.5: 0.223039, 2.0: 0.574197}[ratio]
    p, per_line = 0.12, 21  # odd, so that lines lie on middles of rows
    w = p / ratio
    events = burn(PROMPT, np.full((31, 8), 30.0), line_spacing_mm=p)
    window = grid(rows=31 * per_line, columns=16, pixel_mm=p / 2.0, pixel_y_mm=p / per_line)
    dose = dose_map_J_per_mm2(collect(events, window), beam_radius_mm=w, rise_time_s=0.0).astype(np.float64)
    middle = dose[10 * per_line : 21 * per_line, 8]
    phases = (np.arange(11 * per_line) + 0.5) / per_line - 0.5
    mean = middle.mean()
    factors = ripple_factor(beam_radius_mm=w, line_spacing_mm=p, phase=phases)
    assert middle / mean == pytest.approx(factors, abs=3e-4)  # the blur's kernel ends at 4 σ
    # row middles miss the very trough by half a row: cos(π/21) of the first harmonic
    modulation = (middle.max() - middle.min()) / (middle.max() + middle.min())
    assert modulation == pytest.approx(expected, rel=0.012)


@pytest.mark.parametrize("axis", ["x", "y"])
@pytest.mark.parametrize("speed", [100.0, 500.0])
@pytest.mark.parametrize("reversal_mm", [0.0, 0.2, -0.1])
def test_forward_and_backward_lines_meet_in_the_mean_thanks_to_the_lead(
    axis: str, speed: float, reversal_mm: float
) -> None:
    bench = machine(rise_time_s=0.0003, reversal_offset_mm=reversal_mm)
    events = burn(bench, np.full((20, 40), 30.0), axis=axis, speed_mm_per_s=speed)
    window = grid(rows=800, columns=800, pixel_mm=0.01, x0_mm=-2.0, y0_mm=-2.0)
    lines = collect(events, window, reversal_offset_mm=reversal_mm)
    middles = []
    for forward in (True, False):
        part = replace(
            lines,
            forward_J=lines.forward_J if forward else np.zeros_like(lines.forward_J),
            backward_J=lines.backward_J if not forward else np.zeros_like(lines.backward_J),
        )
        dose = dose_map_J_per_mm2(part, beam_radius_mm=0.08, rise_time_s=0.0003).astype(np.float64)
        profile = dose.sum(axis=0 if axis == "x" else 1)
        places = -2.0 + (np.arange(800) + 0.5) * 0.01
        middles.append(float((profile * places).sum() / profile.sum()))
    assert abs(middles[0] - middles[1]) < 1e-3  # 1 µm; v τ is up to 150 µm
    assert middles == pytest.approx([2.0, 2.0], abs=1e-3)  # both in the middle of the drawn 4 mm


def test_without_the_lead_they_would_not_meet() -> None:
    """The same lines commanded where they are drawn land 2 v τ apart: the lead is what the test above sees."""
    tau = 0.0003
    edges = [0.0, 4.0]
    forward = one_line(power_W=30.0, speed=500.0, cross=0.105, edges=edges)
    backward = one_line(power_W=30.0, speed=500.0, cross=0.105, edges=edges, forward=False)
    window = grid(rows=21, columns=800, pixel_mm=0.01, x0_mm=-2.0)
    middles = []
    for sweep in (forward, backward):
        dose = dose_map_J_per_mm2(collect([sweep], window), beam_radius_mm=0.02, rise_time_s=tau).astype(np.float64)
        places = -2.0 + (np.arange(800) + 0.5) * 0.01
        profile = dose.sum(axis=0)
        middles.append(float((profile * places).sum() / profile.sum()))
    assert middles[0] - middles[1] == pytest.approx(2.0 * 500.0 * tau, abs=2e-3)  # e⁻⁸ of the response is cut


def followed(points: Any, *, energy: float = 0.3, closed: bool = False, bench: Machine = PROMPT) -> list[Event]:
    way = FollowPath(points_mm=np.array(points, dtype=np.float64), closed=closed, off_mm=np.zeros((0, 2)))
    return list(
        trace_events(
            bench, [way], speed_mm_per_s=100.0, line_energy_J_per_mm=energy, passes=1, least_W=0.0, most_W=48.0
        )
    )


@pytest.mark.parametrize("pixel", [0.02, 0.05])
def test_a_followed_path_leaves_all_its_energy(pixel: float) -> None:
    rng = np.random.default_rng(12)
    events = followed(np.round(rng.uniform(1.0, 5.0, (12, 2)), 3), closed=True)
    length = sum(float(np.hypot(*np.diff(e.points_mm, axis=0).T).sum()) for e in events if isinstance(e, Trace))
    total = total_energy_J(events, machine=PROMPT)
    assert total == pytest.approx(0.3 * length, rel=1e-9)  # power follows speed, corners or not
    side = math.ceil(6.0 / pixel)
    lines = collect(events, grid(rows=side, columns=side, pixel_mm=pixel), machine=PROMPT)
    assert lines.traced_J is not None
    assert float(lines.traced_J.astype(np.float64).sum()) == pytest.approx(total, rel=FLOAT32)
    # a laser that answers late would blur what is scanned; what is followed is left as it is
    dose = dose_map_J_per_mm2(lines, beam_radius_mm=0.1, rise_time_s=0.01)
    assert float(dose.astype(np.float64).sum()) * pixel**2 == pytest.approx(total, rel=FLOAT32)


@pytest.mark.parametrize("angle_deg", [0.0, 23.0, 90.0])
def test_across_a_followed_line_the_dose_is_the_gaussian_of_the_line_integral(angle_deg: float) -> None:
    """0.2 J/mm (60 W at 300 mm/s) under w = 57.13 µm peaks at 2.793 J/mm²: check-values.md, 2."""
    w, pixel, angle = 0.05713, 0.01, math.radians(angle_deg)
    way = np.array([math.cos(angle), math.sin(angle)])
    middle = np.array([2.0, 2.0])
    events = followed([middle - 12.0 * way, middle + 12.0 * way], energy=0.2)
    window = grid(rows=400, columns=400, pixel_mm=pixel)
    dose = dose_map_J_per_mm2(collect(events, window, machine=PROMPT), beam_radius_mm=w, rise_time_s=0.0)
    y, x = np.mgrid[150:250, 150:250]
    beside = (x * pixel + 0.5 * pixel - 2.0) * way[1] - (y * pixel + 0.5 * pixel - 2.0) * way[0]
    expected = 2.793 * np.exp(-2.0 * (beside / w) ** 2)
    # a dot is split over two pixels of w/5.7: by up to 1/4 or 1/6 pixel² of variance more or less than in the mean
    assert dose[150:250, 150:250] == pytest.approx(expected, abs=0.011 * 2.793)


def test_a_window_holds_only_its_part_of_a_followed_path() -> None:
    events = followed([[0.0, 1.0], [40.0, 1.0]])
    lines = collect(events, grid(rows=20, columns=20, pixel_mm=0.1, x0_mm=14.0), machine=PROMPT)
    assert lines.traced_J is not None
    # 2 mm of it; at the window's ends half a pixel's dots go half each way
    assert float(lines.traced_J.sum()) == pytest.approx(0.3 * 2.0, rel=2e-3)
    elsewhere = collect(events, grid(rows=20, columns=20, pixel_mm=0.1, x0_mm=14.0, y0_mm=30.0), machine=PROMPT)
    assert elsewhere.traced_J is not None
    assert not elsewhere.traced_J.any()


def test_the_many_dots_of_a_long_path_are_laid_down_in_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(13)
    events = followed(np.round(rng.uniform(0.0, 3.0, (9, 2)), 3))
    window = grid(rows=90, columns=80, pixel_mm=0.04)
    pieces = traced_pieces(events, machine=PROMPT)
    assert pieces is not None
    whole = traced_map_J(pieces, window)
    monkeypatch.setattr(dose_module, "DOTS_AT_ONCE", 7)
    assert traced_map_J(pieces, window) == pytest.approx(whole, rel=1e-6)


@pytest.mark.parametrize("axis", ["x", "y"])
def test_what_is_scanned_and_what_is_followed_add_up(axis: str) -> None:
    scanned = burn(PROMPT, np.full((9, 14), 20.0), axis=axis)
    path = followed([[0.1, 0.2], [1.3, 0.9]])
    window = grid(rows=90, columns=100, pixel_mm=0.03, x0_mm=-0.5, y0_mm=-0.5)

    def dose(events: list[Event]) -> NDArray[np.float32]:
        lines = collect(events, window, machine=PROMPT)
        return dose_map_J_per_mm2(lines, beam_radius_mm=0.1, rise_time_s=0.0)

    assert dose([*scanned, *path]) == pytest.approx(dose(scanned) + dose(path), rel=1e-5, abs=1e-6)


def test_a_followed_path_without_its_machine_is_refused() -> None:
    events = followed([[0.0, 0.0], [1.0, 0.0]])
    with pytest.raises(ValueError, match="without the machine"):
        collect(events, grid(rows=4, columns=4, pixel_mm=0.1))
    with pytest.raises(ValueError, match="without the machine"):
        total_energy_J(events)
