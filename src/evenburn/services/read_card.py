"""Read a card: photographs of it in its mat, to tones with their doubts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenburn.adapters.formats.card_json import card_document, read_card
from evenburn.adapters.formats.json_file import write_json
from evenburn.adapters.formats.reading_json import (
    photograph_entry,
    reading_document,
    refusal_entry,
    refused_document,
)
from evenburn.adapters.photographs.opening import open_photograph
from evenburn.adapters.pictures.card_read import write_card_read
from evenburn.adapters.pictures.ladder_read import write_ladder_read
from evenburn.adapters.pictures.strokes_read import write_strokes_read
from evenburn.core.card.ladder_reading import LadderRead, combined_ladder, read_ladder
from evenburn.core.card.reading import PhotographRead, combined, read_photograph
from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.card.reversal import ReversalRead, combined_reversal, read_reversal
from evenburn.core.errors import InvalidInput, StorageError
from evenburn.core.nouns.card import Card, Reading

PAPER_L, TONER_L = (70.0, 100.0), (0.0, 45.0)  # what a person may tell: white paper to blackest black, with room
MOST_PHOTOGRAPHS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedPhotograph:
    """A photograph that was left out, and why."""

    name: str
    code: str
    text: str
    remedy: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CardRead:
    """What came of it: a reading, or none where every photograph was refused; `document` is what stands in the file."""

    card: Card
    reading: Reading | None
    refused: tuple[RefusedPhotograph, ...]
    document: dict[str, Any]


def read_card_photographs(
    photographs: Sequence[Path],
    card_file: Path,
    *,
    to: Path,
    paper_L: float | None = None,
    toner_L: float | None = None,
    drawing: Path | None = None,
) -> CardRead:
    """Read one card from its photographs and write reading.json; of photographs that are refused, it says why.

    Parameters
    ----------
    paper_L, toner_L : measured lightness of the mat's paper and black, where a person told them. [L*]
    drawing : where to write the first photograph that was read, with what was found drawn on it.

    Raises
    ------
    UnreadableFile, InvalidInput
        If the card's file or a photograph is not there, or what was told does not hold.
    StorageError
        If the files cannot be written.
    """
    _check(photographs, to=to, drawing=drawing, paper_L=paper_L, toner_L=toner_L)
    card = read_card(card_file, name=card_file.name)
    reads: list[PhotographRead] = []
    strokes: list[ReversalRead] = []
    ladders: list[LadderRead] = []
    refused: list[RefusedPhotograph] = []
    entries: list[dict[str, Any]] = []
    for path in photographs:
        try:
            picture = open_photograph(path, name=path.name)
            if card.kind == "motion":
                strokes.append(read_reversal(picture, card))
                if drawing is not None and len(strokes) == 1:
                    write_strokes_read(picture, strokes[0], drawing)
                entries.append(photograph_entry(path.name))
                continue
            if card.kind == "beam":
                ladders.append(read_ladder(picture, card))
                if drawing is not None and len(ladders) == 1:
                    write_ladder_read(picture, ladders[0], drawing)
                entries.append(photograph_entry(path.name))
                continue
            read = read_photograph(picture, card, paper_L=paper_L, toner_L=toner_L)
        except PhotographRefused as why:
            refused.append(RefusedPhotograph(name=path.name, code=why.code, text=why.text, remedy=why.remedy))
            entries.append(photograph_entry(path.name, refused=refusal_entry(why.code, why.text, remedy=why.remedy)))
            continue
        if drawing is not None and not reads:
            write_card_read(picture, read, drawing)
        reads.append(read)
        entries.append(photograph_entry(path.name))
    if reads or strokes or ladders:
        reading = _together(reads, strokes, ladders)
        document = reading_document(reading, photographs=entries)
    else:
        reading, first = None, refused[0]
        document = refused_document(
            card_document(card), code=first.code, text=first.text, remedy=first.remedy, photographs=entries
        )
    write_json(to, document)
    return CardRead(card=card, reading=reading, refused=tuple(refused), document=document)


def _together(
    reads: Sequence[PhotographRead], strokes: Sequence[ReversalRead], ladders: Sequence[LadderRead]
) -> Reading:
    """Return one reading of the photographs of one card, of whichever kind it is."""
    if ladders:
        return combined_ladder(ladders)
    return combined(reads) if reads else combined_reversal(strokes)


def _check(
    photographs: Sequence[Path], *, to: Path, drawing: Path | None, paper_L: float | None, toner_L: float | None
) -> None:
    fields: dict[str, str] = {}
    if not 1 <= len(photographs) <= MOST_PHOTOGRAPHS:
        fields["PHOTO"] = f"{len(photographs)} are given; allowed are 1 to {MOST_PHOTOGRAPHS}"
    for name, told, (low, high) in (("--paper-L", paper_L, PAPER_L), ("--toner-L", toner_L, TONER_L)):
        if told is not None and not low <= told <= high:
            fields[name] = f"is {told:g}; allowed is {low:g} to {high:g}, as L*"
    if fields:
        raise InvalidInput(fields, hint="evenburn read --help tells what each is.")
    for target in (to, drawing):
        if target is not None and not target.parent.is_dir():
            raise StorageError(f"the folder {target.parent.name or target.parent} is not there", hint="Make it first.")
        if target is not None and target.resolve() in {p.resolve() for p in photographs}:
            raise InvalidInput({"--to": f"{target.name} is one of the photographs"}, hint="Name another file.")
