"""Reading plan.json back: what was planned for a piece, to hold it against what came of it."""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError

from evenburn.adapters.formats.json_file import read_json
from evenburn.adapters.formats.plan_form import PlanDocument
from evenburn.core.errors import InvalidInput

HINT = "plan.json is written by `evenburn plan`; take it unchanged, with the pictures beside it."


def read_plan(path: Path, *, name: str) -> PlanDocument:
    """Return the document of a plan.json.

    Raises
    ------
    UnreadableFile, InvalidInput
        If it is missing, is no JSON, or is not a plan of this version.
    """
    data = read_json(path, name=name, hint=HINT)
    try:
        return PlanDocument.model_validate(data)
    except ValidationError as error:
        wrong = error.errors(include_url=False)[0]
        where = ".".join(str(p) for p in wrong["loc"]) or "it"
        more = f", and {error.error_count() - 1} more" if error.error_count() > 1 else ""
        raise InvalidInput({where: f"is not as a plan has it: {wrong['msg']}{more}"}, source=name, hint=HINT) from error
