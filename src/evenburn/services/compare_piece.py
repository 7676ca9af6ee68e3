"""Compare a finished piece: photographs of it in a mat, against what its plan promised; and let its lot learn from it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenburn.adapters.formats.card_json import read_card
from evenburn.adapters.formats.curve_json import curve_document
from evenburn.adapters.formats.json_file import read_json, write_json
from evenburn.adapters.formats.outcome_json import RECIPE_KEYS, outcome_document, refused_outcome_document
from evenburn.adapters.formats.plan_form import MarkDocument, PieceDocument, PlanDocument
from evenburn.adapters.formats.plan_read import read_plan
from evenburn.adapters.formats.wood_toml import read_curve, shipped_ids, shipped_wood
from evenburn.adapters.photographs.opening import open_photograph
from evenburn.adapters.pictures.burn_image_read import read_burn_image
from evenburn.adapters.pictures.piece_compared import write_piece_compared
from evenburn.core.card.piece_placing import InkImage
from evenburn.core.card.piece_reading import PiecePhotographed, combined_piece, read_piece
from evenburn.core.card.refusing import PhotographRefused
from evenburn.core.errors import InvalidInput, NotFound, StorageError
from evenburn.core.nouns.card import Card
from evenburn.core.nouns.outcome import Got, Outcome, Promised
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.recipe import Recipe
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.optics.lines import effective_passes, radius_of_dwell_mm
from evenburn.core.response.comparing import curve_tone_L, observed_mark, shift_of, verdict_text
from evenburn.core.response.updating import updated_curve

PAPER_L, TONER_L = (70.0, 100.0), (0.0, 45.0)
MOST_PHOTOGRAPHS = 24
DETAIL_LONGEST = 400
CURVE_MOVED_L = 1.0  # the curve told gives another tone than the plan did: it has learnt since, which is said
WRONG_CURVE_L = 6.0  # … and from here on it is another wood's
NOT_COMPARED = {
    "photo": "is a photo, and holds many tones; one tone is compared",
    "line": "follows lines, which are too narrow to be read inside their edges",
    "cut": "is a cut, and leaves no surface to look at",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CompareWish:
    """What a person asks of a comparison; `paper_L`, `toner_L` are of the mat, where measured. [L*]"""

    piece_id: str
    mark_id: str | None = None
    paper_L: float | None = None
    toner_L: float | None = None
    curve: Path | None = None
    update: Path | None = None
    drawing: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A photograph that was left out, and why."""

    name: str
    code: str
    text: str
    remedy: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """What came of it: the outcome, None where every photograph was refused; `document` is what stands in the file.

    `not_learnt` says why the curve stayed as it was, where it was asked to learn.
    """

    outcome: Outcome | None
    piece_id: str
    mark_id: str
    left_out: tuple[LeftOut, ...]
    not_learnt: InvalidInput | None
    document: dict[str, Any]


def compare_piece(
    photographs: Sequence[Path], plan_file: Path, card_file: Path, *, wish: CompareWish, to: Path, date: str
) -> Compared:
    """Compare one mark of a finished piece with its plan, write outcome.json, and the curve that learnt from it.

    Raises
    ------
    UnreadableFile, InvalidInput, NotFound
        If a file is not there or does not hold, the piece or mark is not in the plan, or its tone cannot be compared.
    StorageError
        If the files cannot be written.
    """
    _check(photographs, wish, to=to)
    plan = read_plan(plan_file, name=plan_file.name)
    piece, mark = _mark_of(plan, wish)
    curve = None if wish.curve is None else read_curve(wish.curve, name=wish.curve.name)
    images = [_ink(plan_file.parent, m) for m in piece.marks]
    promised = Promised(
        tone_L=mark.predicted.tone_L,
        tone_L_sd=mark.predicted.tone_L_sd,
        dose_J_per_mm2=mark.predicted.dose_J_per_mm2,
        dwell_ms=mark.predicted.dwell_ms,
        passes=float(
            effective_passes(
                passes=mark.recipe.passes,
                beam_radius_mm=radius_of_dwell_mm(
                    dwell_ms=mark.predicted.dwell_ms, speed_mm_per_s=mark.recipe.speed_mm_per_s
                ),
                line_spacing_mm=mark.recipe.line_spacing_mm if mark.treatment in ("solid", "photo") else math.inf,
            )
        ),
    )
    flags = _flags_of_curve(curve, promised, wish=wish, piece=piece, mark=mark)
    card = read_card(card_file, name=card_file.name)
    reads, left_out, entries = _read(
        photographs, card, wish, plan=plan, piece=piece, mark=mark, images=images, curve=curve
    )
    recipe = _recipe(mark)
    if not reads:
        blank = Got(tone_L=0.0, own_L_sd=0.0, shared_L_sd=0.0, spread_L=0.0, bare_L=None, inside_mm2=0.0, photographs=0)
        document = refused_outcome_document(
            _outcome(plan, piece, mark, promised, blank, curve=None, date=date, flags=()),
            recipe=recipe,
            planned_on=plan.planned_on,
            photographs=entries,
            refused=_refusal(left_out[0]),
        )
        write_json(to, document)
        return Compared(
            outcome=None, piece_id=piece.id, mark_id=mark.id, left_out=left_out, not_learnt=None, document=document
        )
    both = combined_piece([r.read for _, r in reads])
    got = Got(
        tone_L=both.tone_L,
        own_L_sd=both.own_L_sd,
        shared_L_sd=both.shared_L_sd,
        spread_L=both.spread_L,
        bare_L=both.bare_L,
        inside_mm2=both.inside_mm2,
        photographs=len(reads),
    )
    outcome = _outcome(plan, piece, mark, promised, got, curve=curve, date=date, flags=(*both.flags, *flags))
    update, not_learnt = _learn(outcome, curve, wish)
    document = outcome_document(outcome, recipe=recipe, planned_on=plan.planned_on, photographs=entries, update=update)
    if wish.drawing is not None:
        picture, first = reads[0]
        write_piece_compared(
            open_photograph(picture, name=picture.name),
            first,
            wish.drawing,
            mat=card.mat,
            marks=images,
            which=piece.marks.index(mark),
            captions=_captions(outcome),
        )
    write_json(to, document)
    return Compared(
        outcome=outcome, piece_id=piece.id, mark_id=mark.id, left_out=left_out, not_learnt=not_learnt, document=document
    )


# ---- what was asked ------------------------------------------------------------------------------------------------


def _check(photographs: Sequence[Path], wish: CompareWish, *, to: Path) -> None:
    fields: dict[str, str] = {}
    if not 1 <= len(photographs) <= MOST_PHOTOGRAPHS:
        fields["PHOTO"] = f"{len(photographs)} are given; allowed are 1 to {MOST_PHOTOGRAPHS}"
    for name, told, (low, high) in (("--paper-L", wish.paper_L, PAPER_L), ("--toner-L", wish.toner_L, TONER_L)):
        if told is not None and not low <= told <= high:
            fields[name] = f"is {told:g}; allowed is {low:g} to {high:g}, as L*"
    if wish.update is not None and wish.curve is None:
        fields["--update"] = "needs --curve, the curve that is to learn"
    taken = {p.resolve() for p in (*photographs, *([wish.curve] if wish.curve else []))}
    targets = (("--to", to), ("--update", wish.update), ("--drawing", wish.drawing))
    for option, target in targets:
        if target is not None and target.resolve() in taken:
            fields[option] = f"{target.name} is a file that is read, or is written already; name another"
        if target is not None:
            taken.add(target.resolve())
    if fields:
        raise InvalidInput(fields, hint="evenburn compare --help tells what each is.")
    for _, target in targets:
        if target is not None and not target.parent.is_dir():
            raise StorageError(f"the folder {target.parent.name or target.parent} is not there", hint="Make it first.")


def _mark_of(plan: PlanDocument, wish: CompareWish) -> tuple[PieceDocument, MarkDocument]:
    piece = next((p for p in plan.pieces if p.id == wish.piece_id), None)
    if piece is None:
        raise NotFound(
            f'piece "{wish.piece_id}" is not in the plan; it holds {", ".join(p.id for p in plan.pieces)}',
            hint="Name one of them with --piece.",
        )
    if not piece.marks:
        raise InvalidInput({"--piece": f"{piece.id} must not be burnt, so nothing of it was planned"})
    if wish.mark_id is not None:
        mark = next((m for m in piece.marks if m.id == wish.mark_id), None)
        if mark is None:
            raise NotFound(
                f'mark "{wish.mark_id}" is not on piece {piece.id}; it has {", ".join(m.id for m in piece.marks)}',
                hint="Name one of them with --mark.",
            )
    else:
        solid = [m for m in piece.marks if m.treatment == "solid"]
        if len(solid) > 1:
            raise InvalidInput(
                {"--mark": f"is missing, and {piece.id} has {len(solid)} marks of one tone"},
                hint=f"Say which one: {', '.join(m.id for m in solid)}.",
            )
        mark = solid[0] if solid else piece.marks[0]
    if mark.treatment != "solid":
        raise InvalidInput(
            {"--mark": f"{mark.id} {NOT_COMPARED[mark.treatment]}"},
            hint="Compare a mark of treatment solid, or read a card burnt on the same board.",
        )
    if mark.files.program is None or 0.0 in (mark.predicted.dose_J_per_mm2, mark.recipe.line_spacing_mm):
        raise InvalidInput({"--mark": f"{mark.id} has no program: a stop forbade it, so the plan burnt nothing"})
    return piece, mark


def _ink(folder: Path, mark: MarkDocument) -> InkImage:
    name = Path(mark.files.image).name
    read = read_burn_image(folder / name, name=name)
    x0, y0, x1, y1 = mark.box_bed_mm
    middle_x, middle_y = 0.5 * (x0 + x1), 0.5 * (y0 + y1)
    wide, high = read.size_mm
    return InkImage(
        ink=read.ink,
        box_bed_mm=(middle_x - 0.5 * wide, middle_y - 0.5 * high, middle_x + 0.5 * wide, middle_y + 0.5 * high),
    )


def _flags_of_curve(
    curve: CharacteristicCurve | None,
    promised: Promised,
    *,
    wish: CompareWish,
    piece: PieceDocument,
    mark: MarkDocument,
) -> tuple[str, ...]:
    """Return what is doubted of the curve told; refuse one of another wood, and one that has learnt from this mark."""
    if curve is None or wish.curve is None:
        return ()
    tone = curve_tone_L(curve, promised)
    off = abs(tone - promised.tone_L)
    if off > WRONG_CURVE_L:
        raise InvalidInput(
            {"--curve": f"gives L* {tone:.1f} for this recipe, and the plan promised {promised.tone_L:.1f}"},
            source=wish.curve.name,
            hint=f"Name the curve of {piece.wood} that the plan was made with.",
        )
    if wish.update is not None and f"{piece.id}/{mark.id}" in curve.provenance.detail:
        raise InvalidInput(
            {"--curve": f"has learnt from {piece.id}/{mark.id} already"},
            source=wish.curve.name,
            hint="Take the curve as it was before, and give all photographs of the mark at once.",
        )
    return ("curve-moved",) if off > CURVE_MOVED_L else ()


# ---- the photographs -----------------------------------------------------------------------------------------------


def _read(
    photographs: Sequence[Path],
    card: Card,
    wish: CompareWish,
    *,
    plan: PlanDocument,
    piece: PieceDocument,
    mark: MarkDocument,
    images: Sequence[InkImage],
    curve: CharacteristicCurve | None,
) -> tuple[list[tuple[Path, PiecePhotographed]], tuple[LeftOut, ...], list[dict[str, Any]]]:
    reads: list[tuple[Path, PiecePhotographed]] = []
    left_out: list[LeftOut] = []
    entries: list[dict[str, Any]] = []
    known = curve or (shipped_wood(piece.wood).curve if piece.wood in shipped_ids() else None)
    for path in photographs:
        try:
            read = read_piece(
                open_photograph(path, name=path.name),
                card.mat,
                marks=images,
                which=piece.marks.index(mark),
                beam_radius_mm=mark.predicted.beam_radius_mm,
                smear_mm=3.0 * plan.machine.rise_time_s * mark.recipe.speed_mm_per_s
                + abs(plan.machine.reversal_offset_mm),
                paper_L=wish.paper_L,
                toner_L=wish.toner_L,
                bare_L_below=None if known is None else known.full_L > known.bare_L,
            )
        except PhotographRefused as why:
            one = LeftOut(name=path.name, code=why.code, text=why.text, remedy=why.remedy)
            left_out.append(one)
            entries.append({"name": path.name, "refused": _refusal(one)})
            continue
        reads.append((path, read))
        entries.append(_entry(path.name, read))
    return reads, tuple(left_out), entries


def _entry(name: str, read: PiecePhotographed) -> dict[str, Any]:
    x, y = read.middle_bed_mm()
    error = read.placed.print_scale_error
    entry: dict[str, Any] = {
        "name": name,
        "window_bed_mm": [round(x, 2), round(y, 2)],
        "turn_deg": round(read.placed.turn_deg, 2),
        "match": round(read.placed.match, 3),
    }
    if error is not None:
        entry["print_scale_error"] = round(error, 4)
    return entry


def _refusal(one: LeftOut) -> dict[str, str]:
    plain = (t.replace("\u00a0", " ") for t in (one.code, one.text, one.remedy))
    return dict(zip(("code", "text", "remedy"), plain, strict=True))


def _recipe(mark: MarkDocument) -> Recipe:
    return Recipe(**{key: getattr(mark.recipe, key) for key in RECIPE_KEYS})


def _outcome(
    plan: PlanDocument,
    piece: PieceDocument,
    mark: MarkDocument,
    promised: Promised,
    got: Got,
    *,
    curve: CharacteristicCurve | None,
    date: str,
    flags: tuple[str, ...],
) -> Outcome:
    return Outcome(
        piece_id=piece.id,
        mark_id=mark.id,
        wood_id=piece.wood,
        machine_name=plan.machine.name,
        lens_name=plan.lens.name,
        date=date,
        promised=promised,
        got=got,
        board_L=None if curve is None else curve.board_L,
        shift=None if curve is None else shift_of(curve, promised=promised, got=got),
        flags=flags,
    )


def _captions(outcome: Outcome) -> tuple[str, str]:
    got, promised = outcome.got, outcome.promised
    nb = "\u00a0"
    spread = (got.own_L_sd**2 + got.shared_L_sd**2) ** 0.5
    return (
        f"got L*{nb}{got.tone_L:.1f}{nb}±{nb}{spread:.1f}, promised {promised.tone_L:.1f}{nb}±{nb}{promised.tone_L_sd:.1f}",
        verdict_text(outcome),
    )


# ---- what is learnt ------------------------------------------------------------------------------------------------


def _learn(
    outcome: Outcome, curve: CharacteristicCurve | None, wish: CompareWish
) -> tuple[dict[str, Any] | None, InvalidInput | None]:
    """Return what the curve made of it, as it stands in the file, and why it stayed as it was if it did."""
    if curve is None or wish.curve is None or wish.update is None:
        return None, None
    own = f"{outcome.date}, learnt from {outcome.piece_id}/{outcome.mark_id}"
    detail = f"{own}; before: {curve.provenance.detail}" if curve.provenance.detail else own
    detail = detail if len(detail) <= DETAIL_LONGEST else f"{detail[: DETAIL_LONGEST - 1]}…"
    try:
        updated = updated_curve(
            curve,
            observed_mark(outcome.promised, outcome.got),
            provenance=Provenance(kind="fitted", detail=detail),
        )
    except InvalidInput as why:
        before = curve_tone_L(curve, outcome.promised)
        told = {
            "curve": wish.curve.name,
            "off_L": round(outcome.got.tone_L - before, 3),
            "text": "; ".join(why.lines()),
        }
        return told, why
    before, after = (curve_tone_L(c, outcome.promised) for c in (curve, updated.curve))
    wood_name = str(read_json(wish.curve, name=wish.curve.name).get("wood", outcome.wood_id))
    write_json(wish.update, curve_document(updated.curve, wood_name=wood_name))
    return {
        "curve": wish.curve.name,
        "off_L": round(float(updated.off_L[0]), 3),
        "expected_L_sd": round(float(updated.expected_L_sd[0]), 3),
        "written": wish.update.name,
        "text": f"for this recipe the curve now gives L* {after:.1f}, before it gave {before:.1f}",
    }, None
