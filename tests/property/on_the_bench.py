"""Cards and strips burnt on the virtual bench, fitted, and held against patches burnt by what the fit says."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.core.card.learning import Learnt, belief_of_board, belief_of_wood, learn
from evenburn.core.nouns.card import Card, PatchReading, Reading
from evenburn.core.nouns.machine import Machine
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.optics.beam import beam_of_lens, beam_radius_mm
from evenburn.core.optics.lines import dwell_ms, power_for_dose_W
from evenburn.core.planning.card_plan import plan_wood_card
from evenburn.core.planning.power import power_window_W, power_word, settable_power_W
from evenburn.core.response.curve import exposure_for_tone, exposure_shift, tone_range_L, tone_sd_L
from virtual_bench import Bench, Board, Job, program, raster

FloatArray = NDArray[np.float64]

MACHINE_FILE = Path(__file__).resolve().parents[2] / "src" / "evenburn" / "assets" / "demo" / "machine.toml"
READ_SD_L = 0.5  # of a patch's tone: photographs are another test's matter
TODAY = Provenance(kind="fitted", detail="the virtual bench")
BED_mm = (250.0, 150.0)
SIDE_mm, EDGE_mm = 12.0, 1.0
TONES = 6
CARD_BOARD = 0
BEYOND = 1.5  # times the longest dwell of the card, and over its shortest: recipes of least time are quick


@dataclass(frozen=True, slots=True, kw_only=True)
class Burnt:
    """A patch that was asked for: its tone, what came out on each board, and the standard deviation foretold."""

    asked_L: float
    got_L: tuple[float, ...]
    sd_L: float


def machine() -> Machine:
    return read_machine(MACHINE_FILE, name="machine.toml")


def designed(wood: str, seed: int, *, strip: bool = False, curve: CharacteristicCurve | None = None) -> Card:
    bench = machine()
    known = shipped_wood(wood)
    plan = plan_wood_card(
        bench,
        known if curve is None else replace(known, curve=curve),
        lens=bench.lenses[0],
        kind="strip" if strip else "wood",
        page="A4",
        at_mm=BED_mm,
        focus_offset_mm=None,
        likeness=False,
        generator=np.random.default_rng(seed),
    )
    return plan.card


def read(card: Card, bench: Bench, *, board: int, face: int, seed: int) -> Reading:
    """Burn a card and read it: true tones with noise of their own."""
    lines: list[str] = []
    for patch in card.patches:
        box = tuple(v + o for v, o in zip(patch.box_mm, (*card.origin_bed_mm, *card.origin_bed_mm), strict=True))
        lines += raster(
            box,  # type: ignore[arg-type]
            word=float(power_word(machine(), power_W=patch.power_W)),
            speed_mm_per_s=patch.speed_mm_per_s,
            line_spacing_mm=patch.line_spacing_mm,
            passes=patch.passes,
        )
    burnt = bench.burn(program(lines), card.size_mm, card.origin_bed_mm, card.focus_offset_mm, board=board, face=face)
    generator = np.random.default_rng([seed, board, face])
    patches = tuple(
        PatchReading(
            patch=p,
            tone_L=burnt.tone_L(p.box_mm, edge_mm=0.8) + READ_SD_L * generator.normal(),
            tone_L_sd=READ_SD_L,
            own_L_sd=READ_SD_L,
            spread_L=burnt.spread_L(p.box_mm, edge_mm=0.8),
            pixels=5000,
        )
        for p in card.patches
    )
    return Reading(
        card=card,
        patches=patches,
        bare_wood_L=_bare_L(burnt, card) + READ_SD_L * generator.normal(),
        bare_wood_L_sd=READ_SD_L,
        paper_L=94.0,
        print_scale_error=0.0,
        offset_L_sd=0.1,
        gain_sd=0.001,
        photographs=1,
    )


def _bare_L(burnt: Board, card: Card) -> float:
    high = card.size_mm[1]
    return burnt.tone_L((1.0, 0.3 * high, 3.5, 0.7 * high))


def asked(
    curve: CharacteristicCurve,
    bench: Bench,
    *,
    generator: np.random.Generator,
    boards: tuple[int, ...],
    face: int,
    card: Card,
    rows: int = 3,
) -> list[Burnt]:
    """Burn patches of tones across the wood's range at settings that are on no card, on each of some boards."""
    bench_file = machine()
    beam = beam_of_lens(bench_file.lenses[0])
    least, most = power_window_W(bench_file)
    first, last = tone_range_L(curve)
    tenth = curve.bare_L + 0.1 * (last - curve.bare_L)  # the faintest tenth is hardly a tone
    first = min(first, tenth) if last < first else max(first, tenth)
    dwells = np.array(
        [float(dwell_ms(beam_radius_mm=card.beam_radius_mm, speed_mm_per_s=p.speed_mm_per_s)) for p in card.patches]
    )
    wishes: list[tuple[float, float, float, tuple[float, float, float, float]]] = []
    jobs: dict[float, list[str]] = {}
    for row, offset in enumerate(generator.choice([0.9, 1.3, 1.6, 2.3, 2.7], size=rows, replace=False)):
        spacing = float(generator.choice([0.07, 0.08, 0.09, 0.12, 0.13]))
        radius = float(beam_radius_mm(beam, offset_mm=float(offset)))
        for column, tone in enumerate(np.linspace(first, last, TONES + 1)[:-1] + 0.5 * (last - first) / TONES):
            x = exposure_for_tone(curve, float(tone))
            drawn = least * (most / least) ** generator.uniform(0.15, 0.9)
            speed = _speed(curve, x, radius=radius, spacing=spacing, power_W=drawn, dwells_ms=dwells)
            shift = float(exposure_shift(curve, dwell_ms=dwell_ms(beam_radius_mm=radius, speed_mm_per_s=speed)))
            wished = float(
                power_for_dose_W(dose_J_per_mm2=10.0 ** (x - shift), speed_mm_per_s=speed, line_spacing_mm=spacing)
            )
            if not least <= wished <= most:
                continue  # this machine cannot burn it so
            power = float(settable_power_W(bench_file, power_W=wished))
            box = (1.0 + 13.0 * column, 1.0 + 13.0 * row, 1.0 + 13.0 * column + SIDE_mm, 1.0 + 13.0 * row + SIDE_mm)
            sd = tone_sd_L(
                curve, log10_dose=x - shift, dwell_ms=float(dwell_ms(beam_radius_mm=radius, speed_mm_per_s=speed))
            )
            wishes.append((float(tone), sd, power, box))
            jobs.setdefault(float(offset), []).extend(
                raster(
                    (BED_mm[0] + box[0], BED_mm[1] + box[1], BED_mm[0] + box[2], BED_mm[1] + box[3]),
                    word=float(power_word(bench_file, power_W=power)),
                    speed_mm_per_s=speed,
                    line_spacing_mm=spacing,
                )
            )
    job_list = [Job(text=program(lines), focus_offset_mm=offset) for offset, lines in jobs.items()]
    size = (13.0 * TONES + 1.0, 13.0 * rows + 1.0)
    burnt = [bench.burn(job_list, size, BED_mm, board=b, face=face) for b in boards]
    return [
        Burnt(asked_L=tone, sd_L=sd, got_L=tuple(b.tone_L(box, edge_mm=EDGE_mm) for b in burnt))
        for tone, sd, _, box in wishes
    ]


def _speed(
    curve: CharacteristicCurve, exposure: float, *, radius: float, spacing: float, power_W: float, dwells_ms: FloatArray
) -> float:
    """Return the speed at which a power gives an exposure, its dwell no further than BEYOND outside the card's."""
    quick, slow = (2e3 * radius / d for d in (dwells_ms.min() / BEYOND, dwells_ms.max() * BEYOND))
    speeds = np.geomspace(slow, min(quick, 550.0), 400)
    shift = exposure_shift(curve, dwell_ms=dwell_ms(beam_radius_mm=radius, speed_mm_per_s=speeds))
    reached = np.log10(power_W / (speeds * spacing)) + shift
    return round(float(speeds[int(np.argmin(np.abs(reached - exposure)))]), 1)


def lot_of_card(card: Card, bench: Bench, *, seed: int) -> Learnt:
    reading = read(card, bench, board=CARD_BOARD, face=0, seed=seed)
    return learn([reading], belief_of_wood(shipped_wood(card.wood_id).curve), provenance=TODAY)


def board_by_strip(lot: CharacteristicCurve, wood: str, bench: Bench, *, board: int, seed: int) -> Learnt:
    reading = read(designed(wood, seed, strip=True, curve=lot), bench, board=board, face=5, seed=seed)
    return learn([reading], belief_of_board(lot), provenance=TODAY)


def off_L(patches: list[Burnt]) -> FloatArray:
    return np.array([got - p.asked_L for p in patches for got in p.got_L])


def sd_L(patches: list[Burnt]) -> FloatArray:
    return np.array([p.sd_L for p in patches for _ in p.got_L])


def scatter_of_boards_L(patches: list[Burnt]) -> FloatArray:
    """Return how far each board lies from the mean of the boards for the same setting, made as wide as of one alone."""
    got = np.array([p.got_L for p in patches])
    return ((got - got.mean(axis=1, keepdims=True)) * math.sqrt(got.shape[1] / (got.shape[1] - 1.0))).ravel()


def between_boards_L(patches: list[Burnt]) -> FloatArray:
    """Return how far every two boards lie apart at the same setting: a card is burnt on one, the piece on another."""
    got = np.array([p.got_L for p in patches])
    first, second = np.triu_indices(got.shape[1], k=1)
    return np.asarray((got[:, first] - got[:, second]).ravel(), np.float64)
