r"""Names that others gave: shown so that they do nothing, kept so that they are found again.

A file's name may hold anything but a slash and a zero: bytes that are no UTF-8, control characters,
escape sequences for a terminal, signs that turn the order of letters round. What has no picture of
its own is written as an escape: `\x1b` a control character, `\xff` (from 80 on) a byte that is no
UTF-8, `\u202e` and `\U000e0001` every other.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Collection, Iterator, Mapping, Sequence
from pathlib import PurePosixPath
from typing import Final

LONGEST_ID: Final = 40  # columns of a terminal
MOST_BYTES: Final = 120  # of an id in UTF-8: letters may be of four bytes, marks take no column
# Controls, signs of format, lone surrogates, private and unassigned ones, ends of line and
# paragraph (general categories of Unicode, chapter 4.5).
_UNSEEN: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
_ESCAPE: Final = re.compile(r"\\(?:x([0-9a-f]{2})|u([0-9a-f]{4})|U([0-9a-f]{8}))")
# Python's os.fsdecode holds a byte 80 to ff that is no UTF-8 as one of these (PEP 383).
_BYTE: Final = 0xDC00
# No file name on some system, or something to a shell that a copied command is pasted into.
_UNWANTED: Final = re.compile(r'[<>:"|?*\\$`;&]')
_DEVICES: Final = re.compile(r"(?:con|prn|aux|nul|com[0-9]|lpt[0-9])(?:\.|$)", re.IGNORECASE)
_DIGITS: Final = 6  # of a digest, where a name is shortened


def shown(text: str) -> str:
    """A text in which every sign without a picture is an escape, newlines too.

    What is shown already stays as it is; no-break spaces do.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_escaped(c) if unicodedata.category(c) in _UNSEEN else c for c in text)


def kept_path(path: str) -> str:
    r"""A path as it is kept in files and printed as JSON: as it is shown, and reversible.

    A backslash before what would be read as an escape becomes `\x5c`. Nothing else changes.
    """
    return shown(_ESCAPE.sub(lambda found: r"\x5c" + found[0][1:], path))


def real_path(kept: str) -> str:
    """The path of which `kept_path` made this, as `os.fsencode` and `open` take it.

    No escape stands for a slash, a dot or a zero: whoever edits a document leads nowhere else.
    """
    return _ESCAPE.sub(_unescaped, kept)


def brief(text: str, most: int = 60) -> str:
    """A text of at most so many characters: what is longer loses its middle."""
    if len(text) <= most:
        return text
    head = (most - 1) * 2 // 3
    return f"{text[:head]}…{text[len(text) - (most - 1 - head) :]}"


def short_name(name: str) -> str:
    """A name that can be typed, and that every system takes as the beginning of a file's name.

    At most LONGEST_ID columns and MOST_BYTES bytes: what is longer is cut and gets digits of its
    digest. Signs that are not wanted become `_`; slashes stay.
    """
    plain = unicodedata.normalize("NFC", name)
    plain = "".join("_" if unicodedata.category(c) in _UNSEEN else c for c in plain)
    plain = _UNWANTED.sub("_", plain).replace("\u00a0", " ").strip()
    plain = "/".join(_part(part) for part in plain.split("/")) or "_"
    if _fits(plain, LONGEST_ID, MOST_BYTES):
        return plain
    mark = hashlib.sha256(kept_path(name).encode()).hexdigest()[:_DIGITS]
    return f"{_beginning(plain.rpartition('/')[2])}-{mark}"


def short_ids(
    paths: Sequence[str], taken: Collection[str] = (), known: Collection[str] = ()
) -> dict[str, str]:
    """An id for each path (on the card, kept or real): the name without suffix where it is unique.

    Else with suffix, else the whole path, else numbered. No two ids, nor any of `taken`, differ by
    case or slashes alone, since masters are named after them and not every drive tells those apart.
    Paths that are `known` count, and get none.
    """
    split = {path: PurePosixPath(real_path(path)) for path in paths}
    stems = _counted(path.stem for path in split.values())
    names = _counted(path.name for path in split.values())
    used = {_same(name) for name in taken}
    ids: dict[str, str] = {}
    for path, parts in split.items():
        if path in known:
            continue
        forms = _forms(parts, stems[_same(parts.stem)] == 1, names[_same(parts.name)] == 1)
        ids[path] = next(form for form in forms if _same(form) not in used)
        used.add(_same(ids[path]))
    return ids


def cells(text: str) -> int:
    """How many columns of a terminal a text takes: wide letters two, combining marks none."""
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )


def _escaped(sign: str) -> str:
    code = ord(sign)
    if code < 0x80:
        return f"\\x{code:02x}"
    if _BYTE + 0x80 <= code <= _BYTE + 0xFF:
        return f"\\x{code - _BYTE:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def _unescaped(found: re.Match[str]) -> str:
    code = int(found[1] or found[2] or found[3], 16)
    if found[1] and code >= 0x80:
        code += _BYTE
    if not 0 < code <= 0x10FFFF:
        return found[0]
    sign = chr(code)
    written = unicodedata.category(sign) in _UNSEEN or sign == "\\"
    return sign if written and _escaped(sign) == found[0] else found[0]


def _part(part: str) -> str:
    """One name of a path: no dots or blanks at its end, no dash before it, not a device's name."""
    part = part.strip().rstrip(".")
    part = "_" + part[1:] if part.startswith("-") else part
    return f"_{part}" if _DEVICES.match(part) else part or "_"


def _beginning(plain: str) -> str:
    end = len(plain)
    room, most = LONGEST_ID - _DIGITS - 1, MOST_BYTES - _DIGITS - 1
    while not _fits(plain[:end], room, most):
        end -= 1
    return plain[:end].rstrip(" .-_") or "_"


def _fits(text: str, columns: int, most: int) -> bool:
    return cells(text) <= columns and len(text.encode()) <= most


def _same(name: str) -> str:
    """What two names share that some drive takes for one."""
    return unicodedata.normalize("NFC", name).replace("/", "_").casefold()


def _counted(names: Iterator[str]) -> Mapping[str, int]:
    counts: dict[str, int] = {}
    for name in names:
        counts[_same(name)] = counts.get(_same(name), 0) + 1
    return counts


def _forms(path: PurePosixPath, stem: bool, name: bool) -> Iterator[str]:
    if stem:
        yield short_name(path.stem)
    if name:
        yield short_name(path.name)
    whole = short_name(path.as_posix())
    yield whole
    for number in range(2, 10**6):
        yield f"{whole} {number}"
