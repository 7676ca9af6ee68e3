"""What the benches work on: batch folders of one mark and of two hundred names, and a program of a million lines."""

from __future__ import annotations

import math
from importlib import resources
from pathlib import Path

PROGRAM_LINES = 1_000_000
MARK_mm = (300.0, 200.0)

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


def demo_file(name: str) -> str:
    """Return a text of the demo. Definition."""
    return (resources.files("evenburn") / "assets" / "demo" / name).read_text(encoding="utf-8")


def lay_out_mark(folder: Path) -> Path:
    """Write a batch with one solid mark of 300 × 200 mm, twenty-four shapes, and return its folder."""
    folder.mkdir()
    width, height = MARK_mm
    shapes = "".join(_shape(column, row) for column in range(6) for row in range(4))
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" viewBox="0 0 300 200">'
    (folder / "shapes.svg").write_text(f"{head}{shapes}</svg>\n", encoding="utf-8")
    (folder / "batch.toml").write_text(MARK_BATCH, encoding="utf-8")
    (folder / "machine.toml").write_text(demo_file("machine.toml"), encoding="utf-8")
    return folder


def lay_out_names(folder: Path) -> Path:
    """Write a batch whose one piece has a list of two hundred names, and return its folder."""
    folder.mkdir()
    first = ("Ada", "Bryn", "Morwenna", "Theo", "Isolde", "Cato", "Wilf", "Edda", "Nan", "Piers")
    last = ("Wren", "Halloway", "Tidd", "Marsh", "Osier", "Sedge", "Thorne", "Quill", "Reed", "Weir")
    rows = [f"{one} {chr(65 + k)}. {other}" for k in range(2) for one in first for other in last]
    (folder / "crew.csv").write_text("name\n" + "\n".join(rows) + "\n", encoding="utf-8")
    (folder / "batch.toml").write_text(NAMES_BATCH, encoding="utf-8")
    (folder / "machine.toml").write_text(demo_file("machine.toml"), encoding="utf-8")
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
