"""Writing curve.json: the curve of a lot as `fit` learnt it; `wood_toml.read_curve` reads it back."""

from __future__ import annotations

from typing import Any

from evenburn.adapters.formats.strict import checked
from evenburn.adapters.formats.wood_toml import CurveDocument
from evenburn.core.nouns.wood import CURVE_PARAMETERS, CharacteristicCurve

DIGITS = 9  # significant ones: the covariance stays one when it is read back


def curve_document(curve: CharacteristicCurve, *, wood_name: str) -> dict[str, Any]:
    """Return a curve as the object of its curve.json, and make sure that it will be read back.

    Raises
    ------
    InvalidInput
        If the curve does not hold, say by a parameter outside what the file allows.
    """
    document = {
        "schema_version": 1,
        "wood": wood_name,
        "parameters": {name: _short(getattr(curve, name)) for name in CURVE_PARAMETERS},
        "covariance": [[_short(v) for v in row] for row in curve.covariance.tolist()],
        "x_low": _short(curve.x_low),
        "x_high": _short(curve.x_high),
        "x_char": _short(curve.x_char),
        "evenness_L": _short(curve.evenness_L),
        "board_L": _short(curve.board_L),
        "reading_L": _short(curve.reading_L),
        "provenance": {"kind": curve.provenance.kind, "detail": curve.provenance.detail},
    }
    checked(CurveDocument, document, name="curve.json")
    return document


def _short(value: float) -> float:
    return float(f"{float(value):.{DIGITS}g}") + 0.0
