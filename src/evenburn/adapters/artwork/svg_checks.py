"""What a drawing may hold: an SVG is read, and whatever could not be drawn right, or not within bounds, is refused."""

from __future__ import annotations

import base64
import binascii
import io
import math
import re
import urllib.parse
import warnings
from collections import Counter

from lxml import etree
from PIL import Image

from evenburn.adapters.artwork.faces import list_faces
from evenburn.core.errors import UnreadableFile

SVG_NAMESPACE = "http://www.w3.org/2000/svg"
LARGEST_FILE_bytes = 32 * 1024 * 1024
DEEPEST = 200
MOST_ELEMENTS = 200_000
MOST_LETTERS = 20_000
LARGEST_PICTURE_px = 50_000_000
PICTURE_RULE = f"allowed are {LARGEST_PICTURE_px // 1_000_000} million pixels in all"
EVERYDAY_MODES = ("L", "RGB", "RGBA")
REFERENCE = re.compile(r"url\(\s*['\"]?\s*([^'\")]*)", re.IGNORECASE)
FAMILY = re.compile(r"(?<![\w-])font-family\s*:\s*([^;}]*)", re.IGNORECASE)
SHORTHAND = re.compile(r"(?<![\w-])font\s*:\s*([^;}]*)", re.IGNORECASE)
FONT_SIZE = re.compile(r"[\d.]+(?:[a-z]{1,4}|%)(?:\s*/\s*[\w.%]+)?\s+(.+)$", re.IGNORECASE)
GENERIC = {"serif", "sans-serif", "cursive", "fantasy", "inherit", "initial", "unset", "system-ui", ""}
UNDRAWN = {
    "script": "holds a script, which is not run",
    "foreignObject": "holds something foreign to SVG (foreignObject), which is not drawn",
    "flowRoot": "holds flowed text (flowRoot), which is not drawn",
    "meshgradient": "holds a mesh gradient, which is not drawn",
    "iframe": "holds a page inside the drawing (iframe), which is not drawn",
    "video": "holds a film, which is not drawn",
    "canvas": "holds a canvas, which is not drawn",
}


def read_svg(data: bytes, *, name: str) -> etree._Element:
    """Return the root of a drawing that refers to nothing outside itself and that can be drawn within bounds.

    Raises
    ------
    UnreadableFile
        If it is no SVG, too large, too deep or too often repeated, holds what is not drawn, refers to anything outside
        itself, or names only faces that are not there.
    """
    if len(data) > LARGEST_FILE_bytes:
        raise UnreadableFile(name, f"has {len(data)} bytes; allowed are {LARGEST_FILE_bytes}")
    if b"<!ENTITY" in data:
        raise UnreadableFile(name, "declares entities, which are not followed", hint="Save it as plain SVG.")
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False)
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        raise UnreadableFile(name, _xml_fault(str(error.msg)), line=error.lineno) from error
    if root.tag != f"{{{SVG_NAMESPACE}}}svg":
        raise UnreadableFile(name, f"begins with <{local_name(root)}>, not with an <svg> in the SVG namespace")
    if any(getattr(node, "target", "") == "xml-stylesheet" for node in root.itersiblings(preceding=True)):
        raise UnreadableFile(name, "refers to a style sheet outside itself", hint="Put the styles into the drawing.")
    _refuse_elements(root, name=name)
    _refuse_repetition(root, name=name)
    _refuse_faces(root, name=name)
    return root


def _xml_fault(message: str) -> str:
    if "depth" in message:
        return f"nests deeper than {DEEPEST} levels"
    if "limit exceeded" in message:
        return "holds a single value of more than 10 MB"
    return f"is not well-formed XML: {message.splitlines()[0]}"


def local_name(element: etree._Element) -> str:
    """Return the name of an element without its namespace; nothing for comments and the like."""
    tag: object = element.tag  # of a comment it is no string, whatever the stubs say
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def style_text(element: etree._Element) -> str:
    """Return the text of a style element; nothing for others."""
    return "".join(str(text) for text in element.itertext()) if local_name(element) == "style" else ""


def _refuse_elements(root: etree._Element, *, name: str) -> None:
    """Refuse what is not drawn, references to anything but the drawing itself, and absurd nesting."""
    stack: list[tuple[etree._Element, int, bool]] = [(root, 1, False)]
    while stack:
        element, depth, chosen = stack.pop()
        if depth > DEEPEST:
            raise UnreadableFile(name, f"nests deeper than {DEEPEST} levels", line=_line(element))
        if element.tag is etree.Entity:
            raise UnreadableFile(name, "uses entities, which are not followed", hint="Save it as plain SVG.")
        kind = local_name(element)
        if kind in UNDRAWN and not (kind == "foreignObject" and chosen):
            raise UnreadableFile(
                name, UNDRAWN[kind], line=_line(element), hint="Convert it to paths, or take it out of the drawing."
            )
        texts = [style_text(element)]
        for key, value in element.attrib.items():
            if etree.QName(key).localname == "href" and kind != "a":
                plain = _refuse_target(str(value), kind=kind, name=name, line=_line(element))
                if plain is not None:
                    element.set(key, plain)
            texts.append(str(value))
        for text in texts:
            if "@import" in text:
                raise UnreadableFile(name, "imports a style sheet from outside", line=_line(element))
            for target in REFERENCE.findall(text):
                _refuse_target(target, kind=kind, name=name, line=_line(element))
        stack.extend((child, depth + 1, chosen or kind == "switch") for child in element)


def _line(element: etree._Element) -> int | None:
    line: object = getattr(element, "sourceline", None)
    return line if isinstance(line, int) else None


def _refuse_target(target: str, *, kind: str, name: str, line: int | None) -> str | None:
    """Refuse what a drawing may not refer to; return an embedded picture anew where the renderers would not know it."""
    clean = target.strip()
    if clean == "" or clean.startswith("#"):
        return None
    if clean.lower().startswith("data:"):
        if kind in ("image", "feImage"):
            return _plain_picture(clean, name=name, line=line)
        return None  # the engine follows data nowhere else: a face in a style sheet is told by its family
    raise UnreadableFile(
        name,
        f"refers to something outside itself: {clean[:60]!r}",
        line=line,
        hint="Embed the picture in the drawing; evenburn fetches nothing.",
    )


def _plain_picture(target: str, *, name: str, line: int | None) -> str | None:
    """Return an embedded picture as a PNG of everyday kind, None if it is one; refuse what is no sound one of sane size."""
    head, _, body = target.partition(",")
    try:
        data = (
            base64.b64decode("".join(body.split()), validate=True)
            if head.rstrip().lower().endswith("base64")
            else urllib.parse.unquote_to_bytes(body)
        )
        width, height, plain = _decoded(data)
    except Image.DecompressionBombError as error:
        raise UnreadableFile(name, f"embeds a picture that is too large: {PICTURE_RULE}", line=line) from error
    except (binascii.Error, OSError, ValueError, SyntaxError) as error:
        what = head.partition(":")[2].partition(";")[0] or "data"
        raise UnreadableFile(
            name,
            f"embeds {what} that is no sound PNG, JPEG or GIF picture",
            line=line,
            hint="Embed it as PNG; draw what is a drawing as part of this one.",
        ) from error
    if width * height > LARGEST_PICTURE_px:
        raise UnreadableFile(name, f"embeds a picture of {width} × {height} pixels; {PICTURE_RULE}", line=line)
    return None if plain is None else f"data:image/png;base64,{base64.b64encode(plain).decode('ascii')}"


def _decoded(data: bytes) -> tuple[int, int, bytes | None]:
    """Return width and height of a picture, and the picture as PNG if it is of a kind that is seldom met.

    It is decoded to its end unless it is too large.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # our own limit stands above
        with Image.open(io.BytesIO(data), formats=("PNG", "JPEG", "GIF")) as picture:
            if math.prod(picture.size) > LARGEST_PICTURE_px:
                return *picture.size, None
            picture.load()
            if picture.format != "GIF" and picture.mode in EVERYDAY_MODES:
                return *picture.size, None
            deep = picture.mode.startswith("I")
            eight = picture.convert("I").point(lambda value: value / 257.0).convert("L") if deep else picture
            out = io.BytesIO()
            eight.convert("RGBA").save(out, "PNG")
            return *picture.size, out.getvalue()


def _refuse_repetition(root: etree._Element, *, name: str) -> None:
    """Refuse a drawing that uses itself, or that becomes too large once all its uses are written out."""
    by_id: dict[str, etree._Element] = {}
    for element in root.iter():
        given = element.get("id") if local_name(element) else None
        if given:
            by_id.setdefault(given, element)
    counted: dict[etree._Element, int] = {}
    letters: dict[etree._Element, int] = {}
    open_now: set[etree._Element] = set()
    # depth first without recursion: an element is closed once all it holds and uses is counted
    stack: list[tuple[etree._Element, bool]] = [(root, False)]
    while stack:
        element, ready = stack.pop()
        if ready:
            open_now.discard(element)
            parts = _parts(element, by_id)
            counted[element] = 1 + sum(counted.get(part, 0) for part in parts)
            own = sum(len(str(text)) for text in element.itertext()) if local_name(element) == "text" else 0
            letters[element] = own + sum(letters.get(part, 0) for part in parts)
            if letters[element] > MOST_LETTERS:
                raise UnreadableFile(
                    name,
                    f"has text of more than {MOST_LETTERS} characters",
                    hint="Convert the text to paths in the drawing.",
                )
            if counted[element] > MOST_ELEMENTS:
                raise UnreadableFile(
                    name,
                    f"has more than {MOST_ELEMENTS} elements, all that it uses again counted each time",
                    hint="Simplify the drawing.",
                )
        elif element in open_now:
            raise UnreadableFile(name, f"uses {element.get('id')!r} inside itself", line=_line(element))
        elif element not in counted:
            open_now.add(element)
            stack.append((element, True))
            stack.extend((part, False) for part in _parts(element, by_id))


def _parts(element: etree._Element, by_id: dict[str, etree._Element]) -> list[etree._Element]:
    """Return what an element holds, and what it uses."""
    parts = [child for child in element if local_name(child)]
    if local_name(element) == "use":
        target = next((str(v).strip() for k, v in element.attrib.items() if etree.QName(k).localname == "href"), "")
        if target[1:] in by_id:
            parts.append(by_id[target[1:]])
    return parts


def _refuse_faces(root: etree._Element, *, name: str) -> None:
    """Refuse text that names only faces which are not there: another face would be another drawing."""
    counts = Counter(local_name(element) for element in root.iter())
    if not counts["text"]:
        return
    known = {face.name.lower() for face in list_faces()} | GENERIC
    lists: list[tuple[str, int | None]] = []
    for element in root.iter():
        if not local_name(element):
            continue
        for text in (element.get("style") or "", style_text(element)):
            lists += [(found, _line(element)) for found in FAMILY.findall(text)]
            for short in SHORTHAND.findall(text):
                sized = FONT_SIZE.search(short.replace("!important", ""))
                if sized is not None:
                    lists.append((sized.group(1), _line(element)))
        if element.get("font-family") is not None:
            lists.append((element.get("font-family") or "", _line(element)))
    for families, line in lists:
        names = [one.strip().strip("'\"").strip() for one in families.replace("!important", "").split(",")]
        if not any(one.lower() in known for one in names):
            raise UnreadableFile(
                name,
                f"has text in {', '.join(names)}, which evenburn does not have",
                line=line,
                hint="Convert the text to paths in the drawing, or take serif, sans-serif, cursive, fantasy or one of "
                f"{', '.join(face.name for face in list_faces())}.",
            )
