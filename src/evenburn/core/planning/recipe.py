"""The recipe search: least time over direction, speed, line spacing, focus offset, passes and scan axis, power solved.

Everything is computed on one grid of candidates at once; each constraint is a mask over it. Where no candidate meets
all, constraints give way in a stated order, and which gave way is told, with by how much.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenburn.core.art.detail import narrowest_kept_mm
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.mark import Axis
from evenburn.core.optics.lines import dwell_ms, effective_passes
from evenburn.core.planning.candidates import (
    AXES,
    CONSTRAINTS,
    SLACK,
    TONE_HOLDS_L,
    Found,
    Table,
    grid_of,
    offsets_asked_mm,
    spacings_mm,
)
from evenburn.core.planning.doubt import CurveDoubt, doubt_at
from evenburn.core.planning.over_lines import Met, OverLines, coarsely_set, half_tone_share, met_tone, over_lines
from evenburn.core.planning.power import power_window_W
from evenburn.core.planning.raster_time import raster_time_s, speed_limit_mm_per_s
from evenburn.core.planning.wish import Wish
from evenburn.core.response.curve import exposure_shift, exposures_for_tones, tone_L
from evenburn.core.tone.ripple import averaged_tone_L, ripple_of
from evenburn.core.tone.vision import unseen_banding_L

FloatArray = NDArray[np.float64]


def search(wish: Wish, *, relaxed: frozenset[str] = frozenset()) -> Found:
    """Return the recipe of least time that meets the wish.

    Parameters
    ----------
    relaxed : names of CONSTRAINTS to leave out, for asking what one of them costs; "power" leaves out the person's cap
        but not the tube's, "least power" halves the power from which the laser fires.

    Source
    ------
    Own derivation, docs/how-it-works/recipe.md.
    """
    tables = tables_of(wish, relaxed=relaxed)
    least = min(int(table.broken.min()) for table in tables)
    found = [f for f in (table.best(least) for table in tables) if f is not None]
    return min(found, key=lambda f: f.time_s)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Asked:
    """What a wish asks of its curve, and what lines leave whatever their speed: reckoned once for both axes.

    `met` is None where a held power, not the tone, says what is burnt.
    """

    exposure: float
    faint_share: float | None
    doubt: CurveDoubt
    lines: OverLines
    met: Met | None


def _asked(wish: Wish) -> _Asked:
    curve = wish.curve
    spacing = spacings_mm(wish)[None, None, :, None, None]
    lines = over_lines(wish, spacing_mm=spacing, offset_mm=offsets_asked_mm(wish)[None, None, None, :, None])
    faint = [] if wish.faint_L is None else [wish.faint_L]
    wished, *rest = exposures_for_tones(curve, np.array([wish.tone_L, *faint])).tolist()
    return _Asked(
        exposure=wished,
        faint_share=float(10.0 ** (rest[0] - wished)) if rest else None,
        doubt=doubt_at(curve, exposure=wished),
        lines=lines,
        met=None if wish.hold.power_W is not None else met_tone(wish, exposure=wished, lines=lines, spacing_mm=spacing),
    )


def tables_of(wish: Wish, *, relaxed: frozenset[str] = frozenset()) -> tuple[Table, ...]:
    """Return every quantity and constraint on the grid of each axis that is searched.

    Parameters
    ----------
    relaxed : as for `search`.

    Source
    ------
    Own derivation, docs/how-it-works/recipe.md.
    """
    asked = _asked(wish)
    axes = AXES if wish.hold.scan_axis is None else (wish.hold.scan_axis,)
    tables = [_evaluate(wish, asked, axis=axis, relaxed=relaxed) for axis in axes]
    if "known range" in relaxed:
        return tuple(tables)
    return _judged_by_known_range(tables)


def _evaluate(wish: Wish, asked: _Asked, *, axis: Axis, relaxed: frozenset[str]) -> Table:
    """Return the table of one axis, its known range not yet judged: that takes all axes."""
    curve, machine = wish.curve, wish.machine
    grid = grid_of(wish, axis=axis)
    one_way = grid.one_way[:, None, None, None, None]
    n = grid.passes[None, :, None, None, None]
    p = grid.spacing_mm[None, None, :, None, None]
    v = grid.speed_mm_per_s[None, None, None, None, :]
    lines = asked.lines
    dwell = dwell_ms(beam_radius_mm=lines.radius_mm, speed_mm_per_s=v)
    over = effective_passes(passes=n, beam_radius_mm=lines.radius_mm, line_spacing_mm=p)
    shift = exposure_shift(curve, dwell_ms=dwell, passes=over)

    if asked.met is not None:
        exposure: FloatArray = np.full((1, 1, 1, 1, 1), asked.exposure)
        power = 10.0 ** (exposure - shift) * (v / n) * p
        middle, share = tone_L(curve, exposure), asked.met.half_tone_share
    else:
        power = np.full((1, 1, 1, 1, 1), wish.hold.power_W)
        exposure = np.log10(n * power / (v * p)) + shift
        middle = tone_L(curve, exposure)
        averaged_L = averaged_tone_L(
            curve, exposure, ripple=ripple_of(beam_radius_mm=lines.radius_mm, line_spacing_mm=p)
        )
        share = half_tone_share(curve, exposure=exposure, tone=averaged_L)
    crest, trough = (tone_L(curve, exposure + lines.to_sharp + at) for at in (lines.on_line, lines.between))
    ripple = np.abs(crest - trough)
    doubt = asked.doubt.ripple_doubt_L(ripple_L=ripple, decades=lines.on_line - lines.between)
    banding = np.minimum(ripple + doubt, np.maximum(ripple, abs(curve.bare_L - curve.full_L)))
    unseen = unseen_banding_L(tone=wish.tone_L, period_mm=p, distance_mm=wish.reading_distance_mm)
    warp = np.maximum(
        *(np.abs(tone_L(curve, exposure + to_there) - middle) for to_there in (lines.to_soft, lines.to_sharp))
    )
    edges = {
        "beam_radius_mm": edge_radius_mm(machine, beam_radius_mm=lines.soft_mm, one_way=one_way),
        "smear_mm": v * machine.rise_time_s,
        "line_spacing_mm": p,
    }
    detail = narrowest_kept_mm(**edges, half_tone_dose_fraction=share)
    if asked.met is not None:
        detail = _at_settable_power(wish, asked.met, detail, edges=edges, power_W=power)
    hottest = exposure + lines.hottest()
    least_W, most_W = power_window_W(machine)
    if "power" in relaxed:
        most_W = machine.power_max_W
    if "least power" in relaxed:
        least_W *= 0.5
    got = {
        "detail": detail,
        "sharpness": detail,
        "banding": banding,
        "warp": warp,
        "known range": asked.doubt.tone_L_sd(dwell_ms=dwell, passes=over),
        "photo range": power * (asked.faint_share or 0.0),
        "char": hottest,
        "tone": middle,
        "run-up": v,
        "power": power,
    }
    excess = {
        "detail": detail - wish.finest_mm(),
        "sharpness": detail - wish.sharpness_mm,
        "banding": banding - unseen * wish.banding_factor,
        "warp": warp - TONE_HOLDS_L,
        "known range": np.full((1, 1, 1, 1, 1), -1.0),
        "photo range": np.full((1, 1, 1, 1, 1), -1.0) if asked.faint_share is None else least_W - got["photo range"],
        "char": hottest - curve.x_char,
        "tone": np.full((1, 1, 1, 1, 1), -1.0)
        if wish.hold.power_W is None
        else np.abs(middle - wish.tone_L) - TONE_HOLDS_L,
        "run-up": v - speed_limit_mm_per_s(machine, axis=axis, room_mm=min(wish.room_mm[axis])),
        "power": np.maximum(least_W - power, power - most_W),
    }
    for name in relaxed & frozenset(CONSTRAINTS) - {"power"}:
        excess[name] = np.full((1, 1, 1, 1, 1), -1.0)
    shape = (grid.one_way.size, grid.passes.size, grid.spacing_mm.size, grid.offset_mm.size, grid.speed_mm_per_s.size)
    time = raster_time_s(wish, axis=axis, speed_mm_per_s=v, line_spacing_mm=p, passes=n, one_way=one_way)
    return Table(
        axis=axis,
        grid=grid,
        shape=shape,
        power_W=power,
        time_s=time,
        ripple_L=ripple,
        detail_mm=detail,
        got=got,
        excess=excess,
        broken=_broken(excess, shape),
    )


def _at_settable_power(
    wish: Wish, met: Met, detail_mm: FloatArray, *, edges: dict[str, FloatArray], power_W: FloatArray
) -> FloatArray:
    """Return the detail that is kept, mended where the S word has coarse steps: few candidates, for erf is dear to invert."""
    coarse, shares = coarsely_set(wish, met, power_W=power_W)
    if not shares.size:
        return detail_mm
    mended = np.broadcast_to(detail_mm, np.broadcast_shapes(detail_mm.shape, coarse.shape)).copy()
    at = np.broadcast_to(coarse, mended.shape)
    picked = {name: np.broadcast_to(values, mended.shape)[at] for name, values in edges.items()}
    each = np.zeros(coarse.shape)
    each[coarse] = shares
    mended[at] = narrowest_kept_mm(**picked, half_tone_dose_fraction=np.broadcast_to(each, mended.shape)[at])
    return mended


def edge_radius_mm(machine: Machine, *, beam_radius_mm: ArrayLike, one_way: ArrayLike) -> FloatArray:
    """Return the 1/e² radius that stands for the beam where edges are judged: wider by what is not known of the reversal.

    Parameters
    ----------
    beam_radius_mm : on the surface; one_way : whether all lines are burnt in one direction. They broadcast. [mm]

    Source
    ------
    Own derivation, docs/how-it-works/detail.md: neighbouring lines half an offset either way, the offset Gaussian, leave
    in the mean the dose of a beam whose variance w²/4 is larger by a quarter of the offset's.
    """
    apart_mm = np.where(one_way, 0.0, machine.reversal_sd_mm)
    return np.asarray(np.hypot(np.asarray(beam_radius_mm), apart_mm), dtype=np.float64)


def _broken(excess: dict[str, FloatArray], shape: tuple[int, ...]) -> NDArray[np.uint16]:
    """Return the number of what does not hold for every candidate; constraints of one shape are added up first."""
    groups: dict[tuple[int, ...], NDArray[np.uint16]] = {}
    for bit, name in enumerate(CONSTRAINTS):
        bits = (excess[name] > SLACK).astype(np.uint16) << np.uint16(bit)
        before = groups.get(bits.shape)
        groups[bits.shape] = bits if before is None else before + bits
    total = np.zeros(shape, np.uint16)
    for bits in sorted(groups.values(), key=lambda b: b.size):
        total += bits
    return total


def _judged_by_known_range(tables: Sequence[Table]) -> tuple[Table, ...]:
    """Return tables in which leaving the dwell and passes at which the curve is known best counts.

    By what the tone's standard deviation grows above the least of all candidates that the machine can burn there has to
    stay below what is noticed. So where the bench is slow or weak it asks for what is known best within its reach.

    Source
    ------
    Own derivation, docs/how-it-works/recipe.md.
    """
    cannot = np.uint16(sum(1 << CONSTRAINTS.index(name) for name in ("run-up", "power")))
    burnable = []
    for table in tables:
        can = ((table.broken & cannot) == 0).any(axis=0)
        sd = table.got["known range"][0]
        burnable += [sd[can[tuple(slice(0, s) for s in can.shape)]]] if can.any() else []
    known = np.concatenate(burnable) if burnable else np.concatenate([t.got["known range"].ravel() for t in tables])
    least = float(known.min())
    bit = np.uint16(1 << CONSTRAINTS.index("known range"))
    judged = []
    for table in tables:
        strayed = table.got["known range"] - least
        excess = strayed - TONE_HOLDS_L
        judged.append(
            replace(
                table,
                got={**table.got, "known range": strayed},
                excess={**table.excess, "known range": excess},
                broken=table.broken + bit * (excess > SLACK).astype(np.uint16),
            )
        )
    return tuple(judged)


def without_room_limit(wish: Wish) -> Wish:
    """Return the wish with endless room on every side. Definition."""
    return replace(wish, room_mm=dict.fromkeys(wish.room_mm, (1000000000.0, 1000000000.0)))
