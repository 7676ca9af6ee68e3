"""What a form sent: its token looked at first, its fields as text, its files as bytes with a name that is only a label.

wrong: dict[str, str] = {}
with gathering(wrong):
    values["thickness_mm"] = sent.length_mm("thickness_mm")
… and where a service raises InvalidInput, show the form again with `errors` and `sent.values`, status 422.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from math import isfinite
from typing import Annotated

from fastapi import Depends, Request
from starlette.datastructures import UploadFile

from evenburn.core.errors import InvalidInput
from evenburn.core.units import inch_to_mm
from evenburn.web.figures import typed_length_mm
from evenburn.web.guard import TOKEN_FIELD, TOKEN_HEADER, UPLOAD_bytes, check_token

MOST_FILES, MOST_FIELDS = 12, 400
LABEL_LONGEST = 120
_IN_THOUSANDS = re.compile(r"[-+−]?[1-9]\d{0,2}(?:,\d{3}|\.\d\d0)")  # 5.000: five thousand to some, five to others


@dataclass(frozen=True, slots=True, kw_only=True)
class SentFile:
    """A file as sent. `name` is what the person's computer called it: shown, never used as a path."""

    name: str
    data: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """A form as sent."""

    values: Mapping[str, str] = field(default_factory=dict)
    files: Mapping[str, tuple[SentFile, ...]] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """Return what stands in a field, without blanks around it; empty where the form has no such field."""
        return self.values.get(name, "").strip()

    def number(self, name: str, *, unit: str = "") -> float:
        """Return the number in a field; InvalidInput says at the field what was seen and what is wanted."""
        return self._float(name, self.text(name).removesuffix(unit))

    def _float(self, name: str, text: str) -> float:
        seen = self.text(name)[:40]
        try:
            value = float(text.strip().replace("−", "-").replace(",", "."))
        except ValueError:
            wrong = f"“{seen}” is no number; write one, as 12.5" if seen else "is empty; write a number, as 12.5"
            raise InvalidInput({name: wrong}) from None
        if _IN_THOUSANDS.fullmatch(text.strip()):
            whole, small = text.strip().replace(".", "").replace(",", ""), f"{value:g}"
            raise InvalidInput({name: f"“{seen}” can be read in two ways; write {whole} or {small}"})
        if not isfinite(value):
            raise InvalidInput({name: f"“{seen}” is no number that can be used; write one, as 12.5"})
        return value

    def optional_number(self, name: str, *, unit: str = "") -> float | None:
        """Return the number in a field, None where it is empty; InvalidInput as `number`."""
        return self.number(name, unit=unit) if self.text(name) else None

    def length_mm(self, name: str) -> float:
        """Return the length in a field in mm: typed in the unit preferred, or with "mm" or "in" behind it."""
        text = self.text(name).lower().removesuffix("/s").strip()
        for unit in ("mm", "inch", "in"):
            if text.endswith(unit):
                return _typed_in(unit, self._float(name, text.removesuffix(unit)))
        return typed_length_mm(self._float(name, text))

    def optional_length_mm(self, name: str) -> float | None:
        """Return the length in a field in mm, None where it is empty."""
        return self.length_mm(name) if self.text(name) else None

    def speed_mm_per_s(self, name: str) -> float:
        """Return the speed in a field in mm/s: typed in the unit preferred, or with "mm/s" or "in/s" behind it."""
        return self.length_mm(name)

    def whole(self, name: str) -> int:
        """Return the whole number in a field; InvalidInput as `number`."""
        text = self.text(name)
        if not text.isascii() or not text.removeprefix("-").isdecimal() or len(text) > 12:
            raise InvalidInput({name: f"“{text[:40]}” is no whole number"})
        return int(text)


def _typed_in(unit: str, value: float) -> float:
    return value if unit == "mm" else inch_to_mm(value)


@contextmanager
def gathering(wrong: dict[str, str]) -> Iterator[None]:
    """Gather what is wrong with one field after another, so that all are told at once."""
    try:
        yield
    except InvalidInput as error:
        wrong.update(error.fields)


def page_number(request: Request) -> int:
    """Return which page of a list is asked for, from 1; InvalidInput where that is no number."""
    text = request.query_params.get("page", "1")
    if not text.isascii() or not text.isdecimal() or len(text) > 6 or int(text) < 1:
        raise InvalidInput({"page": f"“{text[:20]}” is no page; allowed is 1 or more"})
    return int(text)


def label(name: str) -> str:
    """Return what a file is called for people: no folders, no control characters, not too long."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    shown = "".join(c for c in last if c.isprintable()).strip()
    return shown[-LABEL_LONGEST:] or "file"


async def sent_form(request: Request) -> Sent:
    """Return the form of a request; Refused where its token is not that of a page of ours."""
    async with request.form(max_files=MOST_FILES, max_fields=MOST_FIELDS, max_part_size=UPLOAD_bytes) as form:
        told = request.headers.get(TOKEN_HEADER) or str(form.get(TOKEN_FIELD, ""))
        check_token(request.cookies, told)
        values: dict[str, str] = {}
        files: dict[str, list[SentFile]] = {}
        for name, value in form.multi_items():
            if isinstance(value, UploadFile):
                if value.filename:
                    sent = SentFile(name=label(value.filename), data=await value.read())
                    files.setdefault(name, []).append(sent)
            else:
                values[name] = value
    return Sent(values=values, files={name: tuple(each) for name, each in files.items()})


Form = Annotated[Sent, Depends(sent_form)]
