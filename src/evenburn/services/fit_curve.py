"""Fit a curve: readings of cards of one lot, or of a strip on one board of it, to curve.json and its plot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from evenburn.adapters.formats.curve_json import curve_document
from evenburn.adapters.formats.json_file import write_json
from evenburn.adapters.formats.reading_json import read_reading
from evenburn.adapters.formats.wood_toml import read_curve, shipped_ids, shipped_wood
from evenburn.adapters.pictures.curve_plot import write_curve_plot
from evenburn.core.card.learning import Belief, Learnt, belief_of_board, belief_of_lots, belief_of_wood, learn
from evenburn.core.card.next_patches import NextPatches, next_patches
from evenburn.core.errors import InvalidInput, NotFound, StorageError
from evenburn.core.nouns.card import Reading
from evenburn.core.nouns.provenance import Provenance

MOST_READINGS = 24
SEED = 1  # of the curves drawn to say what to burn next
DETAIL_LONGEST = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class FitWish:
    """What a person asks of a fit.

    Attributes
    ----------
    wood_id : the wood that the cards were designed for.
    like : a wood that ships, which it is like.
    lots : curves of other lots of the same species, which the belief is taken from.
    board_of : curve of the known lot, of which the readings are one board.
    plot : where to draw it; None for beside the curve, its name ending in .png.
    """

    wood_id: str
    like: str | None = None
    lots: tuple[Path, ...] = ()
    board_of: Path | None = None
    plot: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveFitted:
    """What came of it: names of the readings, what was learnt, what to burn next; `document` is what --json prints."""

    wood_name: str
    reading_names: tuple[str, ...]
    learnt: Learnt
    following: NextPatches
    curve_file: Path
    plot_file: Path
    document: dict[str, Any]


def fit_curve_file(readings: Sequence[Path], wish: FitWish, *, to: Path, date: str) -> CurveFitted:
    """Fit a curve to readings, write it as curve.json, and draw it.

    Raises
    ------
    UnreadableFile, InvalidInput, NotFound
        If a file is not there or does not hold, the readings do not go together, or their tones tell no curve.
    StorageError
        If the files cannot be written.
    """
    plot = wish.plot if wish.plot is not None else to.with_name(to.name.removesuffix(".json") + ".png")
    _check(readings, wish, to=to, plot=plot)
    read = [read_reading(path, name=path.name) for path in readings]
    _demand_wood(read, wish, names=[p.name for p in readings])
    names = tuple(p.name for p in readings)
    learnt = learn(read, _belief(wish), provenance=Provenance(kind="fitted", detail=_detail(names, wish, date=date)))
    following = next_patches(
        learnt.curve, read, covariance=learnt.fitted.covariance, generator=np.random.default_rng(SEED)
    )
    wood_name = _wood_name(wish)
    curve = curve_document(learnt.curve, wood_name=wood_name)
    write_curve_plot(learnt, plot, title=_title(wood_name, wish), detail=learnt.curve.provenance.detail)
    write_json(to, curve)
    return CurveFitted(
        wood_name=wood_name,
        reading_names=names,
        learnt=learnt,
        following=following,
        curve_file=to,
        plot_file=plot,
        document=_document(curve, learnt, following, names=names, files=(to.name, plot.name)),
    )


def _check(readings: Sequence[Path], wish: FitWish, *, to: Path, plot: Path) -> None:
    fields: dict[str, str] = {}
    if not 1 <= len(readings) <= MOST_READINGS:
        fields["READING"] = f"{len(readings)} are given; allowed are 1 to {MOST_READINGS}"
    twice = sorted({p.name for p in readings if [q.resolve() for q in readings].count(p.resolve()) > 1})
    if twice:
        fields["READING"] = f"{twice[0]} is given twice; a card counts once"
    if wish.lots and wish.board_of is not None:
        fields["--board-of"] = "does not go with --lot: a board is of one lot"
    if wish.like is not None and (wish.lots or wish.board_of is not None):
        fields["--like"] = "goes with neither --lot nor --board-of: those say what the wood is like"
    given = {p.resolve() for p in (*readings, *wish.lots, *([wish.board_of] if wish.board_of else []))}
    for option, target in (("--to", to), ("--plot", plot)):
        if target.resolve() in given:
            fields[option] = f"{target.name} is one of the files that are read; name another"
    if to.resolve() == plot.resolve():
        fields["--plot"] = f"{plot.name} is the curve's own file; name another"
    if fields:
        raise InvalidInput(fields, hint="evenburn fit --help tells what each is.")
    for target in (to, plot):
        if not target.parent.is_dir():
            raise StorageError(f"the folder {target.parent.name or target.parent} is not there", hint="Make it first.")


def _demand_wood(read: Sequence[Reading], wish: FitWish, *, names: Sequence[str]) -> None:
    other = {n: r.card.wood_id for n, r in zip(names, read, strict=True) if r.card.wood_id != wish.wood_id}
    if other:
        fields = {n: f"its card is of {wood}, not of {wish.wood_id}" for n, wood in other.items()}
        raise InvalidInput(fields, hint=f"Say --wood {next(iter(other.values()))}, or give that card's own readings.")


def _belief(wish: FitWish) -> Belief:
    if wish.board_of is not None:
        return belief_of_board(read_curve(wish.board_of, name=wish.board_of.name))
    if wish.lots:
        return belief_of_lots([read_curve(path, name=path.name) for path in wish.lots])
    if wish.like is not None:
        return belief_of_wood(shipped_wood(wish.like).curve, likeness=True)
    if wish.wood_id not in shipped_ids():
        raise NotFound(
            f'wood "{wish.wood_id}" does not ship, so nothing is believed of it yet; shipped are {", ".join(shipped_ids())}',
            hint="Say which of them it is like with --like, or name curves of other lots with --lot.",
        )
    return belief_of_wood(shipped_wood(wish.wood_id).curve)


def _wood_name(wish: FitWish) -> str:
    return shipped_wood(wish.wood_id).name if wish.wood_id in shipped_ids() else wish.wood_id.replace("-", " ")


def _title(wood_name: str, wish: FitWish) -> str:
    name = wood_name[:1].upper() + wood_name[1:]
    return f"{name}, one board" if wish.board_of is not None else name


def _detail(names: Sequence[str], wish: FitWish, *, date: str) -> str:
    text = f"{date}, from {', '.join(names)}"
    if wish.board_of is not None:
        text += f"; a board of {wish.board_of.name}"
    elif wish.lots:
        text += f"; beside {', '.join(p.name for p in wish.lots)}"
    elif wish.like is not None:
        text += f"; like {wish.like}"
    return text if len(text) <= DETAIL_LONGEST else f"{text[: DETAIL_LONGEST - 1]}…"


def _document(
    curve: dict[str, Any], learnt: Learnt, following: NextPatches, *, names: Sequence[str], files: tuple[str, str]
) -> dict[str, Any]:
    """Return the object that --json prints."""
    fitted, gathered = learnt.fitted, learnt.gathered
    exposures = learnt.exposures()
    return {
        "files": {"curve": files[0], "plot": files[1]},
        "readings": list(names),
        "curve": curve,
        "features": list(fitted.features),
        "scatter_L": round(fitted.scatter_L, 3),
        "boards_measured": learnt.boards_measured,
        "patches": [
            {
                "reading": names[int(owner)],
                "id": p.patch.id,
                "exposure_J_per_mm2": round(float(10.0**x), 5),
                "tone_L": p.tone_L,
                "residual_L": round(float(residual), 3),
                "weight": round(float(weight), 3),
            }
            for p, owner, x, residual, weight in zip(
                gathered.patches, gathered.reading_of, exposures, fitted.residual_L, fitted.weights, strict=True
            )
        ],
        "left_out": [{"reading": names[n], "id": p.patch.id, "flags": list(why)} for n, p, why in gathered.left_out],
        "next": {
            "tone_L_sd_now": round(following.now_L_sd, 3),
            "patches": [
                {
                    "power_W": round(p.power_W, 2),
                    "power_fraction": round(p.power_fraction, 4),
                    "speed_mm_per_s": p.speed_mm_per_s,
                    "line_spacing_mm": p.line_spacing_mm,
                    "focus_offset_mm": p.focus_offset_mm,
                    "passes": p.passes,
                    "tone_L_sd_after": round(p.tone_L_sd, 3),
                }
                for p in following.patches
            ],
        },
    }
