"""A small pack of looks, and taking one apart and together again."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Mapping
from pathlib import Path

from evenhand.jobs.lookpack import PackMade, PackOptions, pack_looks
from evenhand.jobs.looks import find_look
from evenhand.luts.archive import packed, pieces

NAMES = ("soot", "rye")
SMALL = PackOptions(name="Two looks", seller="A. Baker", sizes=(17,), kinds=("cube", "clf"))


def small_pack(to: Path, names: tuple[str, ...] = NAMES, options: PackOptions = SMALL) -> PackMade:
    return pack_looks([find_look(name) for name in names], to, options)


def taken_apart(path: Path) -> dict[str, bytes]:
    """The members by Python's own reader."""
    with zipfile.ZipFile(path) as reader:
        return {name: reader.read(name) for name in reader.namelist()}


def put_together(members: Mapping[str, bytes], path: Path, *, sums: bool = True) -> Path:
    """A pack of those members; with checksums that are right for them unless told otherwise."""
    members = dict(members)
    if sums:
        members.pop("SHA256SUMS", None)
        lines = [f"{hashlib.sha256(d).hexdigest()}  {n}\n" for n, d in sorted(members.items())]
        members["SHA256SUMS"] = "".join(lines).encode()
    path.write_bytes(b"".join(pieces([packed(name, data) for name, data in members.items()])))
    return path


def zipped(members: Mapping[str, bytes], path: Path) -> Path:
    """An archive by Python's own writer."""
    with io.BytesIO() as file:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as maker:
            for name, data in members.items():
                maker.writestr(name, data)
        path.write_bytes(file.getvalue())
    return path
