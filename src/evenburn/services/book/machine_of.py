"""The machine as the book knows it: its figures with where they come from, its lenses and beams, its power, its cards.

A number is `measured` or `fitted` where a card of this machine told exactly it; else a person gave it, or it was left as it comes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import sqlalchemy as sa

from evenburn.adapters.formats.machine_toml import LensTable, MachineTable, machine_from_table
from evenburn.adapters.formats.strict import checked
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import batch, machine
from evenburn.core.motion.profile import run_up_mm
from evenburn.core.motion.timing import accel_mm_per_s2
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.provenance import ProvenanceKind
from evenburn.core.optics.beam import beam_of_lens, beam_radius_mm, depth_of_focus_mm
from evenburn.core.planning.power import power_window_W
from evenburn.services.book.lay_out import toml_text
from evenburn.services.book.machine_cards import MachineCard, Told, cards_of, newest
from evenburn.services.book.machine_figures import BY_KEY, FIGURES, LENS_BY_KEY, LENS_FIGURES, FigureForm
from evenburn.services.book.settings import settings_in

SPEED_SHARES = (1.0, 0.8, 0.6, 0.4)  # of the greatest speed, whose run-up is drawn
GROWTH = 0.05  # of the radius, at the ends of the depth of focus
CAUSTIC_RAYLEIGHS, CAUSTIC_POINTS = 2.5, 41


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A figure of the machine and where it comes from; `sd` is its standard deviation where a card told it.

    `value` is None where there is none, which for a jerk means that there is no limit.
    """

    form: FigureForm
    value: float | str | None
    kind: ProvenanceKind
    detail: str
    sd: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """What a speed costs beside a mark: run-up along x and y. [mm/s, mm]"""

    speed_mm_per_s: float
    run_up_x_mm: float
    run_up_y_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LensSheet:
    """A lens and its beam.

    Attributes
    ----------
    number : in machine.toml, from 1.
    waist_radius_mm, rayleigh_length_mm : measured, or reckoned from lens and beam; `known` tells which.
    depth_mm : from the waist, either way, until the radius has grown by 5 %.
    caustic : focus offset and beam radius. [mm]
    """

    number: int
    name: str
    figures: tuple[Figure, ...]
    focal_length_mm: float
    beam_diameter_mm: float
    focus_stand_off_mm: float
    waist_radius_mm: float
    rayleigh_length_mm: float
    known: Figure
    known_rayleigh: Figure
    depth_mm: float
    caustic: tuple[tuple[float, float], ...]
    wavelength_um: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineLine:
    """A machine of the book, and how many batches are planned with it."""

    machine_id: str
    name: str
    batches: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MachinePage:
    """All that is told of a machine.

    Attributes
    ----------
    power_points : fraction and power as given, rising. [W]
    power_least_W, power_cap_W : the window that recipes choose from.
    air_kPa : what can be set; empty where that is not known.
    machines : all of the book, this one among them.
    """

    machine_id: str
    version: int
    name: str
    document: dict[str, Any]
    figures: tuple[Figure, ...]
    lenses: tuple[LensSheet, ...]
    bed_x_mm: float
    bed_y_mm: float
    reaches: tuple[Reach, ...]
    power_points: tuple[tuple[float, float], ...]
    power_least_fraction: float
    power_cap_fraction: float
    power_least_W: float
    power_cap_W: float
    air_kPa: tuple[float, ...]
    on_word: str
    opening_lines: tuple[str, ...]
    closing_lines: tuple[str, ...]
    cards: tuple[MachineCard, ...]
    machines: tuple[MachineLine, ...]

    def figure(self, key: str) -> Figure:
        """Return a figure by its key in machine.toml."""
        return next(f for f in self.figures if f.form.key == key)

    def group(self, name: str) -> tuple[Figure, ...]:
        """Return the figures of a part of the sheet that have a value."""
        return tuple(f for f in self.figures if f.form.group == name and f.value is not None)


def machine_of(book: Book, machine_id: str | None = None) -> MachinePage | None:
    """Return a machine as the book knows it.

    Parameters
    ----------
    machine_id : None for that of the batch on Today, else the first; None is returned where the book has no machine.

    Raises
    ------
    NotFound
        If there is no machine of that id.
    """
    with book.reading() as connection:
        machines = list_machines_in(connection)
        wished = machine_id or _of_today(connection, machines)
        if wished is None:
            return None
        row = row_of(connection, machine, wished)
    document = row["document"]
    made = machine_from_table(checked(MachineTable, document, name="machine"), source="machine.toml")
    cards = cards_of(book, wished)
    told = newest(cards)
    lenses = document["lens"]
    low_W, high_W = power_window_W(made)
    return MachinePage(
        machine_id=wished,
        version=row["version"],
        name=made.name,
        document=document,
        figures=tuple(_figure(form, document, told.get(form.key), default=_default(form.key)) for form in FIGURES),
        lenses=tuple(_lens_sheet(made, number, one, told=told) for number, one in enumerate(lenses, start=1)),
        bed_x_mm=made.bed_x_mm,
        bed_y_mm=made.bed_y_mm,
        reaches=_reaches(made),
        power_points=made.power_curve,
        power_least_fraction=made.power_least_fraction,
        power_cap_fraction=made.power_cap_fraction,
        power_least_W=low_W,
        power_cap_W=high_W,
        air_kPa=made.air_kPa,
        on_word=made.post_processor.on_word,
        opening_lines=made.post_processor.opening_lines,
        closing_lines=made.post_processor.closing_lines,
        cards=cards,
        machines=machines,
    )


def list_machines(book: Book) -> tuple[MachineLine, ...]:
    """Return the machines of the book by name."""
    with book.reading() as connection:
        return list_machines_in(connection)


def list_machines_in(connection: sa.Connection) -> tuple[MachineLine, ...]:
    """Return the machines of the book by name, as a connection sees them."""
    used: dict[str, int] = {}
    for document in connection.execute(sa.select(batch.c.document).where(batch.c.removed_at.is_(None))).scalars():
        used[document["machine"]] = used.get(document["machine"], 0) + 1
    rows = connection.execute(sa.select(machine.c.id, machine.c.document).where(machine.c.removed_at.is_(None)))
    lines = [MachineLine(machine_id=i, name=d["name"], batches=used.get(i, 0)) for i, d in rows]
    return tuple(sorted(lines, key=lambda line: (line.name.casefold(), line.machine_id)))


def machine_file(book: Book, machine_id: str) -> str:
    """Return the machine.toml of a machine, as the command line reads it."""
    with book.reading() as connection:
        return toml_text(row_of(connection, machine, machine_id)["document"])


def _of_today(connection: sa.Connection, machines: Sequence[MachineLine]) -> str | None:
    known = {line.machine_id for line in machines}
    batch_id = settings_in(connection).batch_id
    wished = sa.select(batch.c.document).where(batch.c.removed_at.is_(None)).order_by(batch.c.position)
    documents = connection.execute(wished.where(batch.c.id == batch_id) if batch_id else wished).scalars()
    found = next((d["machine"] for d in documents if d["machine"] in known), None)
    return found or (machines[0].machine_id if machines else None)


def _default(key: str) -> float | str | None:
    value = MachineTable.model_fields[key].get_default()
    return value if isinstance(value, int | float | str) else None


def _figure(form: FigureForm, document: Mapping[str, Any], told: Told | None, *, default: float | str | None) -> Figure:
    """Return a figure with where it comes from."""
    value = document.get(form.key)
    if value is None:
        return Figure(form=form, value=default, kind="starting value", detail="never given; as it comes", sd=None)
    if told is not None and told.value == value:
        return Figure(form=form, value=value, kind=told.kind, detail=f"{told.date}, {told.detail}", sd=told.sd)
    return Figure(form=form, value=value, kind="user", detail="as entered", sd=None)


def _lens_sheet(made: Machine, number: int, document: Mapping[str, Any], *, told: Mapping[str, Told]) -> LensSheet:
    lens = made.lenses[number - 1]
    beam = beam_of_lens(lens)
    figures = {
        form.key: _figure(
            form,
            document,
            told.get(f"{lens.name}/{form.key}"),
            default=LensTable.model_fields[form.key].get_default() if not form.needed else None,
        )
        for form in LENS_FIGURES
    }
    offsets = np.linspace(-CAUSTIC_RAYLEIGHS, CAUSTIC_RAYLEIGHS, CAUSTIC_POINTS) * beam.rayleigh_length_mm
    radii = beam_radius_mm(beam, offset_mm=offsets)
    return LensSheet(
        number=number,
        name=lens.name,
        figures=tuple(figures.values()),
        focal_length_mm=lens.focal_length_mm,
        beam_diameter_mm=lens.beam_diameter_mm,
        focus_stand_off_mm=lens.focus_stand_off_mm,
        waist_radius_mm=beam.waist_radius_mm,
        rayleigh_length_mm=beam.rayleigh_length_mm,
        known=_reckoned(figures["waist_radius_mm"], beam.waist_radius_mm),
        known_rayleigh=_reckoned(figures["rayleigh_length_mm"], beam.rayleigh_length_mm),
        depth_mm=depth_of_focus_mm(beam, growth=GROWTH),
        caustic=tuple(zip(offsets.tolist(), radii.tolist(), strict=True)),
        wavelength_um=lens.wavelength_um,
    )


def _reckoned(figure: Figure, value_mm: float) -> Figure:
    if figure.value is not None:
        return figure
    return Figure(
        form=figure.form,
        value=value_mm,
        kind="starting value",
        detail="reckoned from focal length, beam and M²; a focus ladder measures it",
        sd=None,
    )


def _reaches(made: Machine) -> tuple[Reach, ...]:
    speeds = dict.fromkeys(float(f"{made.speed_max_mm_per_s * share:.2g}") for share in SPEED_SHARES[1:])
    ordered = (made.speed_max_mm_per_s, *(s for s in speeds if s < made.speed_max_mm_per_s))

    def run_up(speed: float, axis: str) -> float:
        accel = accel_mm_per_s2(made, axis="x" if axis == "x" else "y")
        return float(run_up_mm(speed, accel_mm_per_s2=accel, jerk_mm_per_s3=made.jerk_mm_per_s3))

    return tuple(Reach(speed_mm_per_s=s, run_up_x_mm=run_up(s, "x"), run_up_y_mm=run_up(s, "y")) for s in ordered)


def form_of(key: str) -> FigureForm:
    """Return what is told of a key of machine.toml, or of a lens's as `lens[1].focal_length_mm`."""
    tail = key.rsplit(".", 1)[-1]
    return LENS_BY_KEY[tail] if key.startswith("lens[") else BY_KEY[tail]
