"""What a master says of itself in its own metadata, so that it is known again without any record.

The mark is one line in the container's comment: the one key that FFmpeg writes into MP4 and MOV
alike without asking for keys of one's own. It is read from the boxes alone, without any decoder.
Nothing of the clip's own metadata is in it, and no place.
"""

from __future__ import annotations

import hashlib
import re
import struct
from pathlib import Path
from typing import Final
from urllib.parse import quote, unquote

import msgspec

from evenhand.media.boxes import Box, boxes, top_level
from evenhand.media.spec import MasterSpec

KEY: Final = "comment"
WHOLE: Final = "whole"

_COMMENT: Final = b"\xa9cmt"
_NAME: Final = "evenhand"
_LONGEST: Final = 4096  # bytes of a comment that can be a mark
_MOST: Final = 16  # comments that are looked at
_LARGEST: Final = 64 << 20  # bytes of an index; one of ten hours has a few MB
_DIGEST: Final = re.compile(r"[0-9a-f]{64}")
_UTF8: Final = 1  # the kind of an item's data
_SAFE: Final = "/:.-_+"


class MasterMark(msgspec.Struct, frozen=True):
    """Which master a file is.

    `clip` is the fingerprint of the clip and `id` its name in the shoot; `grade` and `spec_digest`
    are SHA-256 of what the grade and the spec say. `shape` is how the picture fits the frame and
    `part` how much of the clip it is, both "whole" where nobody chose. `version` of evenhand wrote
    it. No time is in it: what is made again comes out the same to the byte.
    """

    clip: str
    id: str
    grade: str
    spec: str
    spec_digest: str
    quality: str
    version: str
    shape: str = WHOLE
    part: str = WHOLE

    @property
    def identity(self) -> tuple[str, ...]:
        """What makes it this master of a clip and no other, whatever its grade."""
        return self.clip, self.spec_digest, self.quality, self.shape, self.part

    def means(self, other: MasterMark) -> bool:
        """Whether both are the same master of the same grade, whoever made it."""
        return (self.identity, self.grade) == (other.identity, other.grade)

    @property
    def brief(self) -> str:
        """As much of it as tells two marks of a clip apart, for people."""
        grade, spec = self.grade[:12], f"{self.spec} {self.spec_digest[:12]}"
        return f"{self.id}, {spec}, {self.quality}, {self.shape}, {self.part}, grade {grade}"

    @property
    def text(self) -> str:
        """The mark as one line of ASCII: `evenhand clip=… id=… grade=… …`."""
        fields = msgspec.structs.asdict(self)
        return " ".join([_NAME, *(f"{name}={quote(v, safe=_SAFE)}" for name, v in fields.items())])


def spec_digest(spec: MasterSpec) -> str:
    """SHA-256 of all that a spec says, 64 hexadecimal digits."""
    return hashlib.sha256(msgspec.json.encode(spec, order="deterministic")).hexdigest()


def parse_mark(text: str) -> MasterMark | None:
    """The mark in a line of text, None where it is anything else."""
    name, *words = text.split(" ")
    pairs = [word.partition("=") for word in words]
    fields = {key: unquote(value) for key, _, value in pairs}
    known = {field.name for field in msgspec.structs.fields(MasterMark)}
    if name != _NAME or len(fields) != len(pairs) or fields.keys() != known:
        return None
    mark = MasterMark(**fields)
    digests = (mark.grade, mark.spec_digest)
    whole = all(fields.values()) and all(_DIGEST.fullmatch(digest) for digest in digests)
    return mark if whole and mark.text == text else None


def read_mark(path: Path) -> MasterMark | None:
    """The mark of a master, None for any other file; whatever a file holds, nothing is raised.

    Reads the index of the file and decodes nothing.
    """
    if not path.is_file():
        return None
    try:
        moov = top_level(path).moov
        if moov is None or moov.end - moov.start > _LARGEST:
            return None
        with path.open("rb") as file:
            file.seek(moov.start)
            data = file.read(moov.end - moov.start)
    except OSError:
        return None
    for text in _comments(data)[:_MOST]:
        mark = parse_mark(text)
        if mark is not None:
            return mark
    return None


def _comments(data: bytes) -> list[str]:
    """The comments in an index: those of MOV lie in `udta`, those of MP4 two boxes further in."""
    found: list[bytes] = []
    for udta in _inside(data, Box(b"moov", 0, len(data)), b"udta"):
        found += [data[c.start + 4 : c.end] for c in _inside(data, udta, _COMMENT)]
        for meta in _inside(data, udta, b"meta"):
            full = Box(meta.kind, meta.start + 4, meta.end)  # behind its version and flags
            for items in _inside(data, full, b"ilst"):
                for comment in _inside(data, items, _COMMENT):
                    found += [_text_of(data, box) for box in _inside(data, comment, b"data")]
    return [text.decode("utf-8", "replace") for text in found if 0 < len(text) <= _LONGEST]


def _inside(data: bytes, outer: Box, kind: bytes) -> list[Box]:
    return [box for box in boxes(data, outer.start, outer.end) if box.kind == kind]


def _text_of(data: bytes, box: Box) -> bytes:
    if box.end - box.start < 8 or struct.unpack_from(">I", data, box.start)[0] != _UTF8:
        return b""
    return data[box.start + 8 : box.end]
