"""card.json: a card as it was designed and burnt, and the mat it is photographed in."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, Strict, model_validator

from evenburn.adapters.formats.json_file import read_json
from evenburn.adapters.formats.quantities import LEAST, Fraction, Length, Offset, Passes, Power, Speed
from evenburn.adapters.formats.strict import StrictModel, checked
from evenburn.core.nouns.card import (
    Card,
    CardLine,
    CardPatch,
    CardRaster,
    CardVernier,
    CornerMark,
    GreyStep,
    Mat,
    MatMarker,
)

DECIMALS = 6
Place = Annotated[float, Field(ge=-10_000.0, le=10_000.0)]
Point = Annotated[tuple[Place, Place], Strict(strict=False)]  # JSON knows lists only; the numbers inside stay strict
Size = Annotated[tuple[Length, Length], Strict(strict=False)]
Box = Annotated[tuple[Place, Place, Place, Place], Strict(strict=False)]
Corners = Annotated[tuple[Point, Point, Point, Point], Strict(strict=False)]
Id = Annotated[str, Field(min_length=1, max_length=64)]
Name = Annotated[str, Field(min_length=1, max_length=120)]
MOST_PATCHES = 400
HINT = "card.json is written by `evenburn card`; take it unchanged."


class CardSizeDocument(StrictModel):
    """The card itself."""

    kind: Literal["wood", "strip", "beam", "motion"] = Field(description="What the card is for.")
    size_mm: Size = Field(description="Width and height. [mm]")
    origin_bed_mm: Point = Field(description="Its lower left corner on the bed. [mm]")


class CardPatchDocument(StrictModel):
    """One even patch."""

    id: Id = Field(description="Its name on the card: row letter, column number.")
    box_mm: Box = Field(description="Left, low, right, high on the card. [mm]")
    power_W: Power = Field(description="Power on the work. [W]")
    power_fraction: Fraction = Field(description="The same on the machine's own scale.")
    speed_mm_per_s: Speed = Field(description="Speed of its lines. [mm/s]")
    line_spacing_mm: Length = Field(description="Distance between neighbouring lines. [mm]")
    passes: Passes = Field(description="How often it is burnt.")


class CardLineDocument(StrictModel):
    """One line of a ladder."""

    id: Id = Field(description="Its name on the card.")
    from_mm: Point = Field(description="Where it begins on the card. [mm]")
    to_mm: Point = Field(description="Where it ends. [mm]")
    power_W: Power = Field(description="Power on the work. [W]")
    power_fraction: Fraction = Field(description="The same on the machine's own scale.")
    speed_mm_per_s: Speed = Field(description="Speed along it. [mm/s]")
    focus_offset_mm: Offset = Field(description="Focus offset it is burnt at. [mm]")


class CardVernierDocument(StrictModel):
    """A vernier of a motion card: strokes towards + above its seam, towards − below it."""

    id: Id = Field(description="Its name; the ids of its lines begin with it, then > or <, then the stroke's number.")
    speed_mm_per_s: Speed = Field(description="Speed of its lines. [mm/s]")
    line_spacing_mm: Length = Field(description="Distance between neighbouring lines. [mm]")
    step_mm: Length = Field(description="So much further apart the lower strokes stand than the upper ones. [mm]")
    row_mm: Length = Field(description="Height of a row of strokes. [mm]")


class CardRasterDocument(StrictModel):
    """A program to be timed with a stopwatch."""

    id: Id = Field(description="What its time is entered under: 1 and up, and card for the card's own program.")
    name: Name = Field(description="What it does.")
    program: Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")] = Field(
        description="Its file, beside card.json."
    )
    axis: Literal["x", "y"] = Field(description="Axis it runs along.")
    strokes: Annotated[int, Field(ge=1, le=100_000)] = Field(description="How often it runs along its line.")
    length_mm: Length = Field(description="Length of a stroke, from rest to rest. [mm]")
    speed_mm_per_s: Speed = Field(description="Speed that is commanded. [mm/s]")
    expected_s: Annotated[float, Field(ge=LEAST, le=100_000.0)] = Field(
        description="Time it takes by the machine file the card was made with. [s]"
    )
    burns: bool = Field(default=False, description="Whether the laser is on: false for a stopwatch raster.")


class CornerMarkDocument(StrictModel):
    """A burnt square in a corner."""

    id: Id = Field(description="Which corner.")
    box_mm: Box = Field(description="Left, low, right, high on the card. [mm]")
    hole_mm: Box | None = Field(default=None, description="Its unburnt middle; null where it has none. [mm]")


class MatMarkerDocument(StrictModel):
    """A fiducial marker on the mat."""

    id: Annotated[int, Field(ge=0, le=100_000)] = Field(description="Its number in its dictionary.")
    dictionary: Annotated[str, Field(pattern=r"^DICT_[A-Za-z0-9_]{1,40}$")] = Field(
        description="The dictionary by OpenCV's name."
    )
    corners_mm: Corners = Field(description="On the page, clockwise from upper left. [mm]")


class GreyStepDocument(StrictModel):
    """A grey patch of the mat."""

    box_mm: Box = Field(description="On the page. [mm]")
    nominal_L: Annotated[float, Field(ge=0.0, le=100.0)] = Field(description="L* of its colour in the PDF.")


class MatDocument(StrictModel):
    """The mat. Places are on the page, origin lower left, y up."""

    page: Literal["A4", "Letter"] = Field(description="Paper size.")
    page_mm: Size = Field(description="Width and height of the page. [mm]")
    window_mm: Box = Field(description="What is cut out. [mm]")
    markers: Annotated[list[MatMarkerDocument], Field(min_length=4, max_length=64)] = Field(description="Clockwise.")
    grey_steps: Annotated[list[GreyStepDocument], Field(min_length=4, max_length=200)] = Field(
        description="The same greys on all sides."
    )
    scale_bar_mm: Annotated[tuple[Point, Point], Strict(strict=False)] = Field(description="Ends of the bar. [mm]")


class CardDocument(StrictModel):
    """card.json, schema version 1."""

    schema_version: Literal[1] = Field(description="Version of this file's form.")
    wood: Name = Field(description="Id of the wood it is for.")
    machine: Name = Field(description="Name of the machine it is burnt on.")
    lens: Name = Field(description="Name of the lens.")
    card: CardSizeDocument = Field(description="The card itself.")
    focus_offset_mm: Offset = Field(description="Of the whole card; of a ladder each line has its own. [mm]")
    beam_radius_mm: Annotated[float, Field(ge=LEAST, le=50.0)] = Field(
        description="Radius of the beam (1/e²) at that focus offset, as known when the card was made. [mm]"
    )
    patches: Annotated[list[CardPatchDocument], Field(max_length=MOST_PATCHES)] = Field(description="Even patches.")
    lines: Annotated[list[CardLineDocument], Field(max_length=MOST_PATCHES)] = Field(
        default=[], description="Lines of a ladder."
    )
    corner_marks: Annotated[list[CornerMarkDocument], Field(min_length=4, max_length=4)] = Field(
        description="Burnt squares by which the card is found."
    )
    mat: MatDocument = Field(description="What it is photographed in.")
    verniers: Annotated[list[CardVernierDocument], Field(max_length=16)] = Field(
        default=[], description="Verniers of a motion card."
    )
    rasters: Annotated[list[CardRasterDocument], Field(max_length=16)] = Field(
        default=[], description="Programs of a motion card that are timed."
    )

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        names = [p.id for p in self.patches] + [k.id for k in self.lines]
        twice = sorted({n for n in names if names.count(n) > 1})
        if twice:
            raise ValueError(f"two patches or lines are called {twice[0]}")
        wide, high = self.card.size_mm
        boxes = [(p.id, p.box_mm) for p in self.patches] + [(m.id, m.box_mm) for m in self.corner_marks]
        for name, (x0, y0, x1, y1) in boxes:
            if not (0.0 <= x0 < x1 <= wide + 1e-6 and 0.0 <= y0 < y1 <= high + 1e-6):
                raise ValueError(f"box_mm of {name} does not lie on the card of {wide:g} × {high:g} mm")
        x0, y0, x1, y1 = self.mat.window_mm
        if not (x1 - x0 > wide and y1 - y0 > high):
            raise ValueError("the mat's window is not larger than the card")
        marked = [v.id for v in self.verniers] + [r.id for r in self.rasters]
        twice = sorted({n for n in marked if marked.count(n) > 1})
        if twice:
            raise ValueError(f"two verniers or rasters are called {twice[0]}")
        if len({m.dictionary for m in self.mat.markers}) > 1:
            raise ValueError("the mat's markers are of more than one dictionary")
        return self


def card_document(card: Card) -> dict[str, Any]:
    """Return a card as the object of its card.json, numbers rounded to a millionth."""
    mat = card.mat
    document = {
        "schema_version": 1,
        "wood": card.wood_id,
        "machine": card.machine_name,
        "lens": card.lens_name,
        "card": {"kind": card.kind, "size_mm": card.size_mm, "origin_bed_mm": card.origin_bed_mm},
        "focus_offset_mm": card.focus_offset_mm,
        "beam_radius_mm": card.beam_radius_mm,
        "patches": [
            {
                "id": p.id,
                "box_mm": p.box_mm,
                "power_W": p.power_W,
                "power_fraction": p.power_fraction,
                "speed_mm_per_s": p.speed_mm_per_s,
                "line_spacing_mm": p.line_spacing_mm,
                "passes": p.passes,
            }
            for p in card.patches
        ],
        "lines": [
            {
                "id": k.id,
                "from_mm": k.from_mm,
                "to_mm": k.to_mm,
                "power_W": k.power_W,
                "power_fraction": k.power_fraction,
                "speed_mm_per_s": k.speed_mm_per_s,
                "focus_offset_mm": k.focus_offset_mm,
            }
            for k in card.lines
        ],
        "corner_marks": [{"id": m.id, "box_mm": m.box_mm, "hole_mm": m.hole_mm} for m in card.corner_marks],
        "mat": {
            "page": mat.page,
            "page_mm": mat.page_mm,
            "window_mm": mat.window_mm,
            "markers": [{"id": m.id, "dictionary": m.dictionary, "corners_mm": m.corners_mm} for m in mat.markers],
            "grey_steps": [{"box_mm": s.box_mm, "nominal_L": s.nominal_L} for s in mat.grey_steps],
            "scale_bar_mm": mat.scale_bar_mm,
        },
    }
    if card.verniers:
        document["verniers"] = [asdict(v) for v in card.verniers]
    if card.rasters:
        document["rasters"] = [asdict(r) for r in card.rasters]
    plain = rounded(document)
    assert isinstance(plain, dict)  # noqa: S101  # a table stays a table; for the type checker
    return plain


def rounded(value: Any) -> Any:
    """Return a document with tuples as lists and numbers rounded."""
    if isinstance(value, dict):
        return {key: rounded(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(item) for item in value]
    if isinstance(value, float):
        return round(value, DECIMALS) + 0.0
    return value


def card_from_document(document: CardDocument) -> Card:
    """Return the card a document describes."""
    mat = document.mat
    return Card(
        kind=document.card.kind,
        wood_id=document.wood,
        machine_name=document.machine,
        lens_name=document.lens,
        size_mm=document.card.size_mm,
        origin_bed_mm=document.card.origin_bed_mm,
        focus_offset_mm=document.focus_offset_mm,
        beam_radius_mm=document.beam_radius_mm,
        patches=tuple(CardPatch(**p.model_dump()) for p in document.patches),
        lines=tuple(CardLine(**k.model_dump()) for k in document.lines),
        corner_marks=tuple(CornerMark(**m.model_dump()) for m in document.corner_marks),
        mat=Mat(
            page=mat.page,
            page_mm=mat.page_mm,
            window_mm=mat.window_mm,
            markers=tuple(MatMarker(**m.model_dump()) for m in mat.markers),
            grey_steps=tuple(GreyStep(**s.model_dump()) for s in mat.grey_steps),
            scale_bar_mm=mat.scale_bar_mm,
        ),
        verniers=tuple(CardVernier(**v.model_dump()) for v in document.verniers),
        rasters=tuple(CardRaster(**r.model_dump()) for r in document.rasters),
    )


def read_card(path: Path, *, name: str) -> Card:
    """Return the card in a card.json.

    Raises
    ------
    UnreadableFile, InvalidInput
        If it is missing, is no JSON, or does not hold.
    """
    return card_from_document(checked(CardDocument, read_json(path, name=name, hint=HINT), name=name))
