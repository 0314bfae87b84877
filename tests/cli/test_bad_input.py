"""Bad input: one clear line, an exit status, nothing lost, and originals never touched."""

from __future__ import annotations

import json
import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType

import pytest

SAY = "--encoding"
LOG = "A001=phone-log-1"


def made(folder: Path) -> list[str]:
    """Everything in a folder, temporary files too."""
    return sorted(p.name for p in folder.rglob("*") if p.is_file())


def untouched(path: Path) -> tuple[int, int, bytes]:
    return path.stat().st_size, path.stat().st_mtime_ns, path.read_bytes()


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda p: None, "there is no such folder. Check the path, or connect the drive."),
        (lambda p: p.write_bytes(b"x"), "this is a file; a card is a folder."),
        (lambda p: p.mkdir(), "no video is on this card (nothing in it)."),
    ],
    ids=["missing", "a file", "empty"],
)
def test_what_is_no_card_is_said(call, tmp_path: Path, make, words: str) -> None:
    """A wrong path, a file and an empty folder each get their own line, and no shoot is made."""
    place = tmp_path / "nowhere"
    make(place)

    said = call("scan", place)

    assert said.status == 1
    assert said.lines == [said.err.strip()]
    assert words in said.err
    assert not list(tmp_path.glob("*.shoot"))


@pytest.mark.media
def test_files_that_are_no_clips_are_rows_and_the_others_go_on(
    call, card: Path, log_clip: Path
) -> None:
    """Zero bytes, text, a folder, a pipe and rubbish are told with reasons; the clip is found."""
    (card / "empty.mov").write_bytes(b"")
    (card / "notes.mov").write_text("Bring flour.\n" * 50, "utf-8")
    (card / "noise.mp4").write_bytes(os.urandom(4000))
    os.mkfifo(card / "pipe.mov")
    (card / "read me.txt").write_text("not video", "utf-8")

    said = call("scan", card, SAY, LOG)

    assert said.status == 1
    for name in ("empty.mov", "notes.mov", "noise.mp4"):
        assert f"not a clip: {name}: " in said.err
    assert "0 bytes" in said.err or "empty" in said.err
    assert "1 other file left aside" in said.err
    assert "A001" in said.out


@pytest.mark.slow
@pytest.mark.media
def test_a_truncated_clip_is_reported_and_mastered_only_when_asked(
    call, synth: ModuleType, card: Path, tmp_path: Path, log_clip: Path
) -> None:
    """Fewer frames than the index says: refused by default, and what is there with the option."""
    synth.cut_between_packets(log_clip, 8)
    before = untouched(log_clip)

    scanned = call("scan", card, SAY, LOG)
    refused = call("master", "--spec", "tiny.toml", "--to", "out")
    allowed = call("master", "--spec", "tiny.toml", "--to", "out", "--allow-damaged")

    assert "its index lists 12 frames, 8 are there" in scanned.err
    assert refused.status == 1
    assert "--allow-damaged" in refused.err
    assert allowed.status == 0
    assert made(tmp_path / "out") == ["A001.tiny.mp4"]
    assert untouched(log_clip) == before


@pytest.mark.slow
@pytest.mark.media
def test_a_packet_that_does_not_decode_stops_the_master_unless_allowed(
    call, synth: ModuleType, card: Path, tmp_path: Path
) -> None:
    """A hole in the middle is counted, and its neighbour stands in for it when that is allowed."""
    clip = synth.write_clip(card / "A001.mov", **synth.PRORES, frames=12, tags=synth.PHONE_LOG)
    synth.damage_packet(clip, 5, 200)

    call("scan", card, SAY, LOG)
    refused = call("master", "--spec", "tiny.toml", "--to", "out")
    allowed = call("master", "--spec", "tiny.toml", "--to", "out", "--allow-damaged", "--json")

    assert refused.status == 1
    assert "1 of 12 frames are missing" in refused.err
    assert allowed.status == 0
    [entry] = json.loads(allowed.out)["made"]
    assert (entry["frames"], entry["lost"]) == (12, 1)


@pytest.mark.media
def test_a_clip_without_tags_is_asked_about(call, synth: ModuleType, card: Path) -> None:
    """No colour tags: never guessed silently; the line says how to settle it, and it settles."""
    synth.write_clip(card / "A001.mov", **synth.PRORES, frames=3, tags=synth.UNTAGGED)

    unsure = call("scan", card)
    sure = call("scan", card, SAY, LOG)

    assert unsure.status == 1
    assert "not sure" in unsure.err
    assert "--encoding A001=" in unsure.err
    assert sure.status == 0
    assert "phone-log-1" in sure.out


@pytest.mark.media
@pytest.mark.parametrize(
    "words",
    [
        {"frames": 1},
        {"size": (193, 107)},
        {"audio": 0},
        {"audio": 5},
        {"size": (98, 174), "audio": 1},
    ],
    ids=["one frame", "odd size", "no audio", "five audio tracks", "portrait coded"],
)
def test_unusual_clips_are_mastered(
    call, synth: ModuleType, card: Path, tmp_path: Path, words: dict[str, object]
) -> None:
    """One frame, odd sizes, no sound and five tracks all go through, verified."""
    recipe = {"codec": "libx264", "pixel_format": "yuv444p", "frames": 5} | words
    synth.write_clip(card / "A001.mov", **recipe)

    scanned = call("scan", card, SAY, "A001=bt709")
    done = call("master", "--spec", "tiny.toml", "--to", "out", "--json")

    assert scanned.status == 0
    assert done.status == 0, done.err
    [entry] = json.loads(done.out)["made"]
    assert entry["frames"] == recipe["frames"]
    assert all(check["ok"] for check in entry["checks"])


@pytest.mark.media
@pytest.mark.slow
def test_8k_is_mastered(call, synth: ModuleType, card: Path) -> None:
    """7680 x 4320 goes through to the spec's own size."""
    synth.write_clip(card / "A001.mov", **synth.H264, size=(7680, 4320), frames=1)

    call("scan", card, SAY, "A001=bt709")
    done = call("master", "--spec", "web-720", "--to", "out", "--quality", "draft", "--json")

    assert done.status == 0, done.err
    assert json.loads(done.out)["made"][0]["size"] == [1280, 720]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("run", "card", "--look", "oven-ligth", "--to", "out"), "oven-light"),
        (("run", "card", "--strength", "130%", "--to", "out"), "from 0% to 100%, not 130%"),
        (("run", "card", "--strength", "strong", "--to", "out"), "written 70% or 0.7"),
        (("run", "card", "--spec", "wb-uhd", "--to", "out"), "no spec has this name"),
        (("run", "card", "--quality", "super", "--spec", "web-hd", "--to", "o"), "no such quality"),
        (("scan", "card", "--encoding", "A001"), "write CLIP=NAME"),
        (("scan", "card", "--encoding", "A001=log9"), "no encoding has this name"),
        (("run", "card"), "--to"),
        (("run", "card", "--strength", "50%", "--to", "out"), "--look"),
        (("mster",), "Did you mean master?"),
    ],
)
def test_wrong_usage_is_status_2(call, card: Path, arguments: tuple[str, ...], words: str) -> None:
    """A look, strength, spec, quality, encoding or verb that is not: one line, nothing written."""
    (card / "A001.mov").write_bytes(b"")

    said = call(*arguments)

    assert said.status == 2
    assert words in said.err
    assert len(said.lines) == 1
    assert not list(card.parent.glob("*.shoot"))


def test_a_look_that_does_not_exist_changes_nothing(call, log_clip: Path, card: Path) -> None:
    """The shoot keeps its decisions, and the names that exist are offered."""
    call("scan", card, SAY, LOG)
    document = card.parent / "card.shoot" / "shoot.json"
    before = document.read_bytes()

    said = call("look", "use", "oven-lite")

    assert said.status == 2
    assert "oven-light" in said.err
    assert document.read_bytes() == before


@contextmanager
def small_disk(place: Path, how: str) -> Iterator[Path]:
    """A disk of its own, mounted with these options; skips where that is not allowed."""
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", how, "none", str(place)]
    if subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        pytest.skip("a disk cannot be mounted here (needs root on Linux)")
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


@pytest.mark.media
def test_no_space_left_leaves_nothing_half_made(
    call, card: Path, log_clip: Path, tmp_path: Path
) -> None:
    """A full disk is one line with status 1; no partial file stays."""
    call("scan", card, SAY, LOG)

    with small_disk(tmp_path / "disk", "size=12k") as disk:
        said = call("master", "--spec", "tiny.toml", "--to", disk)
        left = made(disk)

    assert said.status == 1
    assert "Make room or name another folder." in said.err
    assert left == []


@pytest.mark.media
def test_a_read_only_target_is_refused_before_any_work(
    call, card: Path, log_clip: Path, tmp_path: Path
) -> None:
    """A locked disk is told plainly."""
    call("scan", card, SAY, LOG)

    with small_disk(tmp_path / "disk", "size=1m,ro") as disk:
        said = call("master", "--spec", "tiny.toml", "--to", disk)

    assert said.status == 1
    assert "read-only" in said.err


@pytest.mark.media
def test_a_file_that_is_there_is_kept(call, card: Path, log_clip: Path, tmp_path: Path) -> None:
    """Somebody else's file under the name of a master is not replaced unless that is asked."""
    (tmp_path / "out").mkdir()
    stranger = tmp_path / "out" / "A001.tiny.mp4"
    stranger.write_bytes(b"a wedding")
    call("scan", card, SAY, LOG)

    refused = call("master", "--spec", "tiny.toml", "--to", "out")
    replaced = call("master", "--spec", "tiny.toml", "--to", "out", "--overwrite")

    assert refused.status == 1
    assert "a file of this name is there already" in refused.err
    assert replaced.status == 0
    assert stranger.stat().st_size > 1000


def test_a_target_that_is_a_file_is_refused(call, log_clip: Path, card: Path) -> None:
    """`--to` must be a folder."""
    (card.parent / "out").write_bytes(b"x")
    call("scan", card, SAY, LOG)

    said = call("master", "--spec", "tiny.toml", "--to", "out")

    assert said.status == 1
    assert "Name a folder" in said.err


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("--exposure", "nan"),
        ("--exposure", "inf"),
        ("--exposure", "100"),
        ("--white", "nan"),
        ("--contrast", "0"),
        ("--saturation", "-1"),
        ("--slope", "-1"),
        ("--offset", "nan,0,0"),
        ("--power", "1,2"),
        ("--output-transform", "film"),
    ],
)
def test_an_adjustment_without_meaning_changes_nothing(
    call, log_clip: Path, card: Path, option: str, value: str
) -> None:
    """No value can make a document that cannot be read again (JSON has no nan, RFC 8259)."""
    call("scan", card, SAY, LOG)
    document = card.parent / "card.shoot" / "shoot.json"
    before = document.read_bytes()

    said = call("adjust", "A001", f"{option}={value}")

    assert said.status == 2
    assert len(said.err.splitlines()) == 1
    assert option in said.err
    assert document.read_bytes() == before


def test_an_sdr_look_and_an_hdr_output_transform_are_refused_together(
    call, log_clip: Path, card: Path
):
    """Whichever comes second is refused when it is asked for, not when masters are made."""
    call("scan", card, SAY, LOG)
    call("look", "use", "soot")
    output_transform = call("adjust", "A001", "--output-transform", "hlg-1000")
    call("look", "use", "none")
    call("adjust", "A001", "--output-transform", "hlg-1000")
    look = call("look", "use", "soot")

    assert (output_transform.status, look.status) == (2, 2)
    assert "look soot" in output_transform.err
    assert "look soot" in look.err


def test_a_shoot_is_never_put_on_the_card_unasked(
    call, card: Path, log_clip: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Called from the card's own folder, a scan asks for a place instead of writing there."""
    monkeypatch.chdir(card)

    said = call("scan", ".", SAY, LOG)

    assert said.status == 2
    assert "--shoot DIR" in said.err
    assert made(card) == ["A001.mov"]


def test_scopes_into_a_file_and_a_foreign_truth_are_one_line(
    call, card: Path, log_clip: Path
) -> None:
    """A file where a folder is wanted, and JSON that is no truth: said, with what to do."""
    call("scan", card, SAY, LOG)
    (card.parent / "taken").write_bytes(b"x")

    scopes = call("scopes", "A001", "--to", "taken")
    truth = call("report", "--truth", "card.shoot/shoot.json")

    assert (scopes.status, truth.status) == (1, 2)
    assert "Name a folder" in scopes.err
    assert "not the truth of a card" in truth.err


@pytest.mark.parametrize("name", ["A001_oven", "A001", "A001_oven.mov", "card/A001_oven.mov"])
def test_a_clip_is_named_in_any_clear_way(call, synth: ModuleType, card: Path, name: str) -> None:
    """By its id, its beginning, its file name, or the path that a shell completes."""
    synth.write_clip(card / "A001_oven.mov", **synth.PRORES, frames=2, tags=synth.PHONE_LOG)
    synth.write_clip(card / "A0010.mov", **synth.PRORES, frames=2, tags=synth.PHONE_LOG)
    call("scan", card)

    said = call("adjust", name)

    assert said.out.startswith("A001_oven: ")


def test_a_fault_of_the_program_is_one_line_too(call, monkeypatch: pytest.MonkeyPatch) -> None:
    """What nobody foresaw is told in a line; a traceback is there for those who ask."""
    monkeypatch.setattr("evenhand.jobs.look.list_looks", lambda: 1 / 0)

    said = call("look", "list")

    assert said.status == 1
    assert said.lines == [said.err.strip()]
    assert "EVENHAND_TRACE=1" in said.err


def test_without_a_shoot_every_verb_says_how_to_begin(call) -> None:
    """No shoot in the folder: the way to make one is told."""
    for verb in (("level",), ("report",), ("look", "use", "soot"), ("adjust", "A1")):
        said = call(*verb)
        assert said.status == 1
        assert "evenhand scan CARD" in said.err
