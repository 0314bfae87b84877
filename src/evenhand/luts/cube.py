"""`.cube` tables of one and three dimensions: bytes to tables and back; opens no file.

    file    = [BOM] *( blank | comment | header ) table     CRLF, CR or LF; UTF-16 by its BOM
    header  = WORD value [comment]          any case and order, each once, before the first number
    WORD    = TITLE | LUT_1D_SIZE | LUT_3D_SIZE | LUT_1D_INPUT_RANGE | LUT_3D_INPUT_RANGE
            | DOMAIN_MIN | DOMAIN_MAX
    table   = the rows of the 1D table, then those of the 3D table, red fastest; 3 numbers a row;
              blank lines and comments may stand between

Sizes are 2 to MAX_1D and 2 to MAX_3D; a range has 2 numbers and a domain 3, not both kinds; DOMAIN
is that of the 3D table where there are both. Stricter than general readers: no nan, infinity or
decimal comma, no surplus or missing row, nothing that is too large for memory.

What is refused is refused in this order, before memory is spent: the size of the file, a header
line over 4096 bytes, the sizes, a body too short or too long for them, the first thing in it that
is no number, the count.
"""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from evenhand.luts.decimals import FINE, SURPLUS, TOO_LARGE, Parsed, parse_numbers
from evenhand.luts.errors import LookFileError
from evenhand.luts.tables import ONE, ZERO, Table1D, Table3D, Triple

MAX_1D: Final = 65536
MAX_3D: Final = 256
MAX_BYTES: Final = 600 << 20
HEAD_BYTES: Final = 1 << 16
"""The header ends within so many bytes; a file can be judged by them and its size."""
MAX_TEXT: Final = 1000
"""Characters of a title or comment that are kept; in UTF-8 they always fit on a line."""

_MAX_LINE: Final = 4096
_LARGEST: Final = 65504.0  # the largest half float: what other readers can hold
# A row is at least "0 0 0\n". At most: three numbers of any sane length, and comments.
_FEW_ROWS: Final = 4096  # bytes
_ROW_LEAST, _ROW_MOST, _BODY_SPARE = 6, 256, 1 << 20

_WORDS: Final = frozenset(
    {"TITLE", "LUT_1D_SIZE", "LUT_3D_SIZE", "LUT_1D_INPUT_RANGE", "LUT_3D_INPUT_RANGE"}
    | {"DOMAIN_MIN", "DOMAIN_MAX"}
)
_LINE: Final = re.compile(rb"[ \t\r\n]*([^\r\n]*)")
_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_REMEDY: Final = "Export the table again as .cube"
_BOM16: Final = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)

Array = NDArray[np.float64]


class CubeError(LookFileError):
    """A .cube table that cannot be read: which line, what was found."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CubeFile:
    """What a `.cube` holds: a 1D table, a 3D table, or a 1D table that comes before a 3D table.

    `comments` are those above the table, without their #.
    """

    one: Table1D | None = None
    three: Table3D | None = None
    title: str = ""
    comments: tuple[str, ...] = ()


@dataclass(slots=True)
class _Header:
    """The header's words with their values and places, the comments, and where the table begins."""

    words: dict[str, tuple[str, int]]
    comments: list[str]
    start: int = 0
    size_1d: int = 0
    size_3d: int = 0
    range_1d: tuple[Triple, Triple] = (ZERO, ONE)
    range_3d: tuple[Triple, Triple] = (ZERO, ONE)

    @property
    def rows(self) -> int:
        return self.size_1d + self.size_3d**3


def read(data: bytes | memoryview, name: str = "table") -> CubeFile:
    """Read a `.cube`; `name` is what errors call it. CubeError with the line where it fails."""
    data = bytes(data)
    text = _utf8(data, name, is_whole=True)
    reader = _Reader(text, name)
    header = reader.header(len(text))
    values = np.empty(header.rows * 3)
    parsed = parse_numbers(text, header.start, values, _LARGEST)
    if parsed.reason != FINE or parsed.numbers != values.size:
        raise reader.table_error(parsed, header.rows)
    rows, at = values.reshape(-1, 3), header.size_1d
    return CubeFile(
        one=Table1D(rows[:at], *header.range_1d) if at else None,
        three=Table3D(rows[at:].reshape((header.size_3d,) * 3 + (3,)), *header.range_3d)
        if header.size_3d
        else None,
        title=header.words.get("TITLE", ("", 0))[0],
        comments=tuple(header.comments),
    )


def check_head(head: bytes, total: int, name: str = "table") -> None:
    """Refuse what can be refused by the first HEAD_BYTES of a file of `total` bytes.

    CubeError as `read` would raise it: for the file's size, the header, the sizes in it, and the
    first rows.
    """
    if total > MAX_BYTES:
        raise CubeError(name, f"it has {total} bytes, more than {MAX_BYTES}", _REMEDY)
    is_whole = total <= len(head)
    text = _utf8(head, name, is_whole=is_whole)
    total = total // 2 if head[:2] in _BOM16 else total
    reader = _Reader(text, name)
    header = reader.header(total)
    rows = text[: header.start + _FEW_ROWS]
    if not is_whole or len(rows) < len(text):  # the last number may be cut in two
        rows = rows[: max(rows.rfind(b"\n"), rows.rfind(b"\r"), header.start)]
    values = np.empty(min(header.rows * 3, len(rows)))
    parsed = parse_numbers(rows, header.start, values, _LARGEST)
    if parsed.reason != FINE:
        raise reader.table_error(parsed, header.rows)


def write(cube: CubeFile, digits: int = 6) -> bytes:
    """The tables as bytes: fixed decimals, LF, no negative zero; the same tables, the same bytes.

    Raises ValueError for shapes, values and texts that `read` would refuse, and for two tables
    whose ranges are not the same in every channel.
    """
    tables = _checked_tables(cube)
    title = _one_line(cube.title)
    lines = [f'TITLE "{title}"'] if title else []
    lines += [f"# {_one_line(comment)}" for comment in cube.comments]
    if cube.one is not None:
        lines.append(f"LUT_1D_SIZE {cube.one.size}")
    if cube.three is not None:
        lines.append(f"LUT_3D_SIZE {cube.three.size}")
    lines += _range_lines(cube)
    head = ("\n".join(lines) + "\n").encode()
    if len(head) > HEAD_BYTES:
        raise ValueError(f"title and comments have at most {HEAD_BYTES} bytes")
    # Adding zero turns -0.0 into 0.0.
    rows = np.round(np.concatenate(tables), digits) + 0.0
    row = f"%.{digits}f %.{digits}f %.{digits}f\n"
    body = (row * len(rows)) % tuple(rows.ravel().tolist())
    return head + body.encode()


class _Reader:
    """One text, and what errors about it say."""

    def __init__(self, text: bytes, name: str) -> None:
        self.text = text
        self.name = name

    def error(self, found: str, place: int | None = None) -> CubeError:
        where = "" if place is None else f"line {self._line(place)}: "
        return CubeError(self.name, f"{where}{found}", _REMEDY)

    def _line(self, place: int) -> int:
        """The number of the line that holds byte `place`."""
        text = self.text
        ends = text.count(b"\n", 0, place) + text.count(b"\r", 0, place)
        return 1 + ends - text.count(b"\r\n", 0, place)

    def header(self, total: int) -> _Header:
        """Read and check the header of a text of `total` bytes, whose beginning is here."""
        if total > MAX_BYTES:
            raise self.error(f"it has {total} bytes, more than {MAX_BYTES}")
        header = self._words(total)
        header.size_1d = self._size(header, "LUT_1D_SIZE", MAX_1D)
        header.size_3d = self._size(header, "LUT_3D_SIZE", MAX_3D)
        if not header.rows:
            raise self.error("it has no LUT_1D_SIZE and no LUT_3D_SIZE")
        self._ranges(header)
        body = total - header.start
        if body < header.rows * _ROW_LEAST - 1:
            raise self.error(f"it declares {header.rows} rows and has {body} bytes for them")
        if body > header.rows * _ROW_MOST + _BODY_SPARE:
            raise self.error(f"it declares {header.rows} rows and has {body} bytes, far too many")
        return header

    def _words(self, total: int) -> _Header:
        header, place = _Header({}, []), 3 if self.text.startswith(codecs.BOM_UTF8) else 0
        while place < min(len(self.text), HEAD_BYTES):
            match = _LINE.match(self.text, place, place + HEAD_BYTES)
            assert match is not None
            start, place = match.span(1)
            if place - start > _MAX_LINE:
                raise self.error(f"it is longer than {_MAX_LINE} bytes", start)
            line = match[1].strip()
            if line.startswith(b"#"):
                header.comments.append(line[1:].strip().decode("utf-8", "replace")[:MAX_TEXT])
            elif line[:1] and line[:1] in b"+-.0123456789":
                header.start = start
                return header
            elif line:
                self._take(header, line.decode("utf-8", "replace"), start)
        if total > HEAD_BYTES:
            raise self.error(f"no table begins within {HEAD_BYTES} bytes")
        raise self.error("it holds no table")

    def _take(self, header: _Header, line: str, place: int) -> None:
        word, _, value = line.replace("\t", " ").partition(" ")
        word = word.upper()
        if word not in _WORDS:
            raise self.error(f"the unknown word {word[:24]!r}", place)
        if word in header.words:
            raise self.error(f"{word} a second time", place)
        if word == "TITLE":
            value = line[5:].strip().strip('"')[:MAX_TEXT]
        header.words[word] = (value if word == "TITLE" else value.split("#")[0].strip(), place)

    def _size(self, header: _Header, word: str, most: int) -> int:
        if word not in header.words:
            return 0
        value, place = header.words[word]
        is_whole = value.isascii() and value.isdigit() and len(value) <= 9
        if not is_whole or not 2 <= int(value) <= most:
            raise self.error(f"{word} is {value[:24]!r}, not a whole number 2 to {most}", place)
        return int(value)

    def _ranges(self, header: _Header) -> None:
        domain = [word for word in ("DOMAIN_MIN", "DOMAIN_MAX") if word in header.words]
        ranges = [w for w in ("LUT_1D_INPUT_RANGE", "LUT_3D_INPUT_RANGE") if w in header.words]
        if domain and ranges:
            raise self.error(f"{ranges[0]} and {domain[0]} contradict", header.words[ranges[0]][1])
        if domain:
            low = self._numbers(header, "DOMAIN_MIN", 3) if "DOMAIN_MIN" in domain else [0.0] * 3
            high = self._numbers(header, "DOMAIN_MAX", 3) if "DOMAIN_MAX" in domain else [1.0] * 3
            span = self._span(low, high, header.words[domain[0]][1])
            if header.size_3d:
                header.range_3d = span
            else:
                header.range_1d = span
        for word in ranges:
            first, last = self._numbers(header, word, 2)
            span = self._span([first] * 3, [last] * 3, header.words[word][1])
            if word == "LUT_1D_INPUT_RANGE":
                header.range_1d = span
            else:
                header.range_3d = span

    def _span(self, low: list[float], high: list[float], place: int) -> tuple[Triple, Triple]:
        for a, b in zip(low, high, strict=True):
            if not b - a > 1e-6 or max(abs(a), abs(b)) > 1e6:
                raise self.error(f"the input range {a:g} to {b:g} is empty or absurd", place)
        return (low[0], low[1], low[2]), (high[0], high[1], high[2])

    def _numbers(self, header: _Header, word: str, count: int) -> list[float]:
        value, place = header.words[word]
        words = value.split()
        if len(words) != count or not all(_NUMBER.fullmatch(word) for word in words):
            raise self.error(f"{word} {value[:48]!r} is not {count} numbers", place)
        return [float(word) for word in words]

    def table_error(self, parsed: Parsed, rows: int) -> CubeError:
        """Where and why reading the table stopped."""
        token = self.text[parsed.position : parsed.position + 24].split(None, 1)
        found = ascii(token[0].decode("utf-8", "replace")) if token else "nothing"
        if parsed.reason == FINE:
            return self.error(f"it declares {rows} rows and has {parsed.numbers / 3:g}")
        if parsed.reason == SURPLUS:
            return self.error(f"it declares {rows} rows and has more: {found}", parsed.position)
        if parsed.reason == TOO_LARGE:
            return self.error(f"{found} is beyond ±{_LARGEST:g}", parsed.position)
        return self.error(f"{found} in the table is no number", parsed.position)


def _utf8(data: bytes, name: str, *, is_whole: bool) -> bytes:
    """The text with UTF-16 turned into UTF-8; the end of a part may be cut."""
    if data[:2] not in _BOM16:
        return data
    try:
        decoder = codecs.getincrementaldecoder("utf-16")()
        return decoder.decode(data, final=is_whole).encode()
    except UnicodeError as error:
        raise CubeError(name, f"its UTF-16 text cannot be read: {error}", _REMEDY) from error


def _one_line(text: str) -> str:
    if len(text) > MAX_TEXT:
        raise ValueError(f"a title or comment has at most {MAX_TEXT} characters")
    return " ".join(text.split()).replace('"', "'")


def _checked_tables(cube: CubeFile) -> list[Array]:
    one, three = cube.one, cube.three
    if one is None and three is None:
        raise ValueError("there is no table to write")
    if one is not None and (one.values.shape != (one.size, 3) or not 2 <= one.size <= MAX_1D):
        raise ValueError(f"a 1D table is (n, 3), n 2 to {MAX_1D}, not {one.values.shape}")
    if three is not None:
        size, shape = three.size, three.values.shape
        if shape != (size, size, size, 3) or not 2 <= size <= MAX_3D:
            raise ValueError(f"a lattice is (N, N, N, 3), N 2 to {MAX_3D}, not {shape}")
    tables = [table.values.reshape(-1, 3) for table in (one, three) if table is not None]
    if not all((np.abs(table) <= _LARGEST).all() for table in tables):
        raise ValueError(f"the table holds values that are not finite or beyond ±{_LARGEST:g}")
    return tables


def _range_lines(cube: CubeFile) -> list[str]:
    if cube.one is not None and cube.three is not None:
        lines = []
        for word, both in (("LUT_1D_INPUT_RANGE", cube.one), ("LUT_3D_INPUT_RANGE", cube.three)):
            if len(set(both.low)) > 1 or len(set(both.high)) > 1:
                raise ValueError("two tables in one file take one range for all channels each")
            lines.append(f"{word} {both.low[0]:.9g} {both.high[0]:.9g}")
        return lines
    return [
        f"{word} {' '.join(f'{value:.9g}' for value in values)}"
        for table in (cube.one, cube.three)
        if table is not None
        for word, values in (("DOMAIN_MIN", table.low), ("DOMAIN_MAX", table.high))
    ]
