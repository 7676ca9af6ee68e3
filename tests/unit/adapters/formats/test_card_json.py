"""card.json: what is written is what is read; what was changed by hand is refused in a person's words."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest

from evenburn.adapters.formats.card_json import card_document, read_card
from evenburn.core.card.mat_geometry import mat_for_card
from evenburn.core.card.wood_card import FORMS, corner_marks
from evenburn.core.errors import InvalidInput, UnreadableFile
from evenburn.core.nouns.card import Card, CardPatch


@pytest.fixture(name="card")
def _card() -> Card:
    form = FORMS["strip"]
    return Card(
        kind="strip",
        wood_id="hard-maple",
        machine_name="Boathouse bench",
        lens_name="2 inch",
        size_mm=form.size_mm,
        origin_bed_mm=(250.0, 190.5),
        focus_offset_mm=2.0,
        beam_radius_mm=0.1396,
        patches=tuple(
            CardPatch(
                id=f"a{n + 1}",
                box_mm=form.patch_box_mm(column=n, row=0),
                power_W=10.0 + n,
                power_fraction=0.2,
                speed_mm_per_s=200.5,
                line_spacing_mm=0.1,
                passes=1,
            )
            for n in range(6)
        ),
        lines=(),
        corner_marks=corner_marks(form.size_mm),
        mat=mat_for_card(form.size_mm, kind="strip", page="Letter"),
    )


def read(folder: Path, document: object) -> Card:
    path = folder / "card.json"
    path.write_text(document if isinstance(document, str) else json.dumps(document), encoding="utf-8")
    return read_card(path, name="card.json")


def test_round_trip(card: Card, tmp_path: Path) -> None:
    assert read(tmp_path, card_document(card)) == card


def test_the_contract_of_the_design_is_kept(card: Card) -> None:
    """The keys that design.md, section 6, names."""
    document = card_document(card)
    assert document["schema_version"] == 1
    assert set(document["card"]) >= {"size_mm", "origin_bed_mm"}
    assert set(document["patches"][0]) >= {
        "id", "box_mm", "power_W", "power_fraction", "speed_mm_per_s", "line_spacing_mm", "passes",
    }  # fmt: skip
    assert document["focus_offset_mm"] == 2.0
    assert set(document["mat"]) >= {"page_mm", "window_mm", "markers", "grey_steps"}
    assert set(document["mat"]["markers"][0]) == {"id", "dictionary", "corners_mm"}
    assert set(document["mat"]["grey_steps"][0]) == {"box_mm", "nominal_L"}


def changed(document: dict[str, Any], *path: Any, to: Any) -> dict[str, Any]:
    made = copy.deepcopy(document)
    at: Any = made
    for key in path[:-1]:
        at = at[key]
    if to is None:
        del at[path[-1]]
    else:
        at[path[-1]] = to
    return made


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        (("schema_version",), 2, "schema_version"),
        (("wood",), None, "wood"),
        (("colour",), "red", "colour"),
        (("patches", 0, "power_W"), -1.0, "power_W"),
        (("patches", 0, "power_W"), "10", "power_W"),
        (("patches", 0, "box_mm"), [1.0, 2.0, 3.0], "box_mm"),
        (("patches", 0, "passes"), 0, "passes"),
        (("mat", "page"), "A3", "page"),
        (("mat", "markers"), [], "markers"),
        (("mat", "markers", 0, "dictionary"), "36h11", "dictionary"),
    ],
)
def test_what_does_not_hold_is_named(card: Card, tmp_path: Path, path: tuple[Any, ...], value: Any, told: str) -> None:
    with pytest.raises(InvalidInput, match=told):
        read(tmp_path, changed(card_document(card), *path, to=value))


def test_ids_that_stand_twice_are_refused(card: Card, tmp_path: Path) -> None:
    with pytest.raises(InvalidInput):
        read(tmp_path, changed(card_document(card), "patches", 1, "id", to="a1"))


@pytest.mark.parametrize("text", ["", "no json", "[1, 2]", "\x00"])
def test_what_is_no_card_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(UnreadableFile, match=r"card\.json"):
        read(tmp_path, text)


def test_a_number_that_is_none_is_refused(card: Card, tmp_path: Path) -> None:
    text = json.dumps(card_document(card)).replace('"focus_offset_mm": 2.0', '"focus_offset_mm": NaN')
    with pytest.raises((InvalidInput, UnreadableFile)):
        read(tmp_path, text)


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile, match="is missing"):
        read_card(tmp_path / "card.json", name="card.json")
