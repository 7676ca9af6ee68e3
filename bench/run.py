"""All figures in one table: our own, a peer's on the same work in the same run, their ratio, the least possible, what was asked.

`make bench` runs it. Jobs are weighed in processes of their own, wall time and peak memory; the rest are benches of this
folder, each a process as well. The table, the raw rows of every bench and the kind of machine are saved under `bench/runs/`.
Figures, no tests: nothing fails here for being slow. This process stays small on purpose, for a child's peak memory never
reads lower than its parent's.
"""

from __future__ import annotations

import argparse
import csv
import datetime as dt
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

from ground import lay_out_mark, lay_out_names, write_program

HERE = Path(__file__).resolve().parent
RUNS = HERE / "runs"
SEARCHES = 20
FITS = 5
EVENBURN = (sys.executable, "-m", "evenburn")


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


def results(weighed: list[Weighed]) -> list[list[str]]:
    """Return what each job took, the head first."""
    rows = [["job", "runs", "wall_s", "target_s", "peak_MB", "target_MB"]]
    for each in weighed:
        job = each.job
        targets = ["" if t is None else f"{t:g}" for t in (job.target_s, job.target_MB)]
        rows.append([job.name, str(job.runs), f"{each.wall_s:.3g}", targets[0], f"{each.peak_MB:.0f}", targets[1]])
    return rows


# ---- the table ---------------------------------------------------------------------------------------------------

HEAD = ("work", "ours", "peer", "its", "ratio", "least", "asked", "answers")
SHOWN = (46, 18, 40, 9, 6, 26, 16)  # widths on the screen; what the answers are stands in the files


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A line of the table, in the words that are printed; what does not apply is empty."""

    work: str
    ours: str
    peer: str = ""
    its: str = ""
    ratio: str = ""
    least: str = ""
    asked: str = ""
    answers: str = ""

    def cells(self) -> tuple[str, ...]:
        """Return its cells in the order of HEAD. Definition."""
        return tuple(getattr(self, name) for name in HEAD)


Cells = list[list[str]]


def bench(name: str, *arguments: str) -> Cells:
    """Return what a bench of this folder prints, its head first."""
    print(f"  {' '.join((name, *arguments))} …", file=sys.stderr, flush=True)
    _, _, output = run_once((sys.executable, str(HERE / f"{name}.py"), *arguments))
    return list(csv.reader(output.splitlines()))


def rows_of_jobs(weighed: list[Weighed]) -> list[Row]:
    """Return what the jobs took, beside what was promised of them."""
    rows = []
    for each in weighed:
        job = each.job
        asked = [f"{job.target_s:g} s"] if job.target_s is not None else []
        asked += [f"{job.target_MB:g} MB"] if job.target_MB is not None else []
        rows.append(Row(work=job.name, ours=f"{each.wall_s:.3g} s, {each.peak_MB:.0f} MB", asked=", ".join(asked)))
    return rows


def rows_of_peers(cells: Cells) -> list[Row]:
    """Return the pairs of `peers.py`."""
    return [
        Row(
            work=work,
            ours=f"{ours} s",
            peer=peer,
            its=f"{its} s" if its else "",
            ratio=ratio,
            least=least,
            answers=answers,
        )
        for work, ours, peer, its, ratio, least, answers in cells[1:]
    ]


def rows_of_artwork(cells: Cells) -> list[Row]:
    """Return the halftones beside Pillow's, and drawings to burn maps."""
    rows = []
    for work, ours, beside, ratio, asked in cells:
        if ratio:
            its = f"{float(ours) / float(ratio):.3g} s"
            rows.append(Row(work=work, ours=f"{ours} s", peer=beside, its=its, ratio=ratio, asked=asked))
        else:
            rows.append(Row(work=work, ours=f"{ours} s, {beside}", asked=asked))
    return rows


def rows_of_raster(cells: Cells) -> list[Row]:
    """Return the medians over all artworks: machine time, reckoned, beside plain sweeps and beside its bound."""
    head = {name: i for i, name in enumerate(cells[0])}
    artworks = [row for row in cells[1:] if len(row) == len(cells[0])]

    def median(column: str, rows: Cells) -> float:
        return statistics.median(float(r[head["plan_s"]]) / float(r[head[column]]) for r in rows)

    apart = [row for row in artworks if row[head["apart"]]]
    work = f"machine time of {len(artworks)} artworks, median ratio"
    return [
        Row(
            work=work, ours="", peer="a plain sweep of the box", ratio=f"{median('box_s', artworks):.2f}", asked="0.75"
        ),
        Row(work=work, ours="", peer="the lower bound", ratio=f"{median('bound_s', artworks):.3f}", asked="1.15"),
        Row(
            work=f"… of the {len(apart)} with parts that lie apart",
            ours="",
            peer="lines trimmed to their dots",
            ratio=f"{median('trimmed_s', apart):.2f}",
            asked="0.9",
        ),
    ]


def rows_of_tiles(cells: Cells) -> list[Row]:
    """Return the slowest of all kinds of tile and of all sliders at their 95th percentiles."""
    head = {name: i for i, name in enumerate(cells[0])}

    def worst(what: str) -> tuple[float, int, str]:
        found = [row for row in cells[1:] if row[0].startswith(what)]
        row = max(found, key=lambda row: float(row[head["p95_ms"]]))
        return float(row[head["p95_ms"]]), len(found), f"{row[head['of']]}, {row[head['scale']]}"

    tile, slider = worst("tile"), worst("slider")
    names = "slowest of {} kinds of {}, 95th percentile"
    return [
        Row(work=names.format(tile[1], "tile"), ours=f"{tile[0]:.0f} ms", asked="60 ms", answers=tile[2]),
        Row(work=names.format(slider[1], "slider"), ours=f"{slider[0]:.0f} ms", asked="250 ms", answers=slider[2]),
    ]


def rows_of_book(cells: Cells) -> list[Row]:
    """Return the slowest page at its 95th percentile, the start, and what the program holds."""
    head = {name: i for i, name in enumerate(cells[0])}
    pages = [row for row in cells[1:] if row[0].startswith("/") and row[head["asked_ms"]]]
    slowest = max(pages, key=lambda row: float(row[head["p95_ms"]]))
    told = {row[0]: row for row in cells[1:] if not row[0].startswith("/")}
    rows = [
        Row(
            work=f"slowest of {len(pages)} kinds of page, 95th percentile",
            ours=f"{slowest[head['p95_ms']]} ms",
            asked=f"{slowest[head['asked_ms']]} ms",
            answers=slowest[0],
        )
    ]
    for name, row in told.items():
        what, _, unit = name.rpartition(", ")
        asked = row[head["asked_ms"]]
        rows.append(Row(work=what, ours=f"{row[head['p50_ms']]} {unit}", asked=f"{asked} {unit}" if asked else ""))
    return rows


def printed(rows: list[Row]) -> str:
    """Return the table for a screen; a cell too long is cut, and stands whole in the files."""

    def line(cells: tuple[str, ...]) -> str:
        shown = [c if len(c) <= w else c[: w - 1] + "…" for c, w in zip(cells[:-1], SHOWN, strict=True)]
        return "  ".join(c.ljust(w) for c, w in zip(shown, SHOWN, strict=True)).rstrip()

    return "\n".join([line(HEAD), *(line(row.cells()) for row in rows)])


def marked_down(rows: list[Row]) -> str:
    """Return the table in Markdown."""
    lines = [HEAD, ("---",) * len(HEAD), *(row.cells() for row in rows)]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in lines)


def save(rows: list[Row], raw: dict[str, Cells], *, machine: str) -> Path:
    """Write a run under its date and kind of machine, a run of the same day and kind anew, and return its folder."""
    today = dt.date.today().isoformat()  # noqa: DTZ011  # the date on the wall where the machine stands
    folder = RUNS / f"{today}-{kind_of_machine()}"
    folder.mkdir(parents=True, exist_ok=True)
    for name, cells in {"table": [list(HEAD), *(list(row.cells()) for row in rows)], **raw}.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows(cells)
    (folder / "README.md").write_text(f"{machine}\n\n{marked_down(rows)}\n\n{HOW_TO_READ}\n", encoding="utf-8")
    return folder


HOW_TO_READ = (
    "Times of peers are of the same work in the same run, in turns, the best of a few each; `answers` is how far what the two "
    "return lies apart, or what the figure was of. `ratio` is ours over the peer's, `least` what no answer can be below. The "
    "files beside this one hold the raw rows: every round of every pair, every page, every tile, every artwork."
)


def only_one(chosen: argparse.Namespace) -> bool:
    """Print the one time that a job of ours asks a process of its own for; return whether there was one."""
    if chosen.search or chosen.front:
        print(f"{measure_recipe(front=chosen.front):.6f}")
    elif chosen.fit:
        print(f"{measure_fit(chosen.fit):.6f}")
    else:
        return False
    return True


def main() -> None:
    """Weigh everything, print the table, save it."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--search", action="store_true", help="only time the recipe search, in this process")
    arguments.add_argument("--front", action="store_true", help="only time a recipe with its front, in this process")
    arguments.add_argument(
        "--fit", type=Path, metavar="READING", help="only time the fit of a reading, in this process"
    )
    arguments.add_argument("--no-save", action="store_true", help="print only")
    chosen = arguments.parse_args()
    if only_one(chosen):
        return
    machine = machine_line(os.getloadavg()[0])
    print(machine, flush=True)
    with tempfile.TemporaryDirectory() as folder:
        weighed = []
        for job in jobs(Path(folder)):
            print(f"  {job.name} …", file=sys.stderr, flush=True)
            weighed.append(weigh(job))
        rounds = Path(folder) / "rounds.csv"
        raw = {"peers": bench("peers", "--raw", str(rounds))}
        raw["peers-rounds"] = list(csv.reader(rounds.read_text(encoding="utf-8").splitlines()))
    raw["results"] = results(weighed)
    raw["artwork"] = [row for part in ("halftones", "drawing", "heavy") for row in bench("artwork", part)]
    raw["raster"], raw["tiles"], raw["book"] = bench("raster"), bench("tiles"), bench("book")
    rows = [
        *rows_of_peers(raw["peers"]),
        *rows_of_artwork(raw["artwork"]),
        *rows_of_raster(raw["raster"]),
        *rows_of_jobs(weighed),
        *rows_of_tiles(raw["tiles"]),
        *rows_of_book(raw["book"]),
    ]
    print(printed(rows))
    if not chosen.no_save:
        print(f"saved: bench/runs/{save(rows, raw, machine=machine).name}")


if __name__ == "__main__":
    main()
