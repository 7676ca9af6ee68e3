"""Fetch the faces that evenburn ships and lay them into src/evenburn/assets/faces.

A developer's script, run by hand when a face is added or renewed:

    python tools/vendor_fonts.py

Needs npm on the path; nothing it fetches is run. Engraving faces are the designers' whole static TrueType files, byte
for byte, so that kerning, ligatures and joins reach across all of a face's letters and reserved font names are kept
lawfully (OFL-1.1, clause 3 binds only modified versions). The five faces for printed sheets are made here: one static
instance of each variable subset, the subsets joined by glyph name, and tabular lining figures put in place of the
proportional ones, because neither reportlab nor Pillow's basic layout can switch a feature on. No reserved name is
declared for those two families; the made files carry names of their own all the same.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import tarfile
import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from fontTools.pens.transformPen import TransformPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont
from fontTools.varLib import instancer

TARGET = Path(__file__).resolve().parent.parent / "src" / "evenburn" / "assets" / "faces"
LETTERS = "éőßøÅŒŁ"
SHEET_LETTERS = LETTERS + "κτΔ°±\N{MULTIPLICATION SIGN}\N{MINUS SIGN}µ²\N{NO-BREAK SPACE}"
LICENCE_MARKS = {"OFL-1.1": "SIL OPEN FONT LICENSE Version 1.1", "Apache-2.0": "Apache License"}
MOST_BYTES = 6_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Whole:
    """A face taken over unchanged: `inside` is its path in the package."""

    id: str
    name: str
    kind: str
    package: str
    version: str
    inside: str
    licence: str = "OFL-1.1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A static face made from the subsets of a variable one."""

    id: str
    name: str
    kind: str
    package: str
    version: str
    stem: str
    style: str
    weight: int
    licence: str = "OFL-1.1"


def _whole(face_id: str, name: str, *, kind: str, version: str, cut: str, licence: str = "OFL-1.1") -> Whole:
    """Name a whole face by the cut (weight) to take, as the package's folders spell it."""
    file = f"{name.replace(' ', '')}_{cut}.ttf"
    package = f"@expo-google-fonts/{face_id}"
    return Whole(
        id=face_id, name=name, kind=kind, package=package, version=version, inside=f"{cut}/{file}", licence=licence
    )


ENGRAVING = (
    _whole("great-vibes", "Great Vibes", kind="script", version="0.4.1", cut="400Regular"),
    _whole("dancing-script", "Dancing Script", kind="script", version="0.4.2", cut="700Bold"),
    _whole("pacifico", "Pacifico", kind="script", version="0.4.1", cut="400Regular"),
    _whole("eb-garamond", "EB Garamond", kind="serif", version="0.4.3", cut="500Medium"),
    _whole("libre-baskerville", "Libre Baskerville", kind="serif", version="0.4.3", cut="400Regular"),
    _whole("cinzel", "Cinzel", kind="capitals", version="0.4.2", cut="500Medium"),
    _whole("roboto-slab", "Roboto Slab", kind="slab", version="0.4.2", cut="500Medium", licence="Apache-2.0"),
    _whole("zilla-slab", "Zilla Slab", kind="slab", version="0.4.1", cut="600SemiBold"),
    _whole("montserrat", "Montserrat", kind="sans", version="0.4.2", cut="500Medium"),
    _whole("josefin-sans", "Josefin Sans", kind="sans", version="0.4.2", cut="600SemiBold"),
    _whole("oswald", "Oswald", kind="condensed", version="0.4.2", cut="500Medium"),
    _whole("bebas-neue", "Bebas Neue", kind="condensed", version="0.4.1", cut="400Regular"),
    _whole("quicksand", "Quicksand", kind="monoline", version="0.4.1", cut="500Medium"),
    _whole("poiret-one", "Poiret One", kind="monoline", version="0.4.1", cut="400Regular"),
    _whole("pirata-one", "Pirata One", kind="blackletter", version="0.4.1", cut="400Regular"),
    _whole("grenze-gotisch", "Grenze Gotisch", kind="blackletter", version="0.4.2", cut="600SemiBold"),
    _whole("saira-stencil-one", "Saira Stencil One", kind="stencil", version="0.4.1", cut="400Regular"),
)


def _sheet(face_id: str, name: str, *, stem: str, style: str, weight: int) -> Made:
    kind = "serif" if stem.startswith("brygada") else "sans"
    package = f"@fontsource-variable/{stem}"
    return Made(
        id=face_id, name=name, kind=kind, package=package, version="5.3.0", stem=stem, style=style, weight=weight
    )


_SERIF, _SANS = "brygada-1918", "sofia-sans-semi-condensed"
SHEET = (
    _sheet("sheet-serif", "Sheet Serif", stem=_SERIF, style="normal", weight=500),
    _sheet("sheet-serif-bold", "Sheet Serif Bold", stem=_SERIF, style="normal", weight=650),
    _sheet("sheet-serif-italic", "Sheet Serif Italic", stem=_SERIF, style="italic", weight=500),
    _sheet("sheet-sans", "Sheet Sans", stem=_SANS, style="normal", weight=400),
    _sheet("sheet-sans-bold", "Sheet Sans Bold", stem=_SANS, style="normal", weight=650),
)


def fetch(package: str, version: str, into: Path) -> Path:
    """Unpack one npm package under `into` and return its folder; a second call finds it there."""
    folder = into / package.strip("@").replace("/", "-")
    if not folder.exists():
        argv = ["npm", "pack", f"{package}@{version}", "--silent", "--ignore-scripts", "--pack-destination", str(into)]
        # the words of argv are written in this file
        made = subprocess.run(argv, check=True, capture_output=True, text=True, cwd=into)  # noqa: S603
        archive = into / made.stdout.split()[-1]
        with tarfile.open(archive) as tar:
            tar.extractall(folder, filter="data")
    return folder / "package"


def figures(font: TTFont) -> dict[str, str]:
    """Return the single substitutions that lnum and then tnum make, by glyph name."""
    table = font["GSUB"].table
    steps: dict[str, dict[str, str]] = {"lnum": {}, "tnum": {}}
    for record in table.FeatureList.FeatureRecord:
        if record.FeatureTag not in steps:
            continue
        for index in record.Feature.LookupListIndex:
            for subtable in table.LookupList.Lookup[index].SubTable:
                steps[record.FeatureTag].update(getattr(subtable, "ExtSubTable", subtable).mapping)
    return {k: steps["tnum"].get(v, v) for k, v in (steps["tnum"] | steps["lnum"]).items()}


def even_figures(font: TTFont, mapping: dict[int, str]) -> None:
    """Give all ten figures one advance, keeping each in the middle of its place.

    Brygada 1918's tabular 7 is narrower than its other tabular figures, by 3 % at weight 400 and 13 % at 650.
    """
    glyphs = [mapping[ord(figure)] for figure in "0123456789"]
    advance = Counter(font["hmtx"].metrics[glyph][0] for glyph in glyphs).most_common(1)[0][0]
    for glyph in glyphs:
        own, bearing = font["hmtx"].metrics[glyph]
        if own != advance:
            shift = (advance - own) // 2
            pen = TTGlyphPen(font.getGlyphSet())
            font.getGlyphSet()[glyph].draw(TransformPen(pen, (1, 0, 0, 1, shift, 0)))
            font["glyf"][glyph] = pen.glyph()
            font["hmtx"].metrics[glyph] = (advance, bearing + shift)


def make_static(face: Made, package: Path) -> TTFont:
    """Join the subsets of one variable face into one static face with tabular lining figures.

    Subsets of one source name the same glyph alike, so they join by name: the Latin one leads, with its kerning and
    ligatures, and the glyphs only the others have are put behind it, which leaves its layout tables as they are.
    """
    parts = []
    for subset in ("latin", "latin-ext", "greek"):
        path = package / "files" / f"{face.stem}-{subset}-wght-{face.style}.woff2"
        variable = TTFont(path, recalcTimestamp=False)
        static = instancer.instantiateVariableFont(variable, {"wght": face.weight}, inplace=True)
        static.ensureDecompiled(recurse=True)  # all of it, before its glyph order grows
        parts.append(static)
    lead = parts[0]
    lead.flavor = None  # plain TrueType, not woff2
    glyf, widths = lead["glyf"], lead["hmtx"].metrics
    mapping = dict(lead.getBestCmap())
    swaps = figures(lead)
    mapping = {code: swaps.get(glyph, glyph) for code, glyph in mapping.items()}
    even_figures(lead, mapping)
    for part in parts[1:]:
        for glyph in part.getGlyphOrder():
            if glyph not in glyf.glyphs:
                glyf.glyphs[glyph] = part["glyf"][glyph]
                glyf.glyphOrder.append(glyph)
                widths[glyph] = part["hmtx"].metrics[glyph]
        for code, glyph in part.getBestCmap().items():
            mapping.setdefault(code, glyph)
    lead.setGlyphOrder(glyf.glyphOrder)
    lead["maxp"].numGlyphs = len(glyf.glyphOrder)
    for table in lead["cmap"].tables:
        if table.isUnicode():
            limit = 0x110000 if table.format in (12, 13) else 0x10000
            table.cmap = {code: glyph for code, glyph in mapping.items() if code < limit}
    lead["post"].formatType = 3.0  # no glyph names: nothing reads them
    lead["OS/2"].usWeightClass = face.weight
    lead["OS/2"].recalcUnicodeRanges(lead)
    post_script = f"Evenburn{face.name.replace(' ', '')}"
    for record in list(lead["name"].names):
        if record.nameID in (16, 17, 21, 22, 25) or record.nameID > 255:
            lead["name"].removeNames(nameID=record.nameID)
    for name_id, text in ((1, f"Evenburn {face.name}"), (2, "Regular"), (3, post_script), (4, face.name)):
        lead["name"].setName(text, name_id, 3, 1, 0x409)
    lead["name"].setName(post_script, 6, 3, 1, 0x409)
    for table in ("DSIG", "STAT", "MVAR", "HVAR"):
        if table in lead:
            del lead[table]
    return lead


def check(path: Path, letters: str) -> None:
    """Stop where a face lacks outlines we can use or one of the letters it must have."""
    font = TTFont(path)
    cmap = font.getBestCmap()
    missing = [letter for letter in letters if ord(letter) not in cmap]
    if "glyf" not in font or "fvar" in font or missing:
        raise SystemExit(f"{path.name}: not a static TrueType face, or without {''.join(missing)!r}")


def entry(table: str, face: Whole | Made) -> str:
    """Return one TOML table of faces.toml."""
    fields = {
        "id": face.id,
        "name": face.name,
        "kind": face.kind,
        "file": f"{face.id}.ttf",
        "package": face.package,
        "version": face.version,
        "licence": face.licence,
    }
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in fields.items()]
    return "\n".join([f"[[{table}]]", *lines, f"unchanged = {str(isinstance(face, Whole)).lower()}"])


HEAD = """\
# Faces that ship with evenburn; written by tools/vendor_fonts.py, not by hand.
# package and version: the npm package a face comes from. unchanged: byte for byte as the package has it.
# [[face]] is for engraving, [[sheet]] for printed sheets and pictures. Each licence stands beside its file.
"""


def main() -> None:
    """Fetch, make, check and write all faces with their licences and faces.toml."""
    TARGET.mkdir(parents=True, exist_ok=True)
    for old in TARGET.iterdir():
        old.unlink()
    tables = [HEAD]
    with tempfile.TemporaryDirectory() as scratch:
        for face in (*ENGRAVING, *SHEET):
            package = fetch(face.package, face.version, Path(scratch))
            file = TARGET / f"{face.id}.ttf"
            if isinstance(face, Whole):
                shutil.copyfile(package / face.inside, file)
                licence, table, letters = package / "LICENSE_FONT", "face", LETTERS
            else:
                make_static(face, package).save(file)
                licence, table, letters = package / "LICENSE", "sheet", SHEET_LETTERS
            check(file, letters)
            text = licence.read_text(encoding="utf-8")
            if LICENCE_MARKS[face.licence].lower() not in text.lower():
                raise SystemExit(f"{face.id}: its licence text is not {face.licence}")
            (TARGET / f"{face.id}.LICENSE").write_text(text, encoding="utf-8")
            tables.append(entry(table, face) + "\n")
            print(f"{face.id:20} {file.stat().st_size:>8} bytes")
    (TARGET / "faces.toml").write_text("\n".join(tables), encoding="utf-8")
    total = sum(path.stat().st_size for path in TARGET.iterdir())
    print(f"{total} bytes in all")
    if total > MOST_BYTES:
        raise SystemExit(f"more than {MOST_BYTES} bytes: take fewer faces")


if __name__ == "__main__":
    main()
