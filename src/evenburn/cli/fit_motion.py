"""`evenburn fit` of a motion card: which files are of one, and what was timed and read by eye."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from evenburn.cli.show_motion import named_numbers, show_motion
from evenburn.core.errors import InvalidInput

HINT = "docs/how-it-works/stopwatch.md goes through it step by step."


def kind_of_card(path: Path) -> str:
    """Return the kind of the card in a card.json or a reading.json; empty where the file is neither."""
    from evenburn.services.fit_motion import kind_of_card  # numbers are loaded when needed

    return kind_of_card(path)


def is_motion(files: Sequence[Path]) -> bool:
    """Return whether the files are of a motion card."""
    return any(kind_of_card(path) == "motion" for path in files)


def fit_motion(
    files: Sequence[Path],
    *,
    machine: Path | None,
    times: list[str] | None,
    lines_up: list[str] | None,
    to: Path,
    date: str,
    as_json: bool,
) -> None:
    """Fit a motion card and print what came of it.

    Raises
    ------
    InvalidInput
        If its card.json or the machine is missing, or an option is no NAME=NUMBER.
    """
    from evenburn.services.fit_motion import fit_motion_card, is_reading

    cards = [path for path in files if not is_reading(path)]
    wrong = {}
    if len(cards) != 1:
        wrong["card.json"] = f"{len(cards)} are given; a motion card needs its own, once, and any reading.json of it"
    if machine is None:
        wrong["--machine"] = "is missing; a motion card is of one machine"
    if wrong or machine is None:
        raise InvalidInput(wrong, hint=HINT)
    twice = named_numbers(lines_up, option="--lines-up", example="slow=2")
    if len({name for name, _ in twice}) < len(twice):
        raise InvalidInput({"--lines-up": "a vernier is named twice"}, hint="Give each vernier once.")
    fitted = fit_motion_card(
        cards[0],
        machine_file=machine,
        to=to,
        date=date,
        times=named_numbers(times, option="--time", example="1=41.3"),
        lines_up=dict(twice),
        readings=[path for path in files if path not in cards],
    )
    show_motion(fitted, as_json=as_json, file_name=to.name)
