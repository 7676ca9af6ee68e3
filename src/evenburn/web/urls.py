"""The only maker of addresses; templates and pages ask here, so that none is spelled twice."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path
from urllib.parse import parse_qsl, quote, urlencode

STATIC = Path(__file__).parent / "static"


def today() -> str:
    """Return the address of the day's batch, where the book opens."""
    return "/"


@cache
def static(name: str) -> str:
    """Return the address of a shipped file; it wears a sum of what is in it, so that browsers may keep it for good."""
    data = (STATIC / name).read_bytes()
    return f"/static/{name}?v={hashlib.sha256(data).hexdigest()[:16]}"


def look() -> str:
    """Return where light or dark is chosen."""
    return "/look"


def with_query(address: str, **values: str | int | None) -> str:
    """Return an address with a query of what is not None."""
    given = {name: value for name, value in values.items() if value is not None}
    return f"{address}?{urlencode(given)}" if given else address


def list_of(address: str) -> str:
    """Return where that is listed which an address led to; the day's batch where nothing lists it."""
    lists = {"pieces": pieces, "woods": woods, "cards": woods, "batches": batches, "shelf": shelf, "logbook": logbook}
    first, _, rest = address.strip("/").partition("/")
    return lists[first]() if rest and first in lists else today()


def telling(address: str, **values: int) -> str:
    """Return an address with a number in its query, before its fragment, beside what stands there."""
    front, mark, fragment = address.partition("#")
    path, _, query = front.partition("?")
    kept = [(k, v) for k, v in parse_qsl(query, keep_blank_values=True) if k not in values]
    return f"{path}?{urlencode([*kept, *values.items()])}{mark}{fragment}"


def own(address: str, *, otherwise: str) -> str:
    """Return an address a form brought back if it is one of ours, else another; nobody is led elsewhere."""
    ours = address.startswith("/") and not address.startswith("//") and "\\" not in address and address.isprintable()
    return address if ours else otherwise


def work(job_id: int) -> str:
    """Return the address of a piece of long work."""
    return f"/work/{job_id}"


def work_part(job_id: int) -> str:
    """Return the address of the part of it that changes."""
    return f"/work/{job_id}/part"


def work_line(job_id: int) -> str:
    """Return the address of one line on it, for other pages."""
    return f"/work/{job_id}/line"


def stop_work(job_id: int) -> str:
    """Return where a piece of long work is stopped."""
    return f"/work/{job_id}/stop"


# ---- the sheets of the book --------------------------------------------------------------------------------------


def pieces(**query: str | int | None) -> str:
    """Return the address of the index of all pieces; search=, page=."""
    return with_query("/pieces", **query)


def piece(piece_id: int) -> str:
    """Return the address of a piece's sheet."""
    return f"/pieces/{piece_id}"


def new_piece(batch_id: str | None = None) -> str:
    """Return where a piece is added, to a batch or the one that Today shows."""
    return with_query("/pieces/new", batch=batch_id)


def apply_fix(piece_id: int) -> str:
    """Return where a remedy is applied to a piece; the form sends `fix` as JSON and `version`."""
    return f"/pieces/{piece_id}/fix"


def woods(**query: str | int | None) -> str:
    """Return the address of the list of woods; search=, page=."""
    return with_query("/woods", **query)


def wood(wood_id: str) -> str:
    """Return the address of a wood's page."""
    return f"/woods/{quote(wood_id, safe='')}"


def machine(machine_id: str | None = None) -> str:
    """Return the address of a machine, of the one in use for None."""
    return "/machine" if machine_id is None else f"/machine/{quote(machine_id, safe='')}"


def shelf() -> str:
    """Return the address of the blanks in stock."""
    return "/shelf"


def logbook(**query: str | int | None) -> str:
    """Return the address of the burns; search=, page=."""
    return with_query("/logbook", **query)


def deliver(**aim: str | int | None) -> str:
    """Return where a phone is let in; card=, piece= or artwork= (a piece's) say what its photographs are of."""
    return with_query("/phone", **aim)


def settings() -> str:
    """Return the address of the settings."""
    return "/settings"


def backup() -> str:
    """Return where a backup of the whole book is taken and given back."""
    return "/backup"


def changes(**query: str | int | None) -> str:
    """Return the address of the last changes."""
    return with_query("/changes", **query)


def undo() -> str:
    """Return where a change is undone; the form sends `edit_id` and `back`."""
    return "/undo"


# ---- today -------------------------------------------------------------------------------------------------------


def batch(batch_id: str | None = None, *, page: int | None = None) -> str:
    """Return the address of a batch's day, of the chosen one for None."""
    return with_query("/", batch=batch_id, page=page)


def picture(piece_id: int, inputs_sha256: str) -> str:
    """Return the small picture of a piece; it wears what was planned with, so that browsers may keep it."""
    return with_query(f"/pieces/{piece_id}/picture", of=inputs_sha256[:16])


def step(piece_id: int) -> str:
    """Return where a step of a piece is ticked; the form sends `step`, `done` and perhaps `blank_id`."""
    return f"/pieces/{piece_id}/step"


def move(piece_id: int) -> str:
    """Return where a piece is moved to another place; the form sends `before` or `way`."""
    return f"/pieces/{piece_id}/move"


def tick(piece_id: int, name: str, *, back: str | None = None) -> str:
    """Return the small page on which one step is ticked, or taken back; from there it leads back, where that is named."""
    return with_query(f"/pieces/{piece_id}/step", name=name, back=back)


def new_batch() -> str:
    """Return where a batch is begun."""
    return "/batches/new"


def batches() -> str:
    """Return the address of the list of batches."""
    return "/batches"


def choose_batch() -> str:
    """Return where the batch that Today shows is chosen."""
    return "/batches/choose"


def order_batch(batch_id: str) -> str:
    """Return where a batch is put in the order of fewest settings."""
    return f"/batches/{quote(batch_id, safe='')}/order"


def plan_batch(batch_id: str) -> str:
    """Return where all that is not planned is planned."""
    return f"/batches/{quote(batch_id, safe='')}/plan"


def begin_day(batch_id: str) -> str:
    """Return where the day's start is set from Today."""
    return f"/batches/{quote(batch_id, safe='')}/begin"


def print_batch(batch_id: str) -> str:
    """Return where the run sheet of a batch is made."""
    return f"/batches/{quote(batch_id, safe='')}/print"


def run_sheet(batch_id: str) -> str:
    """Return the printed run sheet of a batch."""
    return f"/batches/{quote(batch_id, safe='')}/run-sheet.pdf"


def for_the_machine(batch_id: str) -> str:
    """Return where the programs of a batch are made ready."""
    return f"/batches/{quote(batch_id, safe='')}/programs"


def programs(batch_id: str) -> str:
    """Return the programs of a batch as one ZIP."""
    return f"/batches/{quote(batch_id, safe='')}/programs.zip"


def demo() -> str:
    """Return where the demo batch is taken in."""
    return "/begin/demo"


# ---- a phone's photographs ---------------------------------------------------------------------------------------


def let_phone_in() -> str:
    """Return where the door for a phone is opened; the form sends `aim`."""
    return "/phone/on"


def shut_phone_out() -> str:
    """Return where it is closed."""
    return "/phone/off"


def phone_part() -> str:
    """Return the address of the part of that page that changes."""
    return "/phone/part"


def small_photograph(photograph_id: int) -> str:
    """Return the address of a photograph, small."""
    return f"/photographs/{photograph_id}/small.jpg"


def empty_tray() -> str:
    """Return where photographs are taken out of the tray; the form sends `photograph-N`, and `aim` or `drop`."""
    return "/phone/tray"


# ---- machine, shelf, logbook, backup -----------------------------------------------------------------------------


def machine_new() -> str:
    """Return where a machine is added."""
    return "/machine/new"


def machine_change(machine_id: str) -> str:
    """Return where a machine's figures are changed."""
    return f"{machine(machine_id)}/change"


def machine_remove(machine_id: str) -> str:
    """Return where a machine is taken out of the book."""
    return f"{machine(machine_id)}/remove"


def machine_toml(machine_id: str) -> str:
    """Return a machine as machine.toml."""
    return f"{machine(machine_id)}/machine.toml"


def measure(machine_id: str, kind: str) -> str:
    """Return where a machine's card is made: "motion" for the stopwatch, "beam" for a lens's focus ladder."""
    return f"{machine(machine_id)}/measure/{kind}"


def machine_card(card_id: int) -> str:
    """Return the sheet of a stopwatch card or a focus ladder: what to do, and what came of it."""
    return f"/machine-cards/{card_id}"


def machine_card_file(card_id: int, name: str) -> str:
    """Return a file of such a card."""
    return f"/machine-cards/{card_id}/files/{quote(name, safe='')}"


def machine_card_zip(card_id: int) -> str:
    """Return all that is needed to burn such a card, as one ZIP."""
    return f"/machine-cards/{card_id}/card-{card_id}.zip"


def machine_card_take(card_id: int) -> str:
    """Return where the machine takes over what such a card told."""
    return f"/machine-cards/{card_id}/take"


def shelf_list(**query: str | int | None) -> str:
    """Return the shelf as searched; search=, wood=, all=, page=."""
    return with_query("/shelf", **query)


def shelf_new() -> str:
    """Return where blanks are put on the shelf."""
    return "/shelf/new"


def shelf_blank(blank_id: int) -> str:
    """Return where a blank of the shelf is changed."""
    return f"/shelf/{blank_id}"


def shelf_take(blank_id: int) -> str:
    """Return where a blank's line is taken off the shelf."""
    return f"/shelf/{blank_id}/take"


def shelf_photo(blank_id: int, version: int) -> str:
    """Return the photograph of a blank; it wears the version, so that browsers may keep it."""
    return with_query(f"/shelf/{blank_id}/photo.jpg", of=version)


def new_piece_from(blank_id: int) -> str:
    """Return where a piece is made from a blank of the shelf."""
    return with_query(new_piece(), blank=blank_id)


def burn(burn_id: int) -> str:
    """Return the sheet of a burn."""
    return f"/logbook/{burn_id}"


def do_again(burn_id: int) -> str:
    """Return the place on a burn's sheet where it is done again."""
    return f"{burn(burn_id)}#again"


def burn_grade(burn_id: int) -> str:
    """Return where a burn is graded."""
    return f"/logbook/{burn_id}/grade"


def burn_photographs(burn_id: int) -> str:
    """Return where photographs of what came of a burn are sent."""
    return f"/logbook/{burn_id}/photographs"


def burn_again(burn_id: int) -> str:
    """Return where a burn's recipe is put into a mark; the form sends `mark` as "PIECE/VERSION/MARK"."""
    return f"/logbook/{burn_id}/again"


def burn_alike(burn_id: int) -> str:
    """Return where a piece like that of a burn is added."""
    return f"/logbook/{burn_id}/alike"


def logbook_csv(**query: str | int | None) -> str:
    """Return the burns that were searched for as CSV."""
    return with_query("/logbook.csv", **query)


def backup_file() -> str:
    """Return the whole book as one file."""
    return "/backup/book.zip"


def restore_backup() -> str:
    """Return where a backup is made a book again."""
    return "/backup/restore"


# ---- the sheet of a piece ----------------------------------------------------------------------------------------


def piece_bed(piece_id: int) -> str:
    """Return the drawing of a piece on the bed, as it lies or would lie elsewhere; the query says where and how fast."""
    return f"/pieces/{piece_id}/bed"


def piece_place(piece_id: int) -> str:
    """Return where a piece is put elsewhere on the bed, or turned."""
    return f"/pieces/{piece_id}/place"


def piece_centre(piece_id: int) -> str:
    """Return where the marks of a piece are centred on its blank."""
    return f"/pieces/{piece_id}/centre"


def piece_blank(piece_id: int) -> str:
    """Return where name, wood and blank of a piece are changed."""
    return f"/pieces/{piece_id}/blank"


def piece_mark(piece_id: int, number: int) -> str:
    """Return where a mark of a piece is changed; marks count from 1."""
    return f"/pieces/{piece_id}/marks/{number}"


def piece_mark_artwork(piece_id: int, number: int) -> str:
    """Return where a mark is given other artwork."""
    return f"/pieces/{piece_id}/marks/{number}/artwork"


def piece_mark_remove(piece_id: int, number: int) -> str:
    """Return where a mark is taken away."""
    return f"/pieces/{piece_id}/marks/{number}/remove"


def piece_mark_new(piece_id: int) -> str:
    """Return where a piece is given another mark."""
    return f"/pieces/{piece_id}/marks/new"


def piece_take(piece_id: int) -> str:
    """Return where a recipe or a concession is taken; the form sends `changes` as JSON, keys as in batch.toml."""
    return f"/pieces/{piece_id}/take"


def piece_plan(piece_id: int) -> str:
    """Return where a piece is planned anew."""
    return f"/pieces/{piece_id}/plan"


def piece_job(piece_id: int) -> str:
    """Return the part of a piece's sheet that tells how far its planning is."""
    return f"/pieces/{piece_id}/job"


def piece_copy(piece_id: int) -> str:
    """Return where a piece is copied."""
    return f"/pieces/{piece_id}/copy"


def piece_remove(piece_id: int) -> str:
    """Return where a piece is taken out of its batch."""
    return f"/pieces/{piece_id}/remove"


def piece_file(piece_id: int, name: str) -> str:
    """Return a file of a piece's plan, to be saved."""
    return f"/pieces/{piece_id}/files/{quote(name, safe='')}"


def artwork(name: str) -> str:
    """Return artwork of the book, to be saved."""
    return f"/artwork/{quote(name, safe='')}"


# ---- woods and their cards ---------------------------------------------------------------------------------------


def new_wood(**query: str | None) -> str:
    """Return where a wood is put into the book; lot= names a wood of the book that it is a new lot of."""
    return with_query("/woods/new", **query)


def change_wood(wood_id: str) -> str:
    """Return where what is told of a wood is changed."""
    return f"{wood(wood_id)}/change"


def remove_wood(wood_id: str) -> str:
    """Return where a wood is taken out; the form sends `version`."""
    return f"{wood(wood_id)}/remove"


def wood_picture(wood_id: str, name: str, curve_id: int | None, version: int) -> str:
    """Return a picture of a wood, "shades" or "evenness"; it wears what it was drawn from, so that browsers may keep it."""
    return with_query(f"{wood(wood_id)}/{name}.jpg", of=f"{version}-{curve_id or 0}")


def fit_wood(wood_id: str) -> str:
    """Return where a curve is fitted to readings of a wood; the form sends `reading-NUMBER` for each."""
    return f"{wood(wood_id)}/fit"


def wood_curve(wood_id: str, curve_id: int | str) -> str:
    """Return a curve of a wood beside the one that it works with; "newest" for the last one that was fitted."""
    return f"{wood(wood_id)}/curves/{curve_id}"


def take_curve(wood_id: str) -> str:
    """Return where a wood is told which curve to work with; the form sends `curve_id` and `version`."""
    return f"{wood(wood_id)}/curves"


def new_card(wood_id: str) -> str:
    """Return where a card is made for a wood."""
    return f"{wood(wood_id)}/cards/new"


def newest_card(wood_id: str) -> str:
    """Return the newest card of a wood."""
    return f"{wood(wood_id)}/cards/newest"


def card(card_id: int) -> str:
    """Return the page of a wood's card."""
    return f"/cards/{card_id}"


def card_photographs(card_id: int) -> str:
    """Return where photographs of a card are sent to."""
    return f"/cards/{card_id}/photographs"


def read_card(card_id: int) -> str:
    """Return where photographs of a card that the book has are read; the form sends `photograph-NUMBER` for each."""
    return f"/cards/{card_id}/read"


def card_file(card_id: int, name: str) -> str:
    """Return a file of a card: program, mat, picture or card.json."""
    return f"/cards/{card_id}/files/{quote(name, safe='')}"


def card_photograph(card_id: int, photograph_id: int) -> str:
    """Return a photograph of a card."""
    return f"/cards/{card_id}/photographs/{photograph_id}"


def reading_picture(card_id: int, reading_id: int, part: str) -> str:
    """Return what a reading found, drawn on its photograph: the whole "mat", or the card in its "window"."""
    return f"/cards/{card_id}/readings/{reading_id}/{part}.jpg"


# ---- the proof, for whoever looks close ----------------------------------------------------------------------------


def proof(piece_id: int, **query: str | int | None) -> str:
    """Return the proof of a piece by itself; of=, mark=, offset= and spacing= say what of it."""
    return with_query(f"/pieces/{piece_id}/proof", **query)


def proof_look(piece_id: int, *, plan: str, of: str) -> str:
    """Return what a viewer has to know of a piece; `of` names one of a list of names."""
    return with_query(f"/pieces/{piece_id}/proof/look.json", plan=plan, of=of)


def proof_told(piece_id: int, *, plan: str, of: str) -> str:
    """Return what is predicted at a setting, told in words; mark=, offset= and spacing= are added by who asks."""
    return with_query(f"/pieces/{piece_id}/proof/told", plan=plan, of=of)


def proof_window(piece_id: int, **query: str | int | None) -> str:
    """Return a window of the board as a picture; plan=, of=, x=, y=, scale=, width=, height=, mark=, offset=, spacing=."""
    return with_query(f"/pieces/{piece_id}/proof/window.png", **query)


def proof_tiles(piece_id: int) -> str:
    """Return where tiles of the board lie: LEVEL/COLUMN/ROW.png under it, with the query of `proof_window`."""
    return f"/pieces/{piece_id}/proof"


def customer(piece_id: int, *, of: str = "") -> str:
    """Return the picture for the customer to sign, with a look at it; `of` names one of a list of names."""
    return with_query(f"/pieces/{piece_id}/customer", of=of or None)


def customer_file(piece_id: int, kind: str, **query: str | int | None) -> str:
    """Return the sheet for the customer as "pdf" or "png"; of= and plan= as for the proof."""
    return with_query(f"/pieces/{piece_id}/customer.{kind}", **query)
