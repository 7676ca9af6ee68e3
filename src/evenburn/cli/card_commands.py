"""The `evenburn card` verbs: test cards designed for this machine, with their programs and mats."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from evenburn.cli.options import DateOption, JsonOption, date_of

MachineOption = Annotated[Path, typer.Option("--machine", metavar="FILE", help="machine.toml it is to burn on.")]
ToOption = Annotated[
    Path, typer.Option("--to", metavar="DIR", help="Folder to write card.json, its program, card.png and mat.pdf into.")
]
PageOption = Annotated[str, typer.Option("--page", metavar="PAGE", help="Paper the mat is printed on: A4 or Letter.")]
LensOption = Annotated[
    str | None,
    typer.Option("--lens", metavar="NAME", help="Lens, by its name in the machine file. Default: the first."),
]
AtOption = Annotated[
    str | None,
    typer.Option(
        "--at", metavar="X,Y", help="Lower left corner of the card on the bed. Default: the middle of the bed. [mm]"
    ),
]

app = typer.Typer(
    name="card",
    help="Design a test card for this machine, with its program and its mat.",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    no_args_is_help=False,
)


@app.callback(invoke_without_command=True)
def _root(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


@app.command()
def wood(
    machine: MachineOption,
    wood: Annotated[
        str,
        typer.Option(
            "--wood", metavar="NAME", help="Id of the wood: one that ships, has a file, or is named by --like."
        ),
    ],
    to: ToOption,
    *,
    like: Annotated[
        str | None,
        typer.Option("--like", metavar="NAME", help="For a wood that is not known: one that ships and is like it."),
    ] = None,
    folder: Annotated[
        Path | None,
        typer.Option("--folder", metavar="DIR", help="Batch folder whose woods/ holds the file of this wood."),
    ] = None,
    strip: Annotated[
        bool, typer.Option("--strip", help="A strip of 60 × 15 mm for the back of a blank, instead of 90 × 60 mm.")
    ] = False,
    page: PageOption = "A4",
    lens: LensOption = None,
    at: AtOption = None,
    offset: Annotated[
        float | None,
        typer.Option(
            "--focus-offset-mm",
            metavar="MM",
            help="Focus offset of the whole card. Default: the least at which its patches are even. [mm]",
        ),
    ] = None,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="Another seed mixes the patches another way.")] = 1,
    date: DateOption = None,
    json: JsonOption = False,
) -> None:
    """Design a wood card: patches to learn a wood's curve from, their program, and the mat to photograph them in."""
    from evenburn.cli.points import place
    from evenburn.cli.show_card import show_card
    from evenburn.services.make_card import CardWish, make_wood_card

    wish = CardWish(
        wood_id=wood,
        like=like,
        folder=folder,
        strip=strip,
        page=page,
        lens=lens,
        at_mm=None if at is None else place(at, option="--at", hint="Write a place as X,Y in mm, say 200,150."),
        focus_offset_mm=offset,
        seed=seed,
    )
    show_card(make_wood_card(machine, wish, to=to, date=date_of(date)), as_json=json)


@app.command()
def motion(
    machine: MachineOption,
    wood: Annotated[
        str,
        typer.Option(
            "--wood", metavar="NAME", help="Id of the wood: one that ships, has a file, or is named by --like."
        ),
    ],
    to: ToOption,
    *,
    like: Annotated[
        str | None,
        typer.Option("--like", metavar="NAME", help="For a wood that is not known: one that ships and is like it."),
    ] = None,
    folder: Annotated[
        Path | None,
        typer.Option("--folder", metavar="DIR", help="Batch folder whose woods/ holds the file of this wood."),
    ] = None,
    page: PageOption = "A4",
    lens: LensOption = None,
    at: AtOption = None,
    date: DateOption = None,
    json: JsonOption = False,
) -> None:
    """Design a motion card: rasters to time with a stopwatch, the laser off, and strokes to burn that show the lag."""
    from evenburn.cli.points import place
    from evenburn.cli.show_motion import show_motion_card
    from evenburn.services.make_motion_card import make_motion_card

    made = make_motion_card(
        machine,
        wood,
        to=to,
        date=date_of(date),
        like=like,
        folder=folder,
        page=page,
        lens_name=lens,
        at_mm=None if at is None else place(at, option="--at", hint="Write a place as X,Y in mm, say 200,150."),
    )
    show_motion_card(made, as_json=json)


@app.command()
def beam(
    machine: MachineOption,
    wood: Annotated[
        str,
        typer.Option(
            "--wood", metavar="NAME", help="Id of the wood: one that ships, has a file, or is named by --like."
        ),
    ],
    to: ToOption,
    *,
    like: Annotated[
        str | None,
        typer.Option("--like", metavar="NAME", help="For a wood that is not known: one that ships and is like it."),
    ] = None,
    folder: Annotated[
        Path | None,
        typer.Option("--folder", metavar="DIR", help="Batch folder whose woods/ holds the file of this wood."),
    ] = None,
    page: PageOption = "A4",
    lens: LensOption = None,
    at: AtOption = None,
    date: DateOption = None,
    json: JsonOption = False,
) -> None:
    """Design a focus ladder: lines at several stand-offs and powers, one program for each stand-off, and the mat."""
    from evenburn.cli.points import place
    from evenburn.cli.show_beam import show_beam_card
    from evenburn.services.make_beam_card import make_beam_card

    made = make_beam_card(
        machine,
        wood,
        to=to,
        date=date_of(date),
        like=like,
        folder=folder,
        page=page,
        lens_name=lens,
        at_mm=None if at is None else place(at, option="--at", hint="Write a place as X,Y in mm, say 200,150."),
    )
    show_beam_card(made, as_json=json)
