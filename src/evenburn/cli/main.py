"""The `evenburn` command."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from evenburn import __version__
from evenburn.cli.book_command import backup, restore
from evenburn.cli.card_commands import app as card_app
from evenburn.cli.compare_command import compare, drift
from evenburn.cli.faces import show_error
from evenburn.cli.fit_command import fit
from evenburn.cli.open_command import open_book
from evenburn.cli.options import DateOption, JsonOption, date_of
from evenburn.core.errors import EvenburnError, ProgramNotSound, StorageError

# every usage error of the parser derives from this one, whichever parser the installed typer brings
UsageError: type[Exception] = typer.BadParameter.__mro__[1]

DONE, FOUND_STOP, INPUT_AT_FAULT, PHOTOGRAPH_REFUSED, COMPUTER_AT_FAULT = 0, 1, 2, 3, 4

app = typer.Typer(
    name="evenburn",
    help="The bench book that computes: recipe, proof, program and run sheet for a small laser-engraving bench.",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

app.add_typer(card_app)
for _verb in (compare, drift):
    app.command()(_verb)
app.command()(fit)
app.command("open")(open_book)
app.command()(backup)
app.command()(restore)

ReasonsOption = Annotated[
    bool, typer.Option("--reasons", help="Say every reason, and every recipe to choose from, of every mark.")
]


@app.callback(invoke_without_command=True)
def _root(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version and stop.", is_eager=True)] = False,
) -> None:
    if version:
        typer.echo(f"evenburn {__version__}")
        raise typer.Exit(DONE)
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


@app.command()
def plan(
    folder: Annotated[Path, typer.Argument(help="Batch folder: batch.toml, machine.toml, artwork, woods/.")],
    to: Annotated[Path, typer.Option("--to", help="Folder to write programs, proofs, run sheet and plan.json into.")],
    date: DateOption = None,
    reasons: ReasonsOption = False,
    json: JsonOption = False,
) -> None:
    """Plan a batch folder: recipes, programs, proofs, run sheet."""
    from evenburn.cli.progress import shown_progress  # numbers and pictures are loaded when needed
    from evenburn.cli.show_plan import show_planned
    from evenburn.services.plan_batch import plan_batch

    with shown_progress() as progress:
        planned = plan_batch(folder, to=to, date=date_of(date), progress=progress)
    show_planned(planned, as_json=json, in_full=reasons)


@app.command()
def check(
    folder: Annotated[Path, typer.Argument(help="Batch folder, as for plan.")],
    json: JsonOption = False,
) -> None:
    """Fit and check a batch folder, every name of its lists, without writing anything."""
    from evenburn.cli.progress import shown_progress
    from evenburn.cli.show_checked import show_checked
    from evenburn.services.check_batch import check_batch

    with shown_progress() as progress:
        checked = check_batch(folder, progress=progress)
    show_checked(checked, as_json=json)


@app.command()
def demo(
    to: Annotated[Path, typer.Option("--to", help="Folder for the demo: its batch goes to batch/ inside it.")] = Path(
        "out/demo"
    ),
    date: DateOption = None,
    reasons: ReasonsOption = False,
    json: JsonOption = False,
) -> None:
    """Read the demo's card and plan its batch: a rowing club's regatta prizes, one of which does not fit."""
    from evenburn.cli.progress import shown_progress
    from evenburn.cli.show_demo import show_demo
    from evenburn.services.demo import plan_demo

    with shown_progress() as progress:
        done = plan_demo(to, date=date_of(date), progress=progress)
    show_demo(done, to, as_json=json, in_full=reasons)


@app.command()
def rescue(
    folder: Annotated[Path, typer.Argument(help="Batch folder, as for plan.")],
    piece: Annotated[str, typer.Argument(help="Id of the piece that went wrong.")],
    *,
    mark: Annotated[
        str | None, typer.Option("--mark", metavar="ID", help="Only this mark of it; without it all of them.")
    ] = None,
    power: Annotated[
        float | None, typer.Option("--power-w", metavar="W", help="Power that was really set. Default: as planned. [W]")
    ] = None,
    speed: Annotated[
        float | None,
        typer.Option("--speed", metavar="MM/S", help="Speed that was really set. Default: as planned. [mm/s]"),
    ] = None,
    spacing: Annotated[
        float | None,
        typer.Option("--spacing", metavar="MM", help="Line spacing that was really set. Default: as planned. [mm]"),
    ] = None,
    offset: Annotated[
        float | None,
        typer.Option("--offset", metavar="MM", help="Focus offset that was really set. Default: as planned. [mm]"),
    ] = None,
    passes: Annotated[
        int | None, typer.Option("--passes", metavar="N", help="Passes it really had. Default: as planned.")
    ] = None,
    dose: Annotated[
        float | None,
        typer.Option("--dose", metavar="J/MM2", help="Mean dose it had, instead of power and passes. [J/mm²]"),
    ] = None,
    depth: Annotated[
        float | None,
        typer.Option("--depth-mm", metavar="MM", help="Depth of the burn by a gauge, instead of the balance. [mm]"),
    ] = None,
    veneer: Annotated[
        float | None,
        typer.Option("--veneer-mm", metavar="MM", help="Thickness of the face veneer. Default: 0.5 on plywood. [mm]"),
    ] = None,
    cover: Annotated[
        str | None,
        typer.Option(
            "--cover", metavar="MARK", help="Would this mark, or PIECE/MARK, cover it? Default: its own art, if asked."
        ),
    ] = None,
    grow: Annotated[
        float | None, typer.Option("--grow-mm", metavar="MM", help="Cover it with ink grown all round by this. [mm]")
    ] = None,
    at: Annotated[
        str | None,
        typer.Option("--at", metavar="X,Y", help="Lower left corner of the cover on the blank. Default: its own. [mm]"),
    ] = None,
    tone: Annotated[
        float | None, typer.Option("--tone", metavar="L*", help="Cover it in this tone. Default: its own. [L*]")
    ] = None,
    point: Annotated[
        list[str] | None,
        typer.Option(
            "--point",
            metavar="X,Y=X,Y",
            help="A place of the blank's drawing and where the pointer finds it on the bed; two at least. [mm]",
        ),
    ] = None,
    on_mark: Annotated[
        bool, typer.Option("--on-mark", help="Points are drawn from the corner of the mark's box, not of the blank's.")
    ] = False,
    measured_to: Annotated[
        float,
        typer.Option("--measured-to-mm", metavar="MM", help="Standard deviation of a found coordinate. [mm]"),
    ] = 0.2,
    to: Annotated[
        Path | None,
        typer.Option("--to", metavar="DIR", help="Plan the re-run, where the points say, into this folder."),
    ] = None,
    date: DateOption = None,
    json: JsonOption = False,
) -> None:
    """Rescue a piece that went wrong: depth of the burn, sanding, covering it, a re-run where it now lies."""
    from evenburn.cli.points import pairs, place
    from evenburn.cli.progress import shown_progress
    from evenburn.cli.show_rescue import show_rescue
    from evenburn.core.planning.rescue.burn_depth import Happened
    from evenburn.services.rescue import Asked, CoverWish, Found, rescue_piece

    drawn, found = pairs(point or ())
    covers = any(v is not None for v in (cover, grow, at, tone))
    asked = Asked(
        mark_id=mark,
        happened=Happened(
            power_W=power,
            speed_mm_per_s=speed,
            line_spacing_mm=spacing,
            focus_offset_mm=offset,
            passes=passes,
            dose_J_per_mm2=dose,
            depth_mm=depth,
        ),
        veneer_mm=veneer,
        cover=CoverWish(
            other=cover, grow_mm=grow or 0.0, at_mm=None if at is None else place(at, option="--at"), tone_L=tone
        )
        if covers
        else None,
        found=Found(drawn_mm=drawn, found_mm=found, measured_to_mm=measured_to, on_mark=on_mark) if point else None,
    )
    with shown_progress() as progress:
        rescued = rescue_piece(folder, piece, asked=asked, to=to, date=date_of(date), progress=progress)
    show_rescue(rescued, as_json=json)


@app.command()
def verify(
    program: Annotated[Path, typer.Argument(help="Program to read back, RS-274/NGC.")],
    machine: Annotated[Path, typer.Option("--machine", help="machine.toml it is to run on.")],
    json: JsonOption = False,
) -> None:
    """Read a program back from disk and check it against the machine. Exit code 1 if it must not run."""
    from evenburn.cli.show_report import show_report
    from evenburn.services.verify_program import verify_program

    report = verify_program(program, machine)
    show_report(report, name=program.name, as_json=json)
    if not report.passed:
        raise typer.Exit(FOUND_STOP)


@app.command()
def read(
    photographs: Annotated[
        list[Path], typer.Argument(metavar="PHOTO…", help="Photographs of one card in its mat: JPEG, PNG, HEIC.")
    ],
    card: Annotated[Path, typer.Option("--card", help="card.json of this card, as `evenburn card` wrote it.")],
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="File to write the reading into: reading.json.")],
    *,
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
    drawing: Annotated[
        Path | None,
        typer.Option("--drawing", metavar="PNG", help="Also draw what was found and read on the first photograph."),
    ] = None,
    json: JsonOption = False,
) -> None:
    """Read a burnt card from photographs of it in its mat. Exit code 3 if all of them were refused."""
    from evenburn.cli.show_reading import show_reading
    from evenburn.services.read_card import read_card_photographs

    found = read_card_photographs(photographs, card, to=to, paper_L=paper, toner_L=toner, drawing=drawing)
    show_reading(found, as_json=json, file_name=to.name)
    if found.reading is None:
        raise typer.Exit(PHOTOGRAPH_REFUSED)


def run() -> None:
    """Run the command and leave with its exit code; errors have one shape and never a traceback."""
    sys.exit(main(sys.argv[1:]))


def main(arguments: list[str]) -> int:
    """Return the exit code of a command line: 0 done, 1 verify found a stop, 2 input, 3 photograph, 4 computer at fault."""
    try:
        outcome = app(args=arguments, prog_name="evenburn", standalone_mode=False)
    except UsageError as error:
        text = error.format_message() if hasattr(error, "format_message") else str(error)
        show_error((" ".join(text.split()),), hint="evenburn --help lists the verbs; evenburn VERB --help its options.")
        return INPUT_AT_FAULT
    except (typer.Abort, KeyboardInterrupt):
        show_error(("stopped by hand; nothing was written",), hint="")
        return INPUT_AT_FAULT
    except EvenburnError as error:
        show_error(error.lines(), hint=error.hint)
        return COMPUTER_AT_FAULT if isinstance(error, StorageError | ProgramNotSound) else INPUT_AT_FAULT
    except MemoryError:
        show_error(("this computer ran out of memory",), hint="Plan fewer or smaller marks at once.")
        return COMPUTER_AT_FAULT
    except OSError as error:
        where = f" ({error.filename})" if error.filename else ""
        show_error((f"{error.strerror or error}{where}",), hint="Is the disk full, or the folder not yours?")
        return COMPUTER_AT_FAULT
    return outcome if isinstance(outcome, int) else DONE
