"""The text of a PDF as a reader would select it: enough of ISO 32000 for files that the typesetter writes."""

import re
import zlib

_TOKEN = re.compile(rb"/(\w+) [\d.]+ Tf|\((?:\\.|[^\\()])*\)|<([0-9a-fA-F]+)>|\b(ET|Td|Tm|T\*)\b", re.DOTALL)
_PLACED = re.compile(
    rb"(?<![^\s])(?:q|Q)(?=\s)|(?P<matrix>(?:[-\d.]+ ){6})cm|BT(?P<text>.*?[\s\]>)]ET)(?=\s)", re.DOTALL
)
_ESCAPE = re.compile(rb"\\(?:([0-7]{1,3})|(.))", re.DOTALL)
_NAMED = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}


def text_of(pdf):
    """Return the text of all pages, in the order in which it is drawn."""
    objects = {int(n): body for n, body in re.findall(rb"(\d+) 0 obj(.*?)endobj", pdf, re.DOTALL)}
    pages = [body for body in objects.values() if b"/Type/Page/" in body]
    return "".join(_page(body, objects) for body in pages)


def pages_of(pdf):
    """Return how many pages there are."""
    return len(re.findall(rb"/Type/Page/", pdf))


def heights_of(pdf):
    """Return how high above the lower edge each piece of text of the first page stands, by the text. [pt]."""
    objects = {int(n): body for n, body in re.findall(rb"(\d+) 0 obj(.*?)endobj", pdf, re.DOTALL)}
    fonts, content = _fonts_and_content(next(b for b in objects.values() if b"/Type/Page/" in b), objects)
    heights, saved, y_scale, y = {}, [], 1.0, 0.0
    for token in _PLACED.finditer(content):
        if token["text"]:
            heights["".join(_written(token["text"], fonts)).strip()] = y
        elif token["matrix"]:  # upright text only: what turns it is left out
            _a, _b, _c, down, _e, up = map(float, token["matrix"].split()[:6])
            y_scale, y = y_scale * down, y + y_scale * up
        elif token[0] == b"q":
            saved.append((y_scale, y))
        else:
            y_scale, y = saved.pop()
    return heights


def _page(body, objects):
    return "".join(_written(*_fonts_and_content(body, objects)[::-1]))


def _fonts_and_content(body, objects):
    resources = objects[int(re.search(rb"/Resources (\d+) 0 R", body)[1])]
    fonts = {
        name: _letters(objects[int(number)], objects)
        for name, number in re.findall(rb"/(\w+) (\d+) 0 R", re.search(rb"/Font<<(.*?)>>", resources)[1])
    }
    return fonts, _stream(objects[int(re.search(rb"/Contents (\d+) 0 R", body)[1])])


def _written(content, fonts):
    """Return the text of a content stream, with a space after each piece."""
    written, font = [], {}
    for token in _TOKEN.finditer(content):
        if token[1]:
            font = fonts[token[1]]
        elif token[3]:
            written.append("" if token[3] != b"ET" else " ")
        else:
            raw = bytes.fromhex(token[2].decode()) if token[2] else _literal(token[0][1:-1])
            width = font.get("width", 2)
            written += [font.get(raw[i : i + width], "") for i in range(0, len(raw), width)]
    return written


def _literal(text):
    return _ESCAPE.sub(lambda m: bytes([int(m[1], 8)]) if m[1] else _NAMED.get(m[2], m[2]), text)


def _letters(font, objects):
    """Return what each code of a font stands for; 1 byte a code in a Type 3 font, 2 in the others."""
    found = {"width": 1 if b"/Type3" in font else 2}
    cmap = _stream(objects[int(re.search(rb"/ToUnicode (\d+) 0 R", font)[1])])
    for block in re.findall(rb"beginbfchar(.*?)endbfchar", cmap, re.DOTALL):
        for code, letters in re.findall(rb"<(\w+)>\s*<(\w+)>", block):
            found[bytes.fromhex(code.decode())] = bytes.fromhex(letters.decode()).decode("utf-16-be")
    for block in re.findall(rb"beginbfrange(.*?)endbfrange", cmap, re.DOTALL):
        for low, high, letters in re.findall(rb"<(\w+)>\s*<(\w+)>\s*<(\w+)>", block):
            start = int(letters, 16)
            for code in range(int(low, 16), int(high, 16) + 1):
                found[code.to_bytes(found["width"], "big")] = chr(start + code - int(low, 16))
    return found


def _stream(body):
    found = re.search(rb"stream\r?\n", body)  # not up to "endstream": the data may end with a line break of its own
    head = body[: found.start()]
    data = body[found.end() : found.end() + int(re.search(rb"/Length (\d+)", head)[1])]
    return zlib.decompress(data) if b"/FlateDecode" in head else data
