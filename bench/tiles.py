"""The zoomable proof over HTTP: a tile at each scale, from the whole board to single scan lines, and a slider to its new picture.

Plans the demo once, starts `evenburn open` on it as a person would, asks for tiles nobody asked for before, and moves the
sliders. Prints a row for each kind of mark and scale; `cpu` is the server's own time, the same where the machine is busy
with something else. `--demo BOOK` takes a demo book that is planned already. Figures, no tests.
"""

from __future__ import annotations

import argparse
import csv
import http.client
import json
import math
import os
import random
import re
import shutil
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

import sqlalchemy as sa

from evenburn.adapters.storage.book.tables import piece
from evenburn.services.book.open_book import open_book_at
from evenburn.services.book.plan_piece import plan_all
from evenburn.services.book.take_in import take_in_demo

NOW = "2026-06-09T08:00:00+00:00"
SHOWN = (  # kind, piece of the demo, mark that the sliders change
    ("solid", "novice-fours", "front"),
    ("photo, grey", "boathouse", "front"),
    ("photo, dots", "starter-board", "front"),
    ("line and cut", "medals", "oars"),
    ("several marks, slate", "weir-slate", "front"),
)
TILE = 512
SCALES = (None, 4, 8, 11.3, 16, 22.6, 32, 64, 128, 256, 362, 512)  # pixels to a mm; None is the whole board in a tile
TILES, SLIDES = 30, 20
VIEW = (650, 280)  # of the large part on a page 1440 pixels wide
LOOKS = ((None, "whole board"), (12.0, "12 px/mm"), (96.0, "first look"), (400.0, "400 px/mm"))
TILE_ASKED_ms, SLIDE_ASKED_ms, MEMORY_ASKED_MB = 60.0, 250.0, 600.0
CLOCK_TICKS = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A piece of the book, with what a viewer has to know of it."""

    kind: str
    piece_id: int
    mark_id: str
    plan: str
    size_mm: tuple[float, float]
    start_mm: tuple[float, float]


class Server:
    """`evenburn open` in a process of its own, and one browser's connection to it."""

    def __init__(self, book: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        command = (
            sys.executable,
            "-m",
            "evenburn",
            "open",
            "--no-browser",
            "--port",
            str(self.port),
            "--book",
            str(book),
        )
        self.process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for _ in range(600):
            try:
                self.get("/pieces")
            except OSError:
                time.sleep(0.1)
            else:
                return
        raise SystemExit("the app did not start")

    def get(self, address: str) -> bytes:
        """Return what an address answers with."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        try:
            connection.request("GET", address, headers={"Host": f"127.0.0.1:{self.port}"})
            answer = connection.getresponse()
            data = answer.read()
        finally:
            connection.close()
        if answer.status != 200:
            raise SystemExit(f"{address} answered {answer.status}")
        return data

    def timed(self, addresses: Iterable[str]) -> tuple[list[float], float]:
        """Return how long each address took, and the server's own time for each in the mean. [ms]"""
        took = []
        before = self.cpu_ms()
        for address in addresses:
            began = time.perf_counter()
            self.get(address)
            took.append(1e3 * (time.perf_counter() - began))
        return took, (self.cpu_ms() - before) / max(len(took), 1)

    def cpu_ms(self) -> float:
        """Return the processor time that the server has used."""
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return 1e3 * (int(fields[11]) + int(fields[12])) / CLOCK_TICKS

    def memory_MB(self, key: str = "VmRSS") -> float:
        """Return the memory it holds, or with VmHWM held at most. [MB of 10⁶ bytes]"""
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        found = re.search(rf"{key}:\s+(\d+) kB", status)
        assert found is not None  # any Linux says it
        return int(found.group(1)) * 1.024e-3

    def stop(self) -> None:
        """End it, as Ctrl-C does."""
        self.process.send_signal(signal.SIGINT)
        self.process.wait(timeout=30)


def spot(shown: Shown, chance: random.Random) -> tuple[float, float]:
    """Return a place on the board, near its middle more often than near its edges."""
    x, y = (side * chance.betavariate(2.0, 2.0) for side in shown.size_mm)
    return x, y


def tile_addresses(shown: Shown, scale: float | None, chance: random.Random) -> list[str]:
    """Return tiles that were not asked for before; where a board has fewer, windows of a tile's size at that scale."""
    if scale is None:
        scale = TILE / max(shown.size_mm)
    level = round(2.0 * math.log2(scale))
    side_mm = TILE / 2.0 ** (level / 2)
    found: dict[tuple[int, int], None] = {}
    for _ in range(40 * TILES):
        x, y = spot(shown, chance)
        found[int(x / side_mm), int(y / side_mm)] = None
        if len(found) == TILES:
            break
    if len(found) == TILES:
        query = urlencode({"plan": shown.plan})
        return [f"/pieces/{shown.piece_id}/proof/{level}/{c}/{r}.png?{query}" for c, r in found]
    return [
        window_address(shown, place, scale=scale, size_px=(TILE, TILE))
        for place in (
            (0.5 * shown.size_mm[0] + chance.uniform(-3.0, 3.0), 0.5 * shown.size_mm[1] + chance.uniform(-3.0, 3.0))
            for _ in range(TILES)
        )
    ]


def window_address(
    shown: Shown, place: tuple[float, float], *, scale: float, size_px: tuple[int, int], **setting: float | str
) -> str:
    """Return a window of the board about a place."""
    query = {
        "plan": shown.plan,
        "x": f"{place[0]:.4f}",
        "y": f"{place[1]:.4f}",
        "scale": f"{scale:.5f}",
        "width": size_px[0],
        "height": size_px[1],
        **setting,
    }
    return f"/pieces/{shown.piece_id}/proof/window.png?{urlencode(query)}"


def slides(shown: Shown, scale: float | None, chance: random.Random, *, which: str) -> list[str]:
    """Return what a browser asks for while a slider is drawn from one end to the other, at a place it was not at before."""
    place = (shown.start_mm[0] + chance.uniform(-0.05, 0.05), shown.start_mm[1] + chance.uniform(-0.05, 0.05))
    if scale is None:
        scale = min(VIEW[0] / shown.size_mm[0], VIEW[1] / shown.size_mm[1])
        place = (0.5 * shown.size_mm[0] + chance.uniform(-0.5, 0.5), 0.5 * shown.size_mm[1])
    low, high, digits = (0.0, 2.0, 2) if which == "offset" else (0.06, 0.25, 3)
    values = [round(low + (high - low) * (k + chance.random()) / SLIDES, digits) for k in range(SLIDES)]
    return [
        window_address(shown, place, scale=scale, size_px=VIEW, mark=shown.mark_id, **{which: value})
        for value in values
    ]


def percentiles(values: list[float]) -> tuple[float, float]:
    """Return the median and the 95th percentile."""
    return statistics.median(values), statistics.quantiles(values, n=20, method="inclusive")[-1]


def shown_pieces(server: Server, book: Path, out: csv.writer) -> list[Shown]:  # type: ignore[valid-type]
    """Prepare each piece, tell how long that took, and return them."""
    opened = open_book_at(book)
    with opened.reading() as connection:
        ids = {row.slug: row.id for row in connection.execute(sa.select(piece.c.slug, piece.c.id))}
    opened.close()
    found = []
    for kind, slug, mark_id in SHOWN:
        began = time.perf_counter()
        look = json.loads(server.get(f"/pieces/{ids[slug]}/proof/look.json"))
        out.writerow(("made ready", kind, "", 1, f"{1e3 * (time.perf_counter() - began):.0f}", "", "", ""))  # type: ignore[attr-defined]
        found.append(
            Shown(
                kind=kind,
                piece_id=ids[slug],
                mark_id=mark_id,
                plan=look["plan"],
                size_mm=tuple(look["size_mm"]),
                start_mm=tuple(look["start_mm"]),
            )
        )
    return found


def measure(book: Path) -> None:
    """Print all rows."""
    chance = random.Random(11)  # noqa: S311  # places to look at, no secret
    out = csv.writer(sys.stdout, lineterminator="\n")
    out.writerow(("what", "of", "scale", "runs", "p50_ms", "p95_ms", "asked_ms", "cpu_ms"))
    server = Server(book)
    try:
        for shown in shown_pieces(server, book, out):
            server.get(f"/pieces/{shown.piece_id}/proof/look.json?plan={shown.plan}")
            for scale in SCALES:
                took, cpu = server.timed(tile_addresses(shown, scale, chance))
                label = "whole board" if scale is None else f"{scale:g} px/mm"
                p50, p95 = percentiles(took)
                out.writerow(
                    (
                        "tile",
                        shown.kind,
                        label,
                        len(took),
                        f"{p50:.0f}",
                        f"{p95:.0f}",
                        f"{TILE_ASKED_ms:.0f}",
                        f"{cpu:.0f}",
                    )
                )
            for which in ("offset", "spacing") if shown.kind != "line and cut" else ("offset",):
                for scale, label in LOOKS:
                    took, cpu = server.timed(slides(shown, scale, chance, which=which))
                    p50, p95 = percentiles(took)
                    out.writerow(
                        (
                            f"slider, {which}",
                            shown.kind,
                            label,
                            len(took),
                            f"{p50:.0f}",
                            f"{p95:.0f}",
                            f"{SLIDE_ASKED_ms:.0f}",
                            f"{cpu:.0f}",
                        )
                    )
            sys.stdout.flush()
        out.writerow(
            ("memory", "after all of it, MB", "", "", f"{server.memory_MB():.0f}", "", f"{MEMORY_ASKED_MB:.0f}", "")
        )
        out.writerow(("memory", "at most, MB", "", "", f"{server.memory_MB('VmHWM'):.0f}", "", "", ""))
        out.writerow(("load average of the last minute", "", "", "", f"{os.getloadavg()[0]:.1f}", "", "", ""))
    finally:
        server.stop()


def main() -> None:
    """Read the command line, make or copy the book, measure."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--demo", type=Path, metavar="BOOK", help="a demo book that is planned already")
    chosen = arguments.parse_args()
    with tempfile.TemporaryDirectory() as work:
        book = Path(work) / "book"
        if chosen.demo is not None:
            shutil.copytree(chosen.demo, book)
        else:
            made = open_book_at(book)
            plan_all(made, take_in_demo(made, now=NOW).batch_id, now=NOW)
            made.close()
        measure(book)


if __name__ == "__main__":
    main()
