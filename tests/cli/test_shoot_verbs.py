"""Leaving out, forgetting, history, and a card that travels, through the command line."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

pytestmark = pytest.mark.media
Call = Callable[..., Any]


@pytest.fixture
def two_clips(synth: ModuleType, card: Path) -> Path:
    """Two phone-log clips, of six frames and of seven."""
    for name, frames in (("A001", 6), ("A002", 7)):
        recipe = {**synth.PRORES, "frames": frames, "tags": synth.PHONE_LOG}
        synth.write_clip(card / f"{name}.mov", **recipe)
    return card


def entry(folder: Path, name: str) -> dict[str, Any]:
    document = json.loads((folder / "shoot.json").read_text("utf-8"))
    found: dict[str, Any] = next(c for c in document["clips"] if c["id"] == name)
    return found


def test_a_clip_is_left_out_of_masters_and_taken_back(call: Call, two_clips: Path) -> None:
    """Named outright it is mastered all the same; `undo` takes back the last word."""
    call("scan", two_clips, "--encoding", "*=phone-log-1")
    left = call("leave-out", "A002")
    some = json.loads(call("master", "--spec", "tiny.toml", "--to", "out", "--json").out)
    back = call("leave-out", "A002", "--take-back")
    both = json.loads(call("master", "--spec", "tiny.toml", "--to", "out", "--json").out)

    assert left.out.strip() == "left out of masters: A002"
    assert [m["clip"] for m in some["made"]] == ["A001"]
    assert back.out.strip() == "left out of masters: none"
    assert [m["clip"] for m in both["made"]] == ["A002"]
    assert call("undo").status == 0
    assert "left out of masters: A002" in call("leave-out").out


def test_history_undo_and_redo(call: Call, two_clips: Path, tmp_path: Path) -> None:
    """What was decided is told in words, taken back and done again, one command at a time."""
    call("scan", two_clips, "--encoding", "*=phone-log-1")
    call("adjust", "A001", "A002", "--exposure", "0.3")
    call("adjust", "A001", "--exposure", "0.5")

    told = call("history", "A001").out
    assert "adjust" in told
    assert "A001: adjustment, exposure: 0.3 -> 0.5" in told
    assert "A002" not in told
    assert call("undo").status == 0
    assert entry(tmp_path / "card.shoot", "A001")["adjustment"]["exposure"] == 0.3
    assert call("redo").status == 0
    assert entry(tmp_path / "card.shoot", "A001")["adjustment"]["exposure"] == 0.5
    assert call("undo", "--to", "1").status == 0
    assert "adjustment" not in entry(tmp_path / "card.shoot", "A001")
    nothing = call("undo", "--to", "999")
    assert nothing.status == 2
    assert "there is no revision 999" in nothing.err
    assert call("redo").status == 0
    assert call("forget", "adjustment").status == 0


def test_what_was_said_is_forgotten_kind_by_kind(
    call: Call, two_clips: Path, tmp_path: Path
) -> None:
    """The encoding of one clip, the look of all."""
    call("scan", two_clips, "--encoding", "*=phone-log-1")
    call("look", "use", "rye")

    assert call("forget", "encoding", "--clip", "A001").status == 0
    assert call("forget", "look").status == 0

    assert "encoding" not in entry(tmp_path / "card.shoot", "A001")
    assert entry(tmp_path / "card.shoot", "A002")["encoding"]["name"] == "phone-log-1"
    assert "look" not in entry(tmp_path / "card.shoot", "A002")
    unknown = call("forget", "everything")
    assert unknown.status == 2
    assert len(unknown.lines) == 1


def test_a_clip_that_is_away_keeps_what_was_decided(call: Call, two_clips: Path) -> None:
    """Gone in one scan, cut short in the next, whole again in the last."""
    file = two_clips / "A001.mov"
    whole = file.read_bytes()
    call("scan", two_clips, "--encoding", "*=phone-log-2")
    call("adjust", "A001", "--exposure", "0.3")
    folder = two_clips.parent / "card.shoot"

    file.unlink()
    gone = call("scan", two_clips)
    assert "away: A001: its file is not on the card; what was decided stays" in gone.err
    assert entry(folder, "A001")["state"] == "away"
    file.write_bytes(whole[: len(whole) // 2])
    call("scan", two_clips)
    refused = call("master", "A001", "--spec", "tiny.toml", "--to", "out")
    assert refused.status == 1
    assert "another file than the one that was scanned" in refused.err
    file.write_bytes(whole)
    call("scan", two_clips)

    now = entry(folder, "A001")
    assert now.get("state", "here") == "here"
    assert now["adjustment"]["exposure"] == 0.3
    assert (now["encoding"]["name"], now["encoding_by"]) == ("phone-log-2", "person")


def test_a_card_and_its_shoot_go_on_under_another_mount(
    call: Call, two_clips: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Scanned, levelled and mastered on a drive; moved, nothing is measured or made again."""
    drive, other = tmp_path / "drive", tmp_path / "elsewhere" / "mount"
    drive.mkdir()
    shutil.move(two_clips, drive / "card")
    shoot = drive / "card.shoot"
    call("scan", drive / "card", "--shoot", shoot, "--encoding", "*=phone-log-1")
    call("level", "--shoot", shoot, "--no-chart")
    words = ("master", "--spec", tmp_path / "tiny.toml", "--json")
    made = json.loads(call(*words, "--to", drive / "masters", "--shoot", shoot).out)
    assert len(made["made"]) == 2
    other.parent.mkdir()
    shutil.move(drive, other)

    def nothing_to_do(_pool: object, tasks: Any, *_told: object) -> Any:
        assert list(tasks) == [], "a clip was looked into"
        return iter(())

    monkeypatch.setattr("evenhand.children.Pool.run", nothing_to_do)
    shoot = other / "card.shoot"
    again = json.loads(call(*words, "--to", other / "masters", "--shoot", shoot).out)
    assert len(again["kept"]) == 2
    assert call("level", "--shoot", shoot, "--no-chart").status == 0
    assert call("scan", other / "card", "--shoot", shoot).status == 0
    assert len(json.loads((shoot / "shoot.json").read_text())["cards"]) == 1


def test_a_renamed_card_is_the_same_card(call: Call, two_clips: Path, tmp_path: Path) -> None:
    """No second shoot is made, and the shoot says where it is and how to keep it on the drive."""
    first = call("scan", two_clips, "--encoding", "*=phone-log-1")
    two_clips.rename(tmp_path / "monday")
    second = call("scan", tmp_path / "monday")

    assert f"shoot: {tmp_path / 'card.shoot'}" in first.out
    assert second.status == 0
    assert [p.name for p in tmp_path.glob("*.shoot")] == ["card.shoot"]
    document = json.loads((tmp_path / "card.shoot" / "shoot.json").read_text("utf-8"))
    assert [Path(c["path"]).name for c in document["cards"]] == ["monday"]
    assert {c["id"] for c in document["clips"]} == {"A001", "A002"}


def test_run_again_keeps_a_look_that_was_chosen_since(call: Call, two_clips: Path) -> None:
    """It is named; `--replace` replaces it."""
    words = ("run", two_clips, "--encoding", "*=phone-log-1", "--no-chart", "--to", "out")
    words = (*words, "--spec", "tiny.toml")
    folder = two_clips.parent / "card.shoot"
    assert call(*words, "--look", "rye").status == 0
    call("look", "use", "oven-light", "A002")

    kept = call(*words, "--look", "rye")
    assert "kept the look that was chosen for A002" in kept.err
    assert entry(folder, "A002")["look"]["name"] == "oven-light"
    call(*words, "--look", "rye", "--replace")
    assert entry(folder, "A002")["look"]["name"] == "rye"


def test_the_database_may_be_anything(call: Call, two_clips: Path, tmp_path: Path) -> None:
    """A folder in its place: every verb works, and says so in one line."""
    call("scan", two_clips, "--encoding", "*=phone-log-1")
    database = tmp_path / "card.shoot" / "measurements.db"
    for file in tmp_path.glob("card.shoot/measurements.db*"):
        file.unlink()
    database.mkdir()

    for words in (("scan", two_clips), ("level", "--no-chart"), ("report",)):
        done = call(*words)
        assert done.status == 0, done.err
        assert sum("cannot be kept" in line for line in done.lines) == 1
        assert "fault in evenhand" not in done.err
