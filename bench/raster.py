"""Machine time of the raster plan on a fixed set of artworks, at the same recipe, beside two plain sweeps and the bound.

(a) sweeps every line of the artwork's box from side to side; (b) trims each line to its own first and last dot and skips
empty ones; (c) is (b) at the recipe that is best for it, found without islands. Prints a row for each artwork, the medians
last; `bench/run.py` runs it and saves what it says. Machine time is reckoned, not measured: the same on every computer. The set
is our own, drawn for the purpose; half of it has parts that lie apart.
"""

from __future__ import annotations

import csv
import math
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path

import numpy as np

from evenburn.core.layout.islands import planned_events
from evenburn.core.motion.raster import raster_events
from evenburn.core.motion.timing import program_time_s
from evenburn.core.optics.beam import beam_of_lens
from evenburn.core.planning.mark_plan import MarkWork, patch_of, wish_for, work_mark
from evenburn.core.planning.recipe import search
from evenburn.core.planning.survey import survey_mark
from evenburn.services.load_batch import load_batch

ISLANDS = 500
RUNS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Artwork:
    """What is burnt, how large, and whether its parts lie apart."""

    name: str
    size_mm: tuple[float, float]
    parted: bool
    keys: str  # of batch.toml
    drawing: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Machine times of one artwork. [s]"""

    artwork: Artwork
    islands: int
    speed_mm_per_s: float
    plan_s: float
    box_s: float
    trimmed_s: float
    own_s: float
    bound_s: float


def _svg(size_mm: tuple[float, float], body: str) -> str:
    w, h = size_mm
    return f'<svg xmlns="http://www.w3.org/2000/svg" width="{w:g}mm" height="{h:g}mm" viewBox="0 0 {w:g} {h:g}">{body}</svg>\n'


def _oars(x: float, y: float, long: float) -> str:
    """Return a pair of crossed oars about a point."""
    shaft = f'<rect x="{-long / 2:g}" y="-0.8" width="{long:g}" height="1.6"/>'
    blade = f'<ellipse cx="{long / 2:g}" cy="0" rx="{long / 9:g}" ry="{long / 26:g}"/>'
    return "".join(f'<g transform="translate({x:g} {y:g}) rotate({turn})">{shaft}{blade}</g>' for turn in (-35, 215))


def _crest(x: float, y: float, r: float) -> str:
    """Return a round crest: a ring, waves and oars."""
    waves = "".join(
        f'<path d="M{x - 0.6 * r:g} {y + (0.25 + 0.16 * k) * r:g}q{0.15 * r:g} {-0.12 * r:g} {0.3 * r:g} 0t{0.3 * r:g} 0t{0.3 * r:g} 0'
        f't{0.3 * r:g} 0" fill="none" stroke="#000" stroke-width="{0.05 * r:g}"/>'
        for k in range(3)
    )
    ring = f'<circle cx="{x:g}" cy="{y:g}" r="{0.92 * r:g}" fill="none" stroke="#000" stroke-width="{0.08 * r:g}"/>'
    return ring + waves + _oars(x, y - 0.2 * r, 1.2 * r)


def _reeds(width: float, height: float, count: int) -> str:
    """Return thin reeds that lean in the wind."""
    return "".join(
        f'<path d="M{x:.1f} {height - 2:g}q{4 + k % 5} {-0.5 * top:.1f} {10 + k % 7} {-top:.1f}" fill="none" stroke="#000"'
        ' stroke-width="0.7"/>'
        for k in range(count)
        for x, top in (((k + 0.5) * (width - 20) / count, (0.45 + 0.5 * ((7 * k) % 11) / 11) * (height - 6)),)
    )


def _river(width: float, height: float) -> str:
    """Return a course in long bends, its banks and eight marks along it."""
    bend = f"M4 {0.8 * height:g}C{0.3 * width:g} {-0.2 * height:g} {0.5 * width:g} {1.3 * height:g} {width - 4:g} {0.2 * height:g}"
    banks = f'<path d="{bend}" fill="none" stroke="#000" stroke-width="0.9"/>'
    posts = "".join(
        f'<circle cx="{(k + 0.5) * width / 8:g}" cy="{0.5 * height + 0.3 * height * math.sin(k):.1f}" r="1.8"/>'
        for k in range(8)
    )
    return banks + posts


def _dial(size: float) -> str:
    """Return twelve hours round a dial of a clubhouse clock."""
    return "".join(
        f'<rect x="-2" y="-9" width="4" height="18" transform="translate({size / 2 + 0.43 * size * math.sin(a):.2f} '
        f'{size / 2 - 0.43 * size * math.cos(a):.2f}) rotate({math.degrees(a):g})"/>'
        for a in (k * math.pi / 6 for k in range(12))
    )


def _corners(width: float, height: float, r: float) -> str:
    """Return the same ornament in four corners."""
    return "".join(_crest(x, y, r) for x in (r + 2, width - r - 2) for y in (r + 2, height - r - 2))


def _islands(width: float, height: float, count: int) -> str:
    """Return round shapes of many sizes, scattered."""
    rng = np.random.default_rng(1)
    return "".join(
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{r:.2f}"/>'
        for x, y, r in zip(
            rng.uniform(3, width - 3, count),
            rng.uniform(3, height - 3, count),
            rng.uniform(0.5, 2.2, count),
            strict=True,
        )
    )


def _text(words: str, face: str = "eb-garamond") -> str:
    return f'text = "{words}"\nface = "{face}"\nalign = "centre"'


def _drawn(name: str, size_mm: tuple[float, float], body: str, *, parted: bool) -> Artwork:
    return Artwork(name=name, size_mm=size_mm, parted=parted, keys='art = "{file}"', drawing=_svg(size_mm, body))


def artworks() -> tuple[Artwork, ...]:
    """Return the set: text, sparse line art, emblems, photographs, and artworks with parts that lie apart."""
    photo = 'art = "boathouse.jpg"\ntreatment = "photo"'
    year = '<text x="{x}" y="{y}" font-size="{s}" font-family="serif" text-anchor="middle">2026</text>'
    return (
        Artwork(name="motto of one line", size_mm=(160.0, 18.0), parted=False, keys=_text("Row as one")),
        Artwork(
            name="text of five lines",
            size_mm=(150.0, 90.0),
            parted=False,
            keys=_text("Sedgeholm Rowing Club\\nLadies' double sculls\\nfirst\\nin the spring head\\n2026"),
        ),
        Artwork(name="name in script", size_mm=(120.0, 26.0), parted=False, keys=_text("Novice Fours", "great-vibes")),
        _drawn("reeds of sparse lines", (240.0, 90.0), _reeds(240.0, 90.0, 26), parted=False),
        _drawn("course of sparse lines", (260.0, 120.0), _river(260.0, 120.0), parted=False),
        _drawn("round crest", (90.0, 90.0), _crest(45.0, 45.0, 44.0), parted=False),
        _drawn("crossed oars", (160.0, 110.0), _oars(80.0, 55.0, 150.0), parted=False),
        Artwork(
            name="photograph in tones",
            size_mm=(120.0, 90.0),
            parted=False,
            keys=f'{photo}\nreproduction = "continuous"',
        ),
        Artwork(
            name="photograph in dots", size_mm=(120.0, 90.0), parted=False, keys=f'{photo}\nreproduction = "blue-noise"'
        ),
        _drawn("four corners of a tray", (360.0, 240.0), _corners(360.0, 240.0, 24.0), parted=True),
        _drawn(
            "oar: crest and year",
            (420.0, 60.0),
            _crest(30.0, 30.0, 29.0) + year.format(x=390, y=38, s=24),
            parted=True,
        ),
        _drawn(
            "two medallions side by side",
            (300.0, 70.0),
            _crest(34.0, 35.0, 33.0) + _crest(266.0, 35.0, 33.0),
            parted=True,
        ),
        _drawn("dial of a clock", (260.0, 260.0), _dial(260.0), parted=True),
        _drawn(
            "two posts of a gate",
            (400.0, 160.0),
            "".join(f'<g transform="translate({x} 0)">{_reeds(50.0, 160.0, 6)}</g>' for x in (0, 350)),
            parted=True,
        ),
        _drawn(
            "three ovals on a long bench",
            (480.0, 50.0),
            "".join(f'<ellipse cx="{x}" cy="25" rx="{rx}" ry="22"/>' for x, rx in ((34, 30), (240, 34), (446, 30))),
            parted=True,
        ),
        _drawn(f"{ISLANDS} islands", (300.0, 200.0), _islands(300.0, 200.0, ISLANDS), parted=True),
    )


def plan(artwork: Artwork, folder: Path) -> MarkWork:
    """Return an artwork planned as the only mark of its piece on hard maple and the demo's bench."""
    demo = resources.files("evenburn") / "assets" / "demo"
    folder.mkdir()
    (folder / "machine.toml").write_text((demo / "machine.toml").read_text(encoding="utf-8"), encoding="utf-8")
    (folder / "boathouse.jpg").write_bytes((demo / "art" / "boathouse.jpg").read_bytes())
    (folder / "drawing.svg").write_text(artwork.drawing, encoding="utf-8")
    w, h = artwork.size_mm
    (folder / "batch.toml").write_text(
        f"""name = "Bench"
lens = "2 inch"
[[piece]]
id = "board"
wood = "hard-maple"
blank = {{ size_mm = [{w + 10}, {h + 10}], thickness_mm = 12.0, unevenness_mm = 0.3 }}
place_bed_mm = [{295 - w / 2}, {195 - h / 2}]
[[piece.mark]]
id = "front"
{artwork.keys.replace("{file}", "drawing.svg")}
tone_L = 40.0
place_mm = [5.0, 5.0]
size_mm = [{w}, {h}]
""",
        encoding="utf-8",
    )
    return plan_folder(folder, islands=True)


def plan_folder(folder: Path, *, islands: bool) -> MarkWork:
    """Return the one mark of a batch folder planned; without islands its recipe knows of none, whatever it lies like."""
    batch = load_batch(folder)
    piece = batch.pieces[0]
    mark, wood, art = piece.marks[0], batch.woods[piece.wood_id], batch.artworks[piece.id, piece.marks[0].id]
    survey = survey_mark(batch.machine, piece=piece, mark=mark, wood=wood, artwork=art)
    beam = beam_of_lens(batch.lens)
    wish = wish_for(batch.machine, lens=batch.lens, beam=beam, curve=wood.curve, piece=piece, mark=mark, survey=survey)
    if not islands:
        wish = replace(wish, profiles={axis: replace(profile, parted=()) for axis, profile in wish.profiles.items()})
    return work_mark(wish, search(wish), survey=survey, piece=piece, mark=mark, artwork=art)


def trimmed_s(work: MarkWork, power_W: np.ndarray | None = None) -> float:
    """Return the machine time of a mark, or of other powers at its recipe, in one go with trimmed lines. [s]"""
    patch, recipe = patch_of(work.grid, work.picture_W, axis=work.recipe.scan_axis), work.recipe
    return program_time_s(
        work.wish.machine,
        raster_events(
            work.wish.machine,
            patch.power_W if power_W is None else power_W,
            axis=recipe.scan_axis,
            along_origin_mm=patch.along_origin_mm,
            cross_origin_mm=patch.cross_origin_mm,
            line_spacing_mm=recipe.line_spacing_mm,
            speed_mm_per_s=recipe.speed_mm_per_s,
            passes=recipe.passes,
        ),
    )


def weigh(artwork: Artwork, folder: Path) -> Row:
    """Return the machine times of an artwork: as planned, swept plainly, and the bound."""
    work = plan(artwork, folder)
    patch = patch_of(work.grid, work.picture_W, axis=work.recipe.scan_axis)
    inked = np.argwhere(patch.power_W > 0.0)
    (r0, c0), (r1, c1) = inked.min(axis=0), inked.max(axis=0) + 1
    box = np.zeros_like(patch.power_W)
    box[r0:r1, c0:c1] = work.recipe.power_W
    return Row(
        artwork=artwork,
        islands=work.islands,
        speed_mm_per_s=work.recipe.speed_mm_per_s,
        plan_s=work.predicted.time_s,
        box_s=trimmed_s(work, box),
        trimmed_s=trimmed_s(work),
        own_s=trimmed_s(plan_folder(folder, islands=False)),
        bound_s=work.predicted.time_lower_bound_s,
    )


def planning_s(folder: Path) -> float:
    """Return the best wall time of the raster plan alone for a drawing of 300 × 200 mm with 500 islands. [s]"""
    work = plan(artworks()[-1], folder)
    recipe, machine = work.recipe, work.wish.machine

    def once() -> object:
        return planned_events(
            machine,
            [patch_of(work.grid, work.picture_W, axis=recipe.scan_axis)],
            axis=recipe.scan_axis,
            line_spacing_mm=recipe.line_spacing_mm,
            speed_mm_per_s=60.0,  # slow lines part most
            passes=1,
        )

    return min(_timed(once) for _ in range(RUNS))


def _timed(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main() -> None:
    """Print the rows, the medians, and how long the plan of 500 islands takes to make."""
    told = csv.writer(sys.stdout, lineterminator="\n")
    head = ["artwork", "apart", "islands", "mm_per_s", "plan_s", "box_s", "less", "trimmed_s", "less", "own_s", "less"]
    head += ["bound_s", "ratio"]
    told.writerow(head)
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for number, artwork in enumerate(artworks()):
            row = weigh(artwork, Path(folder) / str(number))
            rows.append(row)
            less = [f"{1.0 - row.plan_s / other:.1%}" for other in (row.box_s, row.trimmed_s, row.own_s)]
            told.writerow(
                [
                    artwork.name,
                    "apart" if artwork.parted else "",
                    row.islands,
                    f"{row.speed_mm_per_s:.0f}",
                    f"{row.plan_s:.1f}",
                    f"{row.box_s:.1f}",
                    less[0],
                    f"{row.trimmed_s:.1f}",
                    less[1],
                    f"{row.own_s:.1f}",
                    less[2],
                    f"{row.bound_s:.1f}",
                    f"{row.plan_s / row.bound_s:.3f}",
                ]
            )
        planned_s = planning_s(Path(folder) / "islands")
    box = statistics.median(1.0 - r.plan_s / r.box_s for r in rows)
    trimmed = statistics.median(1.0 - r.plan_s / r.trimmed_s for r in rows if r.artwork.parted)
    own = statistics.median(1.0 - r.plan_s / r.own_s for r in rows if r.artwork.parted)
    ratio = statistics.median(r.plan_s / r.bound_s for r in rows)
    never = all(r.plan_s <= min(r.box_s, r.trimmed_s) * (1.0 + 1e-9) for r in rows)
    told.writerow([f"median against the box: {100 * box:.1f} % less (asked: at least 25)"])
    told.writerow(
        [f"median against trimmed lines where parts lie apart: {100 * trimmed:.1f} % less (asked: at least 10)"]
    )
    told.writerow([f"the same against trimmed lines at their own best recipe: {100 * own:.1f} % less"])
    told.writerow([f"never more than either: {'yes' if never else 'NO'}"])
    told.writerow([f"median over the bound: {ratio:.3f} (asked: at most 1.15)"])
    told.writerow([f"raster plan of {ISLANDS} islands on 300 x 200 mm: {planned_s:.2f} s (asked: under 2)"])


if __name__ == "__main__":
    main()
