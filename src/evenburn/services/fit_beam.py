"""Fit a beam: readings of a focus ladder to waist, its place and Rayleigh length, as beam.json with a plot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from evenburn.adapters.formats.beam_json import (
    BeamDocument,
    BeamLineDocument,
    BeamProvenanceDocument,
    BeamRadiusDocument,
    lens_lines,
)
from evenburn.adapters.formats.json_file import write_json
from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.reading_json import read_reading
from evenburn.adapters.pictures.beam_plot import write_beam_plot
from evenburn.core.card.beam_card import axis_of
from evenburn.core.errors import InvalidInput, NotFound, StorageError
from evenburn.core.nouns.card import LineReading, Reading
from evenburn.core.nouns.machine import Lens
from evenburn.core.optics.beam import Beam, beam_of_lens
from evenburn.core.optics.beam_fit import BeamFit, fit_beam
from evenburn.core.optics.ladder import LineWidths

MOST_READINGS = 24
SET_ASIDE = frozenset({"lopsided", "saturated", "poorly-explained"})
SHORTEST_RAYLEIGH_mm = 0.3
THETA = 0.06  # half-angle of a beam where no machine file tells: starting value, only where the search begins


@dataclass(frozen=True, slots=True, kw_only=True)
class BeamFitted:
    """What came of it: the document as written, the plot, the lines for machine.toml, how many were used."""

    document: BeamDocument
    plot_file: Path
    fit: BeamFit
    machine_lines: tuple[str, ...]
    used: int
    set_aside: int
    photographs: int


def fit_beam_reading(
    readings: Sequence[Path],
    *,
    to: Path,
    date: str,
    wood_id: str | None = None,
    machine_file: Path | None = None,
    plot: Path | None = None,
) -> BeamFitted:
    """Fit the beam to readings of a focus ladder, write beam.json, and draw it.

    Parameters
    ----------
    wood_id : checked against the card where given.
    machine_file : the one the ladder was made with; from it the stand-off to use is told.
    plot : where to draw it; beside `to`, ending in .png, where None.

    Raises
    ------
    UnreadableFile, InvalidInput, NotFound
        If a file does not hold, the readings are not of one ladder, too little was seen, or the waist lies outside it.
    StorageError
        If the files cannot be written.
    """
    read = _readings(readings, wood_id=wood_id)
    card = read[0].card
    lens = None if machine_file is None else _lens(machine_file, read[0])
    target = plot or to.with_suffix(".png")
    for file in (to, target):
        if not file.parent.is_dir():
            raise StorageError(f"the folder {file.parent.name or file.parent} is not there", hint="Make it first.")
    if target == to:
        raise InvalidInput({"--to": f"{to.name} would hold both numbers and plot"}, hint="Name it beam.json.")
    lines = [k for r in read for k in r.lines]
    doubted = [bool(SET_ASIDE & set(k.flags)) for k in lines]
    kept = [k for k, d in zip(lines, doubted, strict=True) if not d]
    fit = fit_beam(
        _widths(kept),
        along_x=np.array([axis_of(k.line) == "x" for k in kept], dtype=np.bool_),
        start=_start(lens, radius_mm=card.beam_radius_mm),
    )
    photographs = sum(r.photographs for r in read)
    document = _document(fit, read[0], kept, lens=lens, date=date, photographs=photographs)
    write_json(to, document.model_dump(exclude_none=True))
    write_beam_plot(fit, target, title=f"{card.machine_name}, {card.lens_name}", detail=document.provenance.detail)
    return BeamFitted(
        document=document,
        plot_file=target,
        fit=fit,
        machine_lines=lens_lines(document),
        used=sum(k.width_mm > 0.0 for k in kept),
        set_aside=sum(doubted),
        photographs=photographs,
    )


def _readings(paths: Sequence[Path], *, wood_id: str | None) -> list[Reading]:
    if not 1 <= len(paths) <= MOST_READINGS:
        raise InvalidInput({"READING": f"{len(paths)} are given; allowed are 1 to {MOST_READINGS}"})
    read = [read_reading(path, name=path.name) for path in paths]
    first = read[0].card
    for path, reading in zip(paths, read, strict=True):
        card = reading.card
        if card.kind != "beam":
            raise InvalidInput(
                {"card": f"is a {card.kind} card, not a focus ladder"},
                source=path.name,
                hint="Take readings of the card that `evenburn card beam` made.",
            )
        if not reading.lines:
            raise InvalidInput({"lines": "none is there"}, source=path.name, hint="Read the photographs again.")
        for what, seen, wanted in (
            ("machine", card.machine_name, first.machine_name),
            ("lens", card.lens_name, first.lens_name),
            ("wood", card.wood_id, wood_id or first.wood_id),
        ):
            if seen != wanted:
                raise InvalidInput({what: f"is {seen}, not {wanted}"}, source=path.name, hint="Fit each by itself.")
    return read


def _lens(machine_file: Path, reading: Reading) -> Lens:
    machine = read_machine(machine_file, name=machine_file.name)
    if machine.name != reading.card.machine_name:
        raise InvalidInput(
            {"--machine": f'is "{machine.name}"; the ladder is for "{reading.card.machine_name}"'},
            hint="Take the machine.toml the ladder was made with.",
        )
    for lens in machine.lenses:
        if lens.name == reading.card.lens_name:
            return lens
    raise NotFound(f'{machine_file.name} has no lens "{reading.card.lens_name}", which the ladder is for')


def _widths(lines: Sequence[LineReading]) -> LineWidths:
    return LineWidths(
        offset_mm=np.array([k.line.focus_offset_mm for k in lines]),
        power_W=np.array([k.line.power_W for k in lines]),
        speed_mm_per_s=np.array([k.line.speed_mm_per_s for k in lines]),
        width_mm=np.array([k.width_mm for k in lines]),
        width_sd_mm=np.array([k.width_sd_mm for k in lines]),
    )


def _start(lens: Lens | None, *, radius_mm: float) -> Beam:
    if lens is not None:
        return beam_of_lens(lens)
    return Beam(waist_radius_mm=radius_mm, rayleigh_length_mm=max(SHORTEST_RAYLEIGH_mm, radius_mm / THETA))


def _document(
    fit: BeamFit, reading: Reading, lines: Sequence[LineReading], *, lens: Lens | None, date: str, photographs: int
) -> BeamDocument:
    card = reading.card
    used = sum(k.width_mm > 0.0 for k in lines)
    return BeamDocument(
        schema_version=1,
        machine=card.machine_name,
        lens=card.lens_name,
        wood=card.wood_id,
        provenance=BeamProvenanceDocument(
            kind="fitted",
            date=date,
            detail=f"focus ladder on {card.wood_id}: {used} of {len(card.lines)} lines, {np.unique(fit.offset_mm).size} "
            f"stand-offs, {photographs} photograph{'' if photographs == 1 else 's'}",
        ),
        waist_radius_mm=round(fit.beam.waist_radius_mm, 5),
        waist_radius_sd_mm=round(fit.waist_radius_sd_mm, 5),
        rayleigh_length_mm=round(fit.beam.rayleigh_length_mm, 4),
        rayleigh_length_sd_mm=round(fit.rayleigh_length_sd_mm, 4),
        waist_offset_mm=round(fit.waist_offset_mm, 4),
        waist_offset_sd_mm=round(fit.waist_offset_sd_mm, 4),
        astigmatism_mm=round(fit.astigmatism_mm, 4),
        astigmatism_sd_mm=round(fit.astigmatism_sd_mm, 4),
        focus_stand_off_mm=None if lens is None else round(lens.focus_stand_off_mm + fit.waist_offset_mm, 3),
        threshold_J_per_mm2=round(fit.threshold_J_per_mm2, 5),
        threshold_sd_share=round(fit.threshold_sd_share, 4),
        radii=[
            BeamRadiusDocument(
                focus_offset_mm=float(z),
                across="y" if x else "x",
                radius_mm=round(float(r), 5),
                radius_sd_mm=round(float(s), 5),
            )
            for z, x, r, s in zip(fit.offset_mm, fit.along_x, fit.radius_mm, fit.radius_sd_mm, strict=True)
        ],
        lines=[
            BeamLineDocument(id=k.line.id, width_mm=round(k.width_mm, 5), residual_mm=round(float(r), 5))
            for k, r in zip(lines, fit.residual_mm, strict=True)
        ],
    )
