"""Figures of a machine as they stand on its pages and in its form, and back from the form."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from evenburn.core.errors import InvalidInput
from evenburn.services.book.machine_figures import FIGURES, LENS_FIGURES, FigureForm
from evenburn.services.book.machine_of import Figure
from evenburn.web.figures import NB, NONE, entry, length_unit, mm, speed, speed_entry, speed_unit, trimmed
from evenburn.web.forms import Sent, gathering

SHARES = frozenset({"power_least_fraction", "power_cap_fraction"})
MOST_LENSES = 20
MS_PER_S = 1000.0  # times of a machine are told and typed in milliseconds
_PAIR = re.compile(r"(?P<a>\d+(?:[.,]\d+)?)\s*(?P<share>%?)[\s=:;]+(?P<b>\d+(?:[.,]\d+)?)\s*W?", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A figure in a list: what it is, the figure with its unit, where it comes from in a mark and in words."""

    name: str
    text: str
    kind: str
    detail: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """A field of the form."""

    name: str
    label: str
    value: str
    unit: str
    told: str
    needed: bool
    choices: tuple[tuple[str, str], ...]


def shown(form: FigureForm, value: float | str | None, *, sd: float | None = None) -> str:
    """Return a figure with its unit, and with its doubt where that is known."""
    if value is None:
        return NONE
    if isinstance(value, str):
        return value
    if form.key in SHARES:
        return f"{trimmed(value * 100.0, 1)}{NB}%"
    doubt = "" if sd is None else f"{NB}±{NB}{_plain(form, sd)}"
    if form.unit == "mm":
        if value == 0.0 and sd is None:
            return mm(value, 0)
        text = mm(value, form.digits)
        return text if sd is None else f"{text.rpartition(NB)[0]}{NB}±{NB}{mm(sd, form.digits)}"
    if form.unit == "mm/s":
        return speed(value)
    if form.unit == "s":
        return (
            f"{trimmed(value * MS_PER_S, 3)}{f'{NB}±{NB}{trimmed(sd * MS_PER_S, 3)}' if sd is not None else ''}{NB}ms"
        )
    unit = f"{NB}{form.unit}" if form.unit else ""
    return f"{_plain(form, value)}{doubt}{unit}"


def _plain(form: FigureForm, value: float) -> str:
    text = trimmed(value, form.digits)
    whole, _, tail = text.partition(".")
    grouped = re.sub(r"(?<=\d)(?=(?:\d{3})+$)", NB, whole) if len(whole.lstrip("−")) > 4 else whole
    return f"{grouped}.{tail}" if tail else grouped


def row(figure: Figure) -> Row:
    """Return a figure as a list shows it."""
    text = shown(figure.form, figure.value, sd=figure.sd)
    none = figure.form.key == "jerk_mm_per_s3" and figure.value is None
    return Row(name=figure.form.name, text="no limit told" if none else text, kind=figure.kind, detail=figure.detail)


# ---- the form ----------------------------------------------------------------------------------------------------


def typed(form: FigureForm, value: Any) -> str:
    """Return a figure as it stands in its field, without its unit."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if form.unit == "mm":
        return entry(value, form.digits + 1)
    if form.unit == "mm/s":
        return speed_entry(value)
    if form.key in SHARES:
        return trimmed(value * 100.0, 3)
    if form.unit == "s":
        return trimmed(value * MS_PER_S, 6)
    return f"{value:.10g}"


def field_of(form: FigureForm, document: Mapping[str, Any], *, name: str, sent: Mapping[str, str] | None) -> Field:
    """Return a field with what was typed, or with what stands now."""
    value = typed(form, document.get(form.key)) if sent is None else sent.get(name, "")
    unit = {"mm": length_unit(), "mm/s": speed_unit(), "s": "ms"}.get(form.unit, form.unit)
    told = form.told.replace("A fraction: 0.1 is 10 %.", "").replace("A fraction: 0.8 is 80 %.", "").strip()
    return Field(
        name=name,
        label=form.name[:1].upper() + form.name[1:],
        value=value,
        unit="%" if form.key in SHARES else unit,
        told=told or ("" if form.needed else "optional"),
        needed=form.needed,
        choices=(("", "not told"), *((c, c) for c in form.choices)) if form.choices else (),
    )


def changes_of(sent: Sent, document: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return what a form changes, key to value; of a new machine (None) all that was typed.

    A field that still says what it said is left alone, so that no number changes by being shown.

    Raises
    ------
    InvalidInput
        With every field that is no number.
    """
    wrong: dict[str, str] = {}
    changes: dict[str, Any] = {}
    before = document or {}
    name = sent.text("name")
    if document is None or name != document["name"]:
        changes["name"] = name or None
    for form in FIGURES:
        with gathering(wrong):
            _put(changes, sent, form, before.get(form.key), name=form.key, new=document is None)
    with gathering(wrong):
        _put_air(changes, sent, before)
    with gathering(wrong):
        _put_curve(changes, sent, before)
    for number in lens_numbers(sent):
        if sent.text(f"lens[{number}].gone"):
            changes[f"lens[{number}]"] = None
            continue
        lenses = before.get("lens") or []
        of = lenses[number - 1] if number <= len(lenses) else {}
        if not of and document is not None and not sent.text(f"lens[{number}].name"):
            continue  # the empty one at the end, left empty
        for form in LENS_FIGURES:
            key = f"lens[{number}].{form.key}"
            with gathering(wrong):
                _put(changes, sent, form, of.get(form.key), name=key, new=not of)
    _put_program(changes, sent, before.get("post_processor") or {})
    if wrong:
        raise InvalidInput(wrong)
    return changes


def lens_numbers(sent: Sent) -> tuple[int, ...]:
    """Return the numbers of the lenses in a form."""
    found = {int(m.group(1)) for key in sent.values if (m := re.fullmatch(r"lens\[(\d{1,2})\]\.name", key))}
    return tuple(sorted(n for n in found if 1 <= n <= MOST_LENSES + 1))


def nested(changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return changes as the document of a new machine."""
    document: dict[str, Any] = {"lens": []}
    for key, value in changes.items():
        if value is None:
            continue
        found = re.fullmatch(r"lens\[(\d+)\]\.(\w+)", key)
        if found:
            while len(document["lens"]) < int(found[1]):
                document["lens"].append({})
            document["lens"][int(found[1]) - 1][found[2]] = value
        elif key.startswith("post_processor."):
            document.setdefault("post_processor", {})[key.partition(".")[2]] = value
        else:
            document[key] = value
    return document


def _put(changes: dict[str, Any], sent: Sent, form: FigureForm, value: Any, *, name: str, new: bool) -> None:
    text = sent.text(name)
    if name not in sent.values or (not new and text == typed(form, value)):
        return
    if not text:
        if not new or form.needed:
            changes[name] = None
        return
    changes[name] = text if form.kind in {"text", "choice"} else _number(sent, form, name)


def _number(sent: Sent, form: FigureForm, name: str) -> float:
    if form.unit == "mm":
        return sent.length_mm(name)
    if form.unit == "mm/s":
        return sent.speed_mm_per_s(name)
    if form.key in SHARES:
        return sent.number(name, unit="%") / 100.0
    if form.unit == "s":
        return sent.number(name, unit="ms") / MS_PER_S
    return sent.number(name, unit=form.unit)


def air_typed(document: Mapping[str, Any]) -> tuple[str, str]:
    """Return the least and the greatest air as they stand in their fields."""
    air = sorted(document.get("air_kPa") or ())
    return (trimmed(air[0], 1), trimmed(air[-1], 1)) if air else ("", "")


def _put_air(changes: dict[str, Any], sent: Sent, before: Mapping[str, Any]) -> None:
    least, most = sent.text("air_least"), sent.text("air_most")
    if (least, most) == air_typed(before):
        return
    if not least and not most:
        changes["air_kPa"] = None
        return
    wrong: dict[str, str] = {}
    found = []
    for name in ("air_least", "air_most"):
        with gathering(wrong):
            found.append(sent.number(name, unit="kPa"))
    if wrong:
        raise InvalidInput(wrong)
    changes["air_kPa"] = found


def curve_typed(document: Mapping[str, Any]) -> str:
    """Return the power curve as it stands in its field: a line for each point."""
    points = document.get("power_curve") or ()
    return "\n".join(f"{trimmed(f * 100.0, 3)} %  {trimmed(w, 3)} W" for f, w in points)


def _put_curve(changes: dict[str, Any], sent: Sent, before: Mapping[str, Any]) -> None:
    text = sent.text("power_curve").replace("\r\n", "\n").replace(NB, " ")
    if "power_curve" not in sent.values or text == curve_typed(before):
        return
    points = []
    for line in filter(None, (one.strip() for one in text.split("\n"))):
        found = _PAIR.fullmatch(line)
        if found is None:
            raise InvalidInput({"power_curve": f"“{line[:40]}” is no point; write a line as 50 % 31 W"})
        share = float(found["a"].replace(",", "."))
        points.append([share / 100.0 if found["share"] else share, float(found["b"].replace(",", "."))])
    changes["power_curve"] = points or None


def _put_program(changes: dict[str, Any], sent: Sent, before: Mapping[str, Any]) -> None:
    word = sent.text("on_word")
    if word and word != before.get("on_word", "M3"):
        changes["post_processor.on_word"] = word
    for key in ("opening_lines", "closing_lines"):
        lines = [line.rstrip() for line in sent.values.get(key, "").replace("\r\n", "\n").split("\n") if line.strip()]
        if key in sent.values and lines != list(before.get(key, [])):
            changes[f"post_processor.{key}"] = lines or None
