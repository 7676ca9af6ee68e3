"""Load a batch folder: every file it names, every error at once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from evenburn.adapters.artwork.outline import outline_from_svg
from evenburn.adapters.artwork.setting import PlacedText
from evenburn.adapters.artwork.svg import open_svg
from evenburn.adapters.formats.batch_toml import BatchTable, BlankTable, MarkTable, PieceTable, file_clash, read_batch
from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.wood_toml import read_wood
from evenburn.core.art.picture import Artwork
from evenburn.core.errors import EvenburnError, InvalidInput, NotFound, UnreadableFile
from evenburn.core.nouns.blank import Blank
from evenburn.core.nouns.check import Check
from evenburn.core.nouns.confirmation import Confirmation
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Bridges, Mark, Piece, Preparation
from evenburn.core.nouns.wood import Wood
from evenburn.core.planning.mark_plan import MOST_PIXELS
from evenburn.services.blank_of_table import Outline, blank_of_table
from evenburn.services.load_artwork import face_path, file_artwork, inside, text_artwork
from evenburn.services.load_names import NamedPiece, named_pieces
from evenburn.services.prove import demand_sound_own_lines

MOST_PIECES = 4000


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """A batch folder as loaded: pieces in the order listed, woods and artworks by id.

    `listed_as` is piece id → number of the entry that makes it; those of one list of names share theirs.
    """

    name: str
    subtitle: str
    machine: Machine
    lens: Lens
    pieces: tuple[Piece, ...]
    woods: dict[str, Wood]
    confirmed: dict[str, bool]
    confirmations: dict[str, Confirmation]
    artworks: dict[tuple[str, str], Artwork]
    faults: dict[str, tuple[Check, ...]]
    letterings: dict[tuple[str, str], Lettered]
    listed_as: dict[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lettered:
    """A text as it is set: what, in which face, how high its capitals. [mm]"""

    text: str
    face: str | Path
    letter_mm: float


def load_batch(folder: Path) -> Batch:
    """Return a batch with everything it needs.

    Raises
    ------
    InvalidInput
        With every fault that can be seen, in batch.toml and in the files it names; where all hold, with lines of the machine
        that no program could be written with.
    UnreadableFile
        If batch.toml or machine.toml is no TOML at all.
    """
    if not folder.is_dir():
        raise NotFound(f"{folder} is not a folder", hint="Name the folder that holds batch.toml.")
    table = read_batch(folder / "batch.toml")
    wrong: dict[str, str] = {}
    machine = _machine(folder, table, wrong)
    lens = _lens(machine, table, wrong)
    woods: dict[str, Wood] = {}
    confirmations: dict[str, Confirmation] = {}
    pieces: list[Piece] = []
    artworks: dict[tuple[str, str], Artwork] = {}
    faults: dict[str, tuple[Check, ...]] = {}
    letterings: dict[tuple[str, str], Lettered] = {}
    listed_as: dict[str, int] = {}
    for number, entry in enumerate(table.piece, start=1):
        where = f"piece[{number}]"
        if entry.wood not in woods:
            known = _wood(folder, entry.wood, where, wrong)
            if known is not None:
                woods[entry.wood], confirmation = known
                if confirmation is not None:
                    confirmations[entry.wood] = confirmation
        blank = _blank(folder, entry.blank, f"{where}.blank", wrong)
        made = _made(folder, entry, where, wrong)
        for index, mark in enumerate(entry.mark, start=1):
            artwork = _artwork(folder, mark, f"{where}.mark[{index}]", wrong) if mark.column is None else None
            for one in made:
                drawn = one.artworks.get(mark.id, artwork)
                if drawn is not None:
                    artworks[one.id, mark.id] = drawn
                if isinstance(drawn, PlacedText):
                    text = one.texts.get(mark.id, mark.text or "")
                    own = _own_face(folder, mark)
                    letterings[one.id, mark.id] = Lettered(
                        text=text, face=own if own is not None else mark.face or "", letter_mm=drawn.letter_mm
                    )
            _size(mark, f"{where}.mark[{index}]", wrong)
            speed = mark.hold.speed_mm_per_s
            if machine is not None and speed is not None and speed > machine.speed_max_mm_per_s:
                wrong[f"{where}.mark[{index}].hold.speed_mm_per_s"] = (
                    f"is {speed:g}; {table.machine} allows {machine.speed_max_mm_per_s:g} at most"
                )
        for one in made:
            faults[one.id] = one.faults
            listed_as[one.id] = number
            if blank is not None:
                pieces.append(_piece(entry, blank, one))
    double = (
        sorted({p.id for p in pieces if [q.id for q in pieces].count(p.id) > 1}) if len(pieces) < MOST_PIECES else []
    )
    if double:
        wrong["piece"] = f'id "{double[0]}" stands twice, once made from a list of names; rename a piece'
    clash = None if wrong else file_clash({p.id: [m.id for m in p.marks] for p in pieces})
    if clash is not None:
        wrong["piece"] = f'two marks would write the same file "{clash}"; rename a piece or a mark'
    if len(pieces) > MOST_PIECES:
        wrong["piece"] = f"{len(pieces)} pieces in all; allowed are {MOST_PIECES}"
    if wrong or machine is None or lens is None:
        pages = [page for page, there in _pages(table, wrong) if there]
        raise InvalidInput(
            wrong,
            source="batch.toml",
            hint=f"docs/reference/{' and '.join(pages)} {'list' if len(pages) > 1 else 'lists'} every key.",
        )
    demand_sound_own_lines(machine, source=table.machine)
    return Batch(
        name=table.name,
        subtitle=table.subtitle,
        machine=machine,
        lens=lens,
        pieces=tuple(pieces),
        woods=woods,
        confirmed={wood_id: wood_id in confirmations for wood_id in woods},
        confirmations=confirmations,
        artworks=artworks,
        faults=faults,
        letterings=letterings,
        listed_as=listed_as,
    )


def _pages(table: BatchTable, wrong: dict[str, str]) -> tuple[tuple[str, bool], tuple[str, bool]]:
    """Return the pages of the reference, and whether anything that is wrong stands in the file each is about."""
    of_machine = [where.startswith(table.machine) for where in wrong]
    return ("batch.md", not all(of_machine)), ("machine.md", any(of_machine))


def _made(folder: Path, entry: PieceTable, where: str, wrong: dict[str, str]) -> tuple[NamedPiece, ...]:
    """Return what a piece of the file makes: itself, or one for each row of its list of names."""
    if entry.names is None:
        name = entry.name or entry.id.replace("-", " ")
        return (NamedPiece(id=entry.id, name=name, texts={}, artworks={}, faults=()),)
    try:
        return named_pieces(folder, entry)[0]
    except EvenburnError as error:
        _gather(wrong, f"{where}.names", error)
        return ()


def _own_face(folder: Path, mark: MarkTable) -> Path | None:
    try:
        return face_path(folder, mark)
    except EvenburnError:
        return None


def _gather(wrong: dict[str, str], where: str, error: EvenburnError) -> None:
    """Add an error to those already found, its own fields under the place that led to it."""
    if isinstance(error, InvalidInput):
        lead = f"{error.source}: " if error.source else ""
        for field, text in error.fields.items():
            place = where if not field or where.endswith(field) else f"{where} ({field})" if where else field
            wrong.setdefault(place, f"{lead}{text}")
    else:
        wrong.setdefault(where, error.message)


def _machine(folder: Path, table: BatchTable, wrong: dict[str, str]) -> Machine | None:
    try:
        path = inside(folder, table.machine, field="machine")
    except InvalidInput as error:
        _gather(wrong, "machine", error)
        return None
    try:
        return read_machine(path, name=table.machine)
    except InvalidInput as error:
        for field, text in error.fields.items():
            wrong[f"{table.machine}: {field}" if field else table.machine] = text
    except UnreadableFile as error:
        wrong["machine"] = error.message
    return None


def _lens(machine: Machine | None, table: BatchTable, wrong: dict[str, str]) -> Lens | None:
    if machine is None:
        return None
    for lens in machine.lenses:
        if lens.name == table.lens:
            return lens
    names = ", ".join(f'"{lens.name}"' for lens in machine.lenses)
    wrong["lens"] = f'is "{table.lens}", which {table.machine} does not have; it has {names}'
    return None


def _wood(folder: Path, wood_id: str, where: str, wrong: dict[str, str]) -> tuple[Wood, Confirmation | None] | None:
    """Return a wood and who confirmed that it may be burnt, None where nobody did."""
    try:
        wood, own = read_wood(folder, wood_id)
    except EvenburnError as error:
        _gather(wrong, f"{where}.wood", error)
        return None
    return wood, None if own is None else own.confirmation()


def _blank(folder: Path, table: BlankTable, where: str, wrong: dict[str, str]) -> Blank | None:
    def drawn(name: str) -> Outline:
        path = inside(folder, name, field=f"{where}.outline")
        return outline_from_svg(open_svg(path, name=name), size_mm=table.size_mm, name=name)

    try:
        return blank_of_table(table, drawn=drawn)
    except InvalidInput as error:
        for field, text in error.fields.items():
            wrong[f"{where}.{field}" if not field.startswith(where) else field] = text
        return None
    except EvenburnError as error:
        _gather(wrong, f"{where}.outline", error)
        return None


def _artwork(folder: Path, mark: MarkTable, where: str, wrong: dict[str, str]) -> Artwork | None:
    try:
        if mark.art is not None:
            return file_artwork(folder, mark)
        return text_artwork(folder, mark, mark.text or "")
    except EvenburnError as error:
        field = "art" if mark.art is not None else "face" if isinstance(error, NotFound) else "text"
        _gather(wrong, f"{where}.{field}", error)
        return None


def _size(mark: MarkTable, where: str, wrong: dict[str, str]) -> None:
    """Refuse a mark whose burn image no memory holds."""
    spacing = mark.hold.line_spacing_mm
    if spacing is None:
        return
    pixels = mark.size_mm[0] * mark.size_mm[1] / spacing**2
    if pixels > MOST_PIXELS:
        coarsest = math.sqrt(mark.size_mm[0] * mark.size_mm[1] / MOST_PIXELS)
        wrong[f"{where}.hold.line_spacing_mm"] = (
            f"is {spacing:g}, which makes {pixels / 1e6:.0f} million dots of {mark.size_mm[0]:g} × "
            f"{mark.size_mm[1]:g} mm; allowed are {MOST_PIXELS // 1_000_000} million, from {coarsest:.3f} mm on"
        )


def _piece(table: PieceTable, blank: Blank, made: NamedPiece) -> Piece:
    return Piece(
        id=made.id,
        name=made.name,
        wood_id=table.wood,
        blank=blank,
        place_bed_mm=table.place_bed_mm,
        turn_deg=table.turn_deg,
        marks=tuple(_mark(m, text=made.texts.get(m.id, m.text or "")) for m in table.mark),
    )


def _mark(table: MarkTable, *, text: str) -> Mark:
    label = table.art if table.art is not None else f"“{' / '.join(text.splitlines())}” in {table.face}"
    return Mark(
        id=table.id,
        art_label=label,
        treatment=table.treatment,
        tone_L=table.tone_L if table.tone_L is not None else 0.0,
        place_mm=table.place_mm,
        size_mm=table.size_mm,
        hold=table.hold_of(),
        reproduction=table.reproduction,
        air_kPa=table.air_kPa,
        sharpness_mm=table.sharpness_mm,
        reading_distance_mm=table.reading_distance_mm,
        preparation=Preparation(
            local_contrast=table.photo.local_contrast,
            sharpen=table.photo.sharpen,
            fade_mm=table.photo.fade_mm,
            background_L=table.photo.background_L,
        ),
        line_mm=table.line_mm,
        keeps=table.keeps,
        bridges=None if table.bridges is None else Bridges(count=table.bridges.count, width_mm=table.bridges.width_mm),
    )
