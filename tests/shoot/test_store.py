"""The shoot document survives: round trips, damage, newer versions, drives that move."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from evenhand.errors import ShootError, UsageError
from evenhand.grade.document import Adjustment, Cdl, Levelling, LookUse, White
from evenhand.shoot import store
from evenhand.shoot.cache import Cache
from evenhand.shoot.document import CardEntry, ClipEntry, Shoot


def clip(name: str, folder: str = "") -> ClipEntry:
    return ClipEntry(
        id=name,
        card="card",
        path=f"{folder}{name}.mov",
        bytes=10,
        fingerprint="f" * 32,
        levelling=Levelling(0.25, White(5600.0, 0.002)),
        adjustment=Adjustment(exposure=0.3, cdl=Cdl(slope=(1.1, 1.0, 0.9))),
        look=LookUse("oven-light", 0.7),
    )


def shoot() -> Shoot:
    return Shoot(
        name="card",
        cards=(CardEntry("card", "/media/card"),),
        clips=(clip("A001"), clip("A002"), clip("A003", "day 2/")),
    )


def test_a_document_comes_back_as_it_was(tmp_path: Path) -> None:
    """Every decision survives writing and reading."""
    store.save(tmp_path, shoot())

    assert store.load(tmp_path) == shoot()


def test_the_document_is_readable_by_a_person(tmp_path: Path) -> None:
    """Format and version come first, and one decision stands on a line of its own."""
    store.save(tmp_path, shoot())
    lines = (tmp_path / "shoot.json").read_text("utf-8").splitlines()

    assert lines[1:3] == ['  "format": "evenhand shoot",', '  "version": 1,']
    assert any(line.strip() == '"kelvin": 5600.0,' for line in lines)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "damaged"),
        (b'{"format": "evenhand shoot", "version": 1, "clips": 3}', "damaged"),
        (b"[]", "not a shoot document"),
        (b'{"format": "cut list"}', "not a shoot document"),
        (b'{"format": "evenhand shoot", "version": "one"}', "whole number was expected"),
        (b'{"format": "evenhand shoot", "version": 99}', "a newer evenhand wrote it"),
    ],
)
def test_a_bad_document_is_refused_with_its_reason(
    tmp_path: Path, content: bytes, words: str
) -> None:
    """What is wrong is said, and the file is left as it is."""
    (tmp_path / "shoot.json").write_bytes(content)

    with pytest.raises(ShootError, match=words):
        store.load(tmp_path)

    assert (tmp_path / "shoot.json").read_bytes() == content


def test_the_only_shoot_here_is_found(tmp_path: Path) -> None:
    """No shoot, one shoot, two shoots: each has its answer."""
    with pytest.raises(ShootError, match="no shoot is in this folder"):
        store.shoot_folder(None, tmp_path)
    store.save(tmp_path / "one.shoot", shoot())
    assert store.shoot_folder(None, tmp_path) == tmp_path / "one.shoot"
    store.save(tmp_path / "two.shoot", shoot())
    with pytest.raises(ShootError, match=r"2 shoots are in this folder \(one.shoot, two.shoot\)"):
        store.shoot_folder(None, tmp_path)


@pytest.mark.parametrize("name", ["A003", "day 2/A003.mov", "A003.mov"])
def test_a_clip_is_named_by_id_path_or_file(name: str) -> None:
    """All three ways of the command line find the clip."""
    assert shoot().clip(name).path == "day 2/A003.mov"


def test_a_misspelt_clip_gets_a_suggestion() -> None:
    """The nearest names are offered."""
    with pytest.raises(UsageError, match="Did you mean"):
        shoot().clip("A0O1")


def test_fingerprints_tell_files_apart(tmp_path: Path) -> None:
    """Size, start and end count; the same content under another name has the same fingerprint."""
    a, b, c = (tmp_path / n for n in "abc")
    a.write_bytes(b"x" * 3_000_000)
    b.write_bytes(b"x" * 3_000_000)
    c.write_bytes(b"x" * 2_999_999 + b"y")

    assert store.fingerprint(a) == store.fingerprint(b) != store.fingerprint(c)


def test_a_missing_drive_is_said(tmp_path: Path) -> None:
    """The message tells where the card was last seen and how to go on."""
    here = msgspec.structs.replace(shoot(), cards=(CardEntry("card", str(tmp_path / "gone")),))

    with pytest.raises(ShootError, match="Connect the drive, or scan the card where it is now"):
        store.original(here, here.clips[0])


def test_a_damaged_cache_is_made_anew(tmp_path: Path) -> None:
    """The cache may be deleted or broken at any time: nothing is lost but time."""
    with Cache(tmp_path) as cache:
        cache.put("f", "facts", b"1")
    (tmp_path / "measurements.db").write_bytes(b"not a database" * 100)
    for leftover in tmp_path.glob("measurements.db-*"):
        leftover.unlink()

    with Cache(tmp_path) as cache:
        assert cache.get("f", "facts") is None
        cache.put("f", "facts", b"2")
        assert cache.get("f", "facts") == b"2"
