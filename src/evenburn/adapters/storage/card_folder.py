"""The folder of a card: as `OutputFolder`, with card.json for its index; a plan that lies there is left alone."""

from __future__ import annotations

import re

from evenburn.adapters.storage.folder import OutputFolder
from evenburn.core.errors import StorageError

CARD_INDEX = "card.json"
FORMER = re.compile(r"card(-[a-z0-9_.+-]+)?\.(ngc|png)|beam-[0-9]{2}\.ngc|mat\.pdf")


class CardFolder(OutputFolder):
    """Collects the files of one card in a stage, and moves them into the folder when told that all are there.

    The index goes first and comes last; where it was there, the programs, picture and mat of the former card go with it.
    """

    def finish(self) -> None:
        """Move all files into the folder, the index last."""
        if self._stage is None:
            raise StorageError("the output folder is not open")
        names = sorted(p.name for p in self._stage.iterdir())
        index = self.target / CARD_INDEX
        former = {p.name for p in self.target.iterdir() if FORMER.fullmatch(p.name)} if index.is_file() else set()
        index.unlink(missing_ok=True)
        for name in former - set(names):
            (self.target / name).unlink(missing_ok=True)
        for name in [n for n in names if n != CARD_INDEX] + [n for n in names if n == CARD_INDEX]:
            (self._stage / name).replace(self.target / name)
