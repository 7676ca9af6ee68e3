"""Small programs for the bench, written without the code under test: even squares and single lines."""

from __future__ import annotations

Box = tuple[float, float, float, float]


def raster(
    box_bed_mm: Box,
    *,
    word: float,
    speed_mm_per_s: float,
    line_spacing_mm: float,
    passes: int = 1,
    axis: str = "x",
    run_up_mm: float | None = None,
    both_ways: bool = True,
) -> list[str]:
    """Lines that burn an even box, to and fro along an axis; the run-up has plenty of room unless it is given."""
    x0, y0, x1, y1 = box_bed_mm if axis == "x" else (box_bed_mm[1], box_bed_mm[0], box_bed_mm[3], box_bed_mm[2])
    run = run_up_mm if run_up_mm is not None else 2.0 + speed_mm_per_s**2 / 3000.0

    def at(along: float, across: float) -> str:
        x, y = (along, across) if axis == "x" else (across, along)
        return f"X{x:.4f} Y{y:.4f}"

    out: list[str] = []
    for _ in range(passes):
        for n in range(max(1, round((y1 - y0) / line_spacing_mm))):
            y = y0 + (n + 0.5) * line_spacing_mm
            a, b, r = (x0, x1, run) if n % 2 == 0 or not both_ways else (x1, x0, -run)
            out.append(f"G0 {at(a - r, y)} S0")
            out.append(f"G1 {at(a, y)} S0 F{60.0 * speed_mm_per_s:.1f}")
            out.append(f"G1 {at(b, y)} S{word:g}")
            out.append(f"G1 {at(b + r, y)} S0")
    return out


def program(body: list[str]) -> str:
    """A whole program round some lines."""
    return "\n".join(["(virtual bench)", "G21 G90 G94 G17", "M5", "M3 S0", *body, "M5", "M2", ""])
