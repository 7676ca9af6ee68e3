"""Errors say what happened, what was seen, what is allowed, and stay catchable as their built-in kind."""

from __future__ import annotations

import pytest

from evenburn.core.errors import (
    EvenburnError,
    InvalidInput,
    NotFound,
    OutOfRange,
    ProgramNotSound,
    StorageError,
    UnreadableFile,
)


def test_invalid_input_tells_every_field_on_a_line_of_its_own() -> None:
    error = InvalidInput({"bed_x_mm": "is −3; allowed is above 0", "lens[0].name": "is missing"}, source="machine.toml")
    assert error.lines() == (
        "machine.toml: bed_x_mm: is −3; allowed is above 0",
        "machine.toml: lens[0].name: is missing",
    )
    assert str(error) == "; ".join(error.lines())
    assert error.fields == {"bed_x_mm": "is −3; allowed is above 0", "lens[0].name": "is missing"}


def test_invalid_input_without_field_or_source_is_the_bare_sentence() -> None:
    assert InvalidInput({"": "no piece in the batch"}).lines() == ("no piece in the batch",)


def test_invalid_input_keeps_its_own_copy_of_the_fields() -> None:
    fields = {"a": "wrong"}
    error = InvalidInput(fields)
    fields["b"] = "added later"
    assert error.fields == {"a": "wrong"}


def test_out_of_range_names_value_limits_and_unit() -> None:
    error = OutOfRange("tone", 12.5, low=30.0, high=80.0, unit="L*", hint="Take a darker wood.")
    assert error.message == "tone is 12.5 L*; allowed is 30 to 80 L*"
    assert (error.name, error.value, error.low, error.high, error.unit) == ("tone", 12.5, 30.0, 80.0, "L*")
    assert error.hint == "Take a darker wood."
    assert OutOfRange("power_fraction", 2.0, low=0.0, high=1.0).message == "power_fraction is 2; allowed is 0 to 1"


def test_unreadable_file_names_file_and_line() -> None:
    assert UnreadableFile("crew.svg", "is empty").message == "crew.svg: is empty"
    error = UnreadableFile("batch.toml", "expected a value", line=7)
    assert error.message == "batch.toml, line 7: expected a value"
    assert (error.path, error.line) == ("batch.toml", 7)
    assert error.lines() == ("batch.toml, line 7: expected a value",)


@pytest.mark.parametrize(
    ("error", "kind"),
    [
        (InvalidInput({"a": "wrong"}), ValueError),
        (OutOfRange("tone", 1.0, low=2.0, high=3.0), ValueError),
        (UnreadableFile("crew.svg", "is empty"), ValueError),
        (NotFound("no lens called 4 inch; there is 2 inch"), LookupError),
        (StorageError("disk full"), OSError),
        (ProgramNotSound("power on a rapid"), EvenburnError),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Exception) else value.__name__,
)
def test_each_error_may_be_caught_as_ours_or_as_its_built_in_kind(error: EvenburnError, kind: type[Exception]) -> None:
    assert isinstance(error, kind)
    assert isinstance(error, EvenburnError)
    assert error.hint == ""
    assert error.message in str(error)
