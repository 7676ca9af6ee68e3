"""Materials are found by the words people use, however they spell them, and the worst one counts."""

from __future__ import annotations

import pytest

from evenburn.adapters.formats.wood_toml import materials, shipped_ids, shipped_wood
from evenburn.core.planning.materials import Material, find_material, find_materials, plain_words, spoken_of

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


def test_what_a_name_says_that_takes_the_word_for_itself_is_taken_out_first() -> None:
    treated = Material(
        name="treated", words=("treated pine",), level="forbidden", why="copper", unless=("heat treated",)
    )

    assert find_material((treated,), "treated pine") is treated
    assert find_material((treated,), "heat-treated pine") is None
    assert find_material((treated,), "heat-treated, then treated pine") is treated


def test_a_number_is_whole_too() -> None:
    g10 = Material(name="glass", words=("g10",), level="forbidden", why="fibres")

    assert find_material((g10,), "G10") is g10
    assert find_material((g10,), "G100") is None


@pytest.mark.parametrize(
    ("as_typed", "read"), [("РVС", "pvc"), ("ΡVC", "pvc"), ("АВS", "abs"), ("Ѕtуrеnе", "styrene"), ("ＡＢＳ", "abs")]
)
def test_letters_that_look_alike_are_read_alike(as_typed: str, read: str) -> None:
    assert as_typed.casefold() != read
    assert plain_words(as_typed) == read


# ---- the list that ships -----------------------------------------------------------------------------------------

# as somebody else would write them, each from memory
REFUSED = """
treated pine | treated wood | pressure-treated spruce | Treated decking boards | pine, pressure treated | tanalised pine
Tanalized fence post | Preservative-treated larch | creosoted post | druckimprägnierte Kiefer | kesseldruckimprägniert
railway sleepers | Railroad ties, old | rail-road tie | carbon fibres | carbonfibre | Carbon-Fiber plate | glass fibre
glassfibre | glass-fibres | fiber glass | FR-4 | FR4 | FR 4 panel | G10 | G-10 sheet | g10 scales | epoxies | Epoxidharz
epoxy resin table | foams | foamboards | foam-boards | Foam core | PU-foam | EPS | XPS panel | HIPS | styrene
polychloroprene | neoprenes | PVB | PVB interlayer | lead paints | Door with lead-paint | РVС | ΡVC sheet | АВS | РТFE
faux-cuir | Kunst-Leder | fauxleather | faux leathers | leatherettes | vinyls | vinyl flooring
heat-treated, then pressure-treated pine
foamed PVC | PVC foam | rigid foam board | Hartschaum PVC | PVC-Hartschaumplatte | Hart-PVC | HartPVC | SchaumPVC | polyfoam board
expanded plastic board | closed-cell board | Integralschaum | geschäumte Platte | Geschaeumte Platte | Leichtschaumplatte
panneau de mousse | polistirene | panel espumado | schuimplaat | skumplast | płyta piankowa | вспененный пластик | 发泡板
"""
WOODS = """
seasoned oak | oak, oil-treated | oil-treated oak | heat-treated ash | thermo-treated beech | thermally treated poplar
untreated pine | un-treated pine | non-treated spruce | ash, soap-treated | wax treated lime | pine | Scots pine | spruce
fir | larch | cedar | hornbeam | boxwood | black locust | olive | plum | apple | hickory | ipe | teak | padauk | wenge
Hard maple, lot G10 | maple, lot G100 | kiln-dried maple | steamed beech | air-dried walnut | thermo ash | birch ply
leadwood | leatherwood | rubberwood | styrax | carbonised bamboo | vineyard oak | epsilon maple | tie beam oak
Schaumburg oak | expanded cork | sleeper-cut oak | glass-smooth maple | oak 650 g 10 mm | сосна | дуб | ясень | берёза | клён | карельская берёза
"""


def listed(names: str) -> list[str]:
    return [name.strip() for line in names.strip().splitlines() for name in line.split("|")]


SAFE = listed(WOODS)


@pytest.mark.parametrize(
    "name",
    [
        "faux leather (PVC)", "Faux-Leather", "faux  leather", "vegan leather", "PU leather", "artificial leather", "Kunstleder rot",
        "Künstleder", "simili-cuir", "cuir synthétique", "cuero sintético", "ecopelle", "finta pelle", "skóra? eko-skóra", "konstläder",
        "искусственная кожа", "Винил белый", "ПВХ 3 мм", "红色人造革板", "聚氯乙烯", "polyvinylchlorid", "PVC-free? no: uPVC", "neoprene",
        "teflon-coated oak", "PTFE", "ABS", "Polycarbonat 2 mm", "поликарбонат", "Lexan", "styrofoam", "Polystyrène extrudé" , "polyurethane foam",
        *listed(REFUSED), "carbon-fibre plate", "fibre de verre", "FR4", "celluloid pick guard", "asbestos board", "Eternit", "pressure-treated pine",
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
        "MDF 6 mm", "mdf6", "oak, treated", "heat-treated pallets", "barn wood", "PALLETS", "Spanplatte", "OSB", "phenolic plywood", "leather", "Leder", "cuir", "Кожа", "painted oak", "chêne verni",
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
        *SAFE,
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
