"""Name a drift: outcomes of several lots, to what they have in common."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenburn.adapters.formats.outcome_json import read_outcome
from evenburn.core.errors import InvalidInput
from evenburn.core.response.naming import NamedDrift, named_drift

MOST_OUTCOMES = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftFound:
    """What came of it; `document` is what --json prints."""

    named: NamedDrift
    document: dict[str, Any]


def name_drift(files: Sequence[Path]) -> DriftFound:
    """Return whether the outcomes in some files are off together.

    Raises
    ------
    UnreadableFile, InvalidInput
        If a file is not there or does not hold, one is given twice, or none tells of the exposure.
    """
    if not 1 <= len(files) <= MOST_OUTCOMES:
        raise InvalidInput({"OUTCOME": f"{len(files)} are given; allowed are 1 to {MOST_OUTCOMES}"})
    named = named_drift([read_outcome(path, name=path.name) for path in files])
    drift = named.drift
    return DriftFound(
        named=named,
        document={
            "kind": named.kind,
            "text": named.text,
            "remedy": named.remedy,
            "power_share": round(drift.power_share, 4),
            "power_share_sd": round(drift.power_share_sd, 4),
            "decades": round(drift.decades, 5),
            "decades_sd": round(drift.decades_sd, 5),
            "between_decades": round(drift.between_decades, 5),
            "log_evidence": round(drift.log_evidence, 3),
            "scale_decade_sd": round(named.scale_decade_sd, 5),
            "lots": [
                {
                    "wood": k.lot,
                    "marks": k.marks,
                    "decades": round(k.decades, 5),
                    "decades_sd": round(k.decades_sd, 5),
                }
                for k in named.lots
            ],
            "left_out": list(named.left_out),
        },
    )
