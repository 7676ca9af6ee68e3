"""Where each number of plan.json comes from: kind and detail for each of its tables, and for keys that differ.

What is computed has the kind of what it rests on, of the wood before the lens before the machine, and its detail says what
it is computed from.
"""

from __future__ import annotations

from typing import Any

from evenburn.adapters.formats.wood_toml import OWN_CUT_SD_SHARE
from evenburn.core.nouns.machine import Lens, Machine
from evenburn.core.nouns.plan import BatchPlan, MarkPlan, PiecePlan
from evenburn.core.nouns.provenance import Provenance, ProvenanceKind
from evenburn.core.nouns.recipe import Concession

Origin = dict[str, str]
BATCH = "batch.toml"
EYE = "computed from [mannos1974] and [mokrzycki2011]: what an eye makes out at the reading distance"
SPOT_GROWTH = "no source: a spot so much wider counts as out of focus"
LITTLE_AIR, MUCH_AIR = "no source: about 5 psi for engraving", "no source: as much as the machine sets for a cut"

HELD = {  # what a person may hold, and the keys of a recipe that say it
    "speed_mm_per_s": ("speed_mm_per_s",),
    "power_W": ("power_W", "power_fraction"),
    "line_spacing_mm": ("line_spacing_mm", "lines_per_inch"),
    "focus_offset_mm": ("focus_offset_mm", "stand_off_mm"),
    "passes": ("passes",),
}
ASKED_OF: dict[str, tuple[ProvenanceKind, str]] = {  # what the wishes that give way rest on
    "detail": ("measured", "narrowest stroke and gap of the artwork at its size"),
    "sharpness": ("user", f"sharpness_mm in {BATCH}, or its default"),
    "banding": ("published", EYE),
    "warp": ("published", "[mahy1994]: a change of tone that goes unnoticed"),
    "known range": ("published", "[mahy1994]: a change of tone that goes unnoticed"),
    "tone": ("user", f"tone_L in {BATCH}"),
}
OF_THE_MACHINE = frozenset({"photo range", "run-up", "power"})  # from when it fires, how far it reaches, what it may do


def origin(kind: ProvenanceKind, detail: str) -> Origin:
    """Return a table `provenance`."""
    return {"kind": kind, "detail": detail}


def lens_provenance(lens: Lens, machine: Machine) -> Provenance:
    """Return where a lens's waist and Rayleigh length come from."""
    source = machine.provenance.detail or "machine.toml"
    if lens.waist_radius_mm is not None:
        return Provenance(kind="measured", detail=f"waist from {source}")
    return Provenance(kind=machine.provenance.kind, detail=f"waist computed from lens and beam in {source}")


def of_times(machine: Machine) -> Origin:
    """Return where machine times come from: speeds, accelerations and overhead, along what the programs hold."""
    known = machine.provenance
    return origin(known.kind, f"computed from the programs with speeds, accelerations and overhead of {known.detail}")


def of_lens(lens: Lens, machine: Machine) -> Origin:
    """Return where waist and Rayleigh length come from."""
    known = lens_provenance(lens, machine)
    return origin(known.kind, known.detail)


def of_lens_keys(machine: Machine) -> dict[str, Origin]:
    """Return where the rest of a lens comes from."""
    keys = ("focal_length_mm", "beam_diameter_mm", "beam_quality_m2", "wavelength_um", "focus_stand_off_mm")
    return dict.fromkeys(keys, origin(machine.provenance.kind, machine.provenance.detail))


def of_lens_facts_keys(machine: Machine) -> dict[str, Origin]:
    """Return what of a lens's facts is not computed from its waist."""
    return {
        "focus_stand_off_mm": origin(machine.provenance.kind, machine.provenance.detail),
        "growth": origin("common practice", SPOT_GROWTH),
    }


class MarkOrigins:
    """Where the numbers of one mark come from."""

    def __init__(self, plan: BatchPlan, piece: PiecePlan, planned: MarkPlan) -> None:
        self.machine = plan.machine
        self.lens = lens_provenance(plan.lens, plan.machine)
        self.planned = planned
        self.date = plan.date
        curve = piece.wood.curve.provenance
        if planned.mark.treatment == "cut":
            own = piece.wood.cut_sd_share <= OWN_CUT_SD_SHARE
            detail = (
                "cut_J_per_mm3 of the wood's file" if own else "cutting energy from memory; to be replaced by a trial"
            )
            self.wood = Provenance(kind="user" if own else "starting value", detail=detail)
            self.ground = f"the cutting energy: {detail}"
        else:
            self.wood = curve
            self.ground = f"the curve: {curve.detail}" if curve.detail else "the curve"

    def recipe(self) -> Origin:
        """Return what a recipe rests on."""
        return origin(self.wood.kind, f"computed from {self.ground}")

    def recipe_keys(self) -> dict[str, Origin]:
        """Return the settings that were not computed: those a person holds, and air."""
        mark = self.planned.mark
        held = [key for name, keys in HELD.items() if getattr(mark.hold, name) is not None for key in keys]
        keys = {key: origin("user", f"held in {BATCH}") for key in held}
        if self.planned.recipe.air_kPa is None:
            return keys
        if mark.air_kPa is not None:
            return keys | {"air_kPa": origin("user", f"air_kPa in {BATCH}")}
        return keys | {"air_kPa": origin("common practice", MUCH_AIR if mark.treatment == "cut" else LITTLE_AIR)}

    def predicted(self) -> Origin:
        """Return what a prediction rests on."""
        return origin(self.wood.kind, f"computed from curve, machine and lens; {self.ground}")

    def predicted_keys(self) -> dict[str, Origin]:
        """Return what of a prediction rests on machine, lens or eye instead."""
        times = of_times(self.machine)
        beam = origin(self.lens.kind, f"computed from the recipe's offset and {self.lens.detail}")
        known = self.machine.provenance
        return {
            "time_s": times,
            "time_lower_bound_s": times,
            "time_over_bound": times,
            "run_up_mm": origin(known.kind, f"computed from the recipe's speed and accelerations of {known.detail}"),
            "beam_radius_mm": beam,
            "dwell_ms": beam,
            "ripple_limit_L": origin("published", EYE),
        }

    def mark_keys(self) -> dict[str, Origin]:
        """Return where the numbers that stand at a mark itself come from."""
        artwork = origin("measured", f"{self.date}, on the artwork at its size: {self.planned.mark.art_label}")
        wished = origin("user", f"tone_L in {BATCH}")
        if self.planned.mark.treatment == "cut":
            wished = self.predicted()
        return {
            "wished_tone_L": wished,
            "narrowest_stroke_mm": artwork,
            "narrowest_gap_mm": artwork,
            "islands": of_times(self.machine),
        }

    def gave_way(self, one: Concession) -> dict[str, Any]:
        """Return where the two numbers of a wish that gave way come from."""
        if one.constraint in OF_THE_MACHINE:
            kind, detail = self.machine.provenance.kind, self.machine.provenance.detail
        elif one.constraint == "char":
            kind, detail = self.wood.kind, f"char limit of {self.ground}"
        else:
            kind, detail = ASKED_OF[one.constraint]
        if one.constraint == "detail":
            detail = f"{self.date}, {detail}"
        return {"provenance": self.recipe(), "provenance_of": {"asked": origin(kind, detail)}}


def of_piece() -> Origin:
    """Return where the numbers that stand at a piece itself come from."""
    return origin("user", BATCH)


def of_piece_keys() -> dict[str, Origin]:
    """Return what of a piece is computed."""
    order = f"computed from {BATCH}: fewest changes of stand-off, in the order listed"
    return {
        "start_order": origin("user", order),
        "outline_box_bed_mm": origin("user", f"computed from blank, place and turn in {BATCH}"),
        "turn_deg": origin("user", f"turn_deg in {BATCH}, or its default"),
    }
