"""Outside checks: a number of ours held against one from outside, asserted and, when asked for, recorded for a page.

`tools/write_checks.py` runs the tests of `tests/published` that call `check` and makes docs/reference/checks.md of it.
A module that makes several of one kind takes `functools.partial(check, field=…, source=…, trust=…, why=…)` and calls it
`check` too: the recorder knows tests by that name.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Literal, get_args

Field = Literal[
    "optics",
    "exposure across scan lines",
    "motion",
    "tone, colour and sight",
    "halftoning and density",
    "fitting",
    "wood and heat",
    "order of paths",
    "programs and files",
    "units",
    "practice of the trade",
]
Trust = Literal["seen", "seen in part", "from memory", "derived"]
Bound = Literal["at most", "at least"]
FIELDS: tuple[Field, ...] = get_args(Field)
PRACTICE = "common practice, no source"
HALF_DIGIT = "half of the last digit printed"
EXACT = "a whole number, or equal by definition"


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One outside check as it came out."""

    name: str
    field: Field
    got: float
    expected: float
    tolerance: float
    unit: str
    source: str
    trust: Trust
    why: str
    bound: Bound | None = None

    def as_json(self) -> dict[str, object]:
        """Return the row as a table."""
        return asdict(self)


ROWS: list[Row] = []


def check(
    name: str,
    *,
    got: object,
    expected: float,
    tolerance: float,
    field: Field,
    source: str,
    trust: Trust,
    why: str,
    unit: str = "",
    bound: Bound | None = None,
) -> None:
    """Hold a number of ours against one from outside, and note it.

    Parameters
    ----------
    name : what it is, in words, with its conditions; no two checks have the same.
    got : ours, anything that float() takes.
    tolerance : how far they may be apart; with `bound`, how far ours may lie beyond the one from outside.
    source : a key of docs/references.md, or `PRACTICE`.
    trust : how far the number from outside is trusted; "derived": recomputed from the source's formula.
    why : the reason for the tolerance.
    """
    ours = float(got)  # type: ignore[arg-type]
    row = Row(
        name=name,
        field=field,
        got=ours,
        expected=float(expected),
        tolerance=tolerance,
        unit=unit,
        source=source,
        trust=trust,
        why=why,
        bound=bound,
    )
    ROWS.append(row)
    beyond = {"at most": ours - expected, "at least": expected - ours}.get(bound or "", abs(ours - expected))
    limit = tolerance * (1.0 + 1e-9) + 1e-12 * abs(expected)  # a tie in decimals may fall either way in binary
    assert beyond <= limit, f"{name}: got {ours!r}, expected {bound or ''} {expected!r} ± {tolerance!r} {unit}"
