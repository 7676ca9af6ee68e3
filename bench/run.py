"""Weigh the slow jobs: wall time and peak memory of each in a process of its own; `make bench` runs it.

Prints one table and saves it, with the kind of machine, under `bench/runs/`. Figures, no tests: nothing fails here for
being slow. This process stays small on purpose, for a child's peak memory never reads lower than its parent's.
"""

from __future__ import annotations

import argparse
import csv
import datetime as dt
import math
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

RUNS = Path(__file__).resolve().parent / "runs"
PROGRAM_LINES = 1_000_000
SEARCHES = 20
FITS = 5
MARK_mm = (300.0, 200.0)
EVENBURN = (sys.executable, "-m", "evenburn")

MARK_BATCH = """
name = "Bench"
lens = "2 inch"
[[piece]]
id = "board"
wood = "hard-maple"
blank = { size_mm = [320.0, 220.0], thickness_mm = 12.0, unevenness_mm = 0.4 }
place_bed_mm = [140.0, 90.0]
[[piece.mark]]
id = "front"
art = "shapes.svg"
tone_L = 40.0
place_mm = [10.0, 10.0]
size_mm = [300.0, 200.0]
hold = { line_spacing_mm = 0.08 }
"""

NAMES_BATCH = """
name = "Names"
lens = "2 inch"
[[piece]]
id = "plate"
wood = "hard-maple"
blank = { size_mm = [90.0, 36.0], thickness_mm = 6.0, unevenness_mm = 0.2 }
place_bed_mm = [250.0, 180.0]
names = { file = "crew.csv" }
[[piece.mark]]
id = "name"
column = "name"
face = "libre-baskerville"
tone_L = 36.0
place_mm = [6.0, 11.0]
size_mm = [78.0, 14.0]
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What is measured: a command, how often, and what was promised of it."""

    name: str
    command: tuple[str, ...]
    runs: int
    target_s: float | None
    target_MB: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """What a job took: the median of its wall times, and the most memory any run had at once."""

    job: Job
    wall_s: float
    peak_MB: float


# ---- what the jobs work on ---------------------------------------------------------------------------------------


def _shape(column: int, row: int) -> str:
    """Return one of three shapes in a field of 50 mm, another size at each place."""
    x, y, size = 25 + 50 * column, 25 + 50 * row, 14 + (5 * column + 3 * row) % 9
    if (column + row) % 3 == 0:
        return f'<circle cx="{x}" cy="{y}" r="{size}"/>'
    if (column + row) % 3 == 1:
        return f'<rect x="{x - size}" y="{y - size}" width="{2 * size}" height="{1.6 * size:g}" rx="3"/>'
    corners = (
        (x + r * math.sin(k * math.pi / 5), y - r * math.cos(k * math.pi / 5))
        for k in range(10)
        for r in ((size + 6) * (0.45 if k % 2 else 1.0),)
    )
    return f'<polygon points="{" ".join(f"{a:.2f},{b:.2f}" for a, b in corners)}"/>'


def _demo_file(name: str) -> str:
    return (resources.files("evenburn") / "assets" / "demo" / name).read_text(encoding="utf-8")


def lay_out_mark(folder: Path) -> Path:
    """Write a batch with one solid mark of 300 × 200 mm, twenty-four shapes, and return its folder."""
    folder.mkdir()
    width, height = MARK_mm
    shapes = "".join(_shape(column, row) for column in range(6) for row in range(4))
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" viewBox="0 0 300 200">'
    (folder / "shapes.svg").write_text(f"{head}{shapes}</svg>\n", encoding="utf-8")
    (folder / "batch.toml").write_text(MARK_BATCH, encoding="utf-8")
    (folder / "machine.toml").write_text(_demo_file("machine.toml"), encoding="utf-8")
    return folder


def _demo_card(folder: Path) -> Path:
    """Lay out the demo's card with its photograph, and read it once."""
    folder.mkdir()
    for name in ("card.json", "photo.jpg"):
        with resources.as_file(resources.files("evenburn") / "assets" / "demo" / "cards" / "hard-maple" / name) as file:
            (folder / name).write_bytes(file.read_bytes())
    reading = folder / "reading.json"
    run_once((*EVENBURN, "read", str(folder / "photo.jpg"), "--card", str(folder / "card.json"), "--to", str(reading)))
    return folder


def measure_fit(reading: Path) -> float:
    """Return the median time of a fit of one reading, its model chosen by evidence. [s]"""
    from evenburn.adapters.formats.reading_json import read_reading  # only this process needs it
    from evenburn.adapters.formats.wood_toml import shipped_wood
    from evenburn.core.card.learning import belief_of_wood, learn
    from evenburn.core.nouns.provenance import Provenance

    read = [read_reading(reading, name=reading.name)]
    belief = belief_of_wood(shipped_wood("hard-maple").curve)
    times_s = []
    for _ in range(FITS):
        start_s = time.perf_counter()
        learn(read, belief, provenance=Provenance(kind="fitted"))
        times_s.append(time.perf_counter() - start_s)
    return statistics.median(times_s)


def lay_out_names(folder: Path) -> Path:
    """Write a batch whose one piece has a list of two hundred names, and return its folder."""
    folder.mkdir()
    first = ("Ada", "Bryn", "Morwenna", "Theo", "Isolde", "Cato", "Wilf", "Edda", "Nan", "Piers")
    last = ("Wren", "Halloway", "Tidd", "Marsh", "Osier", "Sedge", "Thorne", "Quill", "Reed", "Weir")
    rows = [f"{one} {chr(65 + k)}. {other}" for k in range(2) for one in first for other in last]
    (folder / "crew.csv").write_text("name\n" + "\n".join(rows) + "\n", encoding="utf-8")
    (folder / "batch.toml").write_text(NAMES_BATCH, encoding="utf-8")
    (folder / "machine.toml").write_text(_demo_file("machine.toml"), encoding="utf-8")
    return folder


def write_program(path: Path) -> Path:
    """Write a sound program of a million lines: a thousand scan lines of changing power, and return its path."""
    head, tail = ["(bench)", "G21 G90 G94 G17", "M5", "G0 X50.000 Y50.000 S0", "M3 S0", "F12000.0"], ["M5", "M2"]
    burns, rows = 996, 1000
    with path.open("w", encoding="ascii", newline="\n") as file:
        file.write("\n".join(head) + "\n")
        for row in range(rows):
            file.write(f"G0 X50.000 Y{50 + 0.2 * row:.3f} S0\nG1 X60.000 S0\n")
            file.writelines(f"G1 X{60 + 0.4 * (i + 1):.3f} S{200 + (37 * i + row) % 500}\n" for i in range(burns))
            file.write("G1 X468.400 S0\n")
        rest = PROGRAM_LINES - len(head) - len(tail) - rows * (burns + 3)
        file.write("(padding)\n" * rest + "\n".join(tail) + "\n")
    return path


def measure_recipe(*, front: bool) -> float:
    """Return the median time of one recipe search, the demo's first mark, nothing held. [s]

    With `front` also of its power, of what binds it, and of the front of recipes to choose from.
    """
    from evenburn.core.optics.beam import beam_of_lens
    from evenburn.core.planning.binding import bindings_of
    from evenburn.core.planning.choice import choice
    from evenburn.core.planning.concede import concessions
    from evenburn.core.planning.mark_plan import recipe_of, wish_for
    from evenburn.core.planning.recipe import search
    from evenburn.core.planning.survey import survey_mark
    from evenburn.services.load_batch import load_batch

    with resources.as_file(resources.files("evenburn") / "assets" / "demo") as folder:
        batch = load_batch(folder)
        piece = batch.pieces[0]
        mark, wood = piece.marks[0], batch.woods[piece.wood_id]
        survey = survey_mark(
            batch.machine, piece=piece, mark=mark, wood=wood, artwork=batch.artworks[piece.id, mark.id]
        )
    beam = beam_of_lens(batch.lens)
    wish = wish_for(batch.machine, lens=batch.lens, beam=beam, curve=wood.curve, piece=piece, mark=mark, survey=survey)
    times_s = []
    for _ in range(SEARCHES):
        start_s = time.perf_counter()
        found = search(wish)
        if front:
            recipe = recipe_of(wish, found, air_kPa=None)
            assert bindings_of(wish, found, recipe=recipe)
            assert len(choice(wish, found, recommended=recipe)) > 1
            assert not concessions(wish, found, recipe=recipe)
        times_s.append(time.perf_counter() - start_s)
        assert found.power_W > 0.0
    return statistics.median(times_s)


# ---- weighing ----------------------------------------------------------------------------------------------------


def run_once(command: tuple[str, ...]) -> tuple[float, float, str]:
    """Return wall time [s], peak memory [MB] and the output of a command that has to end well."""
    start_s = time.perf_counter()
    with tempfile.TemporaryFile("w+") as told:
        process = subprocess.Popen(command, stdout=told, stderr=subprocess.STDOUT)
        _, status, usage = os.wait4(process.pid, 0)
        wall_s = time.perf_counter() - start_s
        process.returncode = os.waitstatus_to_exitcode(status)
        told.seek(0)
        output = told.read()
    if process.returncode:
        raise SystemExit(f"error: a job ended with {process.returncode}\n{output}")
    bytes_per_unit = 1 if sys.platform == "darwin" else 1024
    return wall_s, usage.ru_maxrss * bytes_per_unit / 1e6, output


def weigh(job: Job) -> Weighed:
    """Return what a job took; the search tells its own time, the rest is timed from outside, start-up included."""
    walls_s, peaks_MB = [], []
    for _ in range(job.runs):
        wall_s, peak_MB, output = run_once(job.command)
        own = {"--search", "--front", "--fit"} & {*job.command}
        walls_s.append(float(output.split()[-1]) if own else wall_s)
        peaks_MB.append(peak_MB)
    return Weighed(job=job, wall_s=statistics.median(walls_s), peak_MB=max(peaks_MB))


def jobs(folder: Path) -> tuple[Job, ...]:
    """Return the jobs, what they work on laid out in a folder."""
    mark, program = lay_out_mark(folder / "mark"), write_program(folder / "long.ngc")
    names = lay_out_names(folder / "names")
    plan_mark = (*EVENBURN, "plan", str(mark), "--to", str(folder / "planned"), "--date", "2026-06-09")
    demo = (*EVENBURN, "demo", "--to", str(folder / "demo"), "--date", "2026-06-09")
    verify = (*EVENBURN, "verify", str(program), "--machine", str(mark / "machine.toml"))
    card = _demo_card(folder / "card")
    read = (*EVENBURN, "read", str(card / "photo.jpg"), "--card", str(card / "card.json"), "--to", str(card / "r.json"))
    fit = (*EVENBURN, "fit", str(card / "reading.json"), "--wood", "hard-maple", "--to", str(card / "c.json"))
    here = (sys.executable, str(Path(__file__).resolve()))
    search, front = ((*here, part) for part in ("--search", "--front"))
    fit_alone = (*here, "--fit", str(card / "reading.json"))
    return (
        Job(name="the whole demo", command=demo, runs=1, target_s=30.0, target_MB=1500.0),
        Job(name="one solid mark, 300 x 200 mm at 0.08 mm", command=plan_mark, runs=3, target_s=6.0),
        Job(name=f"recipe search alone, median of {SEARCHES}", command=search, runs=1, target_s=0.5),
        Job(name=f"recipe with its front and what binds, median of {SEARCHES}", command=front, runs=1, target_s=0.3),
        Job(name="200 names fitted and checked", command=(*EVENBURN, "check", str(names)), runs=3, target_s=10.0),
        Job(name="read a photograph of 12 megapixels", command=read, runs=3, target_s=3.0, target_MB=800.0),
        Job(name="fit a curve to it and draw it, start-up included", command=fit, runs=3, target_s=None),
        Job(name=f"fit alone, median of {FITS}", command=fit_alone, runs=1, target_s=1.0),
        Job(name="verify a program of 1,000,000 lines", command=verify, runs=3, target_s=None),
    )


def kind_of_machine() -> str:
    """Return a name for the machine that tells nobody whose it is."""
    return f"{platform.system().lower()}-{platform.machine().lower()}-{os.cpu_count()}-cores"


def machine_line(load: float) -> str:
    """Return what a reader has to know of the machine."""
    memory_GB = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") / 1e9
    quiet = "quiet" if load < 0.5 else "not quiet: other work ran beside it"
    return (
        f"{platform.system()} on {platform.machine()}, {os.cpu_count()} cores, {memory_GB:.0f} GB of memory, "
        f"Python {platform.python_version()}; load {load:.1f} when it began ({quiet})."
    )


def table(weighed: list[Weighed]) -> list[list[str]]:
    """Return the rows of the table, its head first."""
    rows = [["job", "runs", "wall_s", "target_s", "peak_MB", "target_MB"]]
    for each in weighed:
        job = each.job
        targets = ["" if t is None else f"{t:g}" for t in (job.target_s, job.target_MB)]
        rows.append([job.name, str(job.runs), f"{each.wall_s:.3g}", targets[0], f"{each.peak_MB:.0f}", targets[1]])
    return rows


def save(tables: dict[str, list[list[str]]], *, machine: str) -> Path:
    """Write a run under its date and kind of machine, a run of the same day and kind anew, and return its folder."""
    today = dt.date.today().isoformat()  # noqa: DTZ011  # the date on the wall where the machine stands
    folder = RUNS / f"{today}-{kind_of_machine()}"
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows(rows)
    (folder / "README.md").write_text(f"{machine}\n", encoding="utf-8")
    return folder


def main() -> None:
    """Weigh all jobs, print the table, save it."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--search", action="store_true", help="only time the recipe search, in this process")
    arguments.add_argument("--front", action="store_true", help="only time a recipe with its front, in this process")
    arguments.add_argument(
        "--fit", type=Path, metavar="READING", help="only time the fit of a reading, in this process"
    )
    arguments.add_argument("--no-save", action="store_true", help="print only")
    chosen = arguments.parse_args()
    if chosen.search or chosen.front:
        print(f"{measure_recipe(front=chosen.front):.6f}")
        return
    if chosen.fit:
        print(f"{measure_fit(chosen.fit):.6f}")
        return
    machine = machine_line(os.getloadavg()[0])
    print(machine, flush=True)
    weighed = []
    with tempfile.TemporaryDirectory() as folder:
        for job in jobs(Path(folder)):
            print(f"  {job.name} …", file=sys.stderr, flush=True)
            weighed.append(weigh(job))
    rows = table(weighed)
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    for row in rows:
        print("  ".join(c.ljust(w) if i == 0 else c.rjust(w) for i, (c, w) in enumerate(zip(row, widths, strict=True))))
    beside = [["artwork", "seconds", "beside", "ratio", "asked"]]
    for part in ("halftones", "drawing", "heavy"):
        _, _, output = run_once((sys.executable, str(Path(__file__).resolve().parent / "artwork.py"), part))
        beside += list(csv.reader(output.splitlines()))
    print()
    for row in beside:
        print(f"{row[0]:<46} {row[1]:>8}  {row[2]:<22} {row[3]:>6}  {row[4]}")
    _, _, output = run_once((sys.executable, str(Path(__file__).resolve().parent / "raster.py")))
    swept = list(csv.reader(output.splitlines()))
    print()
    for row in swept:
        print(row[0].ljust(30) + "  ".join(cell.rjust(9) for cell in row[1:]))
    _, _, output = run_once((sys.executable, str(Path(__file__).resolve().parent / "book.py")))
    pages = list(csv.reader(output.splitlines()))
    print()
    for row in pages:
        print(row[0].ljust(46) + "  ".join(cell.rjust(8) for cell in row[1:]))
    if not chosen.no_save:
        tables = {"results": rows, "artwork": beside, "raster": swept, "book": pages}
        folder_saved = save(tables, machine=machine)
        print(f"saved: bench/runs/{folder_saved.name}")


if __name__ == "__main__":
    main()
