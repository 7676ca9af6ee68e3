"""The `evenburn fit` verb: from readings of cards to a curve."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from evenburn.cli.options import DateOption, JsonOption, date_of
from evenburn.core.errors import InvalidInput


def fit(
    readings: Annotated[
        list[Path],
        typer.Argument(
            metavar="READING…",
            help="reading.json of cards of one lot, each card once; or card.json of a motion card and readings of it.",
        ),
    ],
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="File to write the curve into: NAME.curve.json.")],
    *,
    wood: Annotated[
        str | None,
        typer.Option("--wood", metavar="NAME", help="Id of the wood that the cards are of; a wood needs it."),
    ] = None,
    like: Annotated[
        str | None,
        typer.Option("--like", metavar="NAME", help="For a wood that does not ship: one that ships and is like it."),
    ] = None,
    lot: Annotated[
        list[Path] | None,
        typer.Option(
            "--lot", metavar="FILE", help="Curve of another lot of this wood, to lean on; may be given several times."
        ),
    ] = None,
    board_of: Annotated[
        Path | None,
        typer.Option(
            "--board-of", metavar="FILE", help="Curve of the lot; the readings, say of a strip, are of one board of it."
        ),
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option(
            "--plot", metavar="PNG", help="Where to draw the curve. Default: beside it, its name ending in .png."
        ),
    ] = None,
    machine: Annotated[
        Path | None,
        typer.Option(
            "--machine", metavar="FILE", help="Of a motion card or a focus ladder: machine.toml it was made with."
        ),
    ] = None,
    time: Annotated[
        list[str] | None,
        typer.Option(
            "--time", metavar="ID=S", help="Of a motion card: a time by the stopwatch, once for each take. [s]"
        ),
    ] = None,
    lines_up: Annotated[
        list[str] | None,
        typer.Option(
            "--lines-up", metavar="NAME=N", help="Of a motion card: which strokes of a vernier line up, halves allowed."
        ),
    ] = None,
    date: DateOption = None,
    json: JsonOption = False,
) -> None:
    """Fit a wood's curve to readings of its cards, draw it, and say what to burn next."""
    from evenburn.cli.fit_motion import fit_motion, is_motion, kind_of_card
    from evenburn.cli.show_fit import show_fit
    from evenburn.services.fit_curve import FitWish, fit_curve_file

    if any(kind_of_card(path) == "beam" for path in readings):
        from evenburn.cli.show_beam import fit_ladder

        fit_ladder(readings, machine=machine, wood=wood, to=to, plot=plot, date=date_of(date), as_json=json)
        return
    if machine is not None or time or lines_up or is_motion(readings):
        when = date_of(date)
        fit_motion(readings, machine=machine, times=time, lines_up=lines_up, to=to, date=when, as_json=json)
        return
    if wood is None:
        raise InvalidInput({"--wood": "is missing"}, hint="Name the wood that the cards are of, say --wood hard-maple.")
    wish = FitWish(wood_id=wood, like=like, lots=tuple(lot or ()), board_of=board_of, plot=plot)
    show_fit(fit_curve_file(readings, wish, to=to, date=date_of(date)), as_json=json)
