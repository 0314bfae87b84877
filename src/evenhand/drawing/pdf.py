"""Pages as PDF 1.7 (ISO 32000-1): pictures, boxes, and words in the standard fonts.

JPEG pictures go in as they are, others as deflated pixels, each once. Nothing in a file depends on
when or where it was made. Words that the standard fonts have no letters for are drawn as pictures,
with the text kept beside them.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Sequence
from typing import Final

from evenhand.drawing.sheetpages import Box, Page, Placed, Tone, Words
from evenhand.drawing.sheetpicture import line_pixels, pixels_of

_HEAD: Final = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n"
_TONES: Final[dict[Tone, tuple[float, float, float]]] = {
    "ink": (0.07, 0.07, 0.07),
    "quiet": (0.30, 0.30, 0.30),
    "warn": (0.45, 0.33, 0.0),
    "fail": (0.64, 0.16, 0.0),
    "mat": (0.35, 0.35, 0.35),
    "hair": (0.81, 0.81, 0.81),
}
_FONTS: Final = (("plain", "Helvetica"), ("bold", "Helvetica-Bold"))
_DRAWN_SCALE: Final = 4.0  # pixels a point of words that are drawn


def pdf_bytes(pages: Sequence[Page], title: str) -> bytes:
    """A whole file of these pages."""
    writer = _Writer()
    return writer.file(pages, title)


class _Writer:
    """The numbered objects of a file, as they are added."""

    def __init__(self) -> None:
        self._objects: list[bytes] = []
        self._images: dict[str, int] = {}

    def file(self, pages: Sequence[Page], title: str) -> bytes:
        """The bytes of the file: objects, the table of where they begin, the trailer."""
        catalogue, tree = self._add(b""), self._add(b"")
        fonts = " ".join(f"/{key} {self._font(name)} 0 R" for key, name in _FONTS)
        kids = [self._page(page, tree, fonts) for page in pages]
        listed = " ".join(f"{kid} 0 R" for kid in kids)
        self._set(tree, f"<< /Type /Pages /Count {len(kids)} /Kids [{listed}] >>")
        shown = "/ViewerPreferences << /DisplayDocTitle true >>"
        self._set(catalogue, f"<< /Type /Catalog /Pages {tree} 0 R /Lang (en-GB) {shown} >>")
        info = self._add(f"<< /Title {_text(title)} /Producer (evenhand) >>".encode("latin-1"))
        return self._finished(catalogue, info)

    def _finished(self, catalogue: int, info: int) -> bytes:
        out, starts = bytearray(_HEAD), []
        for number, body in enumerate(self._objects, 1):
            starts.append(len(out))
            out += b"%d 0 obj\n%b\nendobj\n" % (number, body)
        table = len(out)
        out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(starts) + 1)
        out += b"".join(b"%010d 00000 n \n" % start for start in starts)
        ident = hashlib.sha256(out).hexdigest()[:32]
        out += (
            f"trailer\n<< /Size {len(starts) + 1} /Root {catalogue} 0 R /Info {info} 0 R "
            f"/ID [<{ident}> <{ident}>] >>\nstartxref\n{table}\n%%EOF\n"
        ).encode("ascii")
        return bytes(out)

    def _add(self, body: bytes) -> int:
        self._objects.append(body)
        return len(self._objects)

    def _set(self, number: int, body: str) -> None:
        self._objects[number - 1] = body.encode("latin-1")

    def _font(self, name: str) -> int:
        kind = f"<< /Type /Font /Subtype /Type1 /BaseFont /{name} /Encoding /WinAnsiEncoding >>"
        return self._add(kind.encode("ascii"))

    def _page(self, page: Page, tree: int, fonts: str) -> int:
        used: dict[int, None] = {}
        drawn = "\n".join(self._item(page, item, used) for item in page.items)
        content = self._stream("", zlib.compress(drawn.encode("cp1252"), 9), "/FlateDecode")
        images = " ".join(f"/i{number} {number} 0 R" for number in used)
        box = f"[0 0 {page.width:.2f} {page.height:.2f}]"
        body = (
            f"<< /Type /Page /Parent {tree} 0 R /MediaBox {box} /Contents {content} 0 R "
            f"/Resources << /Font << {fonts} >> /XObject << {images} >> >> >>"
        )
        return self._add(body.encode("ascii"))

    def _stream(self, entries: str, data: bytes, how: str) -> int:
        head = f"<< {entries} /Filter {how} /Length {len(data)} >>\nstream\n"
        return self._add(head.encode("latin-1") + data + b"\nendstream")

    def _item(self, page: Page, item: Words | Box | Placed, used: dict[int, None]) -> str:
        if isinstance(item, Box):
            low = page.height - item.y - item.height
            place = f"{item.x:.2f} {low:.2f} {item.width:.2f} {item.height:.2f}"
            return f"{_colour(item.tone)} {place} re f"
        if isinstance(item, Placed):
            number = self._picture(item)
            used[number] = None
            corner = item.x, page.height - item.y - item.height
            return _marked(item.alt, _image(number, corner, (item.width, item.height)), "Figure")
        if not _has_letters(item.text):
            return self._drawn(page, item, used)
        key = "bold" if item.bold else "plain"
        return (
            f"BT {_colour(item.tone)} /{key} {item.size:g} Tf {item.x:.2f} "
            f"{page.height - item.y:.2f} Td ({_escaped(item.text)}) Tj ET"
        )

    def _drawn(self, page: Page, words: Words, used: dict[int, None]) -> str:
        ink = tuple(round(255 * part) for part in _TONES[words.tone])
        pixels = line_pixels(words, _DRAWN_SCALE, ink, (255, 255, 255))
        number = self._pixels(pixels.tobytes(), pixels.shape[1], pixels.shape[0])
        used[number] = None
        wide, high = pixels.shape[1] / _DRAWN_SCALE, pixels.shape[0] / _DRAWN_SCALE
        corner = words.x, page.height - words.y - 0.25 * high
        return _marked(words.text, _image(number, corner, (wide, high)), "Span")

    def _picture(self, item: Placed) -> int:
        picture = item.picture
        if picture.mime != "image/jpeg":
            pixels = pixels_of(picture)
            return self._pixels(pixels.tobytes(), pixels.shape[1], pixels.shape[0])
        return self._image(
            picture.data, picture.data, (picture.width, picture.height), "/DCTDecode"
        )

    def _pixels(self, raw: bytes, width: int, height: int) -> int:
        return self._image(raw, zlib.compress(raw, 6), (width, height), "/FlateDecode")

    def _image(self, content: bytes, data: bytes, size: tuple[int, int], how: str) -> int:
        key = f"{size} {hashlib.sha256(content).hexdigest()}"
        if key not in self._images:
            entries = (
                f"/Type /XObject /Subtype /Image /Width {size[0]} /Height {size[1]} "
                "/ColorSpace /DeviceRGB /BitsPerComponent 8 /Interpolate true"
            )
            self._images[key] = self._stream(entries, data, how)
        return self._images[key]


def _image(number: int, corner: tuple[float, float], size: tuple[float, float]) -> str:
    return f"q {size[0]:.2f} 0 0 {size[1]:.2f} {corner[0]:.2f} {corner[1]:.2f} cm /i{number} Do Q"


def _marked(alt: str, drawn: str, kind: str) -> str:
    """Content with the words that stand for it (ISO 32000-1, 14.9.3 and 14.9.4)."""
    key = "Alt" if kind == "Figure" else "ActualText"
    return f"/{kind} << /{key} {_text(alt)} >> BDC {drawn} EMC"


def _colour(tone: Tone) -> str:
    return "{:.2f} {:.2f} {:.2f} rg".format(*_TONES[tone])


def _text(words: str) -> str:
    """A text string of any letters: UTF-16 with its mark, in hexadecimal."""
    return f"<{(chr(0xFEFF) + words).encode('utf-16-be').hex()}>"


def _has_letters(words: str) -> bool:
    try:
        words.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return words.isprintable()


def _escaped(words: str) -> str:
    return words.replace("\\", r"\\").replace("(", r"\(").replace(")", r"\)")
