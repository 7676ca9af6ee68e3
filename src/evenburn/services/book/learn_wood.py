"""Learn a wood: make its card, keep photographs of it, read them, and fit a curve to what was read.

check_card              say what is wrong with a wish for a card, before it is made
add_card                design a card for a machine of the book, its program read back from disk
keep_photographs        keep photographs of a card, looked into before
read_card_in_book       read a card from photographs that are kept; what was found is drawn on the first one
curve_of_readings       fit a curve to the readings of a wood; the wood does not work with it before `take_curve`
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from evenburn.adapters.formats.card_json import card_document
from evenburn.adapters.formats.json_file import json_text
from evenburn.adapters.formats.wood_toml import shipped_as
from evenburn.adapters.photographs.opening import open_photograph
from evenburn.adapters.storage.book.keeping import keep, load
from evenburn.adapters.storage.book.opening import Book
from evenburn.adapters.storage.book.rows import row_of
from evenburn.adapters.storage.book.tables import card, machine, photograph, reading, wood
from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.core.planning.card_plan import CardOffBed
from evenburn.services.book.aside import Run, here, plainly
from evenburn.services.book.forbidden import only_called_so
from evenburn.services.book.lay_out import toml_text
from evenburn.services.book.names import file_name
from evenburn.services.book.wood_cards import INDEX, MACHINE, MAT, MEDIA, OWN, PICTURE, PROGRAM, card_in, card_row
from evenburn.services.book.wood_rows import called_document, curve_of, like_of, row_with_curve
from evenburn.services.progress import Progress, no_progress

if TYPE_CHECKING:
    from evenburn.services.make_card import CardWish
    from evenburn.services.read_card import CardRead

MOST_PHOTOGRAPHS = 12  # at one time
MOST_READINGS = 24
DETAIL_LONGEST = 400
PHOTOGRAPHS = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic")
NO_PICTURE = frozenset(
    {"no-picture", "damaged", "heic", "too-large"}
)  # no use keeping; all else is shown beside its fault
_HEADS = (
    (b"\xff\xd8\xff", "image/jpeg", ".jpg"),
    (b"\x89PNG\r\n\x1a\n", "image/png", ".png"),
    (b"RIFF", "image/webp", ".webp"),
    (b"II*\x00", "image/tiff", ".tif"),
    (b"MM\x00*", "image/tiff", ".tif"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BookCardWish:
    """What a person asks of a card.

    Attributes
    ----------
    lens : name of the lens; None for the first of the machine.
    strip : six patches for the back of a blank, instead of sixty.
    page : "A4" or "Letter", of the mat.
    at_mm : its lower left corner on the bed; None for the middle.
    focus_offset_mm : None for the least at which the patches are even.
    """

    machine_id: str
    lens: str | None = None
    strip: bool = False
    page: str = "A4"
    at_mm: tuple[float, float] | None = None
    focus_offset_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CardReadInBook:
    """What came of reading: the reading's number, whether it tells anything, and how many photographs were refused."""

    reading_id: int
    told: bool
    refused: int


# ---- a card ------------------------------------------------------------------------------------------------------


def check_card(book: Book, wood_id: str, wish: BookCardWish) -> None:
    """Refuse a wish for a card that `add_card` would refuse, before the work is begun; raises as that."""
    from evenburn.services.make_card import check_wood_card

    with _asked(book, wood_id, wish) as (machine_file, asked):
        check_wood_card(machine_file, asked)


@contextmanager
def _asked(book: Book, wood_id: str, wish: BookCardWish) -> Iterator[tuple[Path, CardWish]]:
    """Lay out machine.toml and the wood's files for a card, in a folder for a while; errors come in the words of the book."""
    from evenburn.services.make_card import CardWish

    with book.reading() as connection:
        row, curve_doc = row_with_curve(connection, wood_id)
        machine_document = row_of(connection, machine, wish.machine_id)["document"]
    about = called_document(row["document"], called=str(row["name"]))
    stop = only_called_so(wood_id, row["document"], called=str(row["name"]))
    if stop is not None:
        raise InvalidInput({"wood": stop.text}, hint="Change what is told of the wood, or take another.")
    off = {
        f"at_mm[{axis}]": f"is {value:g} mm; allowed is 0 or more"
        for axis, value in enumerate(wish.at_mm or (), start=1)
        if value < 0.0
    }
    if off:
        raise InvalidInput(off)
    like = None
    if shipped_as(wood_id, row["document"]["name"]) is None and curve_doc is not None:
        like = like_of(curve_of(curve_doc))  # not measured yet, and only like a wood that ships
    named = {} if curve_doc is None or like is not None else {"curve": f"{wood_id}.curve.json"}
    with TemporaryDirectory(prefix="evenburn-card-") as name:
        folder = Path(name)
        (folder / "woods").mkdir()
        (folder / "machine.toml").write_text(toml_text(machine_document), encoding="utf-8")
        (folder / "woods" / f"{wood_id}.toml").write_text(toml_text({**about, **named}), encoding="utf-8")
        if named:
            (folder / "woods" / f"{wood_id}.curve.json").write_text(json_text(curve_doc or {}), encoding="utf-8")
        asked = CardWish(
            wood_id=wood_id,
            like=like,
            folder=folder,
            strip=wish.strip,
            page=wish.page,
            lens=wish.lens,
            at_mm=wish.at_mm,
            focus_offset_mm=wish.focus_offset_mm,
        )
        try:
            yield folder / "machine.toml", asked
        except InvalidInput as error:
            raise _in_book_words(error) from error


def add_card(book: Book, wood_id: str, wish: BookCardWish, *, now: str, progress: Progress = no_progress) -> int:
    """Make a card for a wood and a machine of the book, and return its number.

    Raises
    ------
    InvalidInput
        If the material may not be burnt, or the machine cannot burn such a card; keys are those of the wish, or "wood", a
        place's `at_mm[1]` and `at_mm[2]`.
    NotFound
        If the wood, the machine or its lens is not in the book.
    StorageError
        If its files cannot be kept.
    """
    from evenburn.services.make_card import make_wood_card

    progress("choosing the patches", 0, 3)
    with _asked(book, wood_id, wish) as (machine_file, asked):
        to = machine_file.parent / "card"
        made = make_wood_card(machine_file, asked, to=to, date=now[:10])
        progress("keeping its program, picture and mat", 2, 3)
        with book.writing() as connection:
            row_of(connection, wood, wood_id)
            kind = "strip" if wish.strip else "wood"
            card_id = _new(
                connection,
                sa.insert(card).values(wood_id=wood_id, kind=kind, made_at=now, document=made.document),
            )
            for file in (PROGRAM, PICTURE, MAT):
                sha256 = keep(book, connection, (to / file).read_bytes(), media_type=MEDIA[file], now=now)
                _hang(connection, card_id, sha256, name=OWN + file, now=now)
            then = machine_file.read_bytes()
            sha256 = keep(book, connection, then, media_type="text/plain", now=now)
            _hang(connection, card_id, sha256, name=f"{MACHINE}{wish.machine_id}.toml", now=now)
    progress("the card is made", 3, 3)
    return card_id


def _in_book_words(error: InvalidInput) -> InvalidInput:
    """Return an error of the command line as one of a form: no options in it."""
    if isinstance(error, CardOffBed):
        axes = enumerate(zip(error.at_mm, error.allowed_mm, strict=True), start=1)
        off = {
            f"at_mm[{axis}]": f"the card, or the run-up of its lines, would leave the bed here; allowed is {low} to {high} mm"
            for axis, (at, (low, high)) in axes
            if not low <= at <= high
        }
        return InvalidInput(off, hint="Leave both empty for the middle of the bed.")
    fields = {name.removeprefix("--").replace("-", "_"): text for name, text in error.fields.items()}
    hints = [h for h in error.hint.split(". ") if "--" not in h]
    if "--strip" in error.hint:
        hints.append("Take the strip instead of the whole card.")
    return InvalidInput(fields, source=error.source, hint=". ".join(hints))


# ---- photographs -------------------------------------------------------------------------------------------------


def keep_photographs(book: Book, card_id: int, sent: Sequence[tuple[str, bytes]], *, now: str) -> tuple[int, ...]:
    """Keep photographs of a card, each looked into before, and return their numbers; all or none.

    Parameters
    ----------
    sent : what each is called, only a label, and its bytes.

    Raises
    ------
    InvalidInput
        At "photographs": none was sent, too many, or one is no picture that can be opened; what is wrong with each.
    NotFound
        If there is no such card.
    """
    if not 1 <= len(sent) <= MOST_PHOTOGRAPHS:
        what = (
            "choose at least one photograph" if not sent else f"{len(sent)} were sent; allowed are {MOST_PHOTOGRAPHS}"
        )
        raise InvalidInput({"photographs": what})
    kinds: list[tuple[str, str]] = []
    wrong: list[str] = []
    with TemporaryDirectory(prefix="evenburn-sent-") as folder:
        place = Path(folder) / "sent"
        for name, data in sent:
            place.write_bytes(data)
            kinds.append(_kind(data))
            try:
                open_photograph(place, name=name)
            except PhotographRefused as refused:
                if refused.code in NO_PICTURE:
                    wrong.append(f"{refused.text} {refused.remedy}")
    if wrong:
        raise InvalidInput({"photographs": " ".join(wrong)})
    with book.writing() as connection:
        card_row(connection, card_id)
        taken = _names(connection, card_id)
        keys = []
        for (name, data), (media_type, ending) in zip(sent, kinds, strict=True):
            unique = _unique(name, taken, ending=ending)
            taken.add(unique)
            keys.append(
                _hang(
                    connection,
                    card_id,
                    keep(book, connection, data, media_type=media_type, now=now),
                    name=unique,
                    now=now,
                )
            )
    return tuple(keys)


def _kind(data: bytes) -> tuple[str, str]:
    """Return what a photograph is by its first bytes: media type and ending."""
    if data[4:8] == b"ftyp":
        return "image/heic", ".heic"
    return next(((media, ending) for head, media, ending in _HEADS if data.startswith(head)), ("image/jpeg", ".jpg"))


def _names(connection: sa.Connection, card_id: int) -> set[str]:
    names = connection.execute(sa.select(photograph.c.name).where(photograph.c.card_id == card_id)).scalars()
    return {str(name) for name in names}


def _unique(name: str, taken: set[str], *, ending: str) -> str:
    """Return a plain name that no other photograph of the card has, also none that the book itself gives."""
    endings = (ending, *(e for e in PHOTOGRAPHS if e != ending))
    return file_name(name, taken | {"reading.png"}, endings=endings)


# ---- reading -----------------------------------------------------------------------------------------------------


def read_card_in_book(
    book: Book,
    card_id: int,
    photograph_ids: Sequence[int],
    *,
    now: str,
    paper_L: float | None = None,
    toner_L: float | None = None,
    progress: Progress = no_progress,
    run: Run = here,
) -> CardReadInBook:
    """Read a card from photographs of it that are in the book, and keep what was read or why each was refused.

    Raises
    ------
    InvalidInput
        If no photograph is named, or paper or toner cannot be so light.
    NotFound
        If there is no such card, or a photograph is not one of it.
    StorageError
        If the reading cannot be kept.
    """
    from evenburn.services.read_card import read_card_photographs

    check_reading(photograph_ids, paper_L=paper_L, toner_L=toner_L)
    count = len(photograph_ids)
    progress(f"reading {'the photograph' if count == 1 else f'{count} photographs'}", 0, 3)
    with book.writing() as connection:
        row = card_row(connection, card_id)
        names = _named_apart(connection, card_id, photograph_ids)
    with TemporaryDirectory(prefix="evenburn-read-") as name:
        folder = Path(name)
        (folder / INDEX).write_text(json_text(card_document(card_in(row["document"]))), encoding="utf-8")
        paths = []
        for key, (called, sha256) in names.items():
            path = folder / f"sent-{key:010d}{Path(called).suffix}"  # of one length: none is part of another
            path.write_bytes(load(book, sha256))
            paths.append(path)
        drawing = folder / "drawing.png"
        given = {
            "photographs": paths,
            "card_file": folder / INDEX,
            "to": folder / "reading.json",
            "paper_L": paper_L,
            "toner_L": toner_L,
            "drawing": drawing,
        }
        read: CardRead = run(plainly, function=read_card_photographs, given=given, progress=progress)
        document = _with_names(read.document, {p.name: names[k][0] for p, k in zip(paths, names, strict=True)})
        progress("keeping what was read", 2, 3)
        with book.writing() as connection:
            reading_id = _new(connection, sa.insert(reading).values(card_id=card_id, read_at=now, document=document))
            if drawing.is_file():
                sha256 = keep(book, connection, drawing.read_bytes(), media_type="image/png", now=now)
                _hang(connection, card_id, sha256, name=f"{OWN}reading-{reading_id}.png", now=now)
    progress("the card is read", 3, 3)
    return CardReadInBook(reading_id=reading_id, told=read.reading is not None, refused=len(read.refused))


def check_reading(photograph_ids: Sequence[int], *, paper_L: float | None, toner_L: float | None) -> None:
    """Refuse what cannot be read, all fields at once; raises InvalidInput."""
    from evenburn.services.read_card import PAPER_L, TONER_L

    fields: dict[str, str] = {}
    if not 1 <= len(set(photograph_ids)) <= MOST_PHOTOGRAPHS or len(set(photograph_ids)) != len(photograph_ids):
        fields["photographs"] = f"choose 1 to {MOST_PHOTOGRAPHS} photographs, each once"
    for name, told, (low, high) in (("paper_L", paper_L, PAPER_L), ("toner_L", toner_L, TONER_L)):
        if told is not None and not low <= told <= high:
            fields[name] = f"is {told:g}; allowed is {low:g} to {high:g}, as L*"
    if fields:
        raise InvalidInput(fields)


def _named_apart(connection: sa.Connection, card_id: int, ids: Sequence[int]) -> dict[int, tuple[str, str]]:
    """Return name and SHA-256 of photographs; those that share a name, as phones send them, are named apart first."""
    rows = connection.execute(
        sa.select(photograph.c.id, photograph.c.name, photograph.c.sha256).where(
            photograph.c.card_id == card_id, photograph.c.removed_at.is_(None)
        )
    ).all()
    found = {int(id_): (str(name), str(sha256)) for id_, name, sha256 in rows}
    missing = [id_ for id_ in ids if id_ not in found or "/" in found[id_][0]]
    if missing:
        raise NotFound(f"photograph {missing[0]} is none of this card")
    everyone = [name for name, _ in found.values()]
    named: dict[int, tuple[str, str]] = {}
    for id_ in ids:
        name, sha256 = found[id_]
        if everyone.count(name) > 1 or name == "reading.png":
            name = _unique(name, set(everyone), ending=Path(name).suffix.lower() or ".jpg")
            everyone.append(name)
            connection.execute(sa.update(photograph).where(photograph.c.id == id_).values(name=name))
        named[id_] = (name, sha256)
    return named


def _with_names(document: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    """Return a reading's document with its photographs called as the book calls them, in its words too."""
    text = json.dumps(document, ensure_ascii=False)
    for path, name in names.items():
        text = text.replace(json.dumps(path, ensure_ascii=False)[1:-1], json.dumps(name, ensure_ascii=False)[1:-1])
    made: dict[str, Any] = json.loads(text)
    return made


# ---- rows --------------------------------------------------------------------------------------------------------


def _hang(connection: sa.Connection, card_id: int, sha256: str, *, name: str, now: str) -> int:
    return _new(connection, sa.insert(photograph).values(sha256=sha256, name=name, received_at=now, card_id=card_id))


def _new(connection: sa.Connection, insert: sa.Insert) -> int:
    key = connection.execute(insert).inserted_primary_key
    assert key is not None  # noqa: S101  # one row was inserted, and its table has a key
    return int(key[0])
