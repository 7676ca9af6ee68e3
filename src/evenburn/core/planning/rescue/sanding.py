"""How much sanding takes a burn out, what is left of the blank, and what else is sanded with it."""

from __future__ import annotations

from dataclasses import dataclass

from evenburn.core.nouns.mark import Mark, Piece
from evenburn.core.nouns.wood import Wood
from evenburn.core.planning.rescue.advice import NB, Advice, range_text
from evenburn.core.planning.rescue.burn_depth import BurnDepth, is_stone

FACE_VENEER_mm = 0.5  # starting value: faces of plywood are 0.3 to 1.5 mm; measure yours at an edge
STROKE_mm = (0.005, 0.010)  # off hardwood by a hand block with 120 grit: common practice, no source
FEATHER = 100.0  # a hollow is drawn out over so many times its depth, not to be seen in raking light: common practice
PLIES = ("plywood", "veneer", "ply", "mdf")
KEEPS_SHAPE = 0.2  # of the thickness; sanding more off one face lets a thin board cup: common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Sanding:
    """What sanding a burn out takes.

    Attributes
    ----------
    low_mm, high_mm : to come down to clean wood. [mm]
    left_mm : of the thickness where the most has to go; below 0 the burn goes through. [mm]
    veneer_mm : thickness of the face that may be sanded through; None where the wood is one piece. [mm]
    strokes : of a hand block on wood, least and most; None on stone.
    reach_mm : round the burn that is sanded with it, so that the hollow does not show. [mm]
    neighbours : ids of the other burnt marks of the piece, cuts aside, that lie within this reach.
    """

    low_mm: float
    high_mm: float
    left_mm: float
    veneer_mm: float | None
    strokes: tuple[int, int] | None
    reach_mm: float
    neighbours: tuple[str, ...]
    advice: tuple[Advice, ...]


def _gap_mm(one: Mark, other: Mark) -> float:
    """Return the distance between two marks' boxes, 0 where they touch."""
    gaps = [
        max(a0 - (b0 + b), b0 - (a0 + a), 0.0)
        for a0, a, b0, b in zip(one.place_mm, one.size_mm, other.place_mm, other.size_mm, strict=True)
    ]
    return float((gaps[0] ** 2 + gaps[1] ** 2) ** 0.5)


def is_veneered(wood: Wood) -> bool:
    """Return whether a wood is made of plies or faced, by the words of its name. Definition."""
    words = f"{wood.id} {wood.name}".lower().replace("-", " ").split()
    return any(word in PLIES for word in words)


def sanding(depth: BurnDepth, *, piece: Piece, mark: Mark, wood: Wood, veneer_mm: float | None = None) -> Sanding:
    """Return what sanding a burn out takes, and what to know before it is tried.

    Parameters
    ----------
    veneer_mm : thickness of the face; without it `FACE_VENEER_mm` where the wood is plywood, none elsewhere.

    Source
    ------
    Own derivation: the burn's depth, taken off whole. Strokes and feather are common practice, no source.
    """
    face = veneer_mm if veneer_mm is not None else FACE_VENEER_mm if is_veneered(wood) else None
    left = piece.blank.thickness_mm - depth.high_mm
    reach = FEATHER * depth.high_mm
    near = tuple(m.id for m in piece.marks if m.id != mark.id and m.treatment != "cut" and _gap_mm(mark, m) < reach)
    return Sanding(
        low_mm=depth.low_mm,
        high_mm=depth.high_mm,
        left_mm=left,
        veneer_mm=face,
        strokes=None
        if is_stone(wood)
        else (max(1, round(depth.low_mm / STROKE_mm[1])), max(1, round(depth.high_mm / STROKE_mm[0]))),
        reach_mm=reach,
        neighbours=near,
        advice=tuple(_advice(depth, piece=piece, wood=wood, face_mm=face, given=veneer_mm is not None, near=near)),
    )


def _advice(
    depth: BurnDepth, *, piece: Piece, wood: Wood, face_mm: float | None, given: bool, near: tuple[str, ...]
) -> list[Advice]:
    said: list[Advice] = []
    thick = piece.blank.thickness_mm
    if depth.low_mm >= thick:
        return [
            Advice(level="stop", text=f"The burn goes through the {thick:g}{NB}mm of the blank; sanding cannot help.")
        ]
    if depth.high_mm >= thick:
        said.append(
            Advice(
                level="warn", text=f"The burn may go through the {thick:g}{NB}mm of the blank: look at the back first."
            )
        )
    elif depth.high_mm > KEEPS_SHAPE * thick:
        said.append(
            Advice(
                level="warn",
                text=f"That may be more than a fifth of the {thick:g}{NB}mm: a thin board sanded on one face cups.",
            )
        )
    if face_mm is not None and depth.high_mm > face_mm:
        whence = "as you say" if given else "starting value; look at an edge and say --veneer-mm"
        sure = depth.low_mm > face_mm
        said.append(
            Advice(
                level="stop" if sure else "warn",
                text=f"{'The burn is' if sure else 'The burn may be'} deeper than the face veneer of {face_mm:g}{NB}mm "
                f"({whence}): sanding shows the glue and the next ply. Cover it instead, or turn the blank over.",
            )
        )
    if near:
        said.append(
            Advice(
                level="warn",
                text=f"Not to show as a hollow it is drawn out over some {FEATHER * depth.high_mm:.0f}{NB}mm round it "
                f"(common practice, no source); {' and '.join(near)} would be sanded with it and burnt again.",
            )
        )
    if is_stone(wood):
        said.append(
            Advice(
                level="warn",
                text="Slate dust holds silica, which scars the lungs: rub it wet only, never dry, wear a fitted mask "
                "(FFP3 or P100) and wipe it up wet.",
            )
        )
    else:
        said.append(
            Advice(
                level="warn",
                text="Burnt wood and sanding give fine dust that harms the lungs and can burn: mask (FFP2 or N95 at "
                "least), extraction at the block, and no sander run into a bag that holds glowing char. Wait until the "
                "burn is cold: char glows on unseen.",
            )
        )
    said.append(
        Advice(
            level="note",
            text=f"A sanded face is another lot than the one planned ({wood.surface}): its tone may come out otherwise. "
            "Burn a try on an offcut sanded the same way first, and set the focus anew: the surface lies "
            f"{range_text(depth.low_mm, depth.high_mm)} lower.",
        )
    )
    return said
