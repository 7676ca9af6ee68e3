"""Strict reading of TOML against a model: every wrong field of a file told at once, in a person's words."""

from __future__ import annotations

import difflib
import tomllib
import unicodedata
from pathlib import Path
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from evenburn.core.errors import InvalidInput, UnreadableFile

Model = TypeVar("Model", bound="StrictModel")

TURNS_TEXT = frozenset(
    "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
)  # shows words in another order than written


def _plain(value: str) -> str:
    """Refuse what no name has, and what would act on the terminal or the page that shows it."""
    odd = next((c for c in value if c in TURNS_TEXT or unicodedata.category(c) in ("Cc", "Cs")), None)
    if odd is not None:
        raise ValueError(f"holds U+{ord(odd):04X}, a control character; allowed is plain text")
    return value


def without_controls(text: str) -> str:
    """Return a text without what would act on the terminal or the page that shows it."""
    return "".join(c for c in text if c not in TURNS_TEXT and unicodedata.category(c) not in ("Cc", "Cs"))


Name = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(_plain)]
PlainText = Annotated[str, AfterValidator(_plain)]
RelativePath = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_plain)]

LARGEST_TOML_bytes = 4 * 1024 * 1024


class StrictModel(BaseModel):
    """A table of a TOML file: no unknown keys, no other types, no NaN or infinity."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


def read_toml(path: Path, *, name: str) -> dict[str, Any]:
    """Return the tables of a TOML file.

    Raises
    ------
    UnreadableFile
        If it cannot be read, is too large, or is not TOML.
    """
    try:
        if path.stat().st_size > LARGEST_TOML_bytes:
            raise UnreadableFile(name, f"is larger than {LARGEST_TOML_bytes // 1024 // 1024} MiB")
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise UnreadableFile(name, "is missing", hint=f"Write one; docs/reference/{_page(name)} shows how.") from error
    except UnicodeDecodeError as error:
        raise UnreadableFile(name, "is not UTF-8 text") from error
    except OSError as error:
        raise UnreadableFile(name, f"cannot be read: {error.strerror}") from error
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # ValueError: of a number of too many digits, too
        raise UnreadableFile(name, f"is not TOML: {error}") from error


def _page(name: str) -> str:
    stem = "wood" if name.startswith("woods/") else Path(name).stem
    return f"{stem}.md"


def checked(model: type[Model], data: dict[str, Any], *, name: str) -> Model:
    """Return a table checked against its model.

    Raises
    ------
    InvalidInput
        With one entry for each field that is wrong: where, the value seen, what is allowed.
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        fields: dict[str, str] = {}
        for item in error.errors(include_url=False):
            fields.setdefault(_where(item["loc"]), _what(model, dict(item)))
        raise InvalidInput(fields, source=name, hint=f"docs/reference/{_page(name)} lists every key.") from error


def _where(location: tuple[int | str, ...]) -> str:
    """Return a place as a person would point to it: `piece[2].blank.size_mm[0]`, counted from 1 as lines are."""
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        elif part.startswith(("function-", "tagged-union", "rectangle", "rounded", "ellipse", "circle")) and text:
            continue
        else:
            text += f".{part}" if text else part
    return text


def _what(model: type[BaseModel], item: dict[str, Any]) -> str:
    """Return in plain words what is wrong with a field."""
    kind, seen, context = str(item["type"]), item.get("input"), item.get("ctx", {}) or {}
    shown = _shown(seen)
    match kind:
        case "missing":
            return "is missing"
        case "extra_forbidden":
            key = str(item["loc"][-1])
            names = _keys_at(model, item["loc"][:-1])
            near = difflib.get_close_matches(key, names, n=1, cutoff=0.6)
            return "is not a key here" + (f"; did you mean {near[0]}?" if near else f"; keys are {', '.join(names)}")
        case "int_type" | "int_parsing" | "int_from_float":
            return f"is {shown}; allowed is a whole number, without quotes, unit or decimal point"
        case "float_type" | "float_parsing":
            return f"is {shown}; allowed is a number without quotes and without a unit"
        case "string_type":
            return f"is {shown}; allowed is a text in quotes"
        case "finite_number":
            return f"is {shown}; allowed is a finite number"
        case "greater_than":
            return f"is {shown}; allowed is more than {context['gt']:g}"
        case "greater_than_equal":
            return f"is {shown}; allowed is {context['ge']:g} or more"
        case "less_than":
            return f"is {shown}; allowed is less than {context['lt']:g}"
        case "less_than_equal":
            return f"is {shown}; allowed is {context['le']:g} or less"
        case "literal_error":
            return f"is {shown}; allowed is {context['expected']}"
        case "string_pattern_mismatch":
            return f"is {shown}; allowed are a–z, 0–9 and -, 64 characters at most, no - first"
        case "tuple_type" | "list_type":
            return f"is {shown}; allowed is a list in square brackets"
        case "value_error":
            return str(item["msg"]).removeprefix("Value error, ")
        case "too_long" | "too_short" | "string_too_long" | "string_too_short":
            return f"is {shown}; {str(item['msg'])[0].lower()}{str(item['msg'])[1:]}"
        case "model_type" | "model_attributes_type" | "dict_type":
            return f"is {shown}; allowed is a table in curly brackets"
        case _:
            message = str(item["msg"])
            return f"is {shown}; {message[0].lower()}{message[1:]}"


def _shown(value: Any) -> str:
    if isinstance(value, str):
        return f'"{value[:40]}{"…" if len(value) > 40 else ""}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        if isinstance(value, int) and abs(value) >= 1 << 1000:  # which no float holds
            return "a number of more than 300 digits"
        return f"{value:g}" if abs(value) < 1e15 else f"{float(value):.3g}"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    return str(value)[:40]


def _keys_at(model: type[BaseModel], location: tuple[int | str, ...]) -> list[str]:
    """Return the keys that a table at a place may hold."""
    here: Any = model
    for part in location:
        if isinstance(part, int):
            continue
        fields = getattr(here, "model_fields", {})
        if part not in fields:
            continue
        here = _model_in(fields[part].annotation) or here
    return list(getattr(here, "model_fields", {}))


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for argument in getattr(annotation, "__args__", ()):
        found = _model_in(argument)
        if found is not None:
            return found
    return None
