"""Three-dimensional `.cube` tables: bytes to a table and back; opens no file.

    file    = [BOM] *( blank | comment | header ) table     CRLF, CR or LF; UTF-16 by its BOM
    header  = WORD value [comment]          any case and order, each once, before the first number
    WORD    = TITLE | LUT_3D_SIZE | LUT_3D_INPUT_RANGE | DOMAIN_MIN | DOMAIN_MAX
    table   = size³ rows of 3 numbers, red fastest; blank lines and comments may stand between rows

Stricter than general readers: no nan or infinity, no decimal comma, no surplus or missing row, no
table too large for memory. Tables of one dimension are refused by name.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import EvenhandError

MAX_SIZE: Final = 256
MAX_BYTES: Final = 600 << 20
_MAX_LINE: Final = 4096
_LARGEST: Final = 65504.0  # the largest half float: what other readers can hold
_WORDS: Final = frozenset(
    {"TITLE", "LUT_1D_SIZE", "LUT_3D_SIZE", "LUT_1D_INPUT_RANGE", "LUT_3D_INPUT_RANGE"}
    | {"DOMAIN_MIN", "DOMAIN_MAX"}
)
_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?\Z", re.ASCII)
_NOT_IN_A_TABLE: Final = re.compile(r"[^0-9eE+\-. \t\n]")
_REMEDY: Final = "Export the table again as a 3D .cube"

Triple = tuple[float, float, float]


class CubeError(EvenhandError):
    """A .cube table that cannot be read: which line, what was found."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Cube:
    """A table over R, G, B. `lattice` is (N, N, N, 3) float64, indexed [blue, green, red].

    `low` and `high` are the inputs of the first and last node, a channel each; `comments` are those
    above the table, without their #.
    """

    lattice: NDArray[np.float64]
    low: Triple = (0.0, 0.0, 0.0)
    high: Triple = (1.0, 1.0, 1.0)
    title: str = ""
    comments: tuple[str, ...] = ()


@dataclass(slots=True)
class _Header:
    """The header's words with their values, and where the table begins."""

    words: dict[str, str]
    comments: list[str]
    start: int
    line: int


def read_cube(data: bytes, name: str = "table") -> Cube:
    """Read a 3D `.cube`; `name` is what errors call it. CubeError with the line where it fails."""
    if len(data) > MAX_BYTES:
        raise CubeError(name, f"it has {len(data)} bytes, more than {MAX_BYTES}", _REMEDY)
    text = _text(data, name)
    header = _read_header(text, name)
    size = _size(header.words, name)
    low, high = _range(header.words, name)
    rows = _read_rows(text, header, size**3, name)
    return Cube(
        lattice=rows.reshape(size, size, size, 3),
        low=low,
        high=high,
        title=header.words.get("TITLE", ""),
        comments=tuple(header.comments),
    )


def write_cube(cube: Cube, digits: int = 6) -> bytes:
    """The table as bytes: fixed decimals, LF, no negative zero; the same table, the same bytes.

    Raises ValueError for a lattice that is not (N, N, N, 3) with N from 2 to MAX_SIZE, and for
    values that are not finite.
    """
    size = cube.lattice.shape[0]
    if cube.lattice.shape != (size, size, size, 3) or not 2 <= size <= MAX_SIZE:
        raise ValueError(f"a lattice is (N, N, N, 3), N 2 to {MAX_SIZE}, not {cube.lattice.shape}")
    if not np.isfinite(cube.lattice).all():
        raise ValueError("the lattice holds values that are not finite")
    lines = [f'TITLE "{_one_line(cube.title)}"\n'] if cube.title else []
    lines += [f"# {_one_line(comment)}\n" for comment in cube.comments]
    lines.append(f"LUT_3D_SIZE {size}\n")
    for word, values in (("DOMAIN_MIN", cube.low), ("DOMAIN_MAX", cube.high)):
        lines.append(f"{word} {' '.join(f'{value:.9g}' for value in values)}\n")
    # Adding zero turns -0.0 into 0.0.
    rows = np.round(cube.lattice.reshape(-1, 3), digits) + 0.0
    row = f"%.{digits}f %.{digits}f %.{digits}f\n"
    body = (row * len(rows)) % tuple(rows.ravel().tolist())
    return ("".join(lines) + body).encode()


def _one_line(text: str) -> str:
    return " ".join(text.split()).replace('"', "'")


def _text(data: bytes, name: str) -> str:
    try:
        if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
            text = data.decode("utf-16")
        else:
            text = data.removeprefix(b"\xef\xbb\xbf").decode("utf-8", "replace")
    except UnicodeDecodeError as error:
        raise CubeError(name, f"its text cannot be read: {error.reason}", _REMEDY) from error
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _read_header(text: str, name: str) -> _Header:
    header = _Header({}, [], 0, 0)
    while header.start < len(text):
        end = text.find("\n", header.start)
        end = len(text) if end < 0 else end
        header.line += 1
        if end - header.start > _MAX_LINE:
            raise CubeError(name, f"line {header.line} is longer than {_MAX_LINE}", _REMEDY)
        line = text[header.start : end].strip()
        if line.startswith("#"):
            header.comments.append(line[1:].strip())
        elif line:
            word, _, value = line.partition(" ") if "\t" not in line else _split_tab(line)
            if _NUMBER.match(word):
                return header
            _take_word(header, word.upper(), value, name)
        header.start = end + 1
    raise CubeError(name, "it holds no table", _REMEDY)


def _split_tab(line: str) -> tuple[str, str, str]:
    word, *rest = line.split(None, 1)
    return word, " ", rest[0] if rest else ""


def _take_word(header: _Header, word: str, value: str, name: str) -> None:
    if word not in _WORDS:
        raise CubeError(name, f"line {header.line} has the unknown word {word[:24]!r}", _REMEDY)
    if word in header.words:
        raise CubeError(name, f"line {header.line} has {word} a second time", _REMEDY)
    if word != "TITLE":
        value = value.split("#")[0]
    header.words[word] = value.strip().strip('"')


def _size(words: dict[str, str], name: str) -> int:
    if "LUT_1D_SIZE" in words:
        raise CubeError(
            name,
            "it holds a one-dimensional table",
            "Only tables over three channels are read: bake it into a 3D .cube",
        )
    value = words.get("LUT_3D_SIZE", "")
    if not (value.isascii() and value.isdigit()) or not 2 <= int(value[:6]) <= MAX_SIZE:
        raise CubeError(
            name, f"LUT_3D_SIZE is {value[:24]!r}, not a whole number 2 to {MAX_SIZE}", _REMEDY
        )
    return int(value)


def _range(words: dict[str, str], name: str) -> tuple[Triple, Triple]:
    domain = [word for word in ("DOMAIN_MIN", "DOMAIN_MAX") if word in words]
    if "LUT_3D_INPUT_RANGE" in words:
        if domain:
            raise CubeError(name, f"LUT_3D_INPUT_RANGE and {domain[0]} contradict", _REMEDY)
        first, last = _numbers(words["LUT_3D_INPUT_RANGE"], 2, name)
        low, high = (first,) * 3, (last,) * 3
    else:
        low = _triple(words.get("DOMAIN_MIN", "0 0 0"), name)
        high = _triple(words.get("DOMAIN_MAX", "1 1 1"), name)
    if any(b - a <= 1e-6 or max(abs(a), abs(b)) > 1e6 for a, b in zip(low, high, strict=True)):
        raise CubeError(name, f"the input range {low} to {high} is empty or absurd", _REMEDY)
    return low, high


def _triple(value: str, name: str) -> Triple:
    first, second, third = _numbers(value, 3, name)
    return first, second, third


def _numbers(value: str, count: int, name: str) -> list[float]:
    words = value.split()
    if len(words) != count or not all(_NUMBER.match(word) for word in words):
        raise CubeError(name, f"{value[:48]!r} are not {count} numbers", _REMEDY)
    return [float(word) for word in words]


def _read_rows(text: str, header: _Header, rows: int, name: str) -> NDArray[np.float64]:
    body = text[header.start :]
    if len(body) < rows * 6 - 1:  # "0 0 0\n" a row: refused before memory is spent
        raise CubeError(name, f"it declares {rows} rows and has {len(body)} bytes", _REMEDY)
    if "#" in body:
        body = re.sub(r"#[^\n]*", "", body)
    bad = _NOT_IN_A_TABLE.search(body)
    if bad:
        line = header.line + body.count("\n", 0, bad.start())
        found = body[bad.start() : bad.start() + 12]
        raise CubeError(name, f"line {line} has {found!r} in the table", _REMEDY)
    words = body.split()
    if len(words) != rows * 3:
        raise CubeError(name, f"it declares {rows} rows and has {len(words) / 3:g}", _REMEDY)
    try:
        values = np.array(words, np.float64)
    except ValueError as error:
        raise CubeError(name, f"its table holds no number there: {error}", _REMEDY) from error
    if not (np.abs(values) <= _LARGEST).all():
        raise CubeError(name, f"its table holds a value beyond ±{_LARGEST:g}", _REMEDY)
    return values.reshape(rows, 3)
