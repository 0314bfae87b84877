"""The shoot document survives: round trips, damage, edits by hand, many hands at once."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest

from evenhand.errors import ShootError, UsageError
from evenhand.grade.document import Adjustment, Cdl, Levelling, LookUse, White
from evenhand.shoot import store, whereabouts
from evenhand.shoot.document import CardEntry, ClipEntry, Shoot, empty
from evenhand.shoot.history import HISTORY, Origin

BY = Origin("adjust")


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
    return msgspec.structs.replace(
        empty("card"),
        cards=(CardEntry("card", "/media/card"),),
        clips=(clip("A001"), clip("A002"), clip("A003", "day 2/")),
    )


def saved(folder: Path) -> Path:
    """The document of that shoot, in a folder."""
    store.change(folder, BY, lambda _: shoot(), start=empty("card"))
    return folder / store.DOCUMENT


def brighter(stops: float) -> Callable[[Shoot], Shoot]:
    def edit(now: Shoot) -> Shoot:
        entry = now.clip("A001")
        adjustment = msgspec.structs.replace(entry.adjustment, exposure=stops)
        return now.with_clips(msgspec.structs.replace(entry, adjustment=adjustment))

    return edit


def test_a_document_comes_back_as_it_was(tmp_path: Path) -> None:
    """Every decision survives writing and reading; the first change is revision 1."""
    saved(tmp_path)

    assert store.load(tmp_path) == msgspec.structs.replace(shoot(), revision=1)


def test_the_document_is_readable_by_a_person(tmp_path: Path) -> None:
    """Format and version come first, one decision stands on a line of its own, and it is short."""
    lines = saved(tmp_path).read_text("utf-8").splitlines()

    assert lines[1:3] == ['  "format": "evenhand shoot",', '  "version": 2,']
    assert any(line.strip() == '"kelvin": 5600.0,' for line in lines)
    assert len("\n".join(lines)) < 3 * 1024


def test_a_change_that_changes_nothing_is_none(tmp_path: Path) -> None:
    """The same file, the same revision, no line of history."""
    document = saved(tmp_path)
    before, past = document.read_bytes(), (tmp_path / HISTORY).read_bytes()

    store.change(tmp_path, BY, lambda now: now)

    assert document.read_bytes() == before
    assert (tmp_path / HISTORY).read_bytes() == past


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "damaged"),
        (b'{"format": "evenhand shoot", "version": 2, "name": "a", "clips": 3}', "damaged"),
        (b"[]", "not a shoot document"),
        (b'{"format": "cut list"}', "not a shoot document"),
        (b'{"format": "evenhand shoot", "version": "one"}', "whole number was expected"),
        (b'{"format": "evenhand shoot", "version": 99}', "a newer evenhand wrote it"),
        (b'{"format": "evenhand shoot", "version": 1, "clips": [3]}', "not of its version"),
        (b'{"a":' * 100_000 + b"1" + b"}" * 100_000, "nested too deep"),
        (b"\0" * 4096, "damaged"),
    ],
)
def test_a_bad_document_is_refused_with_its_reason(
    tmp_path: Path, content: bytes, words: str
) -> None:
    """What is wrong is said in one line, and the file is left as it is."""
    (tmp_path / "shoot.json").write_bytes(content)

    with pytest.raises(ShootError, match=words) as refused:
        store.load(tmp_path)

    assert "\n" not in str(refused.value)
    assert len(str(refused.value)) < 600
    assert (tmp_path / "shoot.json").read_bytes() == content


def test_a_pipe_is_no_document(tmp_path: Path) -> None:
    """It is refused at once; opening it would wait for ever."""
    os.mkfifo(tmp_path / "shoot.json")

    with pytest.raises(ShootError, match="not a regular file"):
        store.load(tmp_path)


def with_value(*path: Any, value: Any) -> Callable[[dict[str, Any]], None]:
    def edit(document: dict[str, Any]) -> None:
        inside: Any = document
        for part in path[:-1]:
            inside = inside.setdefault(part, {}) if isinstance(inside, dict) else inside[part]
        inside[path[-1]] = value

    return edit


def twice(document: dict[str, Any]) -> None:
    document["clips"].append(document["clips"][0])


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        (
            with_value("clips", 0, "adjustment", "exposure", value="bright"),
            r"clips\[0\].adjustment",
        ),
        (with_value("clips", 0, "adjustment", "exposure", value=1e9), "A001.*outside ±16"),
        (with_value("clips", 0, "levelling", "white", "kelvin", value=1.0), "A001.*outside 1667"),
        (with_value("clips", 1, "look", "strength", value=7), "A002.*no share"),
        (with_value("clips", 1, "path", value="../../etc/passwd"), "A002.*leaves the card"),
        (with_value("clips", 1, "path", value="/etc/passwd"), "A002.*leaves the card"),
        (with_value("clips", 1, "path", value="A\0.mov"), "A002.*leaves the card"),
        (with_value("cards", value=[]), "A001.*is not in cards"),
        (twice, "A001.*stands there twice"),
        (
            with_value(
                "grey_cards", value=[{"clip": "A001", "seconds": "1/0", "x": 0.5, "y": 0.5}]
            ),
            "no time in seconds",
        ),
        (
            with_value("grey_cards", value=[{"clip": "A001", "seconds": "1", "x": 7, "y": 0.5}]),
            "outside the picture",
        ),
        (with_value("places", value=[{"name": "bar", "clips": ["Z9"]}]), "there is no clip 'Z9'"),
        (with_value("wishes", value={"leave_warmth": 3}), "no share"),
    ],
)
def test_a_document_that_a_person_broke_is_refused_with_the_place(
    tmp_path: Path, edit: Callable[[dict[str, Any]], None], words: str
) -> None:
    """Wrong types, numbers that no grade has, doubles, strangers, paths that leave the card."""
    path = saved(tmp_path)
    document = json.loads(path.read_bytes())
    edit(document)
    path.write_text(json.dumps(document), "utf-8")

    with pytest.raises(ShootError, match=words):
        store.load(tmp_path)


def test_no_number_that_is_none_is_read(tmp_path: Path) -> None:
    """NaN is no JSON (RFC 8259, section 6)."""
    path = saved(tmp_path)
    path.write_text(path.read_text("utf-8").replace("0.3", "NaN", 1), "utf-8")

    with pytest.raises(ShootError, match="damaged"):
        store.load(tmp_path)


def test_keys_that_are_not_known_are_kept(tmp_path: Path) -> None:
    """At every level, through a change of something beside them; a missing field is its default."""
    path = saved(tmp_path)
    document = json.loads(path.read_bytes())
    document["note"] = {"by": "me"}
    document["clips"][0]["rating"] = 5
    document["clips"][0]["adjustment"]["why"] = "dusk"
    document["clips"][1]["look"]["for"] = "the trailer"
    del document["clips"][2]["levelling"]
    path.write_text(json.dumps(document), "utf-8")

    store.change(tmp_path, BY, brighter(0.5))

    now = json.loads(path.read_bytes())
    assert now["note"] == {"by": "me"}
    assert now["clips"][0]["rating"] == 5
    assert now["clips"][0]["adjustment"]["why"] == "dusk"
    assert now["clips"][0]["adjustment"]["exposure"] == 0.5
    assert now["clips"][1]["look"]["for"] == "the trailer"
    assert store.load(tmp_path).clip("A003").levelling == Levelling()


def test_a_document_of_the_first_version_is_taken_along(tmp_path: Path) -> None:
    """Decisions stay, what was measured and made goes, masters' folders are known."""
    levelling = {"stops": 0.5, "white": {"kelvin": 5000.0, "duv": 0.001}, "steadying": None}
    old = {
        "format": "evenhand shoot",
        "version": 1,
        "name": "card",
        "cards": [{"name": "card", "path": "/media/card"}],
        "clips": [
            {
                "id": "A001",
                "card": "card",
                "path": "A001.mov",
                "bytes": 10,
                "fingerprint": "f",
                "setup": "setup 1",
                "levelling": levelling,
                "decision": {"clip": "A001", "status": "grey", "confidence": 0.9, "why": "so"},
                "findings": {"ends": {}},
                "rendering": "plain-sdr",
                "look": {"name": "rye", "strength": 0.7, "digest": "d", "effects": False},
            },
            {
                "id": "A002", "card": "card", "path": "A002.mov", "bytes": 1, "fingerprint": "g",
                "unreadable": "It is no clip.",
            },
        ],
        "setups": [{"name": "setup 1", "clips": ["A001"], "reference": "A001", "by": "person"}],
        "greys": [{"clip": "A001", "seconds": "1", "x": 0.5, "y": 0.5}],
        "wishes": {"keep_warmth": 0.3, "use_charts": False, "steady": False},
        "masters": [{"clip": "A001", "path": "/out/A001.web-hd.mp4"}],
    }  # fmt: skip
    (tmp_path / "shoot.json").write_text(json.dumps(old), "utf-8")

    now = store.load(tmp_path)

    first = now.clip("A001")
    assert first.levelling == Levelling(0.5, White(5000.0, 0.001))
    assert first.levelled is not None
    assert (first.levelled.status, first.levelled.confidence) == ("grey_card", 0.9)
    assert (first.output_transform, first.look) == ("plain-sdr", LookUse("rye", 0.7, "d"))
    assert now.clip("A002").state == "unreadable"
    assert [p.name for p in now.places] == ["setup 1"]
    assert [g.clip for g in now.grey_cards] == ["A001"]
    assert (now.wishes.leave_warmth, now.wishes.use_charts, now.wishes.level_drift) == (
        0.3,
        False,
        False,
    )
    assert [f.path for f in now.master_folders] == ["/out"]


MANY = """
import sys
from pathlib import Path
import msgspec
from evenhand.shoot import store
from evenhand.shoot.history import Origin
folder, name = Path(sys.argv[1]), sys.argv[2]
for number in range(1, 126):
    def edit(now):
        entry = now.clip(name)
        adjustment = msgspec.structs.replace(entry.adjustment, exposure=number / 100)
        return now.with_clips(msgspec.structs.replace(entry, adjustment=adjustment))
    store.change(folder, Origin("adjust"), edit)
"""


@pytest.mark.slow
def test_five_hundred_changes_by_four_processes_are_all_there(tmp_path: Path) -> None:
    """Two processes change one clip and two another: no change is lost, all end well."""
    saved(tmp_path)
    names = ("A001", "A002", "A001", "A003")
    runs = [subprocess.Popen([sys.executable, "-c", MANY, str(tmp_path), name]) for name in names]
    ended = [run.wait(timeout=120) for run in runs]
    now = store.load(tmp_path)
    lines = (tmp_path / HISTORY).read_text("utf-8").splitlines()

    assert ended == [0, 0, 0, 0]
    assert {now.clip(n).adjustment.exposure for n in names} == {1.25}
    # Two that set one clip alike may find nothing to change; every other change counts.
    revisions = [json.loads(line)["revision"] for line in lines]
    assert revisions == list(range(1, now.revision + 1))
    assert len(revisions) >= 1 + 3 * 125
    values = {n: [] for n in names}
    for line in lines[1:]:
        [edit] = json.loads(line)["edits"]
        values[edit["at"][1]].append(edit["after"])
    for name in ("A002", "A003"):
        assert values[name] == [number / 100 for number in range(1, 126)]


def test_the_only_shoot_here_is_found(tmp_path: Path) -> None:
    """No shoot, one shoot, two shoots: each has its answer."""
    with pytest.raises(ShootError, match="no shoot is in this folder"):
        store.shoot_folder(None, tmp_path)
    saved(tmp_path / "one.shoot")
    assert store.shoot_folder(None, tmp_path) == tmp_path / "one.shoot"
    saved(tmp_path / "two.shoot")
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

    prints = [whereabouts.fingerprint(path) for path in (a, b, c)]
    assert prints[0] == prints[1] != prints[2]


def test_a_missing_drive_is_said(tmp_path: Path) -> None:
    """The message tells where the card was last seen and how to go on."""
    here = msgspec.structs.replace(shoot(), cards=(CardEntry("card", str(tmp_path / "gone")),))

    with pytest.raises(ShootError, match="Connect the drive, or scan the card where it is now"):
        whereabouts.original(here, here.clips[0], tmp_path / "a.shoot")


@pytest.mark.parametrize("loaded", ["numpy", "numba", "PyOpenColorIO", "cv2", "av"])
def test_loading_the_document_waits_for_no_arrays(loaded: str) -> None:
    """A decision that needs no picture is made without the libraries of pictures."""
    code = "import sys, evenhand.shoot.store, evenhand.jobs.adjust; print(*sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert loaded not in run.stdout.split()
