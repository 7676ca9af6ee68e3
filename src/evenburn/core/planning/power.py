"""Power in watts, as the machine's fraction, and as the whole steps its S word can say."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenburn.core.motion.timing import trace_times_s
from evenburn.core.nouns.events import Event, Sweep, Trace
from evenburn.core.nouns.machine import Machine

FloatArray = NDArray[np.float64]

LEAST_STEPS = 1000  # an S scale with fewer whole steps is written with decimals
STEP_SLACK = 1e-9  # of a step: 0.3 × 1000 is 300 for a person and a little less or more in binary


def power_word_decimals(machine: Machine) -> int:
    """Return how many decimals the S word needs to tell at least a thousand powers apart. Definition."""
    return max(0, math.ceil(math.log10(LEAST_STEPS / machine.power_word_max) - 1e-9))


def delivered_power_W(machine: Machine, *, power_fraction: ArrayLike) -> FloatArray:
    """Return power on the work at fractions, straight between the points of the machine's curve. [W] Definition."""
    fractions, watts = zip(*machine.power_curve, strict=True)
    return np.asarray(np.interp(np.asarray(power_fraction, dtype=np.float64), fractions, watts), dtype=np.float64)


def power_fraction(machine: Machine, *, power_W: ArrayLike) -> FloatArray:
    """Return the fraction that gives a power; 0 where none is wished. [W → 1] Source: `delivered_power_W` inverted."""
    fractions, watts = zip(*machine.power_curve, strict=True)
    wished = np.asarray(power_W, dtype=np.float64)
    return np.where(wished > 0.0, np.interp(wished, watts, fractions), 0.0)


def _first_word(machine: Machine) -> float:
    """Return the least S word at which the machine's curve gives any power at all. Definition."""
    steps = 10.0 ** power_word_decimals(machine)
    dark = max((fraction for fraction, watts in machine.power_curve if watts <= 0.0), default=0.0)
    return (math.floor(dark * machine.power_word_max * steps + STEP_SLACK) + 1) / steps


def power_word(machine: Machine, *, power_W: ArrayLike) -> FloatArray:
    """Return the S word of powers, rounded to what can be written; 0 W is 0. [W → S]

    A power that fires and that the person allows is rounded to a step that does both: at either end of the window the
    nearest step may lie just outside. No power above 0 is written as none.

    Source
    ------
    Definition.
    """
    decimals = power_word_decimals(machine)
    word = power_fraction(machine, power_W=power_W) * machine.power_word_max
    rounded = np.round(word, decimals)
    least, most = (f * machine.power_word_max for f in (machine.power_least_fraction, machine.power_cap_fraction))
    steps = 10.0**decimals
    low, high = math.ceil(least * steps - STEP_SLACK) / steps, math.floor(most * steps + STEP_SLACK) / steps
    if low <= high:
        inside = (word >= least * (1.0 - STEP_SLACK)) & (word <= most * (1.0 + STEP_SLACK))
        rounded = np.where(inside, np.minimum(np.maximum(rounded, low), high), rounded)
    return np.where(np.asarray(power_W) > 0.0, np.maximum(rounded, _first_word(machine)), 0.0)


def settable_power_W(machine: Machine, *, power_W: ArrayLike) -> FloatArray:
    """Return the power nearest to the wished that the S word can say. [W] Definition."""
    fraction = power_word(machine, power_W=power_W) / machine.power_word_max
    return np.where(np.asarray(power_W) > 0.0, delivered_power_W(machine, power_fraction=fraction), 0.0)


def power_step_W(machine: Machine) -> float:
    """Return by how much one step of the S word changes the power at most. [W] Definition."""
    step = 10.0 ** -power_word_decimals(machine) / machine.power_word_max
    fractions, watts = zip(*machine.power_curve, strict=True)
    return step * float(np.max(np.diff(watts) / np.diff(fractions)))


def power_window_W(machine: Machine) -> tuple[float, float]:
    """Return the least power that fires and the most that the person allows. [W]

    A laser that fires at any power still gets no less than the first S word that gives any.

    Source
    ------
    Definition.
    """
    least = max(machine.power_least_fraction, _first_word(machine) / machine.power_word_max)
    low, high = delivered_power_W(machine, power_fraction=np.array([least, machine.power_cap_fraction]))
    return float(low), float(high)


def full_power_s(machine: Machine, events: Iterable[Event]) -> float:
    """Return for how long the laser burns, each moment counted by its fraction of full power. [s]

    Source
    ------
    Definition: the sum of fraction times time.
    """
    total_s = 0.0
    for event in events:
        if isinstance(event, Sweep):
            share = power_fraction(machine, power_W=event.power_W)
            total_s += float((share * np.abs(np.diff(event.edges_mm))).sum()) / event.speed_mm_per_s
        elif isinstance(event, Trace):
            share = power_fraction(machine, power_W=event.power_W)
            total_s += float((share * trace_times_s(machine, event)).sum())
    return total_s
