"""The cards by which a machine is measured: the stopwatch's and the focus ladder, kept with their programs and results.

A card stands in `card` with its card.json; it hangs on the wood it is burnt on. What belongs to it is kept among the book's files
and named by rows of `photograph`, as `machine/MACHINE-ID/FILE`: the programs and the mat as they were written, machine.toml as
it was then, the photographs as `photo-1.jpg` …, `reading.png` and what came of it, `motion.json` or `beam.json`. Of one name
the newest counts. So a card can be burnt, read and used weeks later, whatever became of the machine's numbers meanwhile.
"""

from __future__ import annotations

import io
import json
import tomllib
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal, cast

import sqlalchemy as sa

from evenburn.adapters.formats.beam_json import BeamDocument, lens_lines
from evenburn.adapters.formats.json_file import json_text
from evenburn.adapters.formats.motion_json import MotionDocument, machine_lines
from evenburn.adapters.formats.strict import checked
from evenburn.adapters.storage.book.keeping import keep, load
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import card, curve, machine, photograph, wood
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.services.book.hand_out import LENS, WORDS, NotHandedOut, fault_of_card, is_program, machine_now, made_for
from evenburn.services.book.lay_out import toml_text
from evenburn.services.book.wood_rows import called_document

CardKind = Literal["motion", "beam"]
RESULTS: Mapping[CardKind, str] = {"motion": "motion.json", "beam": "beam.json"}
MACHINE_FILE, CARD_FILE, DRAWING, PLOT = "machine.toml", "card.json", "reading.png", "beam.png"
FOLDER = "machine"
_MEDIA = {
    ".json": "application/json",
    ".toml": "text/plain",
    ".ngc": "text/plain",
    ".pdf": "application/pdf",
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".heic": "image/heic",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A number that a card told of a machine: its key, what it is, its standard deviation where told, when and from what."""

    key: str
    value: float
    sd: float | None
    date: str
    detail: str
    kind: Literal["measured", "fitted"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineCard:
    """A card of a machine.

    Attributes
    ----------
    document : its card.json.
    files : what was written to burn it, by name; downloads.
    photographs : names of the photographs that were sent.
    told : numbers of its newest result, keys as in machine.toml, of a lens as `lens[1].waist_radius_mm`; empty before.
    result : motion.json or beam.json, None before.
    """

    card_id: int
    kind: CardKind
    machine_id: str
    wood_id: str
    wood_name: str
    lens_name: str
    made_at: str
    document: dict[str, Any]
    files: tuple[str, ...]
    photographs: tuple[str, ...]
    told: tuple[Told, ...]
    result: dict[str, Any] | None


def make_machine_card(
    book: Book,
    machine_id: str,
    kind: CardKind,
    *,
    wood_id: str,
    lens_name: str | None = None,
    page: str = "A4",
    now: str,
) -> int:
    """Make a stopwatch card ("motion") or a focus ladder ("beam"), every program read back from disk, and return its number.

    Raises
    ------
    InvalidInput, NotFound
        If the wood may not be burnt, or no such card fits the machine.
    StorageError
        If its files cannot be kept.
    """
    if not wood_id:
        raise InvalidInput({"wood": "is missing; choose what it is burnt on"})
    from evenburn.services.make_beam_card import make_beam_card
    from evenburn.services.make_motion_card import make_motion_card

    with book.reading() as connection:
        document = row_of(connection, machine, machine_id)["document"]
        wood_row = row_of(connection, wood, wood_id)
        curve_document = connection.execute(
            sa.select(curve.c.document).where(curve.c.id == wood_row["curve_id"])
        ).scalar_one_or_none()
    with TemporaryDirectory(prefix="evenburn-card-") as name:
        folder = Path(name)
        (folder / "woods").mkdir()
        (folder / MACHINE_FILE).write_text(toml_text(document), encoding="utf-8")
        named = {} if curve_document is None else {"curve": f"{wood_id}.curve.json"}
        (folder / "woods" / f"{wood_id}.toml").write_text(
            toml_text({**called_document(wood_row["document"], called=str(wood_row["name"])), **named}),
            encoding="utf-8",
        )
        if curve_document is not None:
            (folder / "woods" / f"{wood_id}.curve.json").write_text(json_text(curve_document), encoding="utf-8")
        to = folder / "card"
        make = make_motion_card if kind == "motion" else make_beam_card
        made = make(folder / MACHINE_FILE, wood_id, to=to, date=now[:10], folder=folder, page=page, lens_name=lens_name)
        files = {path.name: path.read_bytes() for path in sorted(to.iterdir()) if path.suffix in _MEDIA}
        files[MACHINE_FILE] = (folder / MACHINE_FILE).read_bytes()
        with book.writing() as connection:
            insert = sa.insert(card).values(wood_id=wood_id, kind=kind, made_at=now, document=made.document)
            key = connection.execute(insert).inserted_primary_key
            assert key is not None  # noqa: S101  # one row was inserted
            card_id = int(key[0])
            keep_files(book, connection, files, machine_id=machine_id, card_id=card_id, now=now)
    return card_id


def keep_files(
    book: Book, connection: sa.Connection, files: Mapping[str, bytes], *, machine_id: str, card_id: int, now: str
) -> None:
    """Keep files that belong to a card; of one name the newest counts."""
    for name, data in files.items():
        media = _MEDIA.get(Path(name).suffix.lower(), "application/octet-stream")
        sha256 = keep(book, connection, data, media_type=media, now=now)
        connection.execute(
            sa.insert(photograph).values(
                sha256=sha256, name=f"{FOLDER}/{machine_id}/{name}", received_at=now, card_id=card_id
            )
        )


def cards_of(book: Book, machine_id: str) -> tuple[MachineCard, ...]:
    """Return the cards of a machine, the newest first."""
    with book.reading() as connection:
        ids = connection.execute(
            sa.select(card.c.id)
            .join(photograph, photograph.c.card_id == card.c.id)
            .where(card.c.kind.in_(RESULTS), photograph.c.name == f"{FOLDER}/{machine_id}/{CARD_FILE}")
            .order_by(card.c.id.desc())
        ).scalars()
        return tuple(_card(book, connection, int(id_)) for id_ in dict.fromkeys(ids))


def machine_card_of(book: Book, card_id: int) -> MachineCard:
    """Return a card of a machine; NotFound if there is none of that number."""
    with book.reading() as connection:
        return _card(book, connection, card_id)


def file_of_card(book: Book, card_id: int, name: str) -> tuple[bytes, str]:
    """Return a file that belongs to a card and its media type; a program is verified anew.

    Raises
    ------
    NotFound
        If there is none.
    NotHandedOut
        If it is a program, and the card's programs do not hold against the machine as it is.
    """
    if is_program(name):
        _demand_sound(book, card_id)
    media = _MEDIA.get(Path(name).suffix.lower())
    if media is None:
        raise NotFound("that card has no such file")
    return _kept(book, card_id, name), media


def packed_card(book: Book, card_id: int) -> bytes:
    """Return all that is needed to burn a card as one ZIP; raises as `file_of_card`."""
    one = machine_card_of(book, card_id)
    _demand_sound(book, card_id)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name in one.files:
            packed.writestr(name, _kept(book, card_id, name))
    return out.getvalue()


def fault_of_machine_card(book: Book, card_id: int) -> str:
    """Return why a card's programs are not handed out any more, "" where they hold against the machine as it is."""
    with book.reading() as connection:
        files = _files(connection, card_id)
        lens_name = str(_row(connection, card_id, files)["document"]["lens"])
        now = machine_now(connection, _machine_id(connection, card_id))
    then = made_for(book, files.get(MACHINE_FILE), lens_name=lens_name, keys=WORDS, lens_keys=LENS)
    return fault_of_card({name: load(book, sha) for name, sha in files.items() if is_program(name)}, then, now)


def _demand_sound(book: Book, card_id: int) -> None:
    fault = fault_of_machine_card(book, card_id)
    if fault:
        raise NotHandedOut(f"the programs of this card are not handed out: {fault}", hint="Make the card anew.")


def _kept(book: Book, card_id: int, name: str) -> bytes:
    """Return a file as it was kept."""
    with book.reading() as connection:
        found = _files(connection, card_id).get(name)
    if found is None:
        raise NotFound("that card has no such file")
    return load(book, found)


def lay_out_card(book: Book, card_id: int, *, to: Path) -> MachineCard:
    """Write a card's own files into a folder, as they were when it was made, and return the card."""
    one = machine_card_of(book, card_id)
    for name in (*one.files, MACHINE_FILE):
        (to / name).write_bytes(_kept(book, card_id, name))
    return one


# ---- what a result tells -----------------------------------------------------------------------------------------

_SD_KEYS = {
    "accel_x_mm_per_s2": "accel_x_sd_mm_per_s2",
    "accel_y_mm_per_s2": "accel_y_sd_mm_per_s2",
    "jerk_mm_per_s3": "jerk_sd_mm_per_s3",
    "line_overhead_s": "line_overhead_sd_s",
    "rise_time_s": "rise_time_sd_s",
    "reversal_offset_mm": "reversal_offset_sd_mm",
    "waist_radius_mm": "waist_radius_sd_mm",
    "rayleigh_length_mm": "rayleigh_length_sd_mm",
    "focus_stand_off_mm": "waist_offset_sd_mm",
}


def told_by(kind: CardKind, result: Mapping[str, Any]) -> tuple[Told, ...]:
    """Return the numbers of a result, rounded as they go into machine.toml; of a ladder, keys of its lens."""
    if kind == "motion":
        lines = machine_lines(checked(MotionDocument, dict(result), name=RESULTS[kind]))
    else:
        lines = lens_lines(checked(BeamDocument, dict(result), name=RESULTS[kind]))
    found = []
    for line in lines:
        key, value = line.split(" = ")
        sd = result.get(_SD_KEYS.get(key, ""))
        found.append(
            Told(
                key=key,
                value=float(value),
                sd=None if sd is None else float(sd),
                date=result["provenance"]["date"],
                detail=result["provenance"]["detail"],
                kind=result["provenance"]["kind"],
            )
        )
    return tuple(found)


def _card(book: Book, connection: sa.Connection, card_id: int) -> MachineCard:
    files = _files(connection, card_id)
    row = _row(connection, card_id, files)
    kind = cast("CardKind", row["kind"])
    result = json.loads(load(book, files[RESULTS[kind]])) if RESULTS[kind] in files else None
    return MachineCard(
        card_id=card_id,
        kind=kind,
        machine_id=_machine_id(connection, card_id),
        wood_id=row["wood_id"],
        wood_name=str(connection.execute(sa.select(wood.c.name).where(wood.c.id == row["wood_id"])).scalar_one()),
        lens_name=row["document"]["lens"],
        made_at=row["made_at"],
        document=row["document"],
        files=tuple(sorted((n for n in files if _is_download(n)), key=_order)),
        photographs=tuple(n for n in files if n.startswith("photo-")),
        told=() if result is None else told_by(kind, result),
        result=result,
    )


def _row(connection: sa.Connection, card_id: int, files: Mapping[str, str]) -> Mapping[str, Any]:
    row = connection.execute(sa.select(card).where(card.c.id == card_id)).mappings().one_or_none()
    if row is None or row["kind"] not in RESULTS or CARD_FILE not in files:
        raise NotFound(f"there is no card {card_id} of a machine in the book")
    return dict(row)


def _is_download(name: str) -> bool:
    known = Path(name).suffix.lower() in _MEDIA  # another ending is none of ours, as a row from elsewhere may have it
    return known and not name.startswith("photo-") and name not in {*RESULTS.values(), MACHINE_FILE, DRAWING, PLOT}


def _order(name: str) -> tuple[int, str]:
    """Order as they are used at the machine: what is run or burnt first, then the card, its picture, its mat, its number."""
    ranks = {"card.ngc": 1, "card.png": 2, "mat.pdf": 3, CARD_FILE: 4}
    return ranks.get(name, 0), name


def _files(connection: sa.Connection, card_id: int) -> dict[str, str]:
    """Return the files of a card by name, of one name the newest."""
    rows = connection.execute(
        sa.select(photograph.c.name, photograph.c.sha256)
        .where(
            photograph.c.card_id == card_id,
            photograph.c.removed_at.is_(None),
            photograph.c.name.startswith(f"{FOLDER}/", autoescape=True),
        )
        .order_by(photograph.c.id)
    )
    return {str(name).rsplit("/", 1)[-1]: str(sha) for name, sha in rows}


def _machine_id(connection: sa.Connection, card_id: int) -> str:
    name = (
        connection.execute(
            sa.select(photograph.c.name).where(
                photograph.c.card_id == card_id, photograph.c.name.like(f"{FOLDER}/%/{CARD_FILE}")
            )
        )
        .scalars()
        .first()
    )
    return str(name).split("/")[1]


def newest(cards: Iterable[MachineCard]) -> dict[str, Told]:
    """Return what cards told of a machine, for each key the newest first card that did; a lens's keys led by its name."""
    found: dict[str, Told] = {}
    for one in cards:
        for told in one.told:
            key = told.key if one.kind == "motion" else f"{one.lens_name}/{told.key}"
            found.setdefault(key, told)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """One program of a ladder: the stand-off to set for it, and how many lines it burns."""

    file: str
    stand_off_mm: float
    focus_offset_mm: float
    lines: int


def focus_stand_off_mm(book: Book, card_id: int) -> float:
    """Return the focus stand-off that a card was made with, whatever the machine says by now. [mm]"""
    one = machine_card_of(book, card_id)
    lenses = tomllib.loads(_kept(book, card_id, MACHINE_FILE).decode())["lens"]
    return float(next(lens["focus_stand_off_mm"] for lens in lenses if lens["name"] == one.lens_name))


def set_ups_of(book: Book, card_id: int) -> tuple[SetUp, ...]:
    """Return what is to be set for each program of a ladder, in the order to burn them."""
    one = machine_card_of(book, card_id)
    focus_mm = focus_stand_off_mm(book, card_id)
    offsets: dict[float, int] = {}
    for line in one.document["lines"]:
        offsets[line["focus_offset_mm"]] = offsets.get(line["focus_offset_mm"], 0) + 1
    programs = [name for name in one.files if name.startswith("beam-")]
    return tuple(
        SetUp(file=name, stand_off_mm=round(focus_mm + offset, 3), focus_offset_mm=offset, lines=offsets[offset])
        for name, offset in zip(programs, sorted(offsets), strict=True)
    )


def delivered_photographs(book: Book, card_id: int) -> tuple[tuple[int, str], ...]:
    """Return the photographs that a phone delivered for a card, number and name, the oldest first."""
    with book.reading() as connection:
        rows = connection.execute(
            sa.select(photograph.c.id, photograph.c.name)
            .where(
                photograph.c.card_id == card_id,
                photograph.c.removed_at.is_(None),
                sa.not_(photograph.c.name.startswith(f"{FOLDER}/", autoescape=True)),
            )
            .order_by(photograph.c.id)
        )
        return tuple((int(i), str(n)) for i, n in rows)


def photograph_data(book: Book, photograph_id: int) -> tuple[str, bytes]:
    """Return a photograph of the book: its name and its data; NotFound if there is none."""
    with book.reading() as connection:
        row = connection.execute(
            sa.select(photograph.c.name, photograph.c.sha256).where(
                photograph.c.id == photograph_id, photograph.c.removed_at.is_(None)
            )
        ).one_or_none()
    if row is None:
        raise NotFound(f"photograph {photograph_id} is not in the book")
    return str(row.name), load(book, row.sha256)


def card_woods(book: Book) -> tuple[tuple[str, str], ...]:
    """Return the woods of the book that a card may be burnt on, id and name."""
    with book.reading() as connection:
        rows = connection.execute(
            sa.select(wood.c.id, wood.c.name).where(wood.c.removed_at.is_(None)).order_by(wood.c.name)
        )
        return tuple((str(i), str(n)) for i, n in rows)
