"""The demo: lay out the shipped batch, read and fit the card that lies in it, and plan it."""

from __future__ import annotations

import shutil
import tomllib
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from evenburn.core.errors import StorageError
from evenburn.services.fit_curve import CurveFitted, FitWish, fit_curve_file
from evenburn.services.plan_batch import Planned, plan_batch
from evenburn.services.progress import Progress, no_progress
from evenburn.services.read_card import CardRead, read_card_photographs

CARDS = "cards"  # one folder for each wood of which a card was burnt: its card.json and its photographs


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoCard:
    """A card of the demo as read and fitted; folders are named from the demo's own."""

    wood_id: str
    folder: Path
    read: CardRead
    fitted: CurveFitted


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoPlanned:
    """What the demo did: its cards, then its batch."""

    cards: tuple[DemoCard, ...]
    planned: Planned


def lay_out_demo(target: Path) -> Path:
    """Copy the shipped batch into `target/batch` and return that folder; files a person changed there stay.

    Raises
    ------
    StorageError
        If it cannot be written.
    """
    folder = target / "batch"
    try:
        with resources.as_file(resources.files("evenburn") / "assets" / "demo") as source:
            for path in sorted(source.rglob("*")):
                copy = folder / path.relative_to(source)
                if path.is_dir():
                    copy.mkdir(parents=True, exist_ok=True)
                elif not copy.exists():
                    copy.parent.mkdir(parents=True, exist_ok=True)
                    shutil.copyfile(path, copy)
    except OSError as error:
        raise StorageError(
            f"cannot lay the demo into {target}: {error.strerror}", hint="Choose another folder with --to."
        ) from error
    return folder


def learn_demo_cards(folder: Path, *, date: str, progress: Progress = no_progress) -> tuple[DemoCard, ...]:
    """Read and fit the cards that lie in a demo's batch folder, and let its woods take their curves from them.

    Beside each photograph come reading.json and a drawing of what was found; the curve and its plot go to woods/. A wood
    file that names a curve already is left as it is.

    Raises
    ------
    UnreadableFile, InvalidInput, StorageError
        As reading and fitting do.
    """
    homes = sorted(p.parent for p in (folder / CARDS).glob("*/card.json"))
    cards: list[DemoCard] = []
    for done, home in enumerate(homes):
        progress("reading cards", done, len(homes))
        wood_id = home.name
        photographs = sorted(p for p in home.iterdir() if p.suffix.lower() in {".jpg", ".jpeg", ".heic"})
        reading = home / "reading.json"
        read = read_card_photographs(photographs, home / "card.json", to=reading, drawing=home / "reading.png")
        curve = folder / "woods" / f"{wood_id}.curve.json"
        fitted = fit_curve_file([reading], FitWish(wood_id=wood_id), to=curve, date=date)
        _take_curve(folder / "woods" / f"{wood_id}.toml", curve.name)
        cards.append(DemoCard(wood_id=wood_id, folder=home, read=read, fitted=fitted))
    if homes:
        progress("reading cards", len(homes), len(homes))
    return tuple(cards)


def plan_demo(target: Path, *, date: str, progress: Progress = no_progress) -> DemoPlanned:
    """Lay out the shipped batch, learn from its cards, and plan it; raises as `plan_batch` and `learn_demo_cards`."""
    folder = lay_out_demo(target)
    cards = learn_demo_cards(folder, date=date, progress=progress)
    return DemoPlanned(cards=cards, planned=plan_batch(folder, to=target, date=date, progress=progress))


def _take_curve(wood_file: Path, curve_name: str) -> None:
    """Name a curve in a wood's file, unless it names one."""
    text = wood_file.read_text(encoding="utf-8")
    if "curve" in tomllib.loads(text):
        return
    kept = "".join(line for line in text.splitlines(keepends=True) if not line.startswith("#"))
    try:
        wood_file.write_text(
            "# Burnt, photographed and fitted: see ../cards/, and the plot beside the curve.\n"
            f'{kept}curve = "{curve_name}"\n',
            encoding="utf-8",
        )
    except OSError as error:
        raise StorageError(
            f"cannot write {wood_file.name}: {error.strerror}", hint="Make room, then repeat."
        ) from error
