"""The recipe search once more, as plain loops over plain numbers, sharing nothing with it but its list of candidates."""

from __future__ import annotations

import math
import pickle
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

from evenburn.core.nouns.mark import Axis
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.planning.wish import Wish

SPACINGS_mm = (0.04, 0.05, 0.06, 0.07, 0.08, 0.09, 0.10, 0.11, 0.12, 0.14, 0.16, 0.18, 0.20, 0.25, 0.30)
# what may give way, least important first
ORDER = (
    "detail",
    "sharpness",
    "banding",
    "warp",
    "known range",
    "photo range",
    "char",
    "tone",
    "run-up",
    "power",
)
NOTICED_L = 2.3
PARAMETERS = (
    "bare_L",
    "full_L",
    "x_mid",
    "steepness_per_decade",
    "asymmetry",
    "reversal_L",
    "x_reversal",
    "kappa",
    "pass_exponent",
)
SAME_DETAIL_mm = 1e-3  # over a ripple other places are averaged, and the search lets go of what moves an edge by less
PLACES = 24  # from a line to midway between two
SLACK = 2e-3  # in units of each constraint: the search inverts the curve by table, the loops by bisection


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One recipe and by how much it exceeds each constraint; at most SLACK is no excess."""

    axis: Axis
    passes: int
    spacing_mm: float
    offset_mm: float
    speed_mm_per_s: float
    power_W: float
    time_s: float
    ripple_L: float
    detail_mm: float
    tone_L_sd: float
    excess: dict[str, float]
    one_way: bool = False

    def broken(self, *, slack: float = 0.0) -> tuple[str, ...]:
        return tuple(name for name in ORDER if self.excess[name] > slack)


def tone_of(c: CharacteristicCurve, x: float) -> float:
    if x == -math.inf:
        return c.bare_L
    k, nu = c.steepness_per_decade, c.asymmetry
    rise = (1.0 + (2.0**nu - 1.0) * math.exp(-k * (x - c.x_mid))) ** (-1.0 / nu)
    return c.bare_L + (c.full_L - c.bare_L) * rise + c.reversal_L / (1.0 + math.exp(-k * (x - c.x_reversal)))


_TURNS: dict[int, tuple[CharacteristicCurve, float]] = {}  # with the curve, so that its number stays its own


def turn_of(c: CharacteristicCurve) -> float:
    """Return the exposure of the extreme tone below the char limit."""
    if id(c) not in _TURNS:
        way = -1.0 if c.full_L < c.bare_L else 1.0
        low, high = c.x_low, min(c.x_high, c.x_char)
        _TURNS[id(c)] = c, max((low + (high - low) * i / 4000 for i in range(4001)), key=lambda x: way * tone_of(c, x))
    return _TURNS[id(c)][1]


def exposure_of(c: CharacteristicCurve, tone: float) -> float:
    """Return the exposure of a tone by bisection, below the char limit and the turn; the end where there is none."""
    way = -1.0 if c.full_L < c.bare_L else 1.0
    low, high = c.x_low, turn_of(c)
    if way * (tone_of(c, low) - tone) >= 0.0:
        return low
    if way * (tone_of(c, high) - tone) <= 0.0:
        return high
    for _ in range(40):
        middle = 0.5 * (low + high)
        if way * (tone_of(c, middle) - tone) < 0.0:
            low = middle
        else:
            high = middle
    return low


def moved(c: CharacteristicCurve, name: str, by: float) -> CharacteristicCurve:
    return replace(c, **{name: getattr(c, name) + by})


def slope_at(c: CharacteristicCurve, tone: float, near: float) -> float:
    """Return the slope where a curve has a tone, found by bisection about an exposure."""
    way = -1.0 if c.full_L < c.bare_L else 1.0
    low, high = near - 0.05, near + 0.05
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if way * (tone_of(c, middle) - tone) < 0.0 else (low, middle)
    return (tone_of(c, low + 1e-4) - tone_of(c, low - 1e-4)) / 2e-4


def derivatives(c: CharacteristicCurve, of: Callable[[CharacteristicCurve], float]) -> list[float]:
    return [(of(moved(c, name, 1e-4)) - of(moved(c, name, -1e-4))) / 2e-4 for name in PARAMETERS]


def deviation(c: CharacteristicCurve, by: list[float]) -> float:
    """Return √(J C Jᵀ), summed in loops."""
    many = range(len(by))
    return math.sqrt(max(0.0, sum(by[i] * float(c.covariance[i][k]) * by[k] for i in many for k in many)))


def inverse_erf(share: float) -> float:
    low, high = 0.0, 6.0
    for _ in range(45):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if math.erf(middle) < share else (low, middle)
    return low


@cache
def like_lines(radius_mm: float, spacing_mm: float) -> float:
    """Return how many like lines those that burn a place are worth, from 64 places: (Σ H)² / Σ H²."""
    far = math.ceil(3.0 * radius_mm / spacing_mm)
    doses = [
        [math.exp(-2.0 * ((k + place / 64.0) * spacing_mm / radius_mm) ** 2) for k in range(-far, far + 1)]
        for place in range(64)
    ]
    return sum(sum(d) for d in doses) ** 2 / 64.0 / sum(sum(h * h for h in d) for d in doses)


def burnt_over(passes: int, radius_mm: float, spacing_mm: float) -> float:
    """Return passes, counted in passes of lines three quarters of a radius apart."""
    return passes * max(1.0, like_lines(radius_mm, spacing_mm)) / like_lines(1.0, 0.75)


def lines_sum(w: float, p: float, place: float) -> float:
    """Return dose over mean at a place, line by line."""
    return sum(math.sqrt(2.0 / math.pi) * p / w * math.exp(-2.0 * ((place - k) * p / w) ** 2) for k in range(-60, 61))


def lightness(y: float) -> float:
    return 116.0 * y ** (1.0 / 3.0) - 16.0 if y > 216.0 / 24389.0 else 24389.0 / 27.0 * y


def unseen(tone: float, p: float, distance_mm: float) -> float:
    """Return the banding that is not seen: Mannos and Sakrison's curve, 200 at its best, 1 L* at most."""
    cpd = 2.0 * distance_mm * math.tan(math.radians(0.5)) / p
    relative = 2.6 * (0.0192 + 0.114 * cpd) * math.exp(-((0.114 * cpd) ** 1.1))
    contrast = min(0.5, 1.0 / (200.0 * max(relative, 1e-6)))
    y = ((tone + 16.0) / 116.0) ** 3 if tone > 8.0 else tone * 27.0 / 24389.0
    return min(1.0, lightness(y * (1.0 + contrast)) - lightness(y * (1.0 - contrast)))


def seen_L(c: CharacteristicCurve, mean: float, over: list[float]) -> float:
    """Return the lightness of the mean reflectance over places that get so much more than the mean exposure."""
    total = 0.0
    for decades in over:
        tone = tone_of(c, mean + decades)
        total += ((tone + 16.0) / 116.0) ** 3 if tone > 8.0 else tone * 27.0 / 24389.0
    return lightness(total / len(over))


def mean_for(c: CharacteristicCurve, even: float, over: list[float], room: float) -> float:
    """Return the mean exposure at which places are seen as the tone of an even one, by bisection, up to the char limit."""
    way, wished = -1.0 if c.full_L < c.bare_L else 1.0, tone_of(c, even)
    low, high = even - 0.5, even + 0.5
    for _ in range(30):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if way * (seen_L(c, middle, over) - wished) < 0.0 else (low, middle)
    return min(low, even + max(room, 0.0))


def set_W(wish: Wish, power: float) -> float:
    """Return the power that the S word can say, nearest to one that fires and is allowed."""
    m = wish.machine
    (f0, w0), (f1, w1) = next(pair for pair in pairwise(m.power_curve) if pair[0][1] <= power <= pair[1][1])
    steps = m.power_word_max
    assert steps >= 1000.0  # else decimals
    word = (f0 + (f1 - f0) * (power - w0) / (w1 - w0)) * steps
    word = min(max(round(word), math.ceil(m.power_least_fraction * steps)), math.floor(m.power_cap_fraction * steps))
    return watts(wish, word / steps)


def reach_of(c: CharacteristicCurve, mean: float, tone: float) -> float:
    share = 10.0 ** min(exposure_of(c, 0.5 * (c.bare_L + tone)) - mean, -1e-3)
    return math.sqrt(2.0) * max(inverse_erf(share), inverse_erf(1.0 - share))


def ramp_s(v: float, a: float, j: float | None) -> float:
    if j is None:
        return v / a
    return v / a + a / j if v >= a * a / j else 2.0 * math.sqrt(v / j)


def step_s(p: float, a: float, j: float | None) -> float:
    """Return the time across one line spacing, too short for top speed and, with jerk, for full acceleration."""
    return 2.0 * math.sqrt(p / a) if j is None else 4.0 * (p / (2.0 * j)) ** (1.0 / 3.0)


def way_s(length: float, v: float, a: float, j: float | None) -> float:
    """Return the time of a rapid from rest to rest; with jerk only where it reaches its speed."""
    ramp = ramp_s(v, a, j)
    if length >= v * ramp:
        return length / v + ramp
    assert j is None
    return 2.0 * math.sqrt(length / a)


def watts(wish: Wish, fraction: float) -> float:
    points = wish.machine.power_curve
    for (f0, w0), (f1, w1) in pairwise(points):
        if f0 <= fraction <= f1:
            return w0 + (w1 - w0) * (fraction - f0) / (f1 - f0)
    raise AssertionError(fraction)


def top_speed(wish: Wish, axis: Axis) -> float:
    """Return the speed whose run-up and lead just fit, by bisection."""
    m = wish.machine
    a = m.accel_x_mm_per_s2 if axis == "x" else m.accel_y_mm_per_s2
    low, high = 0.0, 1e5
    for _ in range(100):
        v = 0.5 * (low + high)
        need = 0.5 * v * ramp_s(v, a, m.jerk_mm_per_s3) + abs(v * m.rise_time_s + 0.5 * m.reversal_offset_mm)
        low, high = (v, high) if need <= min(wish.room_mm[axis]) else (low, v)
    return low


def candidates(wish: Wish) -> list[Candidate]:
    """Return every candidate with what it exceeds; constraints that a held setting decides included."""
    return _tried(pickle.dumps(wish))


@cache
def _tried(pickled_wish: bytes) -> list[Candidate]:
    wish: Wish = pickle.loads(pickled_wish)  # noqa: S301  # our own, a moment ago: the same wish is asked about often
    tried = list(_candidates(wish))
    burnable = [c for c in tried if c.excess["run-up"] <= 1e-9 and c.excess["power"] <= 1e-9] or tried
    known = min(c.tone_L_sd for c in burnable)
    for c in tried:
        c.excess["known range"] = c.tone_L_sd - known - NOTICED_L
    return tried


def _candidates(wish: Wish) -> Iterator[Candidate]:
    m, c, hold, beam = wish.machine, wish.curve, wish.hold, wish.beam
    wished = exposure_of(c, wish.tone_L)
    slope = (tone_of(c, wished + 1e-4) - tone_of(c, wished - 1e-4)) / 2e-4
    here = tone_of(c, wished)
    steeper = deviation(c, derivatives(c, lambda curve: slope_at(curve, here, wished)))
    shape = derivatives(c, lambda curve: tone_of(curve, wished))
    least, most = watts(wish, m.power_least_fraction), watts(wish, m.power_cap_fraction)
    faint = 10.0 ** (exposure_of(c, wish.faint_L) - wished) if wish.faint_L is not None else None
    count = math.ceil((4.0 * beam.rayleigh_length_mm + 0.5) / 0.5 - 1e-12)
    offsets = [0.5 * i for i in range(count)]
    if hold.focus_offset_mm is not None:
        offsets = [hold.focus_offset_mm]
    elif wish.common_offset_mm is not None:
        offsets = [wish.common_offset_mm]
    spacings = SPACINGS_mm if hold.line_spacing_mm is None else (hold.line_spacing_mm,)
    own = [wish.sharpness_mm, *(x for x in (wish.widths.stroke_mm, wish.widths.gap_mm) if x is not None)]
    if hold.direction is not None:
        ways = [hold.direction == "one way"]
    else:
        ways = [False, True] if m.reversal_sd_mm > 0.0 else [False]
    axes: tuple[Axis, ...] = ("x", "y") if hold.scan_axis is None else (hold.scan_axis,)

    def radius(z: float) -> float:
        return beam.waist_radius_mm * math.sqrt(1.0 + (z / beam.rayleigh_length_mm) ** 2)

    for axis in axes:
        a = m.accel_x_mm_per_s2 if axis == "x" else m.accel_y_mm_per_s2
        across = m.accel_y_mm_per_s2 if axis == "x" else m.accel_x_mm_per_s2
        limit = top_speed(wish, axis)
        speeds = {m.speed_max_mm_per_s}
        v = 10.0
        while v < m.speed_max_mm_per_s:
            speeds.add(v)
            v += 5.0
        if 1.0 <= math.floor(limit) <= m.speed_max_mm_per_s:
            speeds.add(float(math.floor(limit)))
        if hold.speed_mm_per_s is not None:
            speeds = {hold.speed_mm_per_s}
        profile = wish.profiles[axis]
        for z in offsets:
            w, sharp, soft = (
                radius(z),
                radius(max(abs(z) - wish.unevenness_mm, 0.0)),
                radius(abs(z) + wish.unevenness_mm),
            )
            to_sharp, to_soft = c.kappa * math.log10(sharp / w), c.kappa * math.log10(soft / w)
            for p in spacings:
                crest, trough = (max(lines_sum(sharp, p, place), 1e-300) for place in (0.0, 0.5))
                soft_crest = lines_sum(soft, p, 0.0)
                places = [math.log10(max(lines_sum(w, p, (i + 0.5) / (2 * PLACES)), 1e-300)) for i in range(PLACES)]
                hottest = max(to_sharp + math.log10(crest), to_soft + math.log10(soft_crest))
                mean = mean_for(c, wished, places, c.x_char - wished - hottest)
                reaches: dict[float, float] = {}  # by what rounding the S word adds, to a thousandth of a decade
                sees = unseen(wish.tone_L, p, wish.reading_distance_mm) * wish.banding_factor
                for n in (1, 2) if hold.passes is None else (hold.passes,):
                    for v in sorted(speeds):
                        over = burnt_over(n, w, p)
                        shift = c.kappa * math.log10(2e3 * w / v) + (c.pass_exponent - 1.0) * math.log10(over)
                        if hold.power_W is None:
                            x = wished
                            power = 10.0 ** (x - shift) * v * p / n
                        else:
                            power = hold.power_W
                            x = math.log10(n * power / (v * p)) + shift
                        if hold.power_W is None:
                            solved = power * 10.0 ** (mean - wished)
                            wanted = most if power <= most else solved
                            inside = least <= min(solved, wanted) <= most
                            more = round(math.log10(set_W(wish, min(solved, wanted)) / solved), 3) if inside else 0.0
                        else:
                            more = round(x - mean, 3)  # the power stands, whatever the ripple
                        if more not in reaches:
                            there = mean + more
                            reaches[more] = reach_of(c, there, seen_L(c, there, places))
                        reach = reaches[more]
                        on, off = x + to_sharp + math.log10(crest), x + to_sharp + math.log10(trough)
                        ripple = abs(tone_of(c, on) - tone_of(c, off))
                        ripple += min(steeper * (on - off), steeper / abs(slope) * ripple)
                        middle = tone_of(c, x)
                        by = [*shape[:7], slope * math.log10(2e3 * w / v), slope * math.log10(over)]
                        known = deviation(c, by)
                        lines = profile.rows_mm / p
                        each = 2.0 * ramp_s(v, a, m.jerk_mm_per_s3) + m.line_overhead_s
                        across_s = step_s(p, across, m.jerk_mm_per_s3)
                        for one_way in ways:
                            apart = 0.0 if one_way else m.reversal_sd_mm
                            detail = reach * math.sqrt(soft**2 + (2.0 * v * m.rise_time_s) ** 2 + apart**2) + 0.5 * p
                            turn_s = across_s
                            if one_way:
                                back_mm = profile.hull_mm2 / profile.rows_mm + v * ramp_s(v, a, m.jerk_mm_per_s3)
                                turn_s = max(across_s, way_s(back_mm, m.rapid_mm_per_s, a, m.jerk_mm_per_s3))
                            time = n * (profile.hull_mm2 / (p * v) + lines * (each + turn_s) + profile.wander_mm / v)
                            yield Candidate(
                                axis=axis,
                                passes=n,
                                spacing_mm=p,
                                offset_mm=z,
                                speed_mm_per_s=v,
                                power_W=power,
                                time_s=time,
                                ripple_L=ripple,
                                detail_mm=detail,
                                tone_L_sd=known,
                                one_way=one_way,
                                excess={
                                    "detail": detail - min(own),
                                    "sharpness": detail - wish.sharpness_mm,
                                    "banding": ripple - sees,
                                    "warp": max(
                                        abs(tone_of(c, x + to_soft) - middle), abs(tone_of(c, x + to_sharp) - middle)
                                    )
                                    - NOTICED_L,
                                    "photo range": -1.0 if faint is None else least - power * faint,
                                    "char": max(on, x + to_soft + math.log10(soft_crest)) - c.x_char,
                                    "tone": -1.0 if hold.power_W is None else abs(middle - wish.tone_L) - NOTICED_L,
                                    "run-up": v - limit,
                                    "power": max(least - power, power - most),
                                },
                            )


def rank(broken: tuple[str, ...]) -> int:
    """Return how badly a set of constraints gives way: the most important one decides, then the next."""
    return sum(1 << ORDER.index(name) for name in broken)
