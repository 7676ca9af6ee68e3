"""What the numbers of a bench's own files may be: no least length is nothing, and no power endless."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

LEAST = (
    0.001  # of a length, a power, a speed, a time: no bench knows less than a micrometre, a milliwatt, a millisecond
)

Length = Annotated[float, Field(ge=LEAST, le=10_000.0)]
Power = Annotated[float, Field(ge=LEAST, le=100_000.0)]
Speed = Annotated[float, Field(ge=LEAST, le=100_000.0)]
Fraction = Annotated[float, Field(ge=0.0, le=1.0)]
Offset = Annotated[float, Field(ge=-500.0, le=500.0)]
Passes = Annotated[int, Field(ge=1, le=100)]
