"""Write docs/safety.md: every caution, where it is shown, and every material that is refused or doubted.

    python tools/write_safety.py

The words are those of core/nouns/cautions.py and assets/materials.toml; this page adds none of its own but the head.
`tests/house/test_safety.py` says when this has to be run.
"""

from __future__ import annotations

from pathlib import Path

from evenburn.adapters.formats.wood_toml import materials
from evenburn.core.nouns.cautions import CAUTIONS, DECISIONS, TOPICS, Caution

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "safety.md"
HEAD = """# Safety

Written by tools/write_safety.py from the words that evenburn itself shows; do not edit by hand.

evenburn plans; it does not see. It knows the name you gave a board, not what the board is; the limits in machine.toml, not
the machine; the program, not what lies on the bed. The machine's maker, local rules, and those licensed to apply them have
the last word over everything here. Nobody who has not been shown how should run a laser alone.

Keys in square brackets stand in [the references](references.md) with how far each is trusted; “common practice” has no
source, and nothing here replaces a maker's safety sheet.
"""
ANSWERED = (
    "Until the wood's file says `confirmed_by`, and best `confirmed_on` too, no program is written; both then stand in "
    "plan.json, on the run sheet and on the terminal."
)


def words_of(one: Caution) -> str:
    """Return a caution's text with its blanks named rather than filled."""
    return one.text.format(wavelength="the laser's wavelength", lens="the right lens")


def page() -> str:
    """Return the page as it should read."""
    parts = [HEAD]
    for topic, title in TOPICS.items():
        parts.append(f"## {title}\n")
        for one in (c for c in CAUTIONS if c.topic == topic):
            belongs = "; ".join(DECISIONS[decision] for decision in one.at)
            parts.append(f"- **{words_of(one)}** Belongs to: {belongs}. Source: {one.source}.")
        parts.append("")
    for level, title, lead in (
        ("forbidden", "What must not be burnt", "No program is written and no setting printed, whatever else is said."),
        ("doubtful", "What is burnt only when somebody answers for it", ANSWERED),
    ):
        parts.append(f"## {title}\n\n{lead}\n")
        parts += [f"- **{one.name}.** {one.why}" for one in materials() if one.level == level]
        parts.append("")
    parts.append(
        "They are found by the words of a wood's name, its id and its surface, in the spellings and languages that "
        "assets/materials.toml lists. A material that is not on the list is not thereby safe. What stands without a key is common "
        "practice or from memory.\n"
    )
    return "\n".join(parts)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    print(f"{PAGE.relative_to(ROOT)}: {len(CAUTIONS)} cautions, {len(materials())} materials")
