"""Files made from rules rather than from other files: drawings, pages, programs and lists as odd as their formats allow."""

from __future__ import annotations

import io
import zlib
from random import Random

NUMBERS = (
    "0",
    "1",
    "-1",
    "0.5",
    "3",
    "10",
    "50",
    "100",
    "1e3",
    "1e-6",
    "-1e9",
    "1e30",
    "1e38",
    "1e300",
    "nan",
    "inf",
    "1%",
    "200%",
    "1e-30",
    "",
    "-0",
)
LENGTHS = ("mm", "", "px", "%", "in", "em", "ex", "vw", "q")


def _n(rng: Random) -> str:
    return rng.choice(NUMBERS) if rng.random() < 0.15 else f"{rng.uniform(-20, 120):.3g}"


# ---- SVG ---------------------------------------------------------------------------------------------------------

SHAPES = (
    "rect",
    "circle",
    "ellipse",
    "line",
    "path",
    "polygon",
    "polyline",
    "text",
    "use",
    "image",
    "g",
    "svg",
    "switch",
    "symbol",
    "a",
)
DEFINITIONS = ("linearGradient", "radialGradient", "pattern", "clipPath", "mask", "marker", "filter", "symbol")
FILTERS = ("feGaussianBlur", "feOffset", "feMorphology", "feTurbulence", "feFlood", "feMerge", "feTile", "feImage", "feColorMatrix",
           "feComposite", "feDropShadow", "feConvolveMatrix", "feDisplacementMap", "feSpecularLighting")  # fmt: skip
PAINTS = (
    "#000",
    "none",
    "red",
    "url(#d0)",
    "url(#d1)",
    "url(#d9) red",
    "currentColor",
    "rgb(1,2,3)",
    "hsl(1,2%,3%)",
    "context-fill",
    "",
)
PIXEL = "data:image/png;base64,iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR4nGNgYGD4DwABBAEAX+XDSwAAAABJRU5ErkJggg=="
OUTSIDE = (
    "../secret.svg",
    "file:" + "///etc/hostname",
    "http://127.0.0.1:9/x.png",
    "//127.0.0.1/x",
    PIXEL,
    "data:image/svg+xml,<svg/>",
    "#d0",
    "#e1",
)


def _attributes(rng: Random) -> str:
    made: list[str] = []
    for _ in range(rng.randrange(7)):
        key = rng.choice(("x", "y", "width", "height", "r", "rx", "ry", "cx", "cy", "x1", "y2", "transform", "fill", "stroke", "stroke-width",
                          "stroke-dasharray", "opacity", "clip-path", "mask", "filter", "marker-mid", "d", "points", "style", "viewBox", "href",
                          "xlink:href", "font-size", "font-family", "id", "class", "display", "visibility", "preserveAspectRatio", "offset",
                          "gradientTransform", "patternUnits", "spreadMethod", "stroke-linejoin", "stroke-miterlimit", "textLength", "dx", "rotate",
                          "fill-rule", "paint-order", "mix-blend-mode", "isolation", "refX", "markerWidth", "orient", "clipPathUnits"))  # fmt: skip
        match key:
            case "transform" | "gradientTransform":
                value = rng.choice(
                    ("scale({})", "rotate({} {} {})", "matrix({} {} {} {} {} {})", "skewX({})", "translate({},{})")
                ).format(*[_n(rng) for _ in range(6)])
            case "fill" | "stroke":
                value = rng.choice(PAINTS)
            case "clip-path" | "mask" | "filter" | "marker-mid":
                value = f"url(#d{rng.randrange(5)})"
            case "d":
                value = path_data(rng)
            case "points" | "stroke-dasharray" | "viewBox" | "rotate" | "dx":
                value = " ".join(_n(rng) for _ in range(rng.randrange(9)))
            case "style":
                value = ";".join(
                    f"{rng.choice(('fill', 'stroke', 'font', 'opacity', 'filter', 'mask'))}:{rng.choice((*PAINTS, 'blur(2px)', _n(rng)))}"
                    for _ in range(3)
                )
            case "href" | "xlink:href":
                value = rng.choice(OUTSIDE) if rng.random() < 0.1 else rng.choice((PIXEL, "#d0", "#e1", "#e2"))
            case "font-family":
                value = rng.choice(("serif", "Montserrat", "Nothing", "", "'"))
            case "id":
                value = f"e{rng.randrange(4)}"
            case "class":
                value = f"c{rng.randrange(2)}"
            case _:
                value = _n(rng) + rng.choice(LENGTHS)
        if f" {key}=" not in " ".join(made):
            made.append(f' {key}="{value.replace(chr(34), "")}"')
    return "".join(made).replace("<", "&lt;")


def path_data(rng: Random) -> str:
    """Return path data, mostly sound."""
    parts = ["M " + _n(rng) + " " + _n(rng)] if rng.random() < 0.9 else []
    for _ in range(rng.choice((1, 3, 8, 200))):
        letter, count = rng.choice(
            (
                ("L", 2),
                ("l", 2),
                ("H", 1),
                ("v", 1),
                ("C", 6),
                ("s", 4),
                ("Q", 4),
                ("t", 2),
                ("z", 0),
                ("M", 2),
                ("a", 7),
            )
        )
        numbers = [_n(rng) for _ in range(count)]
        if letter == "a":
            numbers[3:5] = [rng.choice("01"), rng.choice("01")]
        parts.append(letter + " ".join(numbers))
    return "".join(parts)


def _element(rng: Random, depth: int) -> str:
    kind = rng.choice(SHAPES)
    inside = ""
    if depth < rng.choice((2, 3, 6)) and kind in ("g", "svg", "switch", "symbol", "a"):
        inside = "".join(_element(rng, depth + 1) for _ in range(rng.randrange(4)))
    if kind == "text":
        inside = rng.choice(
            (
                "Oars",
                "",
                "\u0627\u0644",
                "<tspan dy='3'>a</tspan>",
                "漢",
                "&#x1F6A3;",
                "a" * 300,
                "<textPath href='#e1'>along</textPath>",
            )
        )
    return f"<{kind}{_attributes(rng)}>{inside}</{kind}>"


def svg(rng: Random) -> bytes:
    """Return a drawing."""
    definitions = ""
    for number in range(rng.randrange(5)):
        kind = rng.choice(DEFINITIONS)
        if kind == "filter":
            inside = "".join(
                f"<{rng.choice(FILTERS)}{_attributes(rng)} stdDeviation='{_n(rng)}' radius='{_n(rng)}' baseFrequency='{_n(rng)}'/>"
                for _ in range(rng.randrange(4))
            )
        elif "Gradient" in kind:
            inside = "".join(
                f"<stop offset='{_n(rng)}' stop-color='{rng.choice(PAINTS)}'/>" for _ in range(rng.randrange(4))
            )
        else:
            inside = "".join(_element(rng, 3) for _ in range(rng.randrange(4)))
        definitions += f'<{kind} id="d{number}"{_attributes(rng).replace(" id=", " class=")}>{inside}</{kind}>'
    style = rng.choice(
        (
            "",
            "",
            "<style>.c0{fill:red} *{stroke:#000;stroke-width:2} #e1>rect:first-child{opacity:.5}</style>",
            "",
            "",
            "",
            "",
            "<style>@import 'x';</style>",
            "<style>{{{</style>",
        )
    )
    page = rng.choice(
        ('width="60mm" height="30mm" viewBox="0 0 100 50"',) * 5
        + (
            'width="60mm" height="30mm"',
            'viewBox="0 0 100 50"',
            "",
            f'width="{_n(rng)}mm" height="{_n(rng)}mm" viewBox="{_n(rng)} {_n(rng)} {_n(rng)} {_n(rng)}"',
        )
    )
    body = "".join(_element(rng, 0) for _ in range(rng.choice((1, 2, 5, 20))))
    head = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
    return f"<svg {head} {page}>{style}<defs>{definitions}</defs>{body}</svg>".encode("utf-8", "replace")


# ---- PDF ---------------------------------------------------------------------------------------------------------

PAINT_WORDS = (
    "f",
    "S",
    "B*",
    "W n",
    "q",
    "Q",
    "h",
    "sh",
    "/P1 scn",
    "/X1 Do",
    "/X2 Do",
    "BT /F1 12 Tf (Oars) Tj ET",
    "/G1 gs",
    "BI /W 1 /H 1 /BPC 8 /CS /G ID x EI",
    "[1 0] 0 d",
)


def pdf(rng: Random) -> bytes:
    """Return a page by hand, with forms that may draw themselves, patterns and pictures."""
    words = []
    for _ in range(rng.choice((3, 10, 60))):
        match rng.randrange(5):
            case 0:
                words.append(" ".join(_n(rng) for _ in range(4)) + " re")
            case 1:
                words.append(" ".join(_n(rng) for _ in range(6)) + rng.choice((" c", " cm")))
            case 2:
                words.append(f"{_n(rng)} {_n(rng)} {rng.choice('ml')}")
            case _:
                words.append(rng.choice(PAINT_WORDS))
    content = " ".join(words).encode()
    box = rng.choice(
        ("0 0 200 100",) * 4 + ("0 0 0 0", "-1e9 0 1e9 1", "0 0 1e38 1e38", "0 0 14400 14400", "nan 0 1 1")
    )
    resources = "/Resources << /XObject << /X1 5 0 R /X2 6 0 R >> /Pattern << /P1 7 0 R >> /Font << /F1 << /Type /Font /Subtype /Type1 /BaseFont /Helvetica >> >> >>"
    step = rng.choice(("10", "0.001", "0", "-5", "1e9"))
    size = rng.choice(("1", "60000", "0", "-1", "2"))
    bodies = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        f"<< /Type /Pages /Kids [{rng.choice(('3 0 R', '3 0 R 3 0 R', '2 0 R'))}] /Count {rng.choice(('1', '1', '1', '9999999', '-1'))} >>".encode(),
        f"<< /Type /Page /Parent 2 0 R /MediaBox [{box}] /Rotate {rng.choice(('0', '90', '45', '1e9'))} {resources} /Contents 4 0 R >>".encode(),
        _stream("<< /Length %d %s", content, rng),
        _stream(
            f"<< /Type /XObject /Subtype /Form /BBox [0 0 100 100] {resources} /Length %d %s",
            content[:400] + b" /X1 Do /X2 Do /X1 Do",
            rng,
        ),
        _stream(
            f"<< /Type /XObject /Subtype /Image /Width {size} /Height {size} /BitsPerComponent {rng.choice('1248')} /ColorSpace /DeviceGray /Length %d %s",
            bytes(64),
            rng,
        ),
        _stream(
            f"<< /Type /Pattern /PatternType 1 /PaintType 1 /TilingType 1 /BBox [0 0 1 1] /XStep {step} /YStep {step} {resources} /Length %d %s",
            b"0 0 1 1 re f /X1 Do",
            rng,
        ),
    ]
    out, places = bytearray(b"%PDF-1.7\n"), []
    for number, body in enumerate(bodies, start=1):
        places.append(len(out))
        out += b"%d 0 obj\n" % number + body + b"\nendobj\n"
    start = len(out)
    out += b"xref\n0 8\n0000000000 65535 f \n" + b"".join(b"%010d 00000 n \n" % p for p in places)
    return bytes(out + b"trailer << /Size 8 /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % start)


def _stream(head: str, data: bytes, rng: Random) -> bytes:
    packed = rng.random() < 0.5
    body = zlib.compress(data) if packed else data
    length = len(body) if rng.random() < 0.9 else rng.choice((0, 10**9, -1))
    made = head.replace("%d", str(length)).replace("%s", "/Filter /FlateDecode >>" if packed else ">>")
    return made.encode() + b"\nstream\n" + body + b"\nendstream"


# ---- DXF ---------------------------------------------------------------------------------------------------------

DXF_ENTITIES = (
    "LINE",
    "CIRCLE",
    "ARC",
    "ELLIPSE",
    "LWPOLYLINE",
    "POLYLINE",
    "SPLINE",
    "HATCH",
    "SOLID",
    "3DFACE",
    "POINT",
    "INSERT",
    "HELIX",
    "TEXT",
    "IMAGE",
    "TRACE",
)
DXF_NUMBERS = (10, 20, 30, 11, 21, 31, 40, 41, 42, 50, 51, 39, 48, 210, 220, 230, 44, 45)


def dxf(rng: Random) -> bytes:
    """Return a drawing of old, with no more than it needs, and entities whose groups are made up."""
    units = rng.choice(("4",) * 5 + ("0", "1", "-1", "99", "20"))
    entities = []
    for _ in range(rng.choice((1, 3, 12))):
        kind = rng.choice(DXF_ENTITIES)
        groups = [f"0\n{kind}\n8\n0"]
        groups += [f"{code}\n{_n(rng)}" for code in DXF_NUMBERS if rng.random() < 0.6]
        if kind in ("SPLINE", "LWPOLYLINE", "HATCH"):
            groups += [
                f"{rng.choice((70, 71, 72, 73, 74, 90, 91, 92, 93))}\n{rng.choice(('0', '1', '3', '4', '-1', '100', '99999999'))}"
                for _ in range(rng.randrange(8))
            ]
            groups += [f"{rng.choice((10, 20, 40, 42))}\n{_n(rng)}" for _ in range(rng.randrange(20))]
        if kind == "INSERT":
            groups.append(f"2\n{rng.choice(('B0', 'B1', '*MODEL_SPACE', 'NONE'))}")
            groups += [f"{rng.choice((70, 71))}\n{rng.choice(('1', '100', '30000', '-1'))}"]
        entities.append("\n".join(groups))
    blocks = "\n".join(
        f"0\nBLOCK\n8\n0\n2\nB{k}\n70\n0\n10\n0\n20\n0\n30\n0\n3\nB{k}\n0\nINSERT\n8\n0\n2\nB{rng.randrange(2)}\n10\n{_n(rng)}\n20\n1\n30\n0\n0\nLINE\n8\n0\n10\n0\n20\n0\n11\n{_n(rng)}\n21\n1\n0\nENDBLK\n8\n0"
        for k in range(2)
    )
    head = f"0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\n{rng.choice(('AC1009', 'AC1024', 'AC1015', 'XX'))}\n9\n$INSUNITS\n70\n{units}\n0\nENDSEC"
    body = "\n".join(entities)
    return f"{head}\n0\nSECTION\n2\nBLOCKS\n{blocks}\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n{body}\n0\nENDSEC\n0\nEOF\n".encode()


# ---- programs ----------------------------------------------------------------------------------------------------

NGC_WORDS = ("G0", "G1", "G2", "G3", "G4", "G17", "G18", "G20", "G21", "G53", "G54", "G80", "G90", "G91", "G92", "G93", "G94", "G95", "M2", "M3", "M4",
             "M5", "M30", "M98", "F1200", "F0", "S1000", "S0", "P1", "R5", "I3", "J-4", "T1", "N10", "#1=3", "#1", "[1+2]", "O100", "(text", ";x", "%", "/")  # fmt: skip


def program(rng: Random) -> bytes:
    """Return a program, its lines mostly well formed."""
    lines = [] if rng.random() < 0.3 else ["G21 G90 G94 G17", "M5", "G0 X10 Y10", "M3 S0"]
    for _ in range(rng.choice((1, 10, 60, 1500))):
        if rng.random() < 0.7:
            line = f"G{rng.choice('0123')} X{_n(rng)} Y{_n(rng)}" + rng.choice(
                ("", f" S{_n(rng)}", f" F{_n(rng)}", f" I{_n(rng)} J{_n(rng)}", f" R{_n(rng)}")
            )
        else:
            line = " ".join(rng.choice(NGC_WORDS) for _ in range(rng.randrange(1, 6)))
        lines.append(line)
    return ("\n".join([*lines, "M5", "M2"]) + "\n").encode()


# ---- lists of names ----------------------------------------------------------------------------------------------

NAMES = (
    "Ines Hale",
    "",
    "Müller-Åsen",
    "O’Neil",
    "a" * 300,
    '"quoted, name"',
    '"un',
    "\u202eabc",
    "漢字",
    "\u0627\u0644\u0633",
    "🚣",
    "a\tb",
    "=1+1",
    "\u200b",
    "x" * 2100,
    "é\u0301\u0301\u0301",
    "'",
    "\x01",
    "ﬀ ﬁ",
    "İ ı ß",
)


def names(rng: Random) -> bytes:
    """Return a list of names, as spreadsheets and scripts leave them."""
    separator = rng.choice((",", ";", "\t", "|"))
    columns = rng.choice(
        (["name"], ["name", "seat"], ["name", "name"], ["Name"], ["", "name"], ["name"] + [f"c{k}" for k in range(120)])
    )
    rows = [separator.join(columns)]
    rows += [
        separator.join(rng.choice(NAMES) for _ in range(rng.choice((1, 2, len(columns), 5))))
        for _ in range(rng.choice((0, 1, 3, 8)))
    ]
    text = rng.choice(("\n", "\r\n", "\r", "\n\n")).join(rows)
    return text.encode(rng.choice(("utf-8",) * 8 + ("utf-8-sig", "utf-16", "latin-1")), "replace")


def spreadsheet(rng: Random) -> bytes:
    """Return something that is no text at all, under the name of a list."""
    out = io.BytesIO()
    out.write(rng.choice((b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"%PDF-1.4", b"\x89PNG", b"\xff\xfe")))
    out.write(bytes(rng.randrange(256) for _ in range(200)))
    return out.getvalue()
