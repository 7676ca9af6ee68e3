"""What is kept in memory to show proofs: bounded by its size, and made by one thread while others that want it wait."""

from __future__ import annotations

import ctypes
import gc
import sys
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Generic, TypeVar

Thing = TypeVar("Thing")


@dataclass(slots=True)
class _Place(Generic[Thing]):
    """Where a thing is being made, or lies."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    thing: Thing | None = None


class Kept(Generic[Thing]):
    """Things by key, those asked for longest ago dropped first."""

    def __init__(self, *, most_bytes: int, most: int, size_bytes: Callable[[Thing], int]) -> None:
        self._most_bytes, self._most, self._size_bytes = most_bytes, most, size_bytes
        self._places: OrderedDict[Hashable, _Place[Thing]] = OrderedDict()
        self._guard = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], Thing]) -> Thing:
        """Return what goes by a key, made where it is not there; what making raises is raised."""
        with self._guard:
            place = self._places.setdefault(key, _Place())
            self._places.move_to_end(key)
        with place.lock:
            if place.thing is None:
                try:
                    place.thing = make()
                except BaseException:
                    with self._guard:
                        self._places.pop(key, None)
                    raise
                self._drop()
            return place.thing

    def peek(self, key: Hashable) -> Thing | None:
        """Return what goes by a key if it is there."""
        with self._guard:
            place = self._places.get(key)
            if place is not None:
                self._places.move_to_end(key)
        return None if place is None else place.thing

    def size_bytes(self) -> int:
        """Return how much memory all of it takes."""
        with self._guard:
            things = [place.thing for place in self._places.values()]
        return sum(self._size_bytes(thing) for thing in things if thing is not None)

    def _drop(self) -> None:
        """Drop the oldest while there is too much; the newest always stays."""
        with self._guard:
            made = [(key, place.thing) for key, place in self._places.items() if place.thing is not None]
            total = sum(self._size_bytes(thing) for _, thing in made)
            while len(made) > 1 and (total > self._most_bytes or len(made) > self._most):
                key, thing = made.pop(0)
                total -= self._size_bytes(thing)
                self._places.pop(key, None)


# of the C library's allocator: how many heaps threads may have, and from which size on memory goes straight back
_MOST_HEAPS, _HEAPS = -8, 2
_MAPPED_FROM, _MAPPED_bytes = -3, 4 * 1024 * 1024
_modest: list[bool] = []


def hold_little_memory() -> None:
    """Let what is freed go back to the system: two heaps for all threads, and large arrays in memory of their own.

    Without it a long day holds half as much again. Only where the C library has calls for it; elsewhere nothing happens.
    """
    if _modest or sys.platform != "linux":
        return
    _modest.append(True)
    with suppress(OSError, AttributeError):  # another C library, which gives back by itself or not at all
        library = ctypes.CDLL(None)
        library.mallopt(_MOST_HEAPS, _HEAPS)
        library.mallopt(_MAPPED_FROM, _MAPPED_bytes)


def give_back_memory() -> None:
    """Let the system have back what was freed, as `hold_little_memory` does for what comes after it."""
    gc.collect()
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).malloc_trim(0)
