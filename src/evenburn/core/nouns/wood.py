"""Woods and their characteristic curves, as data; the maths stands in `core.response`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenburn.core.nouns.provenance import Provenance

LEAST_BARE_L = 0.1  # what is burnt is told as a share of the bare surface's light, and none gives no light at all
CURVE_PARAMETERS = (
    "bare_L",
    "full_L",
    "x_mid",
    "steepness_per_decade",
    "asymmetry",
    "reversal_L",
    "x_reversal",
    "kappa",
    "pass_exponent",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CharacteristicCurve:
    """Tone against effective exposure for one lot.

    The exposure axis is x = log10(dose in J/mm²) + (pass_exponent − 1) log10(passes) + kappa log10(dwell / 1 ms).

    Attributes
    ----------
    bare_L, full_L : tone (L*) of the untouched surface and of the straight part's far end.
    x_mid : exposure at which half of the way from bare to full is done. [log10 J/mm²]
    steepness_per_decade, asymmetry : of the generalised logistic; asymmetry 1 is the plain logistic.
    reversal_L, x_reversal : how much the tone turns back past its darkest (lightest) point, and where.
    kappa : reciprocity exponent; pass_exponent : 1 when passes add as energy.
    x_low, x_high : range that was measured, or that a starting value is believed for. [log10 J/mm²]
    x_char : exposure past which the surface chars (or melts, on slate). [log10 J/mm²]
    covariance : (9, 9) of the parameters in the order of CURVE_PARAMETERS.
    evenness_L : standard deviation of tone inside an even patch: the wood's own blotches.
    board_L : standard deviation of tone from board to board of one lot.
    reading_L : standard deviation of a card reading.
    """

    bare_L: float
    full_L: float
    x_mid: float
    steepness_per_decade: float
    asymmetry: float
    reversal_L: float
    x_reversal: float
    kappa: float
    pass_exponent: float
    x_low: float
    x_high: float
    x_char: float
    covariance: NDArray[np.float64]
    evenness_L: float
    board_L: float
    reading_L: float
    provenance: Provenance

    def parameters(self) -> NDArray[np.float64]:
        """Return the parameters as a (9,) vector in the order of CURVE_PARAMETERS."""
        return np.array([getattr(self, name) for name in CURVE_PARAMETERS], dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishingStep:
    """One thing to do after burning, how long it takes, and how long it then rests."""

    name: str
    how: str
    time_text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Wood:
    """A wood lot: its name, surface state, curve and habits.

    `bare_ab`, `full_ab` are CIE a*, b* of the untouched and of the fully burnt surface, for the proof's colour.
    `called` is what people call the boards, which tells lots of one wood apart; empty where that is its name.
    `cut_J_per_mm3` is the energy that takes away a volume of it, None where no beam of this kind cuts it;
    `cut_sd_share` is the standard deviation of that energy as a share of it.
    """

    id: str
    name: str
    surface: str
    curve: CharacteristicCurve
    bare_ab: tuple[float, float]
    full_ab: tuple[float, float]
    grain: bool
    burns_unevenly: bool
    finishing: tuple[FinishingStep, ...]
    cautions: tuple[str, ...] = ()
    cut_J_per_mm3: float | None = None
    cut_sd_share: float = 0.3
    called: str = ""

    @property
    def lot(self) -> str:
        """Return what tells the boards from others of the same wood: what they are called, else an id that is not the name's.

        Empty where neither says more than the name. Definition.
        """
        own = self.called or self.id.replace("-", " ")
        return "" if _words(own) == _words(self.name) else self.called or self.id

    @property
    def label(self) -> str:
        """Return wood and lot for a page that goes to the bench: "Hard maple, lot HM-2", "Larder shelf (oak)". Definition."""
        if not self.lot:
            return self.name
        if self.called:
            return self.called if _words(self.name) in _words(self.called) else f"{self.called} ({self.name})"
        return f"{self.name} ({self.id})"


def _words(text: str) -> str:
    return " ".join(text.replace("-", " ").casefold().split())
