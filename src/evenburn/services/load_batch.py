"""Load a batch folder: every file it names, every error at once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from shapely import MultiPolygon, Polygon

from evenburn.adapters.artwork.outline import outline_from_svg
from evenburn.adapters.artwork.source import artwork_from_file, artwork_from_text
from evenburn.adapters.artwork.svg import open_svg
from evenburn.adapters.formats.batch_toml import BatchTable, BlankTable, MarkTable, PieceTable, read_batch
from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.wood_toml import read_wood
from evenburn.core.art.picture import Artwork
from evenburn.core.errors import EvenburnError, InvalidInput, NotFound, UnreadableFile
from evenburn.core.layout.place import ellipse_outline, rectangle_outline, rounded_outline
from evenburn.core.nouns.blank import Blank
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.mark import Mark, Piece
from evenburn.core.nouns.wood import Wood
from evenburn.core.planning.mark_plan import MOST_PIXELS


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """A batch folder as loaded: pieces in the order listed, woods and artworks by id."""

    name: str
    subtitle: str
    machine: Machine
    lens: Lens
    pieces: tuple[Piece, ...]
    woods: dict[str, Wood]
    confirmed: dict[str, bool]
    artworks: dict[tuple[str, str], Artwork]


def inside(folder: Path, relative: str, *, field: str) -> Path:
    """Return a path named in a batch, if it stays inside the batch folder.

    Raises
    ------
    InvalidInput
        If it leaves the folder or is not there.
    """
    path = folder / relative
    if Path(relative).is_absolute() or not path.resolve().is_relative_to(folder.resolve()):
        raise InvalidInput({field: f'is "{relative}", which lies outside the batch folder; copy it into the folder'})
    if not path.is_file():
        raise InvalidInput({field: f'is "{relative}", which is not in the batch folder'})
    return path


def load_batch(folder: Path) -> Batch:
    """Return a batch with everything it needs.

    Raises
    ------
    InvalidInput
        With every fault that can be seen, in batch.toml and in the files it names.
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
    confirmed: dict[str, bool] = {}
    pieces: list[Piece] = []
    artworks: dict[tuple[str, str], Artwork] = {}
    for number, entry in enumerate(table.piece, start=1):
        where = f"piece[{number}]"
        if entry.wood not in woods:
            known = _wood(folder, entry.wood, where, wrong)
            if known is not None:
                woods[entry.wood], confirmed[entry.wood] = known
        blank = _blank(folder, entry.blank, f"{where}.blank", wrong)
        for index, mark in enumerate(entry.mark, start=1):
            artwork = _artwork(folder, mark, f"{where}.mark[{index}]", wrong)
            if artwork is not None:
                artworks[entry.id, mark.id] = artwork
            _size(mark, f"{where}.mark[{index}]", wrong)
            speed = mark.hold.speed_mm_per_s
            if machine is not None and speed is not None and speed > machine.speed_max_mm_per_s:
                wrong[f"{where}.mark[{index}].hold.speed_mm_per_s"] = (
                    f"is {speed:g}; {table.machine} allows {machine.speed_max_mm_per_s:g} at most"
                )
        if blank is not None:
            pieces.append(_piece(entry, blank))
    if wrong or machine is None or lens is None:
        raise InvalidInput(wrong, source="batch.toml", hint="docs/reference/batch.md lists every key.")
    return Batch(
        name=table.name,
        subtitle=table.subtitle,
        machine=machine,
        lens=lens,
        pieces=tuple(pieces),
        woods=woods,
        confirmed=confirmed,
        artworks=artworks,
    )


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


def _wood(folder: Path, wood_id: str, where: str, wrong: dict[str, str]) -> tuple[Wood, bool] | None:
    """Return a wood and whether somebody confirmed that it may be burnt."""
    try:
        wood, own = read_wood(folder, wood_id)
    except EvenburnError as error:
        _gather(wrong, f"{where}.wood", error)
        return None
    return wood, own is not None and own.confirmed_by is not None


def _blank(folder: Path, table: BlankTable, where: str, wrong: dict[str, str]) -> Blank | None:
    try:
        outline = _outline(folder, table, where)
    except InvalidInput as error:
        for field, text in error.fields.items():
            wrong[f"{where}.{field}" if not field.startswith(where) else field] = text
        return None
    except EvenburnError as error:
        _gather(wrong, f"{where}.outline", error)
        return None
    x0, y0, x1, y1 = outline.bounds
    return Blank(
        shape=table.shape,
        size_mm=(x1 - x0, y1 - y0) if table.size_mm is None else table.size_mm,
        thickness_mm=table.thickness_mm,
        unevenness_mm=table.unevenness_mm,
        outline=outline,
        margin_mm=table.margin_mm,
    )


def _outline(folder: Path, table: BlankTable, where: str) -> Polygon | MultiPolygon:
    if table.shape == "outline" and table.outline is not None:
        path = inside(folder, table.outline, field=f"{where}.outline")
        return outline_from_svg(open_svg(path, name=table.outline), size_mm=table.size_mm, name=table.outline)
    size = table.size_mm
    if table.shape == "circle" and table.diameter_mm is not None:
        size = (table.diameter_mm, table.diameter_mm)
    if size is None:
        raise InvalidInput({"size_mm": "is missing"})
    if table.shape == "rectangle":
        return rectangle_outline(size)
    if table.shape == "rounded":
        return rounded_outline(size, radius_mm=table.radius_mm or 0.0)
    return ellipse_outline(size)


def _artwork(folder: Path, table: MarkTable, where: str, wrong: dict[str, str]) -> Artwork | None:
    try:
        if table.art is not None:
            return artwork_from_file(inside(folder, table.art, field=f"{where}.art"), name=table.art)
        face = table.face or ""
        own = inside(folder, face, field=f"{where}.face") if face.lower().endswith((".ttf", ".otf")) else None
        return artwork_from_text(table.text or "", face=face, align=table.align, face_path=own)
    except EvenburnError as error:
        field = "art" if table.art is not None else "face" if isinstance(error, NotFound) else "text"
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


def _piece(table: PieceTable, blank: Blank) -> Piece:
    return Piece(
        id=table.id,
        name=table.name or table.id.replace("-", " "),
        wood_id=table.wood,
        blank=blank,
        place_bed_mm=table.place_bed_mm,
        turn_deg=table.turn_deg,
        marks=tuple(_mark(m) for m in table.mark),
    )


def _mark(table: MarkTable) -> Mark:
    label = table.art if table.art is not None else f"“{' / '.join((table.text or '').splitlines())}” in {table.face}"
    return Mark(
        id=table.id,
        art_label=label,
        treatment=table.treatment,
        tone_L=table.tone_L,
        place_mm=table.place_mm,
        size_mm=table.size_mm,
        hold=table.hold_of(),
        reproduction=table.reproduction,
        air_kPa=table.air_kPa,
        sharpness_mm=table.sharpness_mm,
        reading_distance_mm=table.reading_distance_mm,
    )
