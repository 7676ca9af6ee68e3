"""Our slow parts beside well-known libraries: the same work, in the same run, with how far the two answers lie apart.

Every row names the work, our time, the peer with its version and time, the ratio of the two, the least that is possible
where that is known, and the agreement of the answers: a time means nothing where they differ. Ours and the peer take turns,
round after round; the best of each is kept, since what disturbs a run only makes it longer, and every round is written down.
`bench/run.py` runs it and saves both; `python bench/peers.py` prints the rows, `--raw FILE` keeps the rounds.
"""

from __future__ import annotations

import argparse
import csv
import math
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import metadata, resources
from itertools import zip_longest
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pyvips
from numpy.typing import NDArray
from PIL import Image
from ruckig import InputParameter, Result, Ruckig, Trajectory
from scipy import integrate, ndimage, optimize
from scipy.sparse.csgraph import minimum_spanning_tree
from scipy.spatial.distance import cdist

from evenburn.adapters.artwork.svg import parse_svg
from evenburn.adapters.formats.machine_toml import read_machine
from evenburn.adapters.formats.ngc_reader import read_program
from evenburn.adapters.formats.wood_toml import shipped_wood
from evenburn.core.art.detail import measure_widths
from evenburn.core.card.informing import believed_covariance
from evenburn.core.layout.tour import tour_order
from evenburn.core.motion.profile import move_time_s
from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.wood import CharacteristicCurve
from evenburn.core.optics.lines import ripple_factor
from evenburn.core.proof.dose import DoseGrid, LineEnergy, dose_map_J_per_mm2
from evenburn.core.response.curve import effective_exposure, tone_L
from evenburn.core.response.fitting import Observed, fit_curve, predicted_tones_L, with_parameters
from evenburn.core.tone.colour import lightness_L, luminance, srgb_from_lab
from evenburn.core.tone.diffusion import diffuse_like_pillow
from evenburn.core.tone.ripple import averaged_tone_L, ripple_of
from evenburn.services.read_card import read_card_photographs
from evenburn.services.verify_program import limits_of
from ground import PROGRAM_LINES, write_program
from halftone import COLUMNS, ROWS, photo_like
from svg import SIZE_px, heavy_drawing, simple_drawing

HEAD = ("work", "ours_s", "peer", "peer_s", "ratio", "least", "answers")
ROUNDS = 5
ROUND_LEAST_s = 0.05  # quick work is repeated within a round until this much has passed
MOVES, MOVES_OF_PEER = 100_000, 2_000
PATCHES = 36
PLACES = 200
MAP_px = (2000, 3000)
TOUR = 500
BOUND_ROUNDS = 150


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Work done twice: by us and by a peer; `per` is by how much less the peer is given, its time taken so often.

    `answers` tells how far what the two return lies apart, `least` what bounds the work or its result from below.
    """

    work: str
    ours: Callable[[], Any]
    peer_name: str
    peer: Callable[[], Any] | None
    answers: Callable[[Any, Any], str]
    least: str = ""
    per: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """A pair, and what every round of it took. [s]"""

    pair: Pair
    ours_s: tuple[float, ...]
    peer_s: tuple[float, ...]
    answers: str

    def row(self) -> list[str]:
        """Return the row of the table. Definition."""
        pair, ours = self.pair, min(self.ours_s)
        peer = min(self.peer_s, default=math.nan)
        beside = ["", ""] if pair.peer is None else [f"{peer:.3g}", f"{ours / peer:.2g}"]
        return [pair.work, f"{ours:.3g}", pair.peer_name, *beside, pair.least, self.answers]


def version(package: str) -> str:
    """Return which one was measured. Definition."""
    return metadata.version(package)


def _once_s(work: Callable[[], Any]) -> float:
    """Return the wall time of work, quick work done often enough to be weighed. [s]"""
    count, start = 0, time.perf_counter()
    while count == 0 or time.perf_counter() - start < ROUND_LEAST_s:
        work()
        count += 1
    return (time.perf_counter() - start) / count


def timed(pair: Pair) -> Timed:
    """Return what a pair takes, in turns; each is done once before, compiled and its answer compared."""
    told = pair.answers(pair.ours(), None if pair.peer is None else pair.peer())
    ours, peer = [], []
    for _ in range(ROUNDS):
        ours.append(_once_s(pair.ours))
        if pair.peer is not None:
            peer.append(pair.per * _once_s(pair.peer))
    return Timed(pair=pair, ours_s=tuple(ours), peer_s=tuple(peer), answers=told)


# ---- the pairs ---------------------------------------------------------------------------------------------------


def error_diffusion() -> Pair:
    """Return Floyd and Steinberg's dots of 24 megapixels, rounded as Pillow rounds."""
    grey = np.round(255.0 * (1.0 - photo_like())).astype(np.uint8)
    picture = Image.fromarray(grey)

    def same(ours: NDArray[np.bool_], theirs: Image.Image) -> str:
        other = np.asarray(theirs)
        return f"{np.count_nonzero(ours != other)} of {other.size} dots differ"

    return Pair(
        work=f"error diffusion, {ROWS * COLUMNS / 1e6:g} megapixels",
        ours=lambda: diffuse_like_pillow(grey),
        peer_name=f"Pillow {version('pillow')}",
        peer=lambda: picture.convert("1"),
        answers=same,
    )


def _drawn(name: str, drawing: str) -> Pair:
    data = drawing.encode()
    width, height = SIZE_px

    def same(ours: NDArray[Any], theirs: NDArray[Any]) -> str:
        return f"{100 * float(np.abs(ours - theirs).mean()):.2f} % of full ink apart in the mean"

    def theirs() -> NDArray[np.float32]:
        scale = width / 300.0 / (72.0 / 25.4)  # the library draws an inch on 72 pixels
        seen = pyvips.Image.svgload_buffer(data, scale=scale).flatten(background=255).extract_band(0)
        return np.asarray(1.0 - seen.numpy().astype(np.float32)[:height, :width] / np.float32(255.0), np.float32)

    return Pair(
        work=f"{name}, to {width} x {height} pixels",
        ours=lambda: parse_svg(data, name=name).ink(width_px=width, height_px=height),
        peer_name=f"librsvg in libvips {pyvips.version(0)}.{pyvips.version(1)}",
        peer=theirs,
        answers=same,
    )


def simple_svg() -> Pair:
    """Return one circle."""
    return _drawn("SVG of one circle", simple_drawing())


def heavy_svg() -> Pair:
    """Return five thousand paths; no text, for the two would set it in different faces."""
    return _drawn("SVG of 5000 curved paths", heavy_drawing(texts=0))


def _energy() -> tuple[LineEnergy, NDArray[np.float32]]:
    energy = np.random.default_rng(5).random(MAP_px, dtype=np.float32) * np.float32(1e-3)
    grid = DoseGrid(x0_mm=0.0, y0_mm=0.0, pixel_x_mm=0.05, pixel_y_mm=0.05, rows=MAP_px[0], columns=MAP_px[1])
    none = np.zeros(MAP_px, np.float32)
    return LineEnergy(grid=grid, axis="x", speed_mm_per_s=300.0, forward_J=energy, backward_J=none), energy


def _dose(peer_name: str, blurred: Callable[[NDArray[np.float32], float], NDArray[np.float32]]) -> Pair:
    lines, energy = _energy()
    radius_mm, area_mm2 = 0.2, lines.grid.pixel_x_mm * lines.grid.pixel_y_mm
    sigma_px = radius_mm / 2.0 / lines.grid.pixel_x_mm

    def same(ours: NDArray[np.float32], theirs: NDArray[np.float32]) -> str:
        return f"{float(np.abs(ours - theirs).max() / theirs.max()):.1e} of the greatest dose apart at most"

    return Pair(
        work=f"dose under the beam, {MAP_px[0] * MAP_px[1] / 1e6:g} megapixels",
        ours=lambda: dose_map_J_per_mm2(lines, beam_radius_mm=radius_mm, rise_time_s=0.0),
        peer_name=peer_name,
        peer=lambda: blurred(energy, sigma_px) / np.float32(area_mm2),
        answers=same,
    )


def dose_by_scipy() -> Pair:
    """Return the dose map beside SciPy's Gaussian."""

    def blurred(energy: NDArray[np.float32], sigma_px: float) -> NDArray[np.float32]:
        return np.asarray(ndimage.gaussian_filter(energy, sigma_px, mode="constant"), np.float32)

    return _dose(f"SciPy {version('scipy')}, gaussian_filter", blurred)


def dose_by_opencv() -> Pair:
    """Return the dose map beside OpenCV's Gaussian, which it rests on: what our own part adds."""

    def blurred(energy: NDArray[np.float32], sigma_px: float) -> NDArray[np.float32]:
        return np.asarray(cv2.GaussianBlur(energy, (0, 0), sigma_px, borderType=cv2.BORDER_CONSTANT), np.float32)

    return _dose(f"OpenCV {cv2.__version__}, GaussianBlur", blurred)


def widths() -> Pair:
    """Return the narrowest stroke of a drawing beside the same distances by SciPy, without looking for the middle lines."""
    ink = parse_svg(heavy_drawing(texts=0).encode(), name="heavy").ink(width_px=1500, height_px=1000)
    inked = np.asarray(ink >= 0.5)

    def same(ours: Any, theirs: NDArray[np.float64]) -> str:
        return f"narrowest stroke {ours.stroke_mm:.2f} mm, widest place {2 * float(theirs.max()) * 0.2:.2f} mm"

    return Pair(
        work="strokes and gaps of a drawing, 1.5 megapixels",
        ours=lambda: measure_widths(np.asarray(ink, np.float32), pixel_mm=0.2),
        peer_name=f"SciPy {version('scipy')}, distance_transform_edt of ink and of bare",
        peer=lambda: ndimage.distance_transform_edt(inked) + ndimage.distance_transform_edt(~inked),
        answers=same,
    )


def trajectories() -> Pair:
    """Return the times of jerk-limited moves from rest to rest, a micrometre to 0.4 m."""
    ways_mm = 10.0 ** np.random.default_rng(21).uniform(-3.0, math.log10(400.0), MOVES)
    speed, accel, jerk = 400.0, 5000.0, 1e5
    planner, wish, move = Ruckig(1), InputParameter(1), Trajectory(1)
    wish.max_velocity, wish.max_acceleration, wish.max_jerk = [speed], [accel], [jerk]
    wish.current_position = wish.current_velocity = wish.target_velocity = [0.0]
    wish.current_acceleration = wish.target_acceleration = [0.0]

    def theirs() -> NDArray[np.float64]:
        times_s = np.empty(MOVES_OF_PEER)
        for i in range(MOVES_OF_PEER):
            wish.target_position = [float(ways_mm[i])]
            if planner.calculate(wish, move) not in {Result.Working, Result.Finished}:
                raise SystemExit("error: the peer found no move")
            times_s[i] = move.duration
        return times_s

    def same(ours: NDArray[np.float64], theirs: NDArray[np.float64]) -> str:
        return f"{float(np.abs(ours[:MOVES_OF_PEER] - theirs).max()):.1e} s apart at most"

    return Pair(
        work=f"times of {MOVES} jerk-limited moves",
        ours=lambda: move_time_s(ways_mm, speed_mm_per_s=speed, accel_mm_per_s2=accel, jerk_mm_per_s3=jerk),
        peer_name=f"ruckig {version('ruckig')}, {MOVES_OF_PEER} of them",
        peer=theirs,
        answers=same,
        per=MOVES / MOVES_OF_PEER,
    )


def _patches(curve: CharacteristicCurve) -> Observed:
    generator = np.random.default_rng(9)
    log_dose = np.linspace(curve.x_low, min(curve.x_char, curve.x_high), PATCHES)
    dwell, passes = generator.choice([0.5, 1.0, 2.0], PATCHES), np.ones(PATCHES)
    tones = tone_L(curve, effective_exposure(curve, dose_J_per_mm2=10.0**log_dose, dwell_ms=dwell))
    return Observed(
        log10_dose=log_dose,
        dwell_ms=dwell,
        passes=passes,
        tone_L=tones + generator.normal(0.0, 0.7, PATCHES),
        tone_L_sd=np.full(PATCHES, 0.7),
    )


def curve_fit() -> Pair:
    """Return the most probable curve of a card's patches: ours weighs eight forms and every patch, SciPy's fits one form once."""
    prior = shipped_wood("hard-maple").curve
    covariance = believed_covariance(prior)
    observed = _patches(prior)
    start = prior.parameters()
    whitened = np.linalg.inv(np.linalg.cholesky(covariance))

    def residuals(vector: NDArray[np.float64]) -> NDArray[np.float64]:
        tones = predicted_tones_L(with_parameters(prior, vector), observed)
        return np.concatenate([(observed.tone_L - tones) / observed.tone_L_sd, whitened @ (vector - start)])

    def ours() -> NDArray[np.float64]:
        fitted = fit_curve(
            observed, prior=prior, prior_covariance=covariance, provenance=Provenance(kind="starting value")
        )
        return predicted_tones_L(fitted.curve, observed)

    def theirs() -> NDArray[np.float64]:
        found = optimize.least_squares(residuals, start, x_scale=np.sqrt(np.diag(covariance)))
        return predicted_tones_L(with_parameters(prior, found.x), observed)

    def same(mine: NDArray[np.float64], other: NDArray[np.float64]) -> str:
        return f"{float(np.abs(mine - other).max()):.2f} L* apart at most, patches read to 0.7 L*"

    return Pair(
        work=f"curve of {PATCHES} patches, eight forms weighed",
        ours=ours,
        peer_name=f"SciPy {version('scipy')}, least_squares of one form",
        peer=theirs,
        answers=same,
    )


def tone_over_lines() -> Pair:
    """Return the tone that lines average to beside adaptive quadrature of the same."""
    curve = shipped_wood("hard-maple").curve
    radius_mm, spacing_mm = 0.12, 0.18
    exposures = np.linspace(curve.x_low, curve.x_char, PLACES)

    def theirs() -> NDArray[np.float64]:
        def seen(phase: float, exposure: float) -> float:
            factor = ripple_factor(beam_radius_mm=radius_mm, line_spacing_mm=spacing_mm, phase=phase)
            return float(luminance(tone_L(curve, exposure + np.log10(factor))))

        means = [2.0 * integrate.quad(seen, 0.0, 0.5, args=(float(x),), epsabs=1e-10)[0] for x in exposures]
        return np.asarray(lightness_L(np.array(means)), np.float64)

    def same(ours: NDArray[np.float64], theirs: NDArray[np.float64]) -> str:
        return f"{float(np.abs(ours - theirs).max()):.1e} L* apart at most"

    return Pair(
        work=f"tone averaged over lines, {PLACES} exposures",
        ours=lambda: averaged_tone_L(
            curve, exposures, ripple=ripple_of(beam_radius_mm=radius_mm, line_spacing_mm=spacing_mm)
        ),
        peer_name=f"SciPy {version('scipy')}, quad to 1e-10",
        peer=theirs,
        answers=same,
    )


def colours() -> Pair:
    """Return sRGB of a megapixel of CIE L*a*b*."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the plots that it could draw, had it more packages
        import colour  # a second to load, and only here

    generator = np.random.default_rng(3)
    lab = np.stack([generator.uniform(lo, hi, (1000, 1000)) for lo, hi in ((20, 90), (0, 12), (5, 25))], axis=-1)

    def same(ours: NDArray[np.float64], theirs: NDArray[np.float64]) -> str:
        return f"{255.0 * float(np.abs(ours - theirs).max()):.3f} of 255 levels apart at most"

    return Pair(
        work="L*a*b* to sRGB, 1 megapixel",
        ours=lambda: srgb_from_lab(lab),
        peer_name=f"colour-science {version('colour-science')}",
        peer=lambda: np.clip(colour.XYZ_to_sRGB(colour.Lab_to_XYZ(lab)), 0.0, 1.0),
        answers=same,
    )


def tours() -> Pair:
    """Return a tour of 500 places beside its bound; no peer is at hand, and the published tours are checked in tests."""
    places = np.random.default_rng(7).uniform(0.0, 300.0, (TOUR, 2))
    apart = cdist(places, places)
    least_mm = held_karp_mm(apart)

    def told(order: NDArray[np.int64], _: None) -> str:
        length_mm = float(apart[order, np.roll(order, -1)].sum())
        return f"{length_mm:.0f} mm, {100.0 * (length_mm / least_mm - 1.0):.1f} % over the bound"

    return Pair(
        work=f"tour of {TOUR} places",
        ours=lambda: tour_order(places),
        peer_name="",
        peer=None,
        answers=told,
        least=f"{least_mm:.0f} mm (Held and Karp's bound, by SciPy's spanning trees)",
    )


def held_karp_mm(apart: NDArray[np.float64]) -> float:
    """Return a lower bound of every closed tour by subgradient ascent on one-trees. [mm]

    Source
    ------
    Held and Karp 1971, from memory: a tour is a spanning tree of all places but one, that one joined to it twice, and
    prices on places shift all tours alike.
    """
    count = len(apart)
    price, best = np.zeros(count), 0.0
    for step in range(BOUND_ROUNDS):
        priced = apart + price[:, None] + price[None, :]
        tree = minimum_spanning_tree(priced[1:, 1:] + 1e-9).tocoo()
        ends = np.argsort(priced[0, 1:])[:2] + 1
        degree = np.bincount(np.concatenate([tree.row + 1, tree.col + 1, ends, [0, 0]]), minlength=count)
        bound = float(tree.data.sum() + priced[0, ends].sum() - 2.0 * price.sum())
        best = max(best, bound)
        slack = (degree - 2).astype(np.float64)
        norm = float(slack @ slack)
        if norm == 0.0:
            break
        price += 2.0 * 0.97**step * apart.mean() / math.sqrt(count) * slack / max(1.0, math.sqrt(norm / count))
    return best


def reading_a_program(folder: Path) -> Pair:
    """Return the check of a program of a million lines beside Python's splitting of its lines into words, no more."""
    text = write_program(folder / "long.ngc").read_text(encoding="ascii")
    with resources.as_file(resources.files("evenburn") / "assets" / "demo" / "machine.toml") as file:
        limits = limits_of(read_machine(file, name="machine.toml"))
    return Pair(
        work=f"check of a program of {PROGRAM_LINES} lines",
        ours=lambda: read_program(text, limits),
        peer_name="Python, its lines split into words",
        peer=lambda: [line.split() for line in text.splitlines()],
        answers=lambda ours, theirs: (
            f"{len(theirs)} lines, {sum(f.level == 'stop' for f in ours.findings)} stops found"
        ),
    )


def reading_a_photograph(folder: Path) -> Pair:
    """Return the reading of a card's photograph, 12 megapixels, beside its decoding alone."""
    with resources.as_file(resources.files("evenburn") / "assets" / "demo" / "cards" / "hard-maple") as card_folder:
        data = (card_folder / "photo.jpg").read_bytes()
        for name in ("photo.jpg", "card.json"):
            (folder / name).write_bytes((card_folder / name).read_bytes())
    return Pair(
        work="a card's photograph of 12 megapixels, read",
        ours=lambda: read_card_photographs([folder / "photo.jpg"], folder / "card.json", to=folder / "reading.json"),
        peer_name=f"OpenCV {cv2.__version__}, decoded only",
        peer=lambda: cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR),
        answers=lambda ours, theirs: (
            f"{len(ours.reading.patches)} patches of {theirs.shape[1]} x {theirs.shape[0]} pixels"
        ),
    )


def pairs(folder: Path) -> Iterator[Pair]:
    """Yield every pair, each made only when its turn comes."""
    yield error_diffusion()
    yield dose_by_opencv()
    yield dose_by_scipy()
    yield simple_svg()
    yield heavy_svg()
    yield widths()
    yield trajectories()
    yield curve_fit()
    yield tone_over_lines()
    yield colours()
    yield tours()
    yield reading_a_program(folder)
    yield reading_a_photograph(folder)


def main() -> None:
    """Print the rows; keep the rounds where they are asked for."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--raw", type=Path, metavar="FILE", help="keep every round's times")
    raw = arguments.parse_args().raw
    told = csv.writer(sys.stdout, lineterminator="\n")
    told.writerow(HEAD)
    kept: list[list[str]] = [["work", "peer", "round", "ours_s", "peer_s"]]
    with tempfile.TemporaryDirectory() as folder:
        for pair in pairs(Path(folder)):
            done = timed(pair)
            told.writerow(done.row())
            sys.stdout.flush()
            for number, (ours, peer) in enumerate(zip_longest(done.ours_s, done.peer_s), start=1):
                kept.append(
                    [pair.work, pair.peer_name, str(number), f"{ours:.6g}", "" if peer is None else f"{peer:.6g}"]
                )
    if raw is not None:
        with raw.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows(kept)


if __name__ == "__main__":
    main()
