"""What `evenburn demo` did: the card it read, then the batch as `evenburn plan` shows it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from evenburn.cli.show_plan import show_planned

if TYPE_CHECKING:
    from evenburn.services.demo import DemoCard, DemoPlanned


def show_demo(done: DemoPlanned, to: Path, *, as_json: bool, in_full: bool) -> None:
    """Print each card with where its pictures are, then the plan."""
    if not as_json:
        for card in done.cards:
            _card(card, to)
        if done.cards:
            print()
    show_planned(done.planned, as_json=as_json, in_full=in_full)


def _card(card: DemoCard, to: Path) -> None:
    reading = card.read.reading
    if reading is None:
        return
    curve = card.fitted.learnt.curve
    doubted = sum(1 for p in reading.patches if p.flags)
    print(
        f"{card.fitted.wood_name}: card read from a photograph, {len(reading.patches)} patches"
        f"{f', {doubted} doubted' if doubted else ''}; curve fitted,"
    )
    print(
        f"  half way to full tone at {10.0**curve.x_mid:.2f} J/mm\u00b2, char limit {10.0**curve.x_char:.2f} J/mm\u00b2; "
        "its pieces below rest on it"
    )
    print(f"  what was found   {_from(card.folder / 'reading.png', to)}")
    print(f"  the curve drawn  {_from(card.fitted.plot_file, to)}")


def _from(path: Path, to: Path) -> str:
    """Return a path as it lies in the demo's folder."""
    return path.relative_to(to).as_posix()
