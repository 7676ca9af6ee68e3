"""Settings hold all or nothing, and say what is wrong with each."""

from __future__ import annotations

import pytest

from evenburn.adapters.storage.book.opening import Book
from evenburn.core.errors import InvalidInput
from evenburn.services.book.settings import Settings, change_settings, check_settings, settings_of


def test_what_is_changed_is_kept_and_the_rest_stands(book: Book) -> None:
    assert settings_of(book) == Settings()
    change_settings(book, {"units": "inch", "change_over_min": 4.0})
    change_settings(book, {"starts_at": "07:45"})
    kept = settings_of(book)
    assert (kept.units, kept.starts_at, kept.change_over_s, kept.change_over_min) == ("inch", "07:45", 240.0, 4.0)


def test_every_fault_is_told_and_nothing_is_kept(book: Book) -> None:
    changes = {
        "units": "cubit",
        "theme": "dusk",
        "starts_at": "25:00",
        "change_over_min": 61.0,
        "batch_id": "none",
        "x": 1,
    }
    with pytest.raises(InvalidInput) as told:
        change_settings(book, {**changes, "units": "inch", "theme": "cubit"})
    assert set(told.value.fields) == {"theme", "starts_at", "change_over_min", "batch_id", "x"}
    assert settings_of(book) == Settings()
    wrong = check_settings(book, {**changes, "change_over_s": True})
    assert set(wrong) == {*changes, "change_over_s"}
    assert wrong["change_over_min"] == "is 61 min; allowed is 0 to 60 min"
