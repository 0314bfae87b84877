"""What is looked at in a CLF or ASC CDL file before any other reader sees it; opens no file.

The files are XML. Refused, each with its line: other encodings than UTF-8, UTF-16 and Latin-1; a
document type (entities grow without end or name other files); references to other files; steps
that CLF does not have; more elements, deeper or longer ones than a look has; tables whose numbers
are not as many as they declare, not finite, or more than MAX_3D³ or MAX_1D; other values that are
not finite numbers.
"""

from __future__ import annotations

import codecs
import math
import re
from dataclasses import dataclass, field
from typing import Final
from xml.parsers import expat

import numpy as np

from evenhand.luts.decimals import FINE, parse_numbers
from evenhand.luts.errors import LookFileError

MAX_3D: Final = 129
MAX_1D: Final = 65536
MAX_BYTES: Final = 128 << 20

_MAX_ELEMENTS: Final = 100_000
_MAX_DEPTH: Final = 16
_MAX_TEXT: Final = 4096
_LARGEST: Final = 1e6  # 16-bit tables hold 65535
_LONG_TAG: Final = re.compile(rb"<[^<>]{65536}")
_COMMENT: Final = re.compile(rb"<!--.*?-->", re.DOTALL)
_DECLARED: Final = re.compile(r"""(<\?xml[^>]*?)\s+encoding\s*=\s*(?:"[^"]*"|'[^']*')""")
_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_ENCODINGS: Final = frozenset({"utf-8", "us-ascii", "iso-8859-1", "ascii", "latin-1"})

ROOTS: Final = {
    "ProcessList": "clf",
    "ColorCorrection": "cc",
    "ColorCorrectionCollection": "ccc",
    "ColorDecisionList": "cdl",
}
_STEPS: Final = frozenset({"Matrix", "LUT1D", "LUT3D", "Range", "Log", "Exponent", "ASC_CDL"})
_TABLES: Final = frozenset({"Matrix", "LUT1D", "LUT3D"})
_ABOUT: Final = frozenset({"Description", "InputDescriptor", "OutputDescriptor", "Info", "Id"})
# Elements whose text is numbers, and how many at most.
_VALUES: Final = {
    **dict.fromkeys(("minInValue", "maxInValue", "minOutValue", "maxOutValue", "Saturation"), 1),
    **dict.fromkeys(("Slope", "Offset", "Power"), 3),
    "IndexMap": 2 * MAX_1D,
}
_WORDS: Final = frozenset({"InputDescriptor", "OutputDescriptor", "Description"})
_PARAMETERS: Final = frozenset({"LogParams", "ExponentParams", "GammaParams"})
_NOT_NUMBERS: Final = frozenset({"channel", "style"})
_REMEDY: Final = "Export the look again, as CLF, ASC CDL or .cube"


@dataclass(slots=True)
class Markup:
    """What the check found: `kind` (clf, cc, ccc, cdl), the bytes in UTF-8, what the file says.

    `corrections` holds for each ColorCorrection its id ("" where it has none) and where it begins
    and ends in `data`.
    """

    data: bytes
    kind: str = ""
    title: str = ""
    words: dict[str, str] = field(default_factory=dict)
    corrections: list[tuple[str, int, int]] = field(default_factory=list)


def check_markup(data: bytes, name: str = "look") -> Markup:
    """Look at a whole file. LookFileError with the line and the reason where it is refused."""
    if len(data) > MAX_BYTES:
        raise LookFileError(name, f"it has {len(data)} bytes, more than {MAX_BYTES}", _REMEDY)
    return _Check(_utf8(data, name), name).run()


def _utf8(data: bytes, name: str) -> bytes:
    if data[:2] not in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        return data
    try:
        return _DECLARED.sub(r"\1", data.decode("utf-16"), count=1).encode()
    except UnicodeError as error:
        raise LookFileError(name, f"its UTF-16 text cannot be read: {error}", _REMEDY) from error


class _Check:
    """One pass over one document."""

    def __init__(self, data: bytes, name: str) -> None:
        self.name = name
        self.found = Markup(data)
        self.path: list[str] = []
        self.elements = 0
        self.text: list[str] = []
        self.kept = 0
        self.array: tuple[int, int] | None = None  # where its numbers begin, and how many
        self.arrays = 0  # of the step that is open
        self.opened: tuple[str, int] | None = None  # the correction that is open
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.StartDoctypeDeclHandler = self.doctype
        self.parser.XmlDeclHandler = self.declaration

    def error(self, found: str, line: int | None = None) -> LookFileError:
        at = self.parser.CurrentLineNumber if line is None else line
        return LookFileError(self.name, f"line {at}: {found}", _REMEDY)

    def run(self) -> Markup:
        data = self.found.data
        tag = _LONG_TAG.search(data)
        if tag:
            line = 1 + data.count(b"\n", 0, tag.start())
            raise self.error("a tag of more than 65536 bytes", line)
        try:
            self.parser.Parse(data, True)
        except expat.ExpatError as error:
            reason = expat.ErrorString(error.code)
            raise self.error(f"it is not whole XML: {reason}", error.lineno) from error
        return self.found

    def doctype(self, *_: object) -> None:
        raise self.error("a document type, which a look does not need and which can do harm")

    def declaration(self, _version: str, encoding: str | None, _standalone: int) -> None:
        if (encoding or "utf-8").lower() not in _ENCODINGS:
            raise self.error(f"the encoding {encoding!r}, not UTF-8")

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        element = tag.rpartition(":")[2]
        self.elements += 1
        if self.elements > _MAX_ELEMENTS or len(self.path) >= _MAX_DEPTH:
            raise self.error("more elements than a look has")
        if self.array is not None:
            raise self.error(f"<{element}> inside a table")
        if not self.path:
            self.root(element, attributes)
        elif self.found.kind == "clf":
            self.step(element, attributes)
        if element == "ColorCorrection":
            if self.opened is not None:
                raise self.error("a colour correction inside another")
            self.opened = (attributes.get("id", ""), self.parser.CurrentByteIndex)
        is_about = len(self.path) == 1 or (self.path and self.path[-1] == "ColorCorrection")
        self.path.append(element)
        self.listen(element in _VALUES or (element in _WORDS and bool(is_about)))

    def root(self, element: str, attributes: dict[str, str]) -> None:
        kind = ROOTS.get(element)
        if kind is None:
            raise self.error(f"it is XML of the kind <{element[:40]}>, which is not read")
        is_clf = "compCLFversion" in attributes or "2136-1" in attributes.get("xmlns", "")
        if kind == "clf" and not is_clf:
            raise self.error("a ProcessList without compCLFversion: another format than CLF")
        self.found.kind = kind
        self.found.title = attributes.get("name", "")[:200]

    def step(self, element: str, attributes: dict[str, str]) -> None:
        if "Info" in self.path:
            return
        if element == "Reference":
            raise self.error("a reference to another file: a look must be whole in itself")
        if len(self.path) == 1 and element not in _STEPS | _ABOUT:
            raise self.error(f"the unknown step <{element[:40]}>")
        if len(self.path) == 1:
            self.arrays = 0
        if element in _PARAMETERS:
            for key, value in attributes.items():
                if key not in _NOT_NUMBERS:
                    self.numbers(f"{element} {key}", value, 1)
        if element == "Array":
            self.arrays += 1
            count = self.count(self.path[-1], attributes)
            begin = self.found.data.find(b">", self.parser.CurrentByteIndex) + 1
            self.array = (begin, count)

    def count(self, step: str, attributes: dict[str, str]) -> int:
        """How many numbers an Array declares; refuses sizes that cannot be."""
        text = attributes.get("dim", "")
        words = text.split()
        if not words or not all(w.isascii() and w.isdigit() and len(w) <= 6 for w in words):
            raise self.error(f"the table size {text[:40]!r}")
        dim = [int(word) for word in words]
        if step == "LUT3D":
            fits = len(dim) == 4 and len(set(dim[:3])) == 1 and dim[3] == 3
            if not fits or not 2 <= dim[0] <= MAX_3D:
                raise self.error(f"the table size {text[:40]!r}: not n n n 3, n 2 to {MAX_3D}")
            return 3 * dim[0] ** 3
        if step == "LUT1D":
            if len(dim) != 2 or dim[1] not in (1, 3) or not 2 <= dim[0] <= MAX_1D:
                raise self.error(f"the table size {text[:40]!r}: not n 1 or n 3, n 2 to {MAX_1D}")
            return dim[0] * dim[1]
        if step == "Matrix" and dim[:2] in ([3, 3], [3, 4]) and len(dim) <= 3:
            return dim[0] * dim[1]
        raise self.error(f"a table of size {text[:40]!r} in <{step[:40]}>")

    def end(self, tag: str) -> None:
        element = self.path.pop()
        if element in _TABLES and len(self.path) == 1 and self.arrays != 1:
            raise self.error(f"<{element}> with {self.arrays} tables in it, not 1")
        if element == "Array" and self.array is not None:
            self.table(*self.array)
            self.array = None
        elif self.parser.CharacterDataHandler is not None:
            text = "".join(self.text)
            if element in _VALUES:
                self.numbers(element, text.replace("@", " "), _VALUES[element])
            else:
                self.found.words.setdefault(element, " ".join(text.split())[:_MAX_TEXT])
            self.listen(False)
        if element == "ColorCorrection" and self.opened is not None:
            begin = self.opened[1]
            close = self.found.data.find(b">", self.parser.CurrentByteIndex) + 1
            self.found.corrections.append((self.opened[0], begin, close))
            self.opened = None

    def listen(self, wanted: bool) -> None:
        """Keep the text of the element that was opened, or stop keeping."""
        self.text.clear()
        self.kept = 0
        self.parser.CharacterDataHandler = self.hear if wanted else None

    def hear(self, text: str) -> None:
        self.kept += len(text)
        limit = _MAX_TEXT if self.path[-1] != "IndexMap" else MAX_1D * 32
        if self.kept > limit:
            raise self.error(f"<{self.path[-1]}> has more text than it can mean")
        self.text.append(text)

    def numbers(self, where: str, text: str, most: int) -> None:
        words = text.split()
        for word in words:
            if not _NUMBER.fullmatch(word) or not math.fabs(float(word)) <= _LARGEST:
                raise self.error(f"{where} is {word[:24]!r}, not a number a look can use")
        if not words or len(words) > most:
            raise self.error(f"{where} has {len(words)} numbers, not {most}")

    def table(self, begin: int, count: int) -> None:
        line = self.parser.CurrentLineNumber
        body = self.found.data[begin : self.parser.CurrentByteIndex]
        if len(body) < 2 * count - 1:
            raise self.error(f"a table that declares {count} numbers has {len(body)} bytes", line)
        if b"<" in body:
            body = _COMMENT.sub(b" ", body)
        if b"#" in body:
            raise self.error("'#' in a table is no number", line)
        values = np.empty(count)
        parsed = parse_numbers(body, 0, values, _LARGEST)
        if parsed.reason == FINE and parsed.numbers == count:
            return
        if parsed.reason == FINE:
            raise self.error(f"a table declares {count} numbers and has {parsed.numbers}", line)
        at = line - body.count(b"\n", parsed.position)
        word = body[parsed.position : parsed.position + 24].split()[0].decode("utf-8", "replace")
        reason = "more numbers than it declares" if parsed.numbers == count else "what is no number"
        raise self.error(f"{word!a} in a table: {reason}, or beyond ±{_LARGEST:g}", at)
