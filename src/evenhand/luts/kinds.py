"""Which kind of look a file is, by its first bytes; opens no file."""

from __future__ import annotations

import codecs
import re
from typing import Final

from evenhand.luts import cube, markup
from evenhand.luts.errors import LookFileError

HEAD_BYTES: Final = cube.HEAD_BYTES
READ: Final = "a .cube table, CLF or ASC CDL (.cc, .ccc, .cdl)"

_REMEDY: Final = "Convert it to .cube, CLF or ASC CDL"
# First bytes and where they stand, as their own standards have them.
_SIGNATURES: Final = (
    (0, b"\x89PNG", "a PNG picture"),
    (0, b"\xff\xd8\xff", "a JPEG picture"),
    (0, b"GIF8", "a GIF picture"),
    (0, b"II*\0", "a TIFF picture"),
    (0, b"MM\0*", "a TIFF picture"),
    (0, b"\x76\x2f\x31\x01", "an OpenEXR picture"),
    (0, b"SDPX", "a DPX picture"),
    (0, b"XPDS", "a DPX picture"),
    (36, b"acsp", "an ICC profile"),
    (0, b"PK\x03\x04", "a zip archive"),
    (0, b"PK\x05\x06", "a zip archive"),
    (0, b"\x1f\x8b", "a gzip archive"),
    (0, b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (0, b"Rar!", "a RAR archive"),
    (257, b"ustar", "a tar archive"),
    (0, b"%PDF", "a PDF document"),
    (0, b"SQLite format 3", "a database"),
    (4, b"ftyp", "a film or picture file"),
    (0, b"\x1aE\xdf\xa3", "a film file"),
    (0, b"RIFF", "a sound, film or picture file"),
    (0, b"\x7fELF", "a program"),
)
_TEXTS: Final = (
    (re.compile(rb"CSPLUTV100"), "a .csp table"),
    (re.compile(rb"SPILUT"), "a .spi3d table"),
    (re.compile(rb"Version\s+1\s+From\s"), "a .spi1d table"),
    (re.compile(rb"3DMESH"), "a .3dl table"),
    (re.compile(rb"#Inventor"), "a .vf table"),
    (re.compile(rb"LUT:|Version\s+\d+\s*[\r\n]+Format"), "a .lut table"),
    (re.compile(rb"[{\[]"), "a JSON document"),
)
_SUFFIXES: Final = {
    name: f"a .{name} table"
    for name in ("3dl", "csp", "spi1d", "spi3d", "spimtx", "lut", "vf", "itx", "m3d", "hdl", "dat")
} | {"ctf": "a CTF", "icc": "an ICC profile", "icm": "an ICC profile"}
_SIZE: Final = re.compile(rb"^[ \t]*LUT_[13]D_SIZE\b", re.IGNORECASE | re.MULTILINE)
_SKIPPED: Final = re.compile(rb"\s*(?:<\?.*?\?>\s*|<!--.*?-->\s*)*", re.DOTALL)
_ROOT: Final = re.compile(rb"<([A-Za-z_][\w.:-]{0,80})")
_CONTROLS: Final = bytes(set(range(32)) - set(b"\t\n\v\f\r\x1a\x1b"))


def kind_of(head: bytes, total: int, name: str) -> str:
    """The kind of a file of `total` bytes by its first HEAD_BYTES: cube, clf, cc, ccc or cdl.

    LookFileError for everything else, which says what was found; and for a file that is refused by
    its size or its header alone.
    """
    if not total:
        raise LookFileError(name, "it is empty", _REMEDY)
    for at, magic, what in _SIGNATURES:
        if head.startswith(magic, at):
            raise _other(name, what)
    text = _as_utf8(head)
    suffix = name.rpartition(".")[2].lower()
    start = _SKIPPED.match(text)
    begin = text[start.end() if start else 0 :]
    if begin.startswith(b"<"):
        return _markup_kind(begin, total, name)
    if _SIZE.search(text.replace(b"\r", b"\n")) or (suffix == "cube" and not _is_binary(text)):
        cube.check_head(head, total, name)
        return "cube"
    raise _other(name, _what(text, suffix))


def _markup_kind(begin: bytes, total: int, name: str) -> str:
    if begin.startswith(b"<!DOCTYPE"):
        found = "it has a document type, which a look does not need and which can do harm"
        raise LookFileError(name, found, _REMEDY)
    root = _ROOT.match(begin)
    element = root[1].decode("ascii", "replace").rpartition(":")[2] if root else "?"
    if element not in markup.ROOTS:
        raise _other(name, f"XML of the kind <{element}>")
    if total > markup.MAX_BYTES:
        raise LookFileError(name, f"it has {total} bytes, more than {markup.MAX_BYTES}", _REMEDY)
    return markup.ROOTS[element]


def _what(text: bytes, suffix: str) -> str:
    begin = text.lstrip()
    for pattern, what in _TEXTS:
        if pattern.match(begin):
            return what
    if suffix in _SUFFIXES:
        return _SUFFIXES[suffix]
    return "binary data" if _is_binary(text) else "a text without the words of a .cube table"


def _is_binary(text: bytes) -> bool:
    return b"\0" in text or len(text.translate(None, _CONTROLS)) < 0.95 * len(text)


def _as_utf8(head: bytes) -> bytes:
    if head[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        return head[: len(head) // 2 * 2].decode("utf-16", "replace").encode("utf-8", "replace")
    return head.removeprefix(codecs.BOM_UTF8)


def _other(name: str, what: str) -> LookFileError:
    return LookFileError(name, f"it is {what}, not {READ}", _REMEDY)
