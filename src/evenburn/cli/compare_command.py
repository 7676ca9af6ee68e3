"""The `evenburn compare` and `evenburn drift` verbs: what came of a piece, and what that says of the bench."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from evenburn.cli.options import DateOption, JsonOption, date_of

PHOTOGRAPH_REFUSED = 3


def compare(
    photographs: Annotated[
        list[Path],
        typer.Argument(
            metavar="PHOTO…", help="Photographs of one mark of the finished piece in a mat: JPEG, PNG, HEIC."
        ),
    ],
    plan: Annotated[
        Path, typer.Option("--plan", metavar="FILE", help="plan.json it was burnt from, its pictures beside it.")
    ],
    piece: Annotated[str, typer.Option("--piece", metavar="ID", help="Id of the piece.")],
    card: Annotated[
        Path, typer.Option("--card", metavar="FILE", help="card.json whose printed mat was laid over it; any will do.")
    ],
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="File to write what came of it into: outcome.json.")],
    *,
    mark: Annotated[
        str | None, typer.Option("--mark", metavar="ID", help="Id of the mark. Default: the only one of one tone.")
    ] = None,
    paper: Annotated[
        float | None,
        typer.Option(
            "--paper-L", metavar="L*", help="Measured lightness of the mat's paper. Default: believed, 91 to 96."
        ),
    ] = None,
    toner: Annotated[
        float | None,
        typer.Option(
            "--toner-L", metavar="L*", help="Measured lightness of its solid black. Default: believed, 10 to 22."
        ),
    ] = None,
    curve: Annotated[
        Path | None,
        typer.Option("--curve", metavar="FILE", help="Curve of its wood: says what the tone means as exposure."),
    ] = None,
    update: Annotated[
        Path | None,
        typer.Option("--update", metavar="FILE", help="Let that curve learn from the mark, and write it here."),
    ] = None,
    drawing: Annotated[
        Path | None,
        typer.Option("--drawing", metavar="PNG", help="Also draw what was found and read on the first photograph."),
    ] = None,
    date: DateOption = None,
    json: JsonOption = False,
) -> None:
    """Compare a finished piece with its plan: promised against got tone. Exit code 3 if every photograph was refused."""
    from evenburn.cli.show_outcome import show_compared
    from evenburn.services.compare_piece import CompareWish, compare_piece

    wish = CompareWish(
        piece_id=piece, mark_id=mark, paper_L=paper, toner_L=toner, curve=curve, update=update, drawing=drawing
    )
    compared = compare_piece(photographs, plan, card, wish=wish, to=to, date=date_of(date))
    show_compared(compared, as_json=json, file_name=to.name)
    if compared.outcome is None:
        raise typer.Exit(PHOTOGRAPH_REFUSED)
    if compared.not_learnt is not None:
        raise compared.not_learnt


def drift(
    outcomes: Annotated[
        list[Path], typer.Argument(metavar="OUTCOME…", help="outcome.json of marks of several woods, of one machine.")
    ],
    json: JsonOption = False,
) -> None:
    """Say whether finished pieces of several woods are off together: then it is the bench, not the wood."""
    from evenburn.cli.show_outcome import show_drift
    from evenburn.services.name_drift import name_drift

    show_drift(name_drift(outcomes), as_json=json)
