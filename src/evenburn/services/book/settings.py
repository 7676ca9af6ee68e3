"""What a person prefers, kept in the book: units, when the day begins, light or dark, and how long a change-over takes."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Literal, cast

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import batch, setting
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.core.nouns.recipe import FOCUSING_s
from evenburn.core.units import S_PER_MIN

Units = Literal["mm", "inch"]
Theme = Literal["system", "light", "dark"]
UNITS: tuple[Units, ...] = ("mm", "inch")
THEMES: tuple[Theme, ...] = ("system", "light", "dark")
CLOCK = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")
LONGEST_CHANGE_OVER_min = 60.0
LONGEST_CHANGE_OVER_s = LONGEST_CHANGE_OVER_min * S_PER_MIN


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What a person prefers.

    Attributes
    ----------
    units : of lengths and speeds that are shown.
    starts_at : when the bench begins, local time as "09:00".
    change_over_s : from one piece's end to the next one's start: out, in, focused. Starting value; put in your own. [s]
    batch_id : the batch that Today shows; None for the first.
    """

    units: Units = "mm"
    starts_at: str = "09:00"
    theme: Theme = "system"
    change_over_s: float = FOCUSING_s
    batch_id: str | None = None

    @property
    def change_over_min(self) -> float:
        """Return the change-over as people say it. [min]"""
        return self.change_over_s / S_PER_MIN


def settings_of(book: Book) -> Settings:
    """Return what is preferred, with the defaults for the rest."""
    with book.reading() as connection:
        return settings_in(connection)


def settings_in(connection: sa.Connection) -> Settings:
    """Return what is preferred, as a connection sees it."""
    names = set(asdict(Settings()))
    rows = connection.execute(sa.select(setting.c.name, setting.c.value))
    return Settings(**{name: value for name, value in rows if name in names})


def change_settings(book: Book, changes: Mapping[str, Any]) -> Settings:
    """Change what is preferred, all or nothing, and return it as it is now.

    Parameters
    ----------
    changes : fields of `Settings`; the change-over also as `change_over_min`. [min]

    Raises
    ------
    InvalidInput
        With every field that does not hold.
    """
    with book.writing() as connection:
        wrong = _all_wrong(connection, changes)
        if wrong:
            raise InvalidInput(wrong, source="settings")
        for name, value in changes.items():
            key, kept = name, value
            if name == "change_over_min":
                key, kept = "change_over_s", float(value) * S_PER_MIN
            elif name == "change_over_s":
                kept = float(value)
            done = connection.execute(sa.update(setting).where(setting.c.name == key).values(value=kept))
            if done.rowcount == 0:
                connection.execute(sa.insert(setting).values(name=key, value=kept))
        return settings_in(connection)


def check_settings(book: Book, changes: Mapping[str, Any]) -> dict[str, str]:
    """Return what is wrong with each of these changes, as `change_settings` would raise it; empty where all hold."""
    with book.reading() as connection:
        return _all_wrong(connection, changes)


def _all_wrong(connection: sa.Connection, changes: Mapping[str, Any]) -> dict[str, str]:
    told = ((name, _wrong(connection, name, value)) for name, value in changes.items())
    return {name: text for name, text in told if text is not None}


def _wrong(connection: sa.Connection, name: str, value: Any) -> str | None:
    """Return what is wrong with a setting, None where nothing is."""
    match name:
        case "units" | "theme":
            allowed = cast("tuple[str, ...]", UNITS if name == "units" else THEMES)
            return None if value in allowed else f'is "{value}"; allowed are {", ".join(allowed)}'
        case "starts_at":
            fits = isinstance(value, str) and CLOCK.fullmatch(value)
            return None if fits else f'is "{value}"; allowed is 00:00 to 23:59'
        case "change_over_s" | "change_over_min":
            number = isinstance(value, int | float) and not isinstance(value, bool)
            unit, most = ("s", LONGEST_CHANGE_OVER_s) if name.endswith("_s") else ("min", LONGEST_CHANGE_OVER_min)
            if number and 0.0 <= value <= most:
                return None
            return f"is {value:g} {unit}; allowed is 0 to {most:g} {unit}" if number else f"is {value}; it is a number"
        case "batch_id":
            if value is None:
                return None
            try:
                row_of(connection, batch, value)
            except NotFound:
                return f'is "{value}", which is no batch of the book'
            return None
        case _:
            return f"is no setting; there are {', '.join(asdict(Settings()))}"
