"""The machine: what it can do, where each number comes from, its lenses and its power drawn, and its form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from evenburn.core.errors import ChangedMeanwhile, InvalidInput, NotFound, UnreadableFile
from evenburn.core.nouns.cautions import Caution, cautions_for
from evenburn.services.book.change_machine import change_machine, new_machine, new_machine_from_file, remove_machine
from evenburn.services.book.drift_of import DriftTold, drift_of
from evenburn.services.book.machine_figures import AIR, BEAM, FIGURES, LENS_FIGURES, MOTION, POWER, PROGRAM, TRAVEL
from evenburn.services.book.machine_of import (
    LensSheet,
    MachineLine,
    MachinePage,
    machine_file,
    machine_of,
)
from evenburn.web import urls
from evenburn.web.desk import AtDesk, Desk
from evenburn.web.forms import Form, Sent
from evenburn.web.machine_drawing import (
    Drawing,
    LensDrawing,
    bed_drawing,
    lens_drawing,
    list_from,
    list_tall,
    power_drawing,
)
from evenburn.web.machine_words import (
    Field,
    Row,
    air_typed,
    changes_of,
    curve_typed,
    field_of,
    lens_numbers,
    nested,
    row,
)
from evenburn.web.meanwhile import Meanwhile, meanwhile_of
from evenburn.web.render import changed, page

router = APIRouter()
TAB = "machine"
GROUPS = (
    (TRAVEL, "Travel", "What the head reaches, stop to stop."),
    (MOTION, "How it moves", "Accelerations decide the run-up. Half an hour with a stopwatch measures them."),
    (POWER, "Power", "On the work, by a power meter under the nozzle."),
)
# what is common for small CO2 benches; a person looks at it before it is saved
FIRST_MACHINE: Mapping[str, Any] = {
    "speed_max_mm_per_s": 400.0,
    "rapid_mm_per_s": 400.0,
    "accel_x_mm_per_s2": 3000.0,
    "accel_y_mm_per_s2": 2000.0,
    "power_least_fraction": 0.1,
    "power_cap_fraction": 0.8,
    "power_word_max": 1000.0,
    "lens": [
        {
            "name": "2 inch",
            "focal_length_mm": 50.8,
            "beam_diameter_mm": 6.0,
            "beam_quality_m2": 1.3,
            "wavelength_um": 10.6,
            "focus_stand_off_mm": None,
        }
    ],
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LensPart:
    """A lens as its part of the sheet shows it."""

    lens: LensSheet
    drawing: LensDrawing
    rows: tuple[Row, ...]
    waist: Row
    rayleigh: Row


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineSheet:
    """The sheet of a machine."""

    machine: MachinePage
    bed: Drawing
    list_from: float
    list_tall: float
    power: Drawing
    travel: tuple[Row, ...]
    motion: tuple[Row, ...]
    power_rows: tuple[Row, ...]
    air_rows: tuple[Row, ...]
    program: tuple[Row, ...]
    acceleration: Row
    lenses: tuple[LensPart, ...]
    others: tuple[MachineLine, ...]
    batches: int
    cautions: tuple[Caution, ...]
    drift: DriftTold | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NoMachine:
    """The page of a book without a machine."""

    machine: None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LensFields:
    """The fields of a lens; `added` where it is the empty one at the end."""

    number: int
    name: str
    fields: tuple[Field, ...]
    added: bool
    gone: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineForm:
    """The form of a machine that stands in the book, or of a new one (`machine_id` None)."""

    machine_id: str | None
    name: str
    version: int
    groups: tuple[tuple[str, str, tuple[Field, ...]], ...]
    curve: str
    air: tuple[str, str]
    side: Field
    lenses: tuple[LensFields, ...]
    on_word: str
    word_max: Field
    opening: str
    closing: str
    errors: Mapping[str, str]
    hint: str
    known: tuple[str, ...]
    cautions: tuple[Caution, ...]
    meanwhile: Meanwhile | None


@router.get("/machine")
def show_first(request: Request, desk: AtDesk) -> Response:
    """Show the machine of the day's batch, or how to add one."""
    found = machine_of(desk.book)
    if found is None:
        return page(request, "machine_none.html", NoMachine(), tab=TAB)
    return page(request, "machine.html", _sheet(desk, found), tab=TAB)


@router.get("/machine/new")
def show_new(request: Request) -> Response:
    """Show the form of a new machine."""
    return page(request, "machine_form.html", _form(None, FIRST_MACHINE, version=0), tab=TAB)


@router.post("/machine/new")
def add(request: Request, desk: AtDesk, sent: Form) -> Response:
    """Add a machine, from the form or from a machine.toml."""
    try:
        if sent.files.get("file"):
            one = sent.files["file"][0]
            saved = new_machine_from_file(desk.book, one.data, name=one.name, now=desk.now())
        else:
            saved = new_machine(desk.book, nested(changes_of(sent, None)), now=desk.now())
    except (InvalidInput, UnreadableFile) as error:
        form = _form(None, FIRST_MACHINE, version=0, sent=sent, error=error)
        return page(request, "machine_form.html", form, tab=TAB, status=422)
    return changed(urls.machine(str(saved.key)), saved)


@router.get("/machine/{machine_id}")
def show(request: Request, machine_id: str, desk: AtDesk) -> Response:
    """Show a machine."""
    return page(request, "machine.html", _sheet(desk, _there(machine_of(desk.book, machine_id))), tab=TAB)


@router.get("/machine/{machine_id}/machine.toml")
def take_along(machine_id: str, desk: AtDesk) -> Response:
    """Give a machine as machine.toml, for the command line."""
    return Response(
        machine_file(desk.book, machine_id),
        media_type="text/plain; charset=utf-8",
        headers={"content-disposition": 'attachment; filename="machine.toml"'},
    )


@router.get("/machine/{machine_id}/change")
def show_form(request: Request, machine_id: str, desk: AtDesk) -> Response:
    """Show the form of a machine."""
    found = _there(machine_of(desk.book, machine_id))
    form = _form(machine_id, found.document, version=found.version)
    return page(request, "machine_form.html", form, tab=TAB)


@router.post("/machine/{machine_id}/change")
def change(request: Request, machine_id: str, desk: AtDesk, sent: Form) -> Response:
    """Change a machine; what does not hold is said at its field, and the form is kept."""
    found = _there(machine_of(desk.book, machine_id))
    version = sent.whole("version")
    try:
        changes = changes_of(sent, found.document)
        saved = change_machine(desk.book, machine_id, changes, version=version, now=desk.now())
    except InvalidInput as error:
        form = _form(machine_id, found.document, version=version, sent=sent, error=error)
        return page(request, "machine_form.html", form, tab=TAB, status=422)
    except ChangedMeanwhile as error:
        meanwhile = meanwhile_of(desk, error, key=machine_id, version=version, sent=sent)
        form = _form(machine_id, found.document, version=found.version, sent=sent, meanwhile=meanwhile)
        return page(request, "machine_form.html", form, tab=TAB, status=409)
    return changed(urls.machine(machine_id), saved)


@router.post("/machine/{machine_id}/remove")
def remove(machine_id: str, desk: AtDesk, sent: Form) -> Response:
    """Take a machine out of the book."""
    saved = remove_machine(desk.book, machine_id, version=sent.whole("version"), now=desk.now())
    return changed(urls.machine(), saved)


def _there(found: MachinePage | None) -> MachinePage:
    if found is None:
        raise NotFound("there is no machine in the book", hint="Add one first.")
    return found


def _sheet(desk: Desk, machine: MachinePage) -> MachineSheet:
    return MachineSheet(
        machine=machine,
        bed=bed_drawing(machine),
        list_from=list_from(machine),
        list_tall=list_tall(machine),
        power=power_drawing(machine),
        travel=tuple(row(f) for f in machine.group(TRAVEL)),
        motion=tuple(row(f) for f in machine.figures if f.form.group == MOTION),
        power_rows=tuple(row(f) for f in machine.group(POWER)),
        air_rows=tuple(row(f) for f in machine.group(AIR)),
        program=tuple(row(f) for f in machine.group(PROGRAM)),
        acceleration=row(machine.figure("accel_x_mm_per_s2")),
        lenses=tuple(_lens_part(machine, lens) for lens in machine.lenses),
        others=tuple(one for one in machine.machines if one.machine_id != machine.machine_id),
        batches=next(one.batches for one in machine.machines if one.machine_id == machine.machine_id),
        cautions=cautions_for(decision="machine", wavelength_um=machine.lenses[0].wavelength_um),
        drift=drift_of(desk.book, machine.machine_id),
    )


def _lens_part(machine: MachinePage, lens: LensSheet) -> LensPart:
    ladder = next(
        (c for c in machine.cards if c.kind == "beam" and c.lens_name == lens.name and c.result is not None), None
    )
    measured = []
    if ladder is not None and ladder.result is not None and lens.known.kind == "fitted":
        waist_mm = ladder.result["waist_offset_mm"]
        measured = [
            (r["focus_offset_mm"] - waist_mm, r["radius_mm"], r["radius_sd_mm"]) for r in ladder.result["radii"]
        ]
    skip = {"name", "waist_radius_mm", "rayleigh_length_mm"}
    return LensPart(
        lens=lens,
        drawing=lens_drawing(lens, measured=measured),
        rows=tuple(row(f) for f in lens.figures if f.form.key not in skip and f.value is not None),
        waist=row(lens.known),
        rayleigh=row(lens.known_rayleigh),
    )


def _form(
    machine_id: str | None,
    document: Mapping[str, Any],
    *,
    version: int,
    sent: Sent | None = None,
    error: InvalidInput | UnreadableFile | None = None,
    meanwhile: Meanwhile | None = None,
) -> MachineForm:
    values = None if sent is None else sent.values
    by_key = {form.key: form for form in FIGURES}
    groups = tuple(
        (title, says, tuple(field_of(f, document, name=f.key, sent=values) for f in FIGURES if f.group == group))
        for group, title, says in GROUPS
    )
    standing = list(document.get("lens") or [])
    numbers = range(1, len(standing) + 2) if sent is None else lens_numbers(sent)
    lenses = tuple(
        LensFields(
            number=n,
            name=standing[n - 1]["name"] if n <= len(standing) else "",
            fields=tuple(
                field_of(
                    form,
                    standing[n - 1] if n <= len(standing) else {},
                    name=f"lens[{n}].{form.key}",
                    sent=values,
                )
                for form in LENS_FIGURES
            ),
            added=n > len(standing),
            gone=bool(values and values.get(f"lens[{n}].gone")),
        )
        for n in numbers
    )
    program = document.get("post_processor") or {}
    errors: Mapping[str, str] = {}
    if isinstance(error, InvalidInput):
        errors = error.fields
    elif error is not None:
        errors = {"file": error.message}
    return MachineForm(
        machine_id=machine_id,
        name=document.get("name", "") if values is None else values.get("name", ""),
        version=version,
        groups=groups,
        curve=curve_typed(document) if values is None else values.get("power_curve", ""),
        air=air_typed(document) if values is None else (values.get("air_least", ""), values.get("air_most", "")),
        side=field_of(by_key["extraction_side"], document, name="extraction_side", sent=values),
        lenses=lenses,
        on_word=program.get("on_word", "M3") if values is None else values.get("on_word", "M3"),
        word_max=field_of(by_key["power_word_max"], document, name="power_word_max", sent=values),
        opening="\n".join(program.get("opening_lines", [])) if values is None else values.get("opening_lines", ""),
        closing="\n".join(program.get("closing_lines", [])) if values is None else values.get("closing_lines", ""),
        errors=_at_fields(errors),
        hint=error.hint if error is not None and not isinstance(error, InvalidInput) else "",
        known=(
            *("name", "file", "power_curve", "air_least", "air_most", "on_word", "opening_lines", "closing_lines"),
            *(f.key for f in FIGURES),
            *(f"lens[{n}].{form.key}" for n in numbers for form in LENS_FIGURES if form.group == BEAM),
        ),
        cautions=cautions_for(decision="machine"),
        meanwhile=meanwhile,
    )


def _at_fields(errors: Mapping[str, str]) -> dict[str, str]:
    """Return errors at the fields that the form has."""
    found: dict[str, str] = {}
    for where, text in errors.items():
        at = where.removeprefix("post_processor.").partition("[")[0] if not where.startswith("lens[") else where
        at = {"air_kPa": "air_most"}.get(at, at)
        found.setdefault(at, text)
    return found
