"""The re-run of a rescued piece: a batch of this one piece where it lies now, planned as any other batch."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory

from evenburn.adapters.formats.batch_text import batch_text
from evenburn.adapters.formats.batch_toml import BatchTable, HoldTable, MarkTable, PieceTable, read_batch
from evenburn.adapters.storage.folder import INDEX
from evenburn.core.errors import NotFound, StorageError
from evenburn.core.nouns.mark import Piece
from evenburn.core.nouns.recipe import Recipe
from evenburn.core.units import quarter_turns
from evenburn.services.load_batch import Batch
from evenburn.services.load_names import named_pieces
from evenburn.services.plan_batch import Planned, plan_batch
from evenburn.services.progress import Progress


def plan_rescued(
    folder: Path,
    batch: Batch,
    *,
    piece: Piece,
    turned_deg: float,
    recipes: Mapping[str, Recipe],
    to: Path,
    date: str,
    progress: Progress,
) -> Planned:
    """Plan one piece of a batch where it lies now, with the settings it was planned with before.

    Parameters
    ----------
    piece : as it lies now; turned_deg : from how it was planned before.
    recipes : for the id of each mark to burn the settings to keep; other marks are left out.

    Raises
    ------
    InvalidInput, UnreadableFile, StorageError
        As `plan_batch`.
    """
    table = read_batch(folder / "batch.toml")
    entry, texts = _entry(folder, table, piece.id)
    marks = [
        _mark(mark, text=texts.get(mark.id), letter_mm=_letter_mm(batch, piece.id, mark), recipe=recipes[mark.id],
              turned_deg=turned_deg)
        for mark in entry.mark
        if mark.id in recipes
    ]  # fmt: skip
    alone = entry.model_copy(
        update={
            "id": piece.id,
            "name": piece.name,
            "names": None,
            "place_bed_mm": piece.place_bed_mm,
            "turn_deg": piece.turn_deg,
            "mark": marks,
        }
    )
    again = table.model_copy(update={"subtitle": f"Re-run of {piece.name}"[:200], "piece": [alone]})
    with TemporaryDirectory() as name:
        laid = Path(name) / "batch"
        try:
            shutil.copytree(folder, laid, symlinks=True, ignore=_outputs)
            (laid / "batch.toml").write_text(batch_text(again), encoding="utf-8", newline="\n")
        except OSError as error:
            raise StorageError(
                f"cannot lay out the re-run beside {folder}: {error.strerror or error}",
                hint="Is the disk full, or the folder not yours? Nothing was changed in it.",
            ) from error
        return plan_batch(laid, to=to, date=date, progress=progress)


def _outputs(folder: str, names: list[str]) -> set[str]:
    """Return the folders among some names that hold a former plan; they are no part of the batch."""
    return {name for name in names if (Path(folder) / name / INDEX).is_file()}


def _entry(folder: Path, table: BatchTable, piece_id: str) -> tuple[PieceTable, dict[str, str]]:
    """Return the table a piece is made from, and the texts of its row where it comes from a list of names."""
    for entry in table.piece:
        if entry.names is None:
            if entry.id == piece_id:
                return entry, {}
        elif piece_id.startswith(f"{entry.id}-"):
            made, _ = named_pieces(folder, entry)
            for one in made:
                if one.id == piece_id:
                    return entry, one.texts
    raise NotFound(f'piece "{piece_id}" is not in batch.toml any more', hint="Was it changed just now?")


def _letter_mm(batch: Batch, piece_id: str, mark: MarkTable) -> float | None:
    """Return the letter height a text of a list was set with, so that it is set alike by itself. [mm]"""
    set_as = batch.letterings.get((piece_id, mark.id))
    return mark.letter_mm if mark.column is None or set_as is None else set_as.letter_mm


def _mark(
    mark: MarkTable, *, text: str | None, letter_mm: float | None, recipe: Recipe, turned_deg: float
) -> MarkTable:
    """Return a mark with its text written out and its settings held."""
    turns = quarter_turns(90.0 * round(turned_deg / 90.0)) or 0
    across = {"x": "y", "y": "x"}[recipe.scan_axis] if turns % 2 else recipe.scan_axis
    held: dict[str, object] = {
        "speed_mm_per_s": recipe.speed_mm_per_s,
        "power_W": recipe.power_W,
        "focus_offset_mm": recipe.focus_offset_mm,
        "passes": recipe.passes,
    }
    if recipe.way == "scan":
        held |= {"line_spacing_mm": recipe.line_spacing_mm, "scan_axis": across}
    update: dict[str, object] = {"hold": HoldTable.model_validate({**mark.hold.model_dump(exclude_unset=True), **held})}
    if text is not None:
        update |= {"text": text, "column": None, "letter_mm": letter_mm}
    return mark.model_copy(update=update)
