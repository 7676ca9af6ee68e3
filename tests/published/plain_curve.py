"""A characteristic curve whose every part can be set, and which does nothing that was not asked for."""

from __future__ import annotations

import numpy as np

from evenburn.core.nouns.provenance import Provenance
from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve


def plain_curve(
    *,
    bare_L: float = 80.0,
    full_L: float = 20.0,
    x_mid: float = 0.0,
    steepness_per_decade: float = 8.0,
    asymmetry: float = 1.0,
    kappa: float = 0.0,
    pass_exponent: float = 1.0,
) -> CharacteristicCurve:
    """Return a curve without reversal, char limit or spread; no reciprocity failure unless asked for."""
    return CharacteristicCurve(
        bare_L=bare_L,
        full_L=full_L,
        x_mid=x_mid,
        steepness_per_decade=steepness_per_decade,
        asymmetry=asymmetry,
        reversal_L=0.0,
        x_reversal=8.0,
        kappa=kappa,
        pass_exponent=pass_exponent,
        x_low=-3.0,
        x_high=3.0,
        x_char=8.0,
        covariance=np.zeros((len(CURVE_PARAMETERS), len(CURVE_PARAMETERS))),
        evenness_L=0.0,
        board_L=0.0,
        reading_L=0.0,
        provenance=Provenance(kind="user", detail="tests/published"),
    )
