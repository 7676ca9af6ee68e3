"""Materials are found by the words people use, however they spell them, and the worst one counts."""

from __future__ import annotations

import pytest

from evenburn.adapters.formats.wood_toml import materials, shipped_ids, shipped_wood
from evenburn.core.planning.materials import Material, find_material, find_materials, spoken_of

PVC = Material(name="PVC", words=("pvc*", "vinyl", "polyvinyl chloride"), level="forbidden", why="chlorine")
ABS = Material(name="ABS", words=("abs",), level="forbidden", why="cyanide")
MDF = Material(name="MDF", words=("mdf",), level="doubtful", why="binder")
PAINT = Material(name="paint", words=("painted",), level="doubtful", why="lead")
ALL = (MDF, PVC, ABS, PAINT)


@pytest.mark.parametrize(
    ("names", "found"),
    [
        (("vinyl",), PVC),
        (("Self-adhesive VINYL film",), PVC),
        (("white vinyl-coated board",), PVC),
        (("polyvinyl chloride sheet",), PVC),
        (("poly-vinyl  chloride",), PVC),
        (("polyvinyl-chloride",), PVC),
        (("polyvinyl\nchloride",), PVC),
        (("P.V.C. sheet",), PVC),
        (("p v c",), PVC),
        (("PVC-Platte",), PVC),
        (("pvcplatte",), PVC),
        (("3mmPVC",), PVC),
        (("ＰＶＣ",), PVC),
        (("P\u200bV\u200bC",), PVC),
        (("ABS",), ABS),
        (("abs_sheet 2 mm",), ABS),
        (("abs-2mm",), ABS),
        (("absolute beech",), None),
        (("cabs",), None),
        (("vinylester",), None),
        (("hard maple", "bare"), None),
        (("plan a", "b s beech"), None),
        (("", ""), None),
        ((), None),
        (("oak", "on mdf"), MDF),
    ],
)
def test_only_whole_words_match_however_they_are_spelt(names: tuple[str, ...], found: Material | None) -> None:
    assert find_material(ALL, *names) is found


def test_the_worst_of_several_counts() -> None:
    assert find_material(ALL, "mdf with a vinyl skin") is PVC
    assert find_material((MDF,), "mdf with a vinyl skin") is MDF


def test_several_doubtful_ones_are_told_together() -> None:
    both = find_material(ALL, "painted MDF")

    assert both is not None
    assert (both.name, both.level) == ("MDF, paint", "doubtful")
    assert "binder" in both.why
    assert "lead" in both.why


def test_without_a_list_nothing_is_found() -> None:
    assert find_material((), "vinyl") is None


# ---- the list that ships -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    [
        "faux leather (PVC)", "Faux-Leather", "faux  leather", "vegan leather", "PU leather", "artificial leather", "Kunstleder rot",
        "Künstleder", "simili-cuir", "cuir synthétique", "cuero sintético", "ecopelle", "finta pelle", "skóra? eko-skóra", "konstläder",
        "искусственная кожа", "Винил белый", "ПВХ 3 мм", "红色人造革板", "聚氯乙烯", "polyvinylchlorid", "PVC-free? no: uPVC", "neoprene",
        "teflon-coated oak", "PTFE", "ABS", "Polycarbonat 2 mm", "поликарбонат", "Lexan", "styrofoam", "Polystyrène extrudé" , "polyurethane foam",
        "carbon-fibre plate", "fibre de verre", "FR4", "celluloid pick guard", "asbestos board", "Eternit", "pressure-treated pine",
        "pressure treated pine", "CCA", "kesseldruckimprägnierte Kiefer", "railway sleeper", "lead-painted door", "beryllium bronze",
    ],
)  # fmt: skip
def test_what_must_not_be_burnt_is_forbidden_in_any_spelling_and_many_languages(name: str) -> None:
    found = find_material(materials(), name)

    assert found is not None, name
    assert found.level == "forbidden", found.name


@pytest.mark.parametrize(
    "name",
    [
        "MDF 6 mm", "mdf6", "Spanplatte", "OSB", "phenolic plywood", "leather", "Leder", "cuir", "Кожа", "painted oak", "chêne verni",
        "lackierte Buche", "ламинат", "pallet wood", "driftwood", "fire-retardant ply", "yew", "Palisander", "rubber", "nylon",
    ],
)  # fmt: skip
def test_what_has_to_be_made_sure_of_is_doubtful(name: str) -> None:
    found = find_material(materials(), name)

    assert found is not None, name
    assert found.level == "doubtful", found.name


@pytest.mark.parametrize(
    "name",
    [
        "Ahorn",
        "hêtre",
        "sapele",
        "larch",
        "lime",
        "basswood",
        "cork",
        "slate",
        "birch ply 4 mm",
        "pear",
        "elm",
        "alder",
        "олива",
        "oak, 3 mm",
        "balsa",
    ],
)
def test_plain_wood_is_left_alone(name: str) -> None:
    assert find_materials(materials(), name) == ()


def test_no_wood_that_ships_is_refused_or_doubted() -> None:
    for wood_id in shipped_ids():
        assert find_materials(materials(), *spoken_of(shipped_wood(wood_id))) == (), wood_id


def test_every_material_says_what_it_gives_off_or_does() -> None:
    for one in materials():
        assert one.why.endswith("."), one.name
        assert len(one.why) > 30, one.name
        assert one.words, one.name
    words = [word for one in materials() for word in one.words]
    assert len(words) == len(set(words)), sorted(w for w in set(words) if words.count(w) > 1)
