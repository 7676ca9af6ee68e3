"""batch.toml: the pieces of a batch and their marks, as a person writes them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, Strict, model_validator

from evenburn.adapters.formats.quantities import LEAST
from evenburn.adapters.formats.strict import Name, PlainText, RelativePath, StrictModel, checked, read_toml
from evenburn.core.nouns.mark import Hold

Id = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,63}$")]
Side = Annotated[float, Field(ge=LEAST, le=10000.0)]
Place = Annotated[float, Field(ge=-10000.0, le=10000.0)]
NARROWEST_mm = 0.05  # stroke that can be asked for: a narrower mark holds none
MarkSide = Annotated[float, Field(ge=NARROWEST_mm, le=10000.0)]
SizePair = Annotated[tuple[Side, Side], Strict(strict=False)]  # TOML knows lists only; the numbers inside stay strict
MarkSizePair = Annotated[tuple[MarkSide, MarkSide], Strict(strict=False)]
PlacePair = Annotated[tuple[Place, Place], Strict(strict=False)]
SCAN_HOLDS = ("line_spacing_mm", "scan_axis", "direction")  # mean nothing where outlines are followed


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
    thickness_mm: Annotated[float, Field(ge=LEAST, le=1000.0)] = Field(description="Measured with a calliper. [mm]")
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

    speed_mm_per_s: Annotated[float, Field(ge=0.2, le=20000.0)] | None = Field(
        default=None, description="Speed of the scan lines. [mm/s]"
    )
    power_W: Annotated[float, Field(ge=LEAST, le=10000.0)] | None = Field(
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
    direction: Literal["both ways", "one way"] | None = Field(
        default=None, description="Whether every second line is burnt on the way back."
    )


Fraction = Annotated[float, Field(ge=0.0, le=1.0)]
CropBox = Annotated[tuple[Fraction, Fraction, Fraction, Fraction], Strict(strict=False)]


class PhotoTable(StrictModel):
    """`photo = { … }`: how a photograph is prepared."""

    local_contrast: Fraction = Field(default=0.35, description="How far what is small is lifted; 0 leaves it alone.")
    sharpen: Fraction = Field(default=0.7, description="How much of what beam and lines blur is given back beforehand.")
    fade_mm: Annotated[float, Field(ge=0.0, le=200.0)] = Field(
        default=0.0, description="Width of a soft fade to bare wood along the picture's edge. [mm]"
    )
    background_L: Annotated[float, Field(ge=0.0, le=100.0)] | None = Field(
        default=None, description="Picture tones from here on become bare wood (on slate: from here down). [L*]"
    )
    crop: CropBox | None = Field(
        default=None, description="Part of the picture that is used: left, low, right, high as fractions of it."
    )
    mask: RelativePath | None = Field(
        default=None, description="Drawing or picture in the batch folder; only where it is inked is burnt."
    )

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if self.crop is not None and not (self.crop[0] < self.crop[2] and self.crop[1] < self.crop[3]):
            raise ValueError(f"crop is {list(self.crop)}; left must lie before right and low before high")
        return self


class AlongTable(StrictModel):
    """`along = { … }`: text on a circle, or along a path of a drawing."""

    diameter_mm: Side | None = Field(default=None, description="Of the circle the baseline lies on. [mm]")
    middle_deg: Annotated[float, Field(ge=-360.0, le=360.0)] = Field(
        default=90.0, description="Where on the circle the text's middle lies, counter-clockwise from the right. [°]"
    )
    side: Literal["outside", "inside"] = Field(
        default="outside", description="Side of the circle the letters stand on."
    )
    drawing: RelativePath | None = Field(default=None, description="SVG inside the batch folder that holds the path.")
    path: Annotated[str, Field(min_length=1, max_length=200)] | None = Field(
        default=None, description="Id of the path in that drawing."
    )

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if (self.diameter_mm is None) == (self.drawing is None):
            raise ValueError("needs either diameter_mm or drawing, one of them")
        if (self.drawing is None) != (self.path is None):
            raise ValueError("drawing and path go together")
        return self


class BridgesTable(StrictModel):
    """`bridges = { … }`: where a cut leaves the part hanging."""

    count: Annotated[int, Field(ge=1, le=100)] = Field(description="On each outline.")
    width_mm: Annotated[float, Field(ge=LEAST, le=50.0)] = Field(description="Of what stays. [mm]")


class MarkTable(StrictModel):
    """One `[[piece.mark]]`."""

    id: Id = Field(description="Unique in its piece; part of file names.")
    art: RelativePath | None = Field(
        default=None, description="SVG, DXF, PDF, or a picture (PNG, JPEG, TIFF, WebP, GIF, BMP), in the batch folder."
    )
    text: Annotated[str, Field(min_length=1, max_length=2000)] | None = Field(
        default=None, description="Lettering instead of `art`; `\\n` starts a line."
    )
    face: Annotated[str, Field(min_length=1, max_length=200)] | None = Field(
        default=None, description="A shipped face by name, or a .ttf or .otf file inside the batch folder."
    )
    align: Literal["left", "centre", "right"] = Field(default="centre", description="Of the lines of a `text`.")
    column: Annotated[str, Field(min_length=1, max_length=120)] | None = Field(
        default=None, description="Instead of `text`: column of the piece's `names` that holds it."
    )
    letter_mm: Annotated[float, Field(ge=LEAST, le=1000.0)] | None = Field(
        default=None, description="Height of the capitals; without it the text fills its box. [mm]"
    )
    tracking_em: Annotated[float, Field(ge=-0.5, le=5.0)] = Field(
        default=0.0, description="Added between letters, in ems."
    )
    leading_em: Annotated[float, Field(ge=0.1, le=10.0)] = Field(
        default=1.2, description="From baseline to baseline, in ems."
    )
    wrap: bool = Field(default=False, description="Break the text into lines that fit the box.")
    along: AlongTable | None = Field(default=None, description="Set the text on a circle or along a path.")
    treatment: Literal["solid", "photo", "line", "cut"] = Field(
        default="solid",
        description="One even tone, a continuous-tone picture, a followed line, or a cut right through.",
    )
    reproduction: Literal[
        "auto", "continuous", "halftone", "floyd-steinberg", "jarvis", "stucki", "ordered", "blue-noise", "clustered"
    ] = Field(
        default="auto",
        description="Of a photo: chosen for the recipe and told why; or power follows the tone; or dots of one power do, "
        "by the halftone that suits or by the one named.",
    )
    photo: PhotoTable = Field(default_factory=PhotoTable, description="How a photograph is prepared.")
    line_mm: Annotated[float, Field(ge=0.05, le=10.0)] | None = Field(
        default=None, description="Wished width of a followed line; as fine as the beam makes it without. [mm]"
    )
    keeps: Literal["part", "opening", "line"] = Field(
        default="part", description="What of a cut comes out at its drawn size: the part, the opening, or neither."
    )
    bridges: BridgesTable | None = Field(default=None, description="Bridges that hold a cut part in its place.")
    tone_L: Annotated[float, Field(ge=0.0, le=100.0)] | None = Field(
        default=None, description="Wished tone, CIE L*; a photo's full tone. Not of a cut."
    )
    place_mm: PlacePair = Field(description="Lower left corner of the mark's box on the blank. [mm]")
    size_mm: MarkSizePair = Field(description="Box of the mark; artwork keeps its proportions in it. [mm]")
    air_kPa: Annotated[float, Field(ge=0.0, le=2000.0)] | None = Field(
        default=None, description="Air to set; without it 34, held inside what the machine can set. [kPa]"
    )
    sharpness_mm: Annotated[float, Field(ge=NARROWEST_mm, le=5.0)] = Field(
        default=0.25, description="Narrowest stroke and gap that have to survive. [mm]"
    )
    reading_distance_mm: Annotated[float, Field(ge=50.0, le=100000.0)] = Field(
        default=300.0, description="From which banding has to stay unseen. [mm]"
    )
    hold: HoldTable = Field(default_factory=HoldTable, description="Settings to keep; the rest is searched.")

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        if sum(source is not None for source in (self.art, self.text, self.column)) != 1:
            raise ValueError("needs either art or text (or, in a list of names, a column), one of them")
        if self.art is None and self.face is None:
            raise ValueError("face is missing; a text needs one")
        lettering = ("face", "letter_mm", "tracking_em", "leading_em", "wrap", "along")
        strays = [key for key in lettering if self.art is not None and key in self.model_fields_set]
        if strays:
            raise ValueError(f"{strays[0]} is given, but there is no text")
        owners = {"reproduction": "photo", "photo": "photo", "line_mm": "line", "keeps": "cut", "bridges": "cut"}
        for key, owner in owners.items():
            if key in self.model_fields_set and self.treatment != owner:
                raise ValueError(f'{key} is given, but treatment is not "{owner}"')
        if self.tone_L is None and self.treatment != "cut":
            raise ValueError("tone_L is missing")
        if self.treatment in ("line", "cut"):
            idle = [key for key in SCAN_HOLDS if getattr(self.hold, key, None) is not None]
            if idle:
                raise ValueError(
                    f'hold.{idle[0]} is given, but a "{self.treatment}" is followed along its outlines, not scanned in lines; '
                    "leave it out"
                )
        if self.wrap and self.along is not None:
            raise ValueError("wrap and along do not go together")
        return self

    def hold_of(self) -> Hold:
        """Return the held settings."""
        return Hold(**self.hold.model_dump())


class NamesTable(StrictModel):
    """`names = { … }`: a list that makes many pieces of one, a row each."""

    file: RelativePath = Field(
        description="CSV inside the batch folder, UTF-8, its first row the names of the columns."
    )
    label: Annotated[str, Field(min_length=1, max_length=120)] | None = Field(
        default=None, description="Column that names the piece for people; the first text's without it."
    )


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
    names: NamesTable | None = Field(default=None, description="A list of names: the piece is made once for each row.")
    mark: list[MarkTable] = Field(min_length=1, max_length=200, description="What is burnt on it, one table each.")

    @model_validator(mode="after")
    def _unique(self) -> Self:
        columns = [mark.id for mark in self.mark if mark.column is not None]
        if columns and self.names is None:
            raise ValueError(f'mark "{columns[0]}" takes its text from a column, but the piece has no names')
        if self.names is not None and not columns:
            raise ValueError("names are given, but no mark takes its text from a column")
        ids = [mark.id for mark in self.mark]
        double = sorted({i for i in ids if ids.count(i) > 1})
        if double:
            raise ValueError(f'mark id "{double[0]}" stands twice; ids must differ within a piece')
        return self


class BatchTable(StrictModel):
    """batch.toml."""

    name: Name = Field(description="Title of the run sheet.")
    subtitle: Annotated[PlainText, Field(max_length=200)] = Field(default="", description="Second line of the title.")
    machine: RelativePath = Field(default="machine.toml", description="Machine file, inside the batch folder.")
    lens: Name = Field(description="Name of one of the machine's lenses.")
    piece: list[PieceTable] = Field(min_length=1, max_length=1000, description="The pieces, one table each.")

    @model_validator(mode="after")
    def _unique(self) -> Self:
        ids = [piece.id for piece in self.piece]
        double = sorted({i for i in ids if ids.count(i) > 1})
        if double:
            raise ValueError(f'piece id "{double[0]}" stands twice; ids must differ')
        clash = file_clash({p.id: [m.id for m in p.mark] for p in self.piece})
        if clash is not None:
            raise ValueError(f'two marks would write the same file "{clash}"; rename a piece or a mark')
        return self


def file_clash(marks_of_pieces: Mapping[str, Sequence[str]]) -> str | None:
    """Return a file name, without its ending, that two marks would write, or a mark and a proof or dry trace."""
    files = [f"{piece}-{mark}" for piece, marks in marks_of_pieces.items() for mark in marks]
    counts = Counter(files)
    others = {f"{piece}-proof" for piece in marks_of_pieces} | {f"{file}-trace" for file in files}
    return min((file for file in files if counts[file] > 1 or file in others), default=None)


def read_batch(path: Path) -> BatchTable:
    """Return a batch.toml, checked.

    Raises
    ------
    UnreadableFile, InvalidInput
        As `read_toml` and `checked`.
    """
    return checked(BatchTable, read_toml(path, name="batch.toml"), name="batch.toml")
