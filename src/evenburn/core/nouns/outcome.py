"""How a finished piece came out: the tone that was promised, the tone that was got, and what that says of the exposure."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Promised:
    """What the plan foretold of a mark, and the exposure it was burnt with; `passes` as `effective_passes` counts them."""

    tone_L: float
    tone_L_sd: float
    dose_J_per_mm2: float
    dwell_ms: float
    passes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Got:
    """What photographs tell of a mark.

    Attributes
    ----------
    own_L_sd, shared_L_sd : standard deviation of the tone: this mark's own, and what paper and toner leave open.
    spread_L : standard deviation over the mark, in cells of 4 mm.
    bare_L : tone of the bare wood beside it; None where none was seen.
    """

    tone_L: float
    own_L_sd: float
    shared_L_sd: float
    spread_L: float
    bare_L: float | None
    inside_mm2: float
    photographs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ExposureShift:
    """By how much more exposure than planned the tone looks; `slope_L_per_decade` is the curve's there.

    `decades_sd` holds reading, curve and the scatter of boards.
    """

    decades: float
    decades_sd: float
    slope_L_per_decade: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One mark of a finished piece, held against its plan.

    Attributes
    ----------
    board_L : how far boards of the lot scatter by themselves; None where no curve was told.
    shift : None where no curve was told, or its tone hardly changes with exposure there.
    """

    piece_id: str
    mark_id: str
    wood_id: str
    machine_name: str
    lens_name: str
    date: str
    promised: Promised
    got: Got
    board_L: float | None
    shift: ExposureShift | None
    flags: tuple[str, ...] = ()

    @property
    def off_L(self) -> float:
        """Got minus promised. [L*]"""
        return self.got.tone_L - self.promised.tone_L

    @property
    def off_L_sd(self) -> float:
        """Standard deviation of that, were all as promised. [L*]"""
        shares = (self.promised.tone_L_sd, self.got.own_L_sd, self.got.shared_L_sd)
        return float(sum(v * v for v in shares) ** 0.5)

    @property
    def sds(self) -> float:
        """Got minus promised, in standard deviations."""
        return self.off_L / self.off_L_sd
