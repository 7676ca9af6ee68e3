"""Make a wood card: its patches, its program read back from disk, its picture and its mat."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from evenburn.adapters.formats.card_json import card_document
from evenburn.adapters.formats.json_file import json_text
from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.ngc_writer import Head, lot_comments, program_lines
from evenburn.adapters.formats.strict import checked, read_toml
from evenburn.adapters.formats.wood_toml import WoodTable, materials, read_wood, shipped_ids, shipped_wood
from evenburn.adapters.pictures.burn_image import write_burn_image
from evenburn.adapters.print.cautions import card_caution_lines
from evenburn.adapters.print.mat import write_mat
from evenburn.adapters.storage.card_folder import CARD_INDEX, CardFolder
from evenburn.core.errors import InvalidInput, NotFound
from evenburn.core.nouns.card import Card
from evenburn.core.nouns.cautions import PROGRAM_WORDS
from evenburn.core.nouns.check import Check
from evenburn.core.nouns.confirmation import Confirmation
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.wood import Wood
from evenburn.core.planning.card_plan import CardPlan, plan_wood_card
from evenburn.core.planning.checks import wood_checks
from evenburn.core.planning.materials import find_material, spoken_of
from evenburn.core.units import duration_text
from evenburn.services.prove import demand_sound_own_lines, prove_program

PROGRAM, PICTURE, MAT = "card.ngc", "card.png", "mat.pdf"
WOOD_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,63}")
MOST_SEED = 2**32 - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class CardWish:
    """What a person asks of a wood card.

    Attributes
    ----------
    wood_id : a wood that ships, or one with a file in `folder`/woods, or any name with `like`.
    like : a wood that ships, which it is like.
    folder : batch folder with the woods' files.
    lens : name of the lens; None for the first of the machine.
    at_mm : the card's lower left corner on the bed; None for the middle.
    focus_offset_mm : None for the least at which the patches are even.
    """

    wood_id: str
    like: str | None = None
    folder: Path | None = None
    strip: bool = False
    page: str = "A4"
    lens: str | None = None
    at_mm: tuple[float, float] | None = None
    focus_offset_mm: float | None = None
    seed: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class CardMade:
    """A card as it was written: where, what is in it, how long it burns, and what is to be said before it does."""

    card: Card
    wood: Wood
    machine: Machine
    lens: Lens
    time_s: float
    line_spacing_mm: float
    checks: tuple[Check, ...]
    cautions: tuple[str, ...]
    files: tuple[str, ...]
    folder: Path
    document: dict[str, Any]


def make_wood_card(machine_file: Path, wish: CardWish, *, to: Path, date: str) -> CardMade:
    """Make a wood card and write its files into a folder, all or nothing.

    Raises
    ------
    InvalidInput, NotFound, UnreadableFile
        If what was asked does not hold, or the material may not be burnt; nothing is written.
    StorageError
        If the files cannot be written.
    ProgramNotSound
        If the program does not pass when it is read back.
    """
    machine, lens, wood, checks, plan = _planned(machine_file, wish)
    head = Head(lines=head_lines(plan, wood, machine=machine, lens=lens, date=date))
    document = card_document(plan.card)
    with CardFolder(to) as output:
        output.write_text(PROGRAM, "\n".join(program_lines(machine, plan.events, head=head)) + "\n")
        prove_program(output.path(PROGRAM), machine, events=plan.events, time_s=plan.time_s)
        write_burn_image(
            output.path(PICTURE),
            plan.picture_W,
            power_full_W=float(plan.picture_W.max()),
            pixel_mm=plan.line_spacing_mm,
        )
        write_mat(plan.card, output.path(MAT))
        output.write_text(CARD_INDEX, json_text(document))
        output.finish()
    return CardMade(
        card=plan.card,
        wood=wood,
        machine=machine,
        lens=lens,
        time_s=plan.time_s,
        line_spacing_mm=plan.line_spacing_mm,
        checks=checks,
        cautions=card_caution_lines(lens),
        files=(CARD_INDEX, PROGRAM, PICTURE, MAT),
        folder=to,
        document=document,
    )


def check_wood_card(machine_file: Path, wish: CardWish) -> None:
    """Refuse a wish for a card that `make_wood_card` would refuse, in some tenths of a second; raises as that, for the same."""
    _planned(machine_file, wish)


def _planned(machine_file: Path, wish: CardWish) -> tuple[Machine, Lens, Wood, tuple[Check, ...], CardPlan]:
    _check(wish)
    machine = read_machine(machine_file, name=machine_file.name)
    demand_sound_own_lines(machine, source=machine_file.name)
    lens = lens_of(machine, wish.lens)
    wood, checks = card_wood(wish.wood_id, like=wish.like, folder=wish.folder)
    plan = plan_wood_card(
        machine,
        wood,
        lens=lens,
        kind="strip" if wish.strip else "wood",
        page=wish.page,
        at_mm=wish.at_mm,
        focus_offset_mm=wish.focus_offset_mm,
        likeness=wish.like is not None,
        generator=np.random.default_rng(wish.seed),
    )
    return machine, lens, wood, checks, plan


def lens_of(machine: Machine, name: str | None) -> Lens:
    """Return a lens of a machine by its name, the first where none is named.

    Raises
    ------
    NotFound
        If it has none of that name; the message lists those it has.
    """
    if name is None:
        return machine.lenses[0]
    for lens in machine.lenses:
        if lens.name == name:
            return lens
    raise NotFound(
        f'--lens: is "{name}", which {machine.name} does not have',
        hint="It has " + ", ".join(f'"{lens.name}"' for lens in machine.lenses) + ".",
    )


def card_wood(wood_id: str, *, like: str | None, folder: Path | None) -> tuple[Wood, tuple[Check, ...]]:
    """Return the wood a card is for and what is to be said of it, as planning says it.

    Raises
    ------
    InvalidInput
        If the material must not be burnt, or is doubtful and nobody has confirmed that it may be.
    NotFound, UnreadableFile
        If nothing is known of the wood, or its file does not hold.
    """
    if WOOD_ID.fullmatch(wood_id) is None:
        raise InvalidInput(
            {"--wood": f'is "{wood_id}"; an id is 1 to 64 of a-z, 0-9 and -, the first no hyphen, say hard-maple'}
        )
    if folder is not None and not folder.is_dir():
        raise NotFound(f"--folder: {folder.name or folder} is not a folder", hint="Name the folder that holds woods/.")
    wood, confirmation = _known(wood_id, like=like, folder=folder)
    material = find_material(materials(), *spoken_of(wood))
    found = wood_checks(wood, material=material, confirmed=confirmation is not None, confirmation=confirmation)
    stops = [check for check in found if check.level == "stop"]
    if stops:
        remedy = stops[0].remedy
        if stops[0].code == "doubtful-material":
            remedy += f" That file is woods/{wood_id}.toml in a folder that you name with --folder."
        raise InvalidInput({"--wood": stops[0].text}, hint=remedy)
    return wood, tuple(check for check in found if check.code != "starting-value-curve")


def _known(wood_id: str, *, like: str | None, folder: Path | None) -> tuple[Wood, Confirmation | None]:
    """Return a wood and who confirmed that it may be burnt, None where nobody did."""
    name = f"woods/{wood_id}.toml"
    there = folder is not None and (folder / name).is_file()
    if like is None:
        try:
            wood, own = read_wood(folder, wood_id) if folder is not None else (shipped_wood(wood_id), None)
        except NotFound as error:
            if find_material(materials(), wood_id) is not None and not there:
                return _unknown(wood_id), None  # what it is decides before what it is like
            raise NotFound(
                f'--wood: "{wood_id}" is not known; shipped are {", ".join(shipped_ids())}',
                hint=f"{_near(error)}For another wood name one that it is like: --like hard-maple.",
            ) from error
        return wood, None if own is None else own.confirmation()
    if like not in shipped_ids():
        raise NotFound(f'--like: "{like}" does not ship; shipped are {", ".join(shipped_ids())}')
    if wood_id in shipped_ids():
        raise InvalidInput({"--like": f"{wood_id} is known by itself"}, hint="Leave --like out, or give it another id.")
    base = replace(shipped_wood(like), id=wood_id, name=wood_id.replace("-", " "), cautions=(), burns_unevenly=False)
    if folder is None or not there:
        return base, None
    table = checked(WoodTable, read_toml(folder / name, name=name), name=name)
    if table.curve is not None:
        raise InvalidInput({"--like": f"{name} has a curve of its own"}, hint="Leave --like out.")
    return replace(base, name=table.name, surface=table.surface), table.confirmation()


def _unknown(wood_id: str) -> Wood:
    return replace(shipped_wood("hard-maple"), id=wood_id, name=wood_id.replace("-", " "))


def _near(error: NotFound) -> str:
    """Return the question that the search for a shipped wood ends in, if it found a near name."""
    found = re.match(r"Did you mean [a-z-]+\?", error.hint)
    return f"{found[0]} " if found else ""


def _check(wish: CardWish) -> None:
    fields: dict[str, str] = {}
    if wish.page not in ("A4", "Letter"):
        fields["--page"] = f'is "{wish.page}"; allowed are A4 and Letter'
    if not 0 <= wish.seed <= MOST_SEED:
        fields["--seed"] = f"is {wish.seed}; allowed is 0 to {MOST_SEED}"
    if wish.at_mm is not None and not all(0.0 <= v <= 10_000.0 for v in wish.at_mm):
        fields["--at"] = f"is {wish.at_mm[0]:g},{wish.at_mm[1]:g}; allowed is 0 to 10000 mm"
    if fields:
        raise InvalidInput(fields, hint="evenburn card wood --help tells what each is.")


def head_lines(plan: CardPlan, wood: Wood, *, machine: Machine, lens: Lens, date: str) -> tuple[str, ...]:
    """Return what the head of a card's program says: what it is, how to set it up, cautions, date."""
    card = plan.card
    speeds = sorted({p.speed_mm_per_s for p in card.patches})
    powers = [p.power_W for p in card.patches]
    x, y = card.origin_bed_mm
    return (
        f"evenburn {'strip' if card.kind == 'strip' else 'wood card'}, made {date}",
        f"wood {wood.name}, card {card.size_mm[0]:g} x {card.size_mm[1]:g} mm, {len(card.patches)} patches",
        *lot_comments(wood),
        f"machine {machine.name}, lens {lens.name}",
        f"its lower left corner lies at x {x:g}, y {y:g} mm",
        (
            f"set stand-off {lens.focus_stand_off_mm + card.focus_offset_mm:.1f} mm, "
            f"focus offset {card.focus_offset_mm:+.1f} mm"
        ),
        f"speed {speeds[0]:g} to {speeds[-1]:g} mm/s, power {min(powers):.1f} to {max(powers):.1f} W",
        f"line spacing {plan.line_spacing_mm:.3f} mm, time {duration_text(plan.time_s)}",
        "air as for the work it is for",
        PROGRAM_WORDS,
    )
