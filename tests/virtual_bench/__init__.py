"""The virtual bench: a test double that stands in for a machine, a pile of wood, a printer and a phone.

It is labelled as what it is: nothing here is measured. It shares no code with evenburn (`tests/house/` proves it), and its
physics is another one than the model that evenburn computes with. Everything follows from seeds.

    bench = Bench(7, "hard-maple")                       # one machine and one lot at random
    board = bench.burn(text, (120, 90), (15, 15), focus_offset_mm=2.0, warp_mm=0.2, board=3)
    board.tone_L((20, 20, 28, 28), edge_mm=0.8)          # truth: L* of the mean linear luminance of a box
    photo = board.photograph(card["mat"], card_middle_mm=(60, 45), seed=3)
    photo.save_jpeg("card.jpg")

`burn` takes a list of `Job` too, several programs and focus offsets on one board (a ladder). `bench.machine` and `bench.lot`
are the truth; `bench.stopwatch_s(text)` is the time. `ideal=True` leaves grain and scatter out. `flat_target` makes a board of
known patches, `photograph(…, plain=True)` an ideal printer and camera. Every field of `Shot` and `Printer` can be held by
name in `photograph`: `glare`, `shadow`, `hidden_marker`, `print_scale`, `motion_px`, `defocus_px`, `mirrored`, `rotated_deg`,
`exposure`, `second_mat` spoil it. `something_else` and `screenshot` make pictures of no mat at all.
"""

from __future__ import annotations

from virtual_bench.bench import Bench, Job
from virtual_bench.board import Board, flat_target
from virtual_bench.camera import Photo, Shot, jpeg_bytes, photograph
from virtual_bench.machine import Machine
from virtual_bench.printer import Printer
from virtual_bench.programs import program, raster
from virtual_bench.spoil import screenshot, something_else
from virtual_bench.woods import WOODS, Wood

__all__ = [
    "WOODS",
    "Bench",
    "Board",
    "Job",
    "Machine",
    "Photo",
    "Printer",
    "Shot",
    "Wood",
    "flat_target",
    "jpeg_bytes",
    "photograph",
    "program",
    "raster",
    "screenshot",
    "something_else",
]
