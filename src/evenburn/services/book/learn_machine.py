"""Learn how a machine moves and focuses: stopwatch times and photographs of its cards, to numbers that it may take over."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePath
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import sqlalchemy as sa

from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import machine, reading
from evenburn.core.errors import InvalidInput
from evenburn.core.nouns.provenance import ProvenanceKind
from evenburn.services.book.aside import Run, here, plainly
from evenburn.services.book.change_machine import change_machine
from evenburn.services.book.machine_cards import (
    CARD_FILE,
    DRAWING,
    MACHINE_FILE,
    PLOT,
    RESULTS,
    MachineCard,
    Told,
    keep_files,
    lay_out_card,
    machine_card_of,
)
from evenburn.services.book.machine_figures import FigureForm
from evenburn.services.book.machine_of import form_of
from evenburn.services.book.saved import Saved
from evenburn.services.progress import Progress, no_progress

if TYPE_CHECKING:
    from evenburn.services.read_card import CardRead

READING = "reading.json"
ENDINGS = (".jpg", ".jpeg", ".png", ".heic")
STEPS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Photograph:
    """A photograph as sent; `name` is what the person's computer calls it."""

    name: str
    data: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class StopwatchTold:
    """What a person took down: times of rasters [s], as often as taken, strokes that line up by eye, photographs."""

    times: tuple[tuple[str, float], ...] = ()
    lines_up: Mapping[str, float] = field(default_factory=dict)
    photographs: tuple[Photograph, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LearntMachine:
    """What came of it: the card with its result, and what was left out of it, in words."""

    card: MachineCard
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A number before and after; `taken` where the machine has it already.

    `changes` is how to take it over, for `change_machine`.
    """

    key: str
    form: FigureForm
    before: float | None
    after: float
    sd: float | None
    kind: ProvenanceKind
    taken: bool


def learn_stopwatch(
    book: Book, card_id: int, told: StopwatchTold, *, now: str, progress: Progress = no_progress, run: Run = here
) -> LearntMachine:
    """Fit how a machine moves, and keep the result with its card; the machine itself stays as it is.

    Raises
    ------
    InvalidInput
        With every time or number that does not hold, as `time[1]`, `lines_up[slow]`; at `photographs` why none could be read.
    """
    from evenburn.services.fit_motion import fit_motion_card

    with TemporaryDirectory(prefix="evenburn-learn-") as name:
        folder = Path(name)
        card = _laid_out(book, card_id, "motion", to=folder)
        readings: list[Path] = []
        notes: tuple[str, ...] = ()
        files: dict[str, bytes] = {}
        if told.photographs:
            progress("reads the photographs", 0, STEPS)
            read, files = _read(folder, told.photographs, progress=progress, run=run)
            notes = _left_out(read)
            readings = [folder / READING]
        progress("fits how the head moves", 1, STEPS)
        result = folder / RESULTS["motion"]
        try:
            fit_motion_card(
                folder / CARD_FILE,
                machine_file=folder / MACHINE_FILE,
                to=result,
                date=now[:10],
                times=told.times,
                lines_up=told.lines_up,
                readings=readings,
            )
        except InvalidInput as error:
            raise InvalidInput({_at(where): text for where, text in error.fields.items()}) from error
        progress("keeps the result", 2, STEPS)
        _keep(book, card, {**files, result.name: result.read_bytes()}, now=now)
        progress("done", STEPS, STEPS)
    return LearntMachine(card=machine_card_of(book, card_id), notes=notes)


def learn_ladder(
    book: Book,
    card_id: int,
    photographs: Sequence[Photograph],
    *,
    now: str,
    progress: Progress = no_progress,
    run: Run = here,
) -> LearntMachine:
    """Fit the beam of a lens to photographs of its ladder, and keep the result with the card; the machine stays as it is.

    Raises
    ------
    InvalidInput
        At `photographs`, why none could be read or too little was seen.
    """
    from evenburn.services.fit_beam import fit_beam_reading

    with TemporaryDirectory(prefix="evenburn-learn-") as name:
        folder = Path(name)
        card = _laid_out(book, card_id, "beam", to=folder)
        demand_some(photographs)
        progress("reads the photographs", 0, STEPS)
        read, files = _read(folder, photographs, progress=progress, run=run)
        progress("fits the beam", 1, STEPS)
        result = folder / RESULTS["beam"]
        try:
            fit_beam_reading(
                [folder / READING], to=result, date=now[:10], machine_file=folder / MACHINE_FILE, plot=folder / PLOT
            )
        except InvalidInput as error:
            raise InvalidInput({"photographs": "; ".join(error.fields.values())}, hint=error.hint) from error
        progress("keeps the result", 2, STEPS)
        _keep(
            book,
            card,
            {**files, result.name: result.read_bytes(), PLOT: (folder / PLOT).read_bytes()},
            now=now,
        )
        progress("done", STEPS, STEPS)
    return LearntMachine(card=machine_card_of(book, card_id), notes=_left_out(read))


def demand_some(photographs: Sequence[Photograph]) -> None:
    """Refuse to read a card without a photograph; InvalidInput at `photographs`."""
    if not photographs:
        raise InvalidInput({"photographs": "none was chosen; one at least is needed"})


def differences(book: Book, card_id: int) -> tuple[Difference, ...]:
    """Return what a card's newest result says, held against the machine as it stands."""
    card = machine_card_of(book, card_id)
    with book.reading() as connection:
        document = row_of(connection, machine, card.machine_id)["document"]
    found = []
    for told in card.told:
        key, holder = _place(document, card, told)
        before = holder.get(told.key)
        found.append(
            Difference(
                key=key,
                form=form_of(key),
                before=None if before is None else float(before),
                after=told.value,
                sd=told.sd,
                kind=told.kind,
                taken=before == told.value,
            )
        )
    return tuple(found)


def take_measured(book: Book, card_id: int, *, version: int, now: str) -> Saved:
    """Let the machine take over what a card's newest result says; can be undone.

    Raises
    ------
    InvalidInput
        If there is no result, the lens is gone, or the machine does not hold with it.
    ChangedMeanwhile
        If the machine is not the version that the person saw.
    """
    card = machine_card_of(book, card_id)
    if not card.told:
        raise InvalidInput({"card": "nothing was learnt from it yet"})
    with book.reading() as connection:
        document = row_of(connection, machine, card.machine_id)["document"]
    changes = {_place(document, card, told)[0]: told.value for told in card.told}
    what = "Stopwatch" if card.kind == "motion" else f"Ladder of the {card.lens_name} lens"
    return change_machine(
        book, card.machine_id, changes, version=version, now=now, what=f"{what} of {card.told[0].date} taken over"
    )


def _place(document: Mapping[str, object], card: MachineCard, told: Told) -> tuple[str, Mapping[str, float]]:
    """Return the key of a number in its machine, and the table that holds it."""
    if card.kind == "motion":
        return told.key, document  # type: ignore[return-value]  # a JSON object
    lenses = document["lens"]
    assert isinstance(lenses, list)  # noqa: S101  # the form of machine.toml
    for number, lens in enumerate(lenses, start=1):
        if lens["name"] == card.lens_name:
            return f"lens[{number}].{told.key}", lens
    raise InvalidInput({"lens": f"“{card.lens_name}”, which the ladder is of, is no lens of the machine any more"})


def _laid_out(book: Book, card_id: int, kind: str, *, to: Path) -> MachineCard:
    card = lay_out_card(book, card_id, to=to)
    if card.kind != kind:
        raise InvalidInput({"card": f"is a {card.kind} card, not a {kind} card"})
    return card


def _read(
    folder: Path, photographs: Sequence[Photograph], *, progress: Progress, run: Run
) -> tuple[CardRead, dict[str, bytes]]:
    """Read the photographs of the card in a folder, and return what is to be kept of it."""
    from evenburn.services.read_card import read_card_photographs

    paths = []
    for number, photo in enumerate(photographs, start=1):
        ending = PurePath(photo.name).suffix.lower()
        path = folder / f"photo-{number}{ending if ending in ENDINGS else '.jpg'}"
        path.write_bytes(photo.data)
        paths.append(path)
    given = {
        "photographs": paths,
        "card_file": folder / CARD_FILE,
        "to": folder / READING,
        "drawing": folder / DRAWING,
    }
    read: CardRead = run(plainly, function=read_card_photographs, given=given, progress=progress)
    if read.reading is None:
        first = read.refused[0]
        raise InvalidInput({"photographs": f"{first.text} {first.remedy}".strip()})
    files = {path.name: path.read_bytes() for path in paths}
    files[READING] = (folder / READING).read_bytes()
    if (folder / DRAWING).is_file():
        files[DRAWING] = (folder / DRAWING).read_bytes()
    return read, files


def _left_out(read: CardRead) -> tuple[str, ...]:
    return tuple(f"{one.name} is left out: {one.text} {one.remedy}".strip() for one in read.refused)


def _keep(book: Book, card: MachineCard, files: dict[str, bytes], *, now: str) -> None:
    text = files.pop(READING, None)
    with book.writing() as connection:
        if text is not None:
            connection.execute(sa.insert(reading).values(card_id=card.card_id, read_at=now, document=json.loads(text)))
        keep_files(book, connection, files, machine_id=card.machine_id, card_id=card.card_id, now=now)


def _at(where: str) -> str:
    """Return the field of a form that an option of the command line stands for."""
    option, _, of = where.removeprefix("--").partition(" ")
    name = option.replace("-", "_")
    return f"{name}[{of}]" if of else name
