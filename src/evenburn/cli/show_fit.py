"""What `evenburn fit` found, for people and as JSON."""

from __future__ import annotations

import json
import math
import sys
import textwrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from evenburn.core.nouns.wood import CharacteristicCurve
    from evenburn.services.fit_curve import CurveFitted

WIDEST = 100
OUTLIER = 0.5
HARDLY = 0.9  # patches that leave more than this of the doubt are hardly worth burning
# (place in the covariance, attribute, words, decimals)
SHOWN = (
    (0, "bare_L", "bare wood, L*", 1),
    (1, "full_L", "full tone, L*", 1),
    (3, "steepness_per_decade", "steepness per decade", 2),
    (4, "asymmetry", "asymmetry", 2),
    (5, "reversal_L", "turns back by, L*", 1),
    (7, "kappa", "kappa, what dwell adds", 3),
    (8, "pass_exponent", "pass exponent", 3),
)
FEATURE_WORDS = {"asymmetry": "asymmetry", "reversal": "a turn back", "passes": "passes that do not simply add"}


def show_fit(fitted: CurveFitted, *, as_json: bool) -> None:
    """Print a fitted curve, what it is worth, which patches stand off, and what to burn next."""
    if as_json:
        sys.stdout.write(json.dumps(fitted.document, ensure_ascii=False, indent=2) + "\n")
        return
    learnt = fitted.learnt
    curve, gathered = learnt.curve, learnt.gathered
    count = len(fitted.reading_names)
    _say(f"{fitted.wood_name}: {len(gathered.patches)} patches of {count} reading{'' if count == 1 else 's'}")
    _show_parameters(curve)
    features = learnt.fitted.features
    words = " and ".join(FEATURE_WORDS[f] for f in features)
    if learnt.belief.known:
        _say(
            f"  form: that of the {'lot' if learnt.belief.one_board else 'other lots'}, moved as far as the patches ask"
        )
    else:
        _say(f"  form: {'the plain curve is enough' if not features else f'with {words}'}")
    over = "across the board" if learnt.belief.one_board else "from board to board"
    boards = f"{learnt.boards_measured} boards read" if learnt.boards_measured > 1 else "believed"
    _say(
        f"  scatter from place to place {curve.evenness_L:.1f} L*, {over} {curve.board_L:.1f} L* ({boards}), "
        f"reading {curve.reading_L:.1f} L*"
    )
    _show_patches(fitted)
    _show_next(fitted)
    _say(f"{fitted.curve_file.name} holds the curve, {fitted.plot_file.name} shows it.")


def _show_parameters(curve: CharacteristicCurve) -> None:
    sd = [math.sqrt(max(0.0, float(v))) for v in curve.covariance.diagonal()]
    middle = 10.0**curve.x_mid
    rows = [("half way at, J/mm²", f"{middle:.3f}", f"{middle * math.log(10.0) * sd[2]:.3f}")]
    rows += [(words, f"{getattr(curve, name):.{digits}f}", f"{sd[n]:.{digits}f}") for n, name, words, digits in SHOWN]
    for words, value, doubt in rows:
        _say(f"  {words:<26}{value:>9} ± {doubt}")
    _say(f"  {'char limit, J/mm²':<26}{10.0**curve.x_char:9.3f}")
    _say(f"  {'measured, J/mm²':<26}{10.0**curve.x_low:9.3f} to {10.0**curve.x_high:.3f}")


def _show_patches(fitted: CurveFitted) -> None:
    learnt = fitted.learnt
    several = len(fitted.reading_names) > 1
    off = [
        f"{_named(fitted, int(n), p.patch.id, several=several)} ({residual:+.1f} L*)"
        for p, n, residual, weight in zip(
            learnt.gathered.patches,
            learnt.gathered.reading_of,
            learnt.fitted.residual_L,
            learnt.fitted.weights,
            strict=True,
        )
        if weight < OUTLIER
    ]
    if off:
        _wrapped("  off the others, counted less: " + ", ".join(off))
    out = [f"{_named(fitted, n, p.patch.id, several=several)} ({', '.join(w)})" for n, p, w in learnt.gathered.left_out]
    if out:
        _wrapped("  left out: " + ", ".join(out))


def _named(fitted: CurveFitted, number: int, patch_id: str, *, several: bool) -> str:
    return f"{fitted.reading_names[number]} {patch_id}" if several else patch_id


def _show_next(fitted: CurveFitted) -> None:
    following = fitted.following
    known = f"the curve's run is known to ± {following.now_L_sd:.2f} L*, beside what light and board do to all patches"
    best = following.patches[-1].tone_L_sd
    if best > HARDLY * following.now_L_sd:
        _wrapped(
            f"{known}; more patches on this board tell hardly more, a card on another board tells how boards differ"
        )
        _say("next would be")
    else:
        _wrapped(f"{known}; to narrow it most, burn next")
    for patch in following.patches:
        passes = "" if patch.passes == 1 else f", {patch.passes} passes"
        _say(
            f"  {patch.power_W:5.1f} W at {patch.speed_mm_per_s:g} mm/s, {patch.line_spacing_mm:g} mm apart, focus offset "
            f"{patch.focus_offset_mm:g} mm{passes}: then ± {patch.tone_L_sd:.2f} L*"
        )


def _wrapped(text: str) -> None:
    _say(textwrap.fill(text, WIDEST, subsequent_indent=" " * 6))


def _say(text: str) -> None:
    encoding = sys.stdout.encoding or "utf-8"
    print(text.replace("\u00a0", " ").encode(encoding, "replace").decode(encoding))
