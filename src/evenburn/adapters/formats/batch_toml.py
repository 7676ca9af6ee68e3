"""batch.toml: the pieces of a batch and their marks, as a person writes them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, Strict, model_validator

from evenburn.adapters.formats.strict import StrictModel, checked, read_toml
from evenburn.core.nouns.mark import Hold

Id = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,63}$")]
Side = Annotated[float, Field(gt=0.0, le=10000.0)]
Place = Annotated[float, Field(ge=-10000.0, le=10000.0)]
SizePair = Annotated[tuple[Side, Side], Strict(strict=False)]  # TOML knows lists only; the numbers inside stay strict
PlacePair = Annotated[tuple[Place, Place], Strict(strict=False)]
Name = Annotated[str, Field(min_length=1, max_length=120)]
RelativePath = Annotated[str, Field(min_length=1, max_length=200)]


class BlankTable(StrictModel):
    """`blank = { … }`: the unengraved object."""

    shape: Literal["rectangle", "rounded", "ellipse", "circle", "outline"] = Field(
        default="rectangle", description="Form of the blank's edge."
    )
    size_mm: SizePair | None = Field(
        default=None, description="Box of the blank, x and y; an `outline` has its own size without it. [mm]"
    )
    radius_mm: Side | None = Field(default=None, description="Corner radius of `rounded`. [mm]")
    diameter_mm: Side | None = Field(default=None, description="Of `circle`, instead of size_mm. [mm]")
    outline: RelativePath | None = Field(default=None, description="SVG of an `outline`, inside the batch folder.")
    thickness_mm: Annotated[float, Field(gt=0.0, le=1000.0)] = Field(description="Measured with a calliper. [mm]")
    unevenness_mm: Annotated[float, Field(ge=0.0, le=50.0)] = Field(
        default=0.5, description="How far the surface rises or falls from where it was focused, ±. [mm]"
    )
    margin_mm: Annotated[float, Field(ge=0.0, le=1000.0)] = Field(
        default=2.0, description="Kept clear along every edge and hole. [mm]"
    )

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if self.shape == "outline":
            if self.outline is None:
                raise ValueError('outline is missing; shape "outline" needs the SVG that draws it')
        elif self.outline is not None:
            raise ValueError(f'outline is given, but shape is "{self.shape}"')
        if self.shape == "circle":
            if (self.diameter_mm is None) == (self.size_mm is None):
                raise ValueError('shape "circle" needs diameter_mm, or size_mm with two equal sides')
            if self.size_mm is not None and self.size_mm[0] != self.size_mm[1]:
                raise ValueError(
                    f'size_mm is {self.size_mm[0]:g} × {self.size_mm[1]:g}; a circle has equal sides, "ellipse" has not'
                )
        elif self.shape != "outline" and self.size_mm is None:
            raise ValueError("size_mm is missing")
        if self.shape == "rounded":
            if self.radius_mm is None:
                raise ValueError('radius_mm is missing; shape "rounded" needs it')
            if self.size_mm is not None and self.radius_mm > min(self.size_mm) / 2.0:
                raise ValueError(
                    f"radius_mm is {self.radius_mm:g}; allowed is at most half of the shorter side, "
                    f"{min(self.size_mm) / 2.0:g}"
                )
        return self


class HoldTable(StrictModel):
    """`hold = { … }`: settings the person insists on."""

    speed_mm_per_s: Annotated[float, Field(gt=0.0, le=20000.0)] | None = Field(
        default=None, description="Speed of the scan lines. [mm/s]"
    )
    power_W: Annotated[float, Field(gt=0.0, le=10000.0)] | None = Field(
        default=None, description="Power on the work; the tone then is what comes of it. [W]"
    )
    line_spacing_mm: Annotated[float, Field(ge=0.01, le=5.0)] | None = Field(
        default=None, description="Distance between neighbouring scan lines. [mm]"
    )
    focus_offset_mm: Annotated[float, Field(ge=-50.0, le=50.0)] | None = Field(
        default=None, description="Stand-off minus focus stand-off; positive is further away. [mm]"
    )
    passes: Annotated[int, Field(ge=1, le=20)] | None = Field(default=None, description="How often each line is burnt.")
    scan_axis: Literal["x", "y"] | None = Field(default=None, description="Axis of the bed the scan lines run along.")


class MarkTable(StrictModel):
    """One `[[piece.mark]]`."""

    id: Id = Field(description="Unique in its piece; part of file names.")
    art: RelativePath | None = Field(default=None, description="SVG, PNG or JPEG inside the batch folder.")
    text: Annotated[str, Field(min_length=1, max_length=2000)] | None = Field(
        default=None, description="Lettering instead of `art`; `\\n` starts a line."
    )
    face: Annotated[str, Field(min_length=1, max_length=200)] | None = Field(
        default=None, description="A shipped face by name, or a .ttf or .otf file inside the batch folder."
    )
    align: Literal["left", "centre", "right"] = Field(default="centre", description="Of the lines of a `text`.")
    treatment: Literal["solid", "photo"] = Field(
        default="solid", description="One even tone, or a continuous-tone picture."
    )
    reproduction: Literal["continuous", "halftone"] = Field(
        default="continuous", description="Of a photo: power follows the tone, or dots of one power do."
    )
    tone_L: Annotated[float, Field(ge=0.0, le=100.0)] = Field(description="Wished tone, CIE L*; a photo's full tone.")
    place_mm: PlacePair = Field(description="Lower left corner of the mark's box on the blank. [mm]")
    size_mm: SizePair = Field(description="Box of the mark; artwork keeps its proportions in it. [mm]")
    air_kPa: Annotated[float, Field(ge=0.0, le=2000.0)] | None = Field(
        default=None, description="Air to set; without it 34, held inside what the machine can set. [kPa]"
    )
    sharpness_mm: Annotated[float, Field(ge=0.05, le=5.0)] = Field(
        default=0.25, description="Narrowest stroke and gap that have to survive. [mm]"
    )
    reading_distance_mm: Annotated[float, Field(ge=50.0, le=100000.0)] = Field(
        default=300.0, description="From which banding has to stay unseen. [mm]"
    )
    hold: HoldTable = Field(default_factory=HoldTable, description="Settings to keep; the rest is searched.")

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if (self.art is None) == (self.text is None):
            raise ValueError("needs either art or text, one of them")
        if self.text is not None and self.face is None:
            raise ValueError("face is missing; a text needs one")
        if self.text is None and self.face is not None:
            raise ValueError("face is given, but there is no text")
        if self.treatment != "photo" and "reproduction" in self.model_fields_set:
            raise ValueError('reproduction is given, but treatment is not "photo"')
        return self

    def hold_of(self) -> Hold:
        """Return the held settings."""
        return Hold(**self.hold.model_dump())


class PieceTable(StrictModel):
    """One `[[piece]]`."""

    id: Id = Field(description="Unique in the batch; first part of file names.")
    name: Name | None = Field(default=None, description="What people call it; the id without it.")
    wood: Id = Field(description="Name of a file in woods/, without .toml, or of a wood that ships.")
    blank: BlankTable = Field(description="The unengraved object.")
    place_bed_mm: PlacePair = Field(description="Lower left corner of the (turned) blank's box on the bed. [mm]")
    turn_deg: Annotated[float, Field(ge=-360.0, le=360.0)] = Field(
        default=0.0, description="Counter-clockwise turn of the blank with all its marks. [°]"
    )
    mark: list[MarkTable] = Field(min_length=1, max_length=200, description="What is burnt on it, one table each.")

    @model_validator(mode="after")
    def _unique(self) -> Self:
        ids = [mark.id for mark in self.mark]
        double = sorted({i for i in ids if ids.count(i) > 1})
        if double:
            raise ValueError(f'mark id "{double[0]}" stands twice; ids must differ within a piece')
        return self


class BatchTable(StrictModel):
    """batch.toml."""

    name: Name = Field(description="Title of the run sheet.")
    subtitle: Annotated[str, Field(max_length=200)] = Field(default="", description="Second line of the title.")
    machine: RelativePath = Field(default="machine.toml", description="Machine file, inside the batch folder.")
    lens: Name = Field(description="Name of one of the machine's lenses.")
    piece: list[PieceTable] = Field(min_length=1, max_length=1000, description="The pieces, one table each.")

    @model_validator(mode="after")
    def _unique(self) -> Self:
        ids = [piece.id for piece in self.piece]
        double = sorted({i for i in ids if ids.count(i) > 1})
        if double:
            raise ValueError(f'piece id "{double[0]}" stands twice; ids must differ')
        files = [f"{p.id}-{m.id}" for p in self.piece for m in p.mark]
        clash = sorted({f for f in files if files.count(f) > 1 or f in {f"{i}-proof" for i in ids}})
        if clash:
            raise ValueError(f'two marks would write the same file "{clash[0]}"; rename a piece or a mark')
        return self


def read_batch(path: Path) -> BatchTable:
    """Return a batch.toml, checked.

    Raises
    ------
    UnreadableFile, InvalidInput
        As `read_toml` and `checked`.
    """
    return checked(BatchTable, read_toml(path, name="batch.toml"), name="batch.toml")
