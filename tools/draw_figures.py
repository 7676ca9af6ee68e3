"""Draw the figures of `docs/how-it-works/` from the model itself, as plain SVG.

Every curve is computed by `evenburn.core` for the demo's bench; nothing is drawn by eye. Lettering is set in the sheet
faces that ship and drawn as outlines, so a figure looks the same wherever it is opened. Run it after a change of the
model; `tests/house/test_reference_fresh.py` says when.

    .venv/bin/python tools/draw_figures.py
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from figures import exposing, planning
from figures.paper import Paper

HERE = Path(__file__).resolve().parents[1] / "docs" / "how-it-works"
FIGURES: dict[str, Callable[[], Paper]] = {
    "exposure": exposing.exposure,
    "curve": exposing.curve,
    "banding": exposing.banding,
    "motion": planning.motion,
    "detail": planning.detail,
    "recipe": planning.recipe,
    "proof": exposing.proof,
}


def main() -> None:
    """Draw all of them."""
    for name, draw in FIGURES.items():
        (HERE / f"{name}.svg").write_text(draw().svg(), encoding="utf-8", newline="\n")
        print(f"drew docs/how-it-works/{name}.svg")


if __name__ == "__main__":
    main()
