"""Every caution that evenburn gives, as one text: what it is about, how it reads, and at which decisions it is shown.

Whoever shows a decision asks `cautions_for` and shows what it gives beside the decision itself. No caution is worded anywhere
else, but for the few that tests/house/test_safety.py names with their reasons. docs/safety.md is made from this module.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Topic = Literal["eyes", "fire", "fumes", "material", "food", "finish", "set-up", "authority"]
TOPICS: dict[Topic, str] = {
    "eyes": "Eyes and enclosure",
    "fire": "Fire",
    "fumes": "Fumes and dust",
    "material": "Materials",
    "food": "What touches food",
    "finish": "Oil and cloths",
    "set-up": "Setting up",
    "authority": "Who has the last word",
}
Decision = Literal[
    "machine", "wood", "plan", "burn", "cut", "trace", "card", "stopwatch", "verify", "rescue", "finish", "hand over"
]
DECISIONS: dict[Decision, str] = {
    "machine": "describing or changing a machine",
    "wood": "naming what a board is made of",
    "plan": "reading a finished plan",
    "burn": "starting a program",
    "cut": "cutting through",
    "trace": "walking round a mark with the laser off",
    "card": "burning a test card or a focus ladder",
    "stopwatch": "timing the machine",
    "verify": "trusting a program from elsewhere",
    "rescue": "burning over a burn",
    "finish": "washing, drying, oiling",
    "hand over": "handing a piece over",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One caution.

    Attributes
    ----------
    key : names it for good.
    tick : in a few words, to be ticked before the first spark; empty for what is no matter of ticking.
    text : in full, why included.
    at : decisions it is shown at, so that it is read where something can still be done.
    source : keys of docs/references.md, or "common practice".
    """

    key: str
    topic: Topic
    text: str
    at: tuple[Decision, ...]
    source: str
    tick: str = ""


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        key="never-alone",
        topic="fire",
        tick="Never leave it burning alone",
        text="Never leave it burning alone, not for a minute: a flame under the nozzle is out of hand before anybody comes "
        "back. Put it out by stopping the laser and the air first.",
        at=("plan", "burn", "cut", "card", "stopwatch", "rescue"),
        source="[nfpa115]",
    ),
    Caution(
        key="extinguisher",
        topic="fire",
        tick="Extinguisher in reach",
        text="Keep an extinguisher for wood and electrical fires in reach, and crumbs and dust cleared from under the bed.",
        at=("burn", "cut", "card", "rescue"),
        source="common practice",
    ),
    Caution(
        key="fire-watch",
        topic="fire",
        text="Look at the piece, the bed and the bin half an hour after the last spark: char glows on inside, where nobody "
        "sees it.",
        at=("cut", "rescue", "finish"),
        source="by analogy with the fire watch after hot work, 29 CFR 1910.252, from memory",
    ),
    Caution(
        key="extraction",
        topic="fumes",
        tick="Extraction runs; the outlet is clear",
        text="Burn nothing without extraction that leads outdoors or through a filter made for it. Smoke of plain wood holds "
        "formaldehyde, benzene and fine soot too; glue, finish and plastic add their own.",
        at=("plan", "burn", "cut", "card", "rescue"),
        source="[ansi-z136-1], [osha-otm]",
    ),
    Caution(
        key="eyes",
        topic="eyes",
        tick="Lid shut, or eye protection for {wavelength} on everyone here",
        text="The beam is invisible and of class 4: it blinds and burns directly, off a shiny thing, and from a plain surface "
        "close by. Keep the lid shut and its switch working; with the lid open everyone in the room wears eye protection "
        "marked for {wavelength}.",
        at=("machine", "burn", "card"),
        source="[iec60825-1], [osha-otm]",
    ),
    Caution(
        key="switch",
        topic="eyes",
        text="Never bridge the lid's switch: a shut enclosure is what makes an ordinary appliance of a class 4 laser.",
        at=("machine", "stopwatch"),
        source="[iec60825-1]",
    ),
    Caution(
        key="pointer",
        topic="eyes",
        text="The laser is off on this walk, and the red pointer shows the way. Keep hands out of it all the same: what is "
        "off by program can be switched on by a fault.",
        at=("trace",),
        source="common practice",
    ),
    Caution(
        key="optics",
        topic="set-up",
        tick="Lens and window clean, {lens}",
        text="A dirty lens or window burns weaker and cracks. Clean it cold, with the laser switched off at the wall.",
        at=("burn", "card"),
        source="common practice",
    ),
    Caution(
        key="nozzle",
        topic="set-up",
        text="The nozzle passes close over the work: clamps, pins and a warped board must stay below it on the whole way.",
        at=("trace", "card"),
        source="common practice",
    ),
    Caution(
        key="no-chlorine",
        topic="material",
        tick="No PVC, no chlorine in film or coating",
        text="No PVC, nothing with chlorine in it, neither as board nor as film, coating, glue or masking: it gives off "
        "hydrogen chloride, which harms lungs and eats the machine.",
        at=("wood", "burn", "card"),
        source="[bofa], [ilsc1990], [twi-plastics]",
    ),
    Caution(
        key="know-it",
        topic="material",
        text="Burn only what you know. A board whose glue, finish or past nobody can name is not burnt; its maker's safety "
        "sheet says what it gives off. evenburn goes by the name you give it and cannot smell.",
        at=("wood", "verify"),
        source="common practice",
    ),
    Caution(
        key="unseen",
        topic="authority",
        text="What passed here is the program, against the limits of machine.toml. Nobody looked at what lies on the bed, "
        "whether it may be burnt, or whether the limits are true.",
        at=("verify",),
        source="common practice",
    ),
    Caution(
        key="food",
        topic="food",
        tick="For food: finish only with what its maker calls fit for food, such as mineral oil of food grade, "
        "and follow its maker’s word",
        text="What touches food is washed free of soot and finished only with what its maker calls fit for food, such as "
        "mineral oil of food grade, by its maker's word. Char itself is no food surface: keep burns to where nothing is cut or "
        "served, or say so to whoever takes the piece.",
        at=("finish", "hand over"),
        source="[cfr172-878], [cfr178-3620]; of char: common practice",
    ),
    Caution(
        key="oily-cloths",
        topic="finish",
        text="Spread oily cloths flat outdoors, or keep them wet in a closed metal tin: crumpled, they heat up by themselves "
        "and catch fire.",
        at=("finish",),
        source="common practice",
    ),
    Caution(
        key="authority",
        topic="authority",
        tick="Local rules and the machine’s maker have the last word",
        text="The machine's maker, local rules and those licensed to apply them (for electricity, fire, ventilation and "
        "lasers at work) have the last word; nothing that evenburn says stands above them.",
        at=("machine", "plan", "burn", "card", "stopwatch"),
        source="common practice",
    ),
)
FLAMES = (  # what to do about a cut that may flame
    "Stay beside it with an extinguisher at hand, air and extraction on, crumbs cleared from under the bed; look again half "
    "an hour after. The machine maker's rules and your local ones come first."
)
MASKED = (  # said of a surface that is masked
    "Mask with plain paper tape only: film of vinyl gives off hydrogen chloride, and its glue smokes."
)
OVER_CHAR = (  # said of a burn over a burn on wood
    "Burning over char: it glows and can flare. Stay with it, air and extraction on, extinguisher in reach, and watch the "
    "piece until it is cold, half an hour at least (common practice, no source)."
)
OVER_SLATE = (  # said of one on slate
    "Burning over burnt slate throws fine dust that holds silica: stay with it, extraction on, lid shut, and wipe up wet."
)
PROGRAM_WORDS = "never leave it burning alone; extraction on; lid shut"  # in the head of every program, in plain ASCII


def cautions_for(*, decision: Decision, wavelength_um: float | None = None, lens: str = "") -> tuple[Caution, ...]:
    """Return the cautions of one decision, the most pressing first. Own choice, see docs/safety.md.

    Parameters
    ----------
    wavelength_um : of the laser; without it the words speak of its wavelength. [µm]
    lens : name of the lens that is mounted; without it the words leave it out.
    """
    wavelength = "the laser’s wavelength" if wavelength_um is None else f"{wavelength_um:.4g}\u00a0µm"
    words = {"wavelength": wavelength, "lens": f"lens {lens}" if lens else "the right lens"}
    return tuple(
        Caution(
            key=one.key,
            topic=one.topic,
            text=one.text.format_map(words),
            at=one.at,
            source=one.source,
            tick=one.tick.format_map(words),
        )
        for one in CAUTIONS
        if decision in one.at
    )
