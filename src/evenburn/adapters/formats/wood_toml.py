"""Woods: what a person writes about a lot, the curve files that `fit` saves, and the starting values that ship."""

from __future__ import annotations

import difflib
import tomllib
from datetime import date
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal, Self

import numpy as np
from pydantic import BeforeValidator, Field, model_validator

from evenburn.adapters.formats.json_file import read_json
from evenburn.adapters.formats.strict import Name, RelativePath, StrictModel, checked, read_toml
from evenburn.core.errors import NotFound, UnreadableFile
from evenburn.core.nouns.confirmation import Confirmation
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.wood import CURVE_PARAMETERS, LEAST_BARE_L, CharacteristicCurve, FinishingStep, Wood
from evenburn.core.planning.materials import Material, mentioned

Lightness = Annotated[float, Field(ge=0.0, le=100.0)]
Exposure = Annotated[float, Field(ge=-8.0, le=8.0)]
Spread = Annotated[float, Field(ge=0.0, le=50.0)]


def _day(value: object) -> object:
    """Return a day as text, as TOML's own dates are written; refuse what is none."""
    if type(value) is date:
        return value.isoformat()
    if isinstance(value, str):
        try:
            return date.fromisoformat(value).isoformat()
        except ValueError as error:
            raise ValueError(f'is "{value[:40]}"; allowed is a day, say 2026-06-09') from error
    return value


Day = Annotated[str, BeforeValidator(_day), Field(pattern=r"^\d{4}-\d\d-\d\d$")]
Surface = Literal["bare", "sanded", "oiled", "lacquered", "masked"]

OWN_CUT_SD_SHARE = 0.1  # standard deviation of an energy that a person measured: common practice, no source


class WoodTable(StrictModel):
    """woods/NAME.toml."""

    name: Name = Field(description="What it is: the wood, as a person says it.")
    called: Name | None = Field(
        default=None,
        description='What you call these boards, which tells lots apart at the machine: "Hard maple, lot HM-2".',
    )
    surface: Surface = Field(default="bare", description="State of the surface when it is burnt.")
    curve: RelativePath | None = Field(
        default=None, description="Curve file, beside this file or in the batch folder; without it the starting value."
    )
    cut_J_per_mm3: Annotated[float, Field(gt=0.1, le=100.0)] | None = Field(
        default=None,
        description="Energy that cuts away a volume, from your own trial: power over speed × kerf × thickness. [J/mm³]",
    )
    confirmed_by: Name | None = Field(default=None, description="Who checked that a doubtful material may be burnt.")
    confirmed_on: Day | None = Field(default=None, description="The day they did, 2026-06-09; stands in the plan.")

    @model_validator(mode="after")
    def _by_somebody(self) -> Self:
        if self.confirmed_on is not None and self.confirmed_by is None:
            raise ValueError("confirmed_on is given, but confirmed_by is missing")
        return self

    def confirmation(self) -> Confirmation | None:
        """Return who made sure that a doubtful material may be burnt, and when; None where nobody did."""
        return None if self.confirmed_by is None else Confirmation(by=self.confirmed_by, on=self.confirmed_on or "")


class ProvenanceTable(StrictModel):
    """Where a curve comes from."""

    kind: Literal["measured", "fitted", "published", "common practice", "starting value", "user"] = Field(
        description="Where the numbers come from."
    )
    detail: Annotated[str, Field(max_length=400)] = Field(default="", description="Date, card, key or who.")


class ParametersTable(StrictModel):
    """Parameters of a characteristic curve."""

    bare_L: Annotated[float, Field(ge=LEAST_BARE_L, le=100.0)] = Field(
        description="Tone of the untouched surface. [L*]"
    )
    full_L: Lightness = Field(description="Tone at the far end of the straight part. [L*]")
    x_mid: Exposure = Field(description="Exposure at which half of the way is done. [log10 J/mm²]")
    steepness_per_decade: Annotated[float, Field(ge=0.001, le=200.0)] = Field(
        description="Of the generalised logistic, per tenfold exposure."
    )
    asymmetry: Annotated[float, Field(gt=0.01, le=20.0)] = Field(
        default=1.0, description="Of the generalised logistic; 1 is the plain one."
    )
    reversal_L: Annotated[float, Field(ge=-100.0, le=100.0)] = Field(
        default=0.0, description="How far the tone turns back past its end. [L*]"
    )
    x_reversal: Exposure = Field(default=8.0, description="Exposure about which it turns back. [log10 J/mm²]")
    kappa: Annotated[float, Field(ge=-2.0, le=2.0)] = Field(
        default=0.0, description="Reciprocity exponent: what dwell adds to exposure."
    )
    pass_exponent: Annotated[float, Field(ge=0.0, le=3.0)] = Field(
        default=1.0, description="1 when passes add as energy."
    )


class CurveDocument(StrictModel):
    """curve.json, schema version 1."""

    schema_version: Literal[1] = Field(description="Version of this file's form.")
    wood: Name = Field(description="What was measured.")
    parameters: ParametersTable = Field(description="The curve's parameters.")
    covariance: list[list[float]] = Field(description="9 × 9, in the order of the parameters.")
    x_low: Exposure = Field(description="Least exposure that was measured. [log10 J/mm²]")
    x_high: Exposure = Field(description="Greatest exposure that was measured. [log10 J/mm²]")
    x_char: Exposure = Field(description="Char limit. [log10 J/mm²]")
    evenness_L: Spread = Field(description="Standard deviation inside an even patch: the wood's own blotches. [L*]")
    board_L: Spread = Field(description="Standard deviation from board to board of the lot. [L*]")
    reading_L: Spread = Field(default=0.0, description="Standard deviation of a card reading. [L*]")
    provenance: ProvenanceTable = Field(description="Where the curve comes from.")

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        size = len(CURVE_PARAMETERS)
        matrix = np.array(self.covariance, dtype=np.float64) if self._square(size) else None
        if matrix is None:
            raise ValueError(f"covariance must be {size} lists of {size} numbers")
        scale = float(np.abs(matrix).max()) + 1e-300
        if not np.allclose(matrix, matrix.T, atol=1e-9 * scale) or np.linalg.eigvalsh(matrix).min() < -1e-6 * scale:
            raise ValueError("covariance must be symmetric and not negative")
        if self.x_low >= min(self.x_high, self.x_char):
            raise ValueError(f"x_low {self.x_low:g} must lie below x_high and x_char")
        if self.parameters.bare_L == self.parameters.full_L:
            raise ValueError("bare_L and full_L must differ")
        return self

    def _square(self, size: int) -> bool:
        return len(self.covariance) == size and all(len(row) == size for row in self.covariance)


def curve_from_document(document: CurveDocument) -> CharacteristicCurve:
    """Return the curve a document describes."""
    matrix = np.array(document.covariance, dtype=np.float64)
    matrix.setflags(write=False)
    return CharacteristicCurve(
        **document.parameters.model_dump(),
        x_low=document.x_low,
        x_high=document.x_high,
        x_char=document.x_char,
        covariance=matrix,
        evenness_L=document.evenness_L,
        board_L=document.board_L,
        reading_L=document.reading_L,
        provenance=Provenance(kind=document.provenance.kind, detail=document.provenance.detail),
    )


def read_curve(path: Path, *, name: str) -> CharacteristicCurve:
    """Return the curve in a curve.json.

    Raises
    ------
    UnreadableFile, InvalidInput
        If it is missing, is no JSON, or does not hold.
    """
    return curve_from_document(checked(CurveDocument, read_json(path, name=name), name=name))


@cache
def _shipped() -> dict[str, Any]:
    text = (resources.files("evenburn") / "assets" / "woods.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def shipped_ids() -> tuple[str, ...]:
    """Return the ids of the woods that ship as starting values."""
    return tuple(_shipped()["wood"])


def shipped_wood(wood_id: str) -> Wood:
    """Return a wood that ships, with its starting-value curve.

    Raises
    ------
    NotFound
        If there is none of that id; the message lists those there are.
    """
    tables = _shipped()
    if wood_id not in tables["wood"]:
        near = difflib.get_close_matches(wood_id, shipped_ids(), n=1, cutoff=0.5)
        raise NotFound(
            f'wood "{wood_id}" is not known; shipped are {", ".join(shipped_ids())}',
            hint=f"Did you mean {near[0]}? Or write woods/{wood_id}.toml." if near else f"Write woods/{wood_id}.toml.",
        )
    entry = tables["wood"][wood_id]
    spread = tables["spread"]
    curve = CharacteristicCurve(
        bare_L=entry["bare_L"],
        full_L=entry["full_L"],
        x_mid=float(np.log10(entry["dose_mid_J_per_mm2"])),
        steepness_per_decade=entry["steepness_per_decade"],
        asymmetry=entry["asymmetry"],
        reversal_L=entry["reversal_L"],
        x_reversal=float(np.log10(entry["dose_reversal_J_per_mm2"])),
        kappa=entry["kappa"],
        pass_exponent=1.0,
        x_low=float(np.log10(entry["dose_low_J_per_mm2"])),
        x_high=float(np.log10(entry["dose_high_J_per_mm2"])),
        x_char=float(np.log10(entry["dose_char_J_per_mm2"])),
        covariance=np.diag([float(spread[f"{name}_sd"]) ** 2 for name in CURVE_PARAMETERS]),
        evenness_L=entry["evenness_L"],
        board_L=entry["board_L"],
        reading_L=0.0,
        provenance=Provenance(kind="starting value", detail="from memory; to be replaced by a card of your own lot"),
    )
    steps = tables["finishing"][entry["finishing"]]
    return Wood(
        id=wood_id,
        name=entry["name"],
        surface="bare",
        curve=curve,
        bare_ab=(entry["bare_ab"][0], entry["bare_ab"][1]),
        full_ab=(entry["full_ab"][0], entry["full_ab"][1]),
        grain=entry["grain"],
        burns_unevenly=entry["burns_unevenly"],
        finishing=tuple(FinishingStep(**step) for step in steps),
        cautions=tuple(entry.get("cautions", ())),
        cut_J_per_mm3=entry["density_g_per_cm3"] * tables["cut"]["energy_kJ_per_g"]
        if "density_g_per_cm3" in entry
        else None,
        cut_sd_share=tables["cut"]["sd_share"],
    )


def read_wood(folder: Path, wood_id: str) -> tuple[Wood, WoodTable | None]:
    """Return a wood of a batch folder: its own file, curve and name, over the starting value of that id or name.

    Raises
    ------
    NotFound, UnreadableFile, InvalidInput
        If neither a file nor a starting value is there, or the file does not hold.
    """
    path = folder / "woods" / f"{wood_id}.toml"
    if not path.exists():
        return shipped_wood(wood_id), None
    name = f"woods/{wood_id}.toml"
    table = checked(WoodTable, read_toml(path, name=name), name=name)
    curve = None
    if table.curve is not None:
        beside = path.parent / table.curve
        curve_path = (
            beside if beside.exists() else folder / table.curve
        )  # beside the wood's file, else in the batch folder
        if not curve_path.resolve().is_relative_to(folder.resolve()):
            raise UnreadableFile(name, f'curve = "{table.curve}" lies outside the batch folder')
        curve = read_curve(curve_path, name=table.curve)
    return wood_from_table(wood_id, table, own_curve=curve), table


def wood_from_table(wood_id: str, table: WoodTable, *, own_curve: CharacteristicCurve | None) -> Wood:
    """Return a wood: its own name, surface and curve over the starting value of its id or name.

    Parameters
    ----------
    own_curve : None where it has none, and takes that of the wood that ships.

    Raises
    ------
    NotFound
        If it has no curve and none ships.
    """
    base_id = shipped_as(wood_id, table.name)
    if own_curve is None:
        base = shipped_wood(base_id or _slug(table.name))
    else:
        base = shipped_wood(base_id or _likeness(own_curve))
    return Wood(
        id=wood_id,
        name=table.name,
        called=table.called or "",
        surface=table.surface,
        curve=base.curve if own_curve is None else own_curve,
        bare_ab=base.bare_ab,
        full_ab=base.full_ab,
        grain=base.grain and not _without_grain(table.name, wood_id),
        burns_unevenly=base.burns_unevenly,
        finishing=base.finishing,
        cautions=base.cautions,
        cut_J_per_mm3=base.cut_J_per_mm3 if table.cut_J_per_mm3 is None else table.cut_J_per_mm3,
        cut_sd_share=base.cut_sd_share if table.cut_J_per_mm3 is None else OWN_CUT_SD_SHARE,
    )


def shipped_as(wood_id: str, name: str) -> str | None:
    """Return the id of the wood that ships under this id or name, None where none does."""
    return next((i for i in (wood_id, _slug(name)) if i in shipped_ids()), None)


def _slug(name: str) -> str:
    return "-".join(name.lower().split())


def _likeness(curve: CharacteristicCurve) -> str:
    """Return the shipped wood whose bare tone is nearest, for the colours and finishing of a wood we do not know."""
    if curve.full_L > curve.bare_L:
        return "slate"
    woods = {i: _shipped()["wood"][i] for i in shipped_ids() if i != "slate"}
    return min(woods, key=lambda i: abs(woods[i]["bare_L"] - curve.bare_L))


@cache
def _materials_file() -> dict[str, Any]:
    return tomllib.loads((resources.files("evenburn") / "assets" / "materials.toml").read_text(encoding="utf-8"))


def _without_grain(*names: str) -> bool:
    """Return whether names say that it is no wood with a grain, as leather or cork."""
    told = _materials_file()["no_grain"]
    return mentioned(tuple(told["words"]), *names, unless=tuple(told["unless"]))


@cache
def materials() -> tuple[Material, ...]:
    """Return the materials that must not be burnt and those to be doubted."""
    return tuple(
        Material(
            name=m["name"], words=tuple(m["words"]), level=m["level"], why=m["why"], unless=tuple(m.get("unless", ()))
        )
        for m in _materials_file()["material"]
    )
