"""The folder of a card: as `OutputFolder`, with card.json for its index; a plan that lies there is left alone."""

from __future__ import annotations

import re

from evenburn.adapters.storage.folder import OutputFolder

CARD_INDEX = "card.json"
FORMER = re.compile(r"card(-[a-z0-9_.+-]+)?\.(ngc|png)|beam-[0-9]{2}\.ngc|mat\.pdf")


class CardFolder(OutputFolder):
    """Collects the files of one card in a stage, and moves them into the folder when told that all are there.

    The index goes first and comes last; where it was there, the programs, picture and mat of the former card go with it.
    """

    def finish(self) -> None:
        """Move all files into the folder, the index last."""
        was_card = (self.target / CARD_INDEX).is_file()
        former = {p.name for p in self.target.iterdir() if FORMER.fullmatch(p.name)} if was_card else set()
        self._move_in(index=CARD_INDEX, former=former)
