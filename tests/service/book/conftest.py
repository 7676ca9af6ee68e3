"""A book on SQLite and a small batch in it: quick to plan, with a curve of its own, a face, a drawing and a list of names."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from evenburn.adapters.formats.curve_json import curve_document
from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.adapters.storage.book.opening import Book
from evenburn.services.book.open_book import open_book_at
from evenburn.services.book.take_in import TakenIn, take_in_batch
from service.conftest import ART, MACHINE

NOW, LATER = "2026-06-09T08:00:00+00:00", "2026-06-09T09:30:00+00:00"

BATCH = """
name = "Two for the regatta"
subtitle = "Sedgeholm Rowing Club"
lens = "2 inch"
[[piece]]
id = "plaque"
name = "Novice plaque"
wood = "club-maple"
blank = { shape = "rectangle", size_mm = [60.0, 40.0], thickness_mm = 12.0, unevenness_mm = 0.4 }
place_bed_mm = [200.0, 150.0]
[[piece.mark]]
id = "front"
art = "art/Crew & Cox.svg"
treatment = "solid"
tone_L = 40.0
place_mm = [10.0, 8.0]
size_mm = [40.0, 20.0]
[[piece]]
id = "tag"
wood = "beech"
blank = { shape = "outline", outline = "art/tag.svg", thickness_mm = 5.0 }
place_bed_mm = [200.0, 150.0]
turn_deg = 90.0
[[piece.mark]]
id = "name"
text = "Swan\\n2026"
face = "zilla-slab"
tone_L = 40.0
place_mm = [8.0, 8.0]
size_mm = [30.0, 12.0]
hold = { passes = 1 }
"""

TAG = """<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="30mm" viewBox="0 0 50 30">
<rect width="50" height="30"/></svg>
"""


def small_batch(folder: Path) -> Path:
    """Write the batch into a folder that is made, and return it."""
    (folder / "art").mkdir(parents=True)
    (folder / "woods").mkdir()
    (folder / "machine.toml").write_text(MACHINE)
    (folder / "batch.toml").write_text(BATCH)
    (folder / "art" / "Crew & Cox.svg").write_text(ART)
    (folder / "art" / "tag.svg").write_text(TAG)
    (folder / "woods" / "club-maple.toml").write_text('name = "hard maple"\nsurface = "sanded"\ncurve = "club.json"\n')
    document = curve_document(shipped_wood("hard-maple").curve, wood_name="hard maple")
    document["parameters"]["x_mid"] += 0.05  # not the starting value, so that one sees which curve was taken
    document["provenance"] = {"kind": "fitted", "detail": "2026-05-02, from card 1"}
    (folder / "woods" / "club.json").write_text(json.dumps(document))
    return folder


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    made = open_book_at(tmp_path / "book")
    yield made
    made.close()


@pytest.fixture
def batch_folder(tmp_path: Path) -> Path:
    return small_batch(tmp_path / "own")


@pytest.fixture
def taken(book: Book, batch_folder: Path) -> TakenIn:
    return take_in_batch(book, batch_folder, now=NOW)
