"""A machine drawn: the bed with its run-ups, a lens with its beam, the power that comes of a setting. Only drawing, in ink.

Places are px of a viewBox, y down; numbers of the machine come from services and are only scaled here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, log10
from typing import Literal

from evenburn.services.book.machine_of import LensSheet, MachinePage
from evenburn.web.figures import fixed, mm, speed, trimmed

NB = "\u00a0"
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line from one place to another."""

    x0: float
    y0: float
    x1: float
    y1: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A text at a place; `strong` where it is what one looks for."""

    x: float
    y: float
    text: str
    anchor: Anchor = "start"
    strong: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A box by its upper left corner."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """What every drawing is made of: ticks and labels of its axes, what is hatched, what is dashed, what is led out."""

    width: float
    height: float
    frame: Box
    hatched: tuple[Box, ...]
    dashed: tuple[Line, ...]
    ticks: tuple[Line, ...]
    leaders: tuple[Line, ...]
    dots: tuple[tuple[float, float], ...]
    labels: tuple[Label, ...]
    path: str = ""
    said: str = ""


# ---- the bed -----------------------------------------------------------------------------------------------------

_BED_W, _BED_H, _LEFT, _TOP, _ROW = 400.0, 300.0, 44.0, 14.0, 28.0
_ALONG_X, _ALONG_Y = 100.0, 180.0  # of the list's columns, from where it begins
_LONG_mm = 1000.0  # a run-up from here on is told to 1 mm: its tenth says nothing, and would reach into the next column


def bed_drawing(machine: MachinePage) -> Drawing:
    """Return the bed: hatched where the head gathers the greatest speed along x, dashed for slower ones, led out to a list."""
    scale = min(_BED_W / machine.bed_x_mm, _BED_H / machine.bed_y_mm)
    wide, high = machine.bed_x_mm * scale, machine.bed_y_mm * scale
    right, foot = _LEFT + wide, _TOP + high
    most = machine.reaches[0]
    strip = min(most.run_up_x_mm * scale, wide / 2.0)
    hatched = (
        Box(x=_LEFT, y=_TOP, width=strip, height=high),
        Box(x=right - strip, y=_TOP, width=strip, height=high),
    )
    list_x = right + 52.0
    labels = [
        Label(x=list_x, y=_TOP + 10.0, text="speed of lines"),
        Label(x=list_x + _ALONG_X, y=_TOP + 10.0, text="along x"),
        Label(x=list_x + _ALONG_Y, y=_TOP + 10.0, text="along y"),
    ]
    dashed: list[Line] = []
    leaders: list[Line] = []
    dots: list[tuple[float, float]] = []
    for number, reach in enumerate(machine.reaches):
        y = _TOP + 34.0 + number * _ROW
        x = right - min(reach.run_up_x_mm * scale, wide / 2.0)
        if number:
            dashed += [
                Line(x0=x, y0=_TOP, x1=x, y1=foot),
                Line(x0=_LEFT + right - x, y0=_TOP, x1=_LEFT + right - x, y1=foot),
            ]
        dots.append((x, y))
        leaders.append(Line(x0=x, y0=y, x1=list_x - 8.0, y1=y))
        strong = number == 0
        labels += [
            Label(x=list_x, y=y + 5.0, text=speed(reach.speed_mm_per_s), strong=strong),
            Label(x=list_x + _ALONG_X, y=y + 5.0, text=run_up_text(reach.run_up_x_mm), strong=strong),
            Label(x=list_x + _ALONG_Y, y=y + 5.0, text=run_up_text(reach.run_up_y_mm), strong=strong),
        ]
    ticks: list[Line] = []
    for at in _steps(machine.bed_x_mm, most=8):
        x = _LEFT + at * scale
        ticks.append(Line(x0=x, y0=foot, x1=x, y1=foot + 5.0))
        labels.append(Label(x=x, y=foot + 20.0, text=_shown(at, machine.bed_x_mm), anchor="middle"))
    for at in _steps(machine.bed_y_mm, most=6):
        y = foot - at * scale
        ticks.append(Line(x0=_LEFT - 5.0, y0=y, x1=_LEFT, y1=y))
        labels.append(Label(x=_LEFT - 9.0, y=y + 4.5, text=trimmed(at, 1), anchor="end"))
    return Drawing(
        width=760.0,
        height=max(foot, _TOP + 34.0 + _ROW * len(machine.reaches)) + 28.0,
        frame=Box(x=_LEFT, y=_TOP, width=wide, height=high),
        hatched=hatched,
        dashed=tuple(dashed),
        ticks=tuple(ticks),
        leaders=tuple(leaders),
        dots=tuple(dots),
        labels=tuple(labels),
        said=f"The bed, {mm(machine.bed_x_mm, 0)} wide and {mm(machine.bed_y_mm, 0)} deep. At {speed(most.speed_mm_per_s)} "
        f"a strip of {run_up_text(most.run_up_x_mm)} at the left and the right is needed for run-up.",
    )


def run_up_text(length_mm: float) -> str:
    """Return a run-up as the list tells it, a long one without its tenth."""
    return mm(length_mm, 0 if length_mm >= _LONG_mm else 1)


def list_from(machine: MachinePage) -> float:
    """Return where in the drawing of the bed its list begins. [px]"""
    return round(_LEFT + machine.bed_x_mm * min(_BED_W / machine.bed_x_mm, _BED_H / machine.bed_y_mm) + 44.0, 1)


def list_tall(machine: MachinePage) -> float:
    """Return how tall that list is. [px]"""
    return _TOP + 34.0 + _ROW * (len(machine.reaches) - 1) + 16.0


def _steps(length: float, *, most: int) -> tuple[float, ...]:
    """Return round places from 0 to a length, so many at most, its end among them only if it is round."""
    rough = length / most
    power = 10.0 ** floor(log10(rough))
    step = next(power * m for m in (1.0, 2.0, 5.0, 10.0) if power * m >= rough)
    return tuple(step * n for n in range(floor(length / step + 1e-9) + 1))


def _shown(at: float, length: float) -> str:
    text = trimmed(at, 1)
    step_is_last = at + _steps(length, most=8)[1] > length
    return f"{text}{NB}mm" if step_is_last else text


# ---- a lens and its beam -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class LensDrawing:
    """A lens from the side, true to scale, and beside it the beam about its waist, much wider than it is."""

    width: float
    height: float
    lens: str
    beam: str
    nozzle: str
    work: Line
    axis: Line
    dims: tuple[Line, ...]
    arrows: tuple[str, ...]
    envelope: str
    depth: Box
    waist_axis: Line
    cross_axis: Line
    dashed: tuple[Line, ...]
    ticks: tuple[Line, ...]
    dots: tuple[tuple[float, float, float], ...]
    labels: tuple[Label, ...]
    said: str


_SIDE_W, _SIDE_H, _SIDE_TOP = 270.0, 236.0, 34.0
_CAUSTIC_X, _CAUSTIC_W, _CAUSTIC_H = 360.0, 330.0, 150.0


def lens_drawing(lens: LensSheet, *, measured: Sequence[tuple[float, float, float]] = ()) -> LensDrawing:
    """Return a lens as drawn.

    Parameters
    ----------
    measured : focus offset, radius and its standard deviation of single set-ups of a ladder, where there is one. [mm]
    """
    scale = min(_SIDE_H / lens.focal_length_mm, 90.0 / lens.beam_diameter_mm)
    mid = _SIDE_W / 2.0
    top, foot = _SIDE_TOP, _SIDE_TOP + lens.focal_length_mm * scale
    half = lens.beam_diameter_mm * scale / 2.0
    glass = half * 1.6
    waist = max(lens.waist_radius_mm * scale, 0.6)
    tip = foot - lens.focus_stand_off_mm * scale
    at_tip = half * lens.focus_stand_off_mm / lens.focal_length_mm + 4.0
    side_labels, dims, arrows = _side_dimensions(lens, mid=mid, top=top, foot=foot, tip=tip, half=half, glass=glass)
    height = max(foot + 26.0, _SIDE_TOP + _CAUSTIC_H + 60.0)
    body_top = min(top + 16.0, tip - 6.0)
    nozzle = (
        f"M{mid - glass:.1f} {body_top:.1f}L{mid - at_tip:.1f} {tip:.1f}M{mid + glass:.1f} {body_top:.1f}L{mid + at_tip:.1f} {tip:.1f}"
        f"M{mid - at_tip:.1f} {tip:.1f}h-5M{mid + at_tip:.1f} {tip:.1f}h5"
    )
    reach_mm = lens.caustic[-1][0]
    widest_mm = max(*(r for _, r in lens.caustic), max((r + s for _, r, s in measured), default=0.0))
    across, up = _CAUSTIC_W / (2.0 * reach_mm), _CAUSTIC_H / 2.0 / widest_mm
    cx, cy = _CAUSTIC_X + _CAUSTIC_W / 2.0, _SIDE_TOP + 10.0 + _CAUSTIC_H / 2.0
    upper = " ".join(f"{cx + z * across:.1f},{cy - r * up:.1f}" for z, r in lens.caustic)
    lower = " ".join(f"{cx + z * across:.1f},{cy + r * up:.1f}" for z, r in reversed(lens.caustic))
    bottom = cy + _CAUSTIC_H / 2.0
    step = _steps(reach_mm, most=3)[1]
    marks = [step * n for n in range(-floor(reach_mm / step), floor(reach_mm / step) + 1)]
    ticks = tuple(Line(x0=cx + z * across, y0=bottom, x1=cx + z * across, y1=bottom + 5.0) for z in marks)
    w0 = lens.waist_radius_mm * up
    labels = [
        *side_labels,
        *(
            Label(
                x=cx + z * across,
                y=bottom + 20.0,
                text=f"{'+' if z > 0 else ''}{trimmed(z, 2)}{f'{NB}mm' if z == marks[-1] else ''}",
                anchor="middle",
            )
            for z in marks
        ),
        Label(x=cx, y=bottom + 38.0, text="focus offset: nearer on the left, further on the right", anchor="middle"),
        Label(x=cx, y=_SIDE_TOP - 8.0, text=f"5{NB}% wider within ±{NB}{mm(lens.depth_mm, 2)}", anchor="middle"),
        Label(
            x=cx,
            y=cy - w0 - 24.0,
            text=f"{mm(2.0 * lens.waist_radius_mm, 3)} at the waist",
            anchor="middle",
            strong=True,
        ),
    ]
    dots = tuple(
        (cx + z * across, cy - r * up, max(s * up, 0.0)) for z, r, s in measured if abs(z) <= reach_mm and r > 0.0
    )
    return LensDrawing(
        width=720.0,
        height=height,
        lens=f"M{mid - glass:.1f} {top:.1f}Q{mid:.1f} {top - 15.0:.1f} {mid + glass:.1f} {top:.1f}Q{mid:.1f} {top - 4.0:.1f} {mid - glass:.1f} {top:.1f}Z",
        beam=f"M{mid - half:.1f} {top - 26.0:.1f}V{top - 2.0:.1f}L{mid - waist:.1f} {foot:.1f}M{mid + half:.1f} {top - 26.0:.1f}V{top - 2.0:.1f}L{mid + waist:.1f} {foot:.1f}",
        nozzle=nozzle,
        work=Line(x0=mid - 86.0, y0=foot, x1=mid + 98.0, y1=foot),
        axis=Line(x0=mid, y0=top - 32.0, x1=mid, y1=foot + 10.0),
        dims=dims,
        arrows=arrows,
        envelope=f"{upper} {lower}",
        depth=Box(
            x=cx - lens.depth_mm * across,
            y=cy - _CAUSTIC_H / 2.0,
            width=2.0 * lens.depth_mm * across,
            height=_CAUSTIC_H,
        ),
        waist_axis=Line(x0=cx, y0=cy - _CAUSTIC_H / 2.0, x1=cx, y1=bottom),
        cross_axis=Line(x0=_CAUSTIC_X, y0=cy, x1=_CAUSTIC_X + _CAUSTIC_W, y1=cy),
        dashed=(Line(x0=_CAUSTIC_X, y0=bottom, x1=_CAUSTIC_X + _CAUSTIC_W, y1=bottom),),
        ticks=ticks,
        dots=dots,
        labels=tuple(labels),
        said=f"The {lens.name} lens from the side: focal length {mm(lens.focal_length_mm)}, focus stand-off "
        f"{mm(lens.focus_stand_off_mm, 2)}. The beam is {mm(2.0 * lens.waist_radius_mm, 3)} wide at its waist.",
    )


def _side_dimensions(
    lens: LensSheet, *, mid: float, top: float, foot: float, tip: float, half: float, glass: float
) -> tuple[list[Label], tuple[Line, ...], tuple[str, ...]]:
    left, right = mid - glass - 26.0, mid + 96.0
    dims = (
        Line(x0=left, y0=top, x1=left, y1=foot),
        Line(x0=left - 5.0, y0=top, x1=mid - glass - 4.0, y1=top),
        Line(x0=right, y0=tip, x1=right, y1=foot),
        Line(x0=mid + 22.0, y0=tip, x1=right + 5.0, y1=tip),
    )
    arrows = (*_arrow(left, top, foot), *_arrow(right, tip, foot))
    labels = [
        Label(x=left - 8.0, y=(top + foot) / 2.0, text=mm(lens.focal_length_mm), anchor="end"),
        Label(x=right + 9.0, y=(tip + foot) / 2.0 + 5.0, text=mm(lens.focus_stand_off_mm, 2), strong=True),
        Label(x=right + 9.0, y=(tip + foot) / 2.0 + 21.0, text="focus stand-off"),
        Label(x=mid + half + 12.0, y=top - 18.0, text=f"beam {mm(lens.beam_diameter_mm)}"),
        Label(x=left - 8.0, y=(top + foot) / 2.0 + 16.0, text="focal length", anchor="end"),
    ]
    return labels, dims, arrows


def _arrow(x: float, y0: float, y1: float) -> tuple[str, str]:
    return (
        f"M{x - 3:.1f} {y0 + 8:.1f}L{x:.1f} {y0:.1f}L{x + 3:.1f} {y0 + 8:.1f}Z",
        f"M{x - 3:.1f} {y1 - 8:.1f}L{x:.1f} {y1:.1f}L{x + 3:.1f} {y1 - 8:.1f}Z",
    )


# ---- power -------------------------------------------------------------------------------------------------------

_PLOT_W, _PLOT_H, _PLOT_X, _PLOT_Y = 560.0, 190.0, 52.0, 22.0


def power_drawing(machine: MachinePage) -> Drawing:
    """Return the power on the work against the power setting; hatched where no recipe goes."""
    most_W = machine.power_points[-1][1]
    steps = _steps(most_W, most=5)
    top_W = max(most_W, ceil(most_W / steps[1]) * steps[1])

    def x_of(fraction: float) -> float:
        return _PLOT_X + fraction * _PLOT_W

    def y_of(power_W: float) -> float:
        return _PLOT_Y + _PLOT_H * (1.0 - power_W / top_W)

    foot = _PLOT_Y + _PLOT_H
    least, cap = machine.power_least_fraction, machine.power_cap_fraction
    hatched = [
        Box(x=x_of(a), y=_PLOT_Y, width=(b - a) * _PLOT_W, height=_PLOT_H)
        for a, b in ((0.0, least), (cap, 1.0))
        if b > a
    ]
    ticks = [Line(x0=x_of(n / 5), y0=foot, x1=x_of(n / 5), y1=foot + 5.0) for n in range(6)]
    labels = [
        Label(x=x_of(n / 5), y=foot + 20.0, text=f"{n * 20}{f'{NB}%' if n == 5 else ''}", anchor="middle")
        for n in range(6)
    ]
    dashed = []
    for at in _steps(top_W, most=5):
        dashed.append(Line(x0=_PLOT_X, y0=y_of(at), x1=_PLOT_X + _PLOT_W, y1=y_of(at)))
        text = f"{trimmed(at, 1)}{f'{NB}W' if at + steps[1] > top_W else ''}"
        labels.append(Label(x=_PLOT_X - 9.0, y=y_of(at) + 4.5, text=text, anchor="end"))
    given = [(f, w) for f, w in machine.power_points if f > 0.0]
    labels += [
        Label(x=x_of(least) + 40.0, y=foot - 8.0, text=f"{fixed(machine.power_least_W)}{NB}W, the least that fires"),
        Label(
            x=x_of(cap) - 12.0,
            y=max(y_of(machine.power_cap_W) - 2.0, _PLOT_Y + 14.0),
            text=f"{fixed(machine.power_cap_W)}{NB}W, the most a recipe takes",
            anchor="end",
            strong=True,
        ),
        Label(x=_PLOT_X + _PLOT_W / 2.0, y=foot + 38.0, text="power setting", anchor="middle"),
    ]
    leaders = tuple(Line(x0=x_of(f), y0=_PLOT_Y, x1=x_of(f), y1=foot) for f in (least, cap) if 0.0 < f < 1.0)
    return Drawing(
        width=640.0,
        height=foot + 48.0,
        frame=Box(x=_PLOT_X, y=_PLOT_Y, width=_PLOT_W, height=_PLOT_H),
        hatched=tuple(hatched),
        dashed=tuple(dashed),
        ticks=tuple(ticks),
        leaders=leaders,
        dots=tuple((x_of(f), y_of(w)) for f, w in given),
        labels=tuple(labels),
        path="M" + "L".join(f"{x_of(f):.1f} {y_of(w):.1f}" for f, w in machine.power_points),
        said=f"Power on the work rises to {fixed(most_W)}{NB}W at 100{NB}%; recipes choose from "
        f"{fixed(machine.power_least_W)} to {fixed(machine.power_cap_W)}{NB}W.",
    )


# ---- how a vernier is read ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class VernierDrawing:
    """Strokes of a vernier as they look: upper and lower ones, of which one pair stands in one line."""

    strokes: tuple[tuple[Line, bool], ...]
    labels: tuple[Label, ...]


def vernier_drawing(*, meets: int = 2, last: int = 8, apart: float = 24.0, more: float = 3.0) -> VernierDrawing:
    """Return a vernier whose strokes of one number line up.

    Parameters
    ----------
    more : by how much the lower strokes stand wider apart. [px]
    """
    middle, seam = 240.0, 62.0
    strokes: list[tuple[Line, bool]] = []
    labels = [
        Label(x=middle, y=14.0, text="0", anchor="middle"),
        Label(x=middle + 5 * apart, y=14.0, text="+5", anchor="middle"),
        Label(x=middle - 5 * apart, y=14.0, text="−5", anchor="middle"),
        Label(x=middle + meets * apart, y=134.0, text=f"in one line: +{meets}", anchor="middle", strong=True),
    ]
    for n in range(-last, last + 1):
        tall = 40.0 if n == 0 else 32.0 if n % 5 == 0 else 24.0
        upper = middle + n * apart
        lower = upper + (n - meets) * more
        strokes += [
            (Line(x0=upper, y0=seam - tall, x1=upper, y1=seam), n == meets),
            (Line(x0=lower, y0=seam, x1=lower, y1=seam + tall), n == meets),
        ]
    return VernierDrawing(strokes=tuple(strokes), labels=tuple(labels))
