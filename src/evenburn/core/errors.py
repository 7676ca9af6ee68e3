"""Every error evenburn raises on purpose.

    EvenburnError                      what happened, the value seen, what is allowed; `.hint` says what to do next
     ├─ InvalidInput (ValueError)      .fields: where → message; all of a file at once
     ├─ OutOfRange (ValueError)        .name .value .low .high .unit
     ├─ UnreadableFile (ValueError)    .path .line
     ├─ NotFound (LookupError)
     ├─ ChangedMeanwhile               somebody else changed it since the person looked; nothing is overwritten
     ├─ StorageError (OSError)         disk full, no permission: the computer is at fault, not the input
     └─ ProgramNotSound                a program just written did not pass when read back: evenburn is at fault

Each also derives from the built-in kind, so that a caller may catch either.
"""

from __future__ import annotations

from collections.abc import Mapping


class EvenburnError(Exception):
    """Base of all errors raised on purpose; `hint` tells the person what to do next."""

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def lines(self) -> tuple[str, ...]:
        """Return one line for each thing that is wrong."""
        return (self.message,)

    def __reduce__(self) -> tuple[object, ...]:
        """Tell how it is copied to another process: as it stands, without being made anew from its message."""
        return _as_it_was, (type(self), self.args, self.__dict__.copy())


def _as_it_was(kind: type[EvenburnError], args: tuple[object, ...], state: dict[str, object]) -> EvenburnError:
    error = kind.__new__(kind, *args)
    error.args = args
    error.__dict__.update(state)
    return error


class InvalidInput(EvenburnError, ValueError):
    """What a person wrote does not hold; `fields` names each place and what is wrong there."""

    def __init__(self, fields: Mapping[str, str], *, source: str = "", hint: str = "") -> None:
        self.fields = dict(fields)
        self.source = source
        super().__init__("; ".join(self.lines()), hint=hint)

    def lines(self) -> tuple[str, ...]:
        """Return one line for each field, led by the file it stands in."""
        lead = f"{self.source}: " if self.source else ""
        return tuple(f"{lead}{where}: {text}" if where else f"{lead}{text}" for where, text in self.fields.items())


class OutOfRange(EvenburnError, ValueError):
    """A number lies outside what a model or a machine can answer for."""

    def __init__(self, name: str, value: float, *, low: float, high: float, unit: str = "", hint: str = "") -> None:
        self.name, self.value, self.low, self.high, self.unit = name, value, low, high, unit
        tail = f" {unit}" if unit else ""
        super().__init__(f"{name} is {value:.6g}{tail}; allowed is {low:.6g} to {high:.6g}{tail}", hint=hint)


class UnreadableFile(EvenburnError, ValueError):
    """A file could not be understood; `path` as the person wrote it, `line` where known."""

    def __init__(self, path: str, what: str, *, line: int | None = None, hint: str = "") -> None:
        self.path, self.line = path, line
        where = f"{path}, line {line}" if line is not None else path
        super().__init__(f"{where}: {what}", hint=hint)


class NotFound(EvenburnError, LookupError):
    """Something that was named does not exist; the message lists what does."""


class ChangedMeanwhile(EvenburnError):
    """Somebody else changed a thing since the person looked at it; nothing was overwritten.

    `kind` and `key` say what it is, as "wood" and its id; empty where that is no one thing.
    """

    def __init__(self, message: str, *, hint: str = "", kind: str = "", key: str = "") -> None:
        self.kind, self.key = kind, key
        super().__init__(message, hint=hint)


class StorageError(EvenburnError, OSError):
    """The computer could not read or write: disk full, no permission."""


class ProgramNotSound(EvenburnError):
    """A program just written was read back and did not pass; evenburn is at fault, and nothing is kept."""
