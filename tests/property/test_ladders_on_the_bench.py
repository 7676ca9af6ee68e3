"""What a focus ladder is worth: the beam asked and got on the virtual bench, whose physics, camera and printer are another.

By hand and in `make check` one bench; `make campaign` takes every wood on SEEDS benches. Issue 5 asks for the waist
within 7 % and its place within 0.2 mm. The place is kept; of the waist what docs/how-it-works/ladder.md admits is kept: the
median, most of the boards, and a doubt told that covers the rest.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from evenburn.services.fit_beam import fit_beam_reading
from evenburn.services.make_beam_card import make_beam_card
from evenburn.services.read_card import read_card_photographs
from soaking import CAMPAIGN
from virtual_bench import WOODS, Bench, Job

MACHINE = Path(__file__).parents[2] / "src" / "evenburn" / "assets" / "demo" / "machine.toml"
SEEDS = 2
CASES = [(wood, seed) for seed in range(511, 511 + SEEDS) for wood in WOODS] if CAMPAIGN else [("hard-maple", 511)]
ROUND_mm = 12.0


def off(folder: Path, wood: str, seed: int) -> tuple[float, float, float] | None:
    """Waist off as a share, its place off [mm], waist off in standard deviations; None where it was refused."""
    make_beam_card(MACHINE, wood, to=folder, date="2026-06-09")
    card = json.loads((folder / "card.json").read_text())
    offsets = sorted({k["focus_offset_mm"] for k in card["lines"]})
    programs = sorted(folder.glob("beam-*.ngc"))
    jobs = [Job(text=p.read_text(), focus_offset_mm=z) for p, z in zip(programs, offsets, strict=True)]
    bench = Bench(seed, wood)
    (ox, oy), (w, h) = card["card"]["origin_bed_mm"], card["card"]["size_mm"]
    size, corner = (w + 2 * ROUND_mm, h + 2 * ROUND_mm), (ox - ROUND_mm, oy - ROUND_mm)
    board = bench.burn(jobs, size, corner, warp_mm=0.1)
    photograph, reading = folder / "photo.jpg", folder / "reading.json"
    board.photograph(card["mat"], seed=seed).save_jpeg(str(photograph))
    if read_card_photographs([photograph], folder / "card.json", to=reading).reading is None:
        return None
    beam = fit_beam_reading([reading], to=folder / "beam.json", date="2026-06-10", machine_file=MACHINE).document
    away = beam.waist_radius_mm - bench.machine.waist_mm
    place = beam.waist_offset_mm - bench.machine.waist_at_mm
    return away / bench.machine.waist_mm, place, away / beam.waist_radius_sd_mm


def test_the_beam_is_found(tmp_path: Path) -> None:
    found = []
    for wood, seed in CASES:
        folder = tmp_path / f"{wood}-{seed}"
        folder.mkdir()
        one = off(folder, wood, seed)
        print(wood, seed, one)  # noqa: T201  # the figures are what a campaign is for
        # slate takes so little that lines far from focus run into one another: it may be refused, never silently wrong
        assert one is not None or wood == "slate"
        if one is not None:
            found.append(one)
    waist, place, sds = np.array(found).T
    assert np.abs(place).max() < 0.2
    assert np.median(np.abs(waist)) < (0.05 if CAMPAIGN else 0.10)
    assert np.quantile(np.abs(waist), 0.95) < 0.13  # no board was further off than 10 % while this was made
    assert np.mean(np.abs(sds) < 2.0) > (0.85 if CAMPAIGN else 0.5)
