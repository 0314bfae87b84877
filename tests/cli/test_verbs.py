"""The verbs, from a card to a report, as a person calls them."""

from __future__ import annotations

import json
import re
from pathlib import Path
from types import ModuleType

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from evenhand.cli.main import VERBS, evenhand

pytestmark = pytest.mark.media


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_has_help_with_an_example(verb: str) -> None:
    """`--help` says what a verb does and shows a line to copy."""
    help_text = CliRunner().invoke(evenhand, [verb, "--help"]).output

    assert len(help_text.splitlines()[2].strip()) > 20
    assert f"Example: evenhand {verb}" in help_text.replace("\n  ", " ")


def test_the_whole_job_and_its_second_run(call, card: Path, log_clip: Path, tmp_path: Path) -> None:
    """`run` makes a verified master and a report; run again, it has nothing left to do."""
    before = log_clip.read_bytes()
    order = ("run", card, "--look", "soot", "--strength", "70%", "--to", "out")
    said = ("--spec", "tiny.toml", "--encoding", "A001=phone-log-1")

    first = call(*order, *said)
    master = tmp_path / "out" / "A001.tiny.mp4"
    made = master.stat().st_mtime_ns
    second = call(*order, *said)

    assert first.status == 0, first.err
    assert second.status == 0
    assert master.stat().st_mtime_ns == made
    assert "kept" in second.out
    assert (tmp_path / "card.shoot" / "report.html").stat().st_size > 20_000
    assert log_clip.read_bytes() == before
    assert [p.name for p in card.iterdir()] == ["A001.mov"]


@pytest.mark.slow
def test_a_changed_grade_makes_the_master_anew(
    call, card: Path, log_clip: Path, tmp_path: Path
) -> None:
    """What was decided since then is in the next master, under the same name."""
    call("scan", card, "--encoding", "A001=phone-log-1")
    call("master", "--spec", "tiny.toml", "--to", "out")
    before = (tmp_path / "out" / "A001.tiny.mp4").read_bytes()

    call("adjust", "A001", "--exposure", "+1")
    again = call("master", "--spec", "tiny.toml", "--to", "out", "--json")

    assert len(json.loads(again.out)["made"]) == 1
    assert (tmp_path / "out" / "A001.tiny.mp4").read_bytes() != before


def test_a_scanned_clip_has_a_plain_still(call, card: Path, log_clip: Path, tmp_path: Path) -> None:
    """Before, after and both come out as 16-bit pictures of the clip's size."""
    call("scan", card, "--encoding", "A001=phone-log-1")

    for which, width in (("before", 192), ("after", 192), ("both", 384)):
        said = call("still", "A001", "--at", "3f", "--to", f"{which}.png", "--which", which)
        picture = cv2.imread(str(tmp_path / f"{which}.png"), cv2.IMREAD_UNCHANGED)
        assert said.status == 0, said.err
        assert picture.shape == (108, width, 3)
        assert picture.dtype.name == "uint16"
    tiff = call("still", "A001", "--to", "a.tif")
    beyond = call("still", "A001", "--at", "9s", "--to", "b.png")
    assert tiff.status == 0
    assert beyond.status == 2
    assert "0.480 s long" in beyond.err


def test_scopes_are_told_and_drawn(call, card: Path, log_clip: Path, tmp_path: Path) -> None:
    """Numbers before and after, and eight pictures."""
    call("scan", card, "--encoding", "A001=phone-log-1")

    said = call("scopes", "A001", "--to", "scopes")
    numbers = json.loads(call("scopes", "A001", "--json").out)

    assert len(list((tmp_path / "scopes").glob("*.png"))) == 8
    assert re.search(r"before\s+\d", said.out)
    assert 0 <= numbers["after"]["luma_mean"] <= 100


def test_adjusting_is_kept_copied_and_reset(call, synth: ModuleType, card: Path) -> None:
    """By hand: a value stays until it is reset, and can be given to another clip."""
    for name in ("A001", "A002"):
        synth.write_clip(card / f"{name}.mov", **synth.PRORES, frames=2, tags=synth.PHONE_LOG)
    call("scan", card, "--encoding", "A001=phone-log-1", "--encoding", "A002=phone-log-1")

    first = call("adjust", "A001", "--exposure", "+0.3", "--white", "5600", "--slope", "1.1")
    copied = json.loads(call("adjust", "A002", "--copy-from", "A001", "--json").out)
    reset = call("adjust", "A001", "--reset")
    wrong = call("adjust", "A001", "--contrast", "0")

    assert "exposure +0.30 stop; white 5600 K" in first.out
    assert copied[0]["adjustment"]["exposure"] == 0.3
    assert copied[0]["adjustment"]["cdl"]["slope"] == [1.1, 1.1, 1.1]
    assert "A001: nothing is set by hand" in reset.out
    assert wrong.status == 2


def test_decisions_survive_a_second_scan_and_a_moved_card(
    call, card: Path, log_clip: Path, tmp_path: Path
) -> None:
    """The drive comes back under another name: clips are found again, with all decisions."""
    call("scan", card, "--encoding", "A001=phone-log-1")
    call("look", "use", "rye", "--strength", "40%")
    moved = card.rename(tmp_path / "elsewhere")

    lost = call("still", "A001", "--to", "a.png")
    again = call("scan", moved, "--shoot", "card.shoot", "--json")

    assert lost.status == 1
    assert "Connect the drive" in lost.err
    entry = json.loads(again.out)["findings"][0]["clip"]
    assert (entry["look"]["name"], entry["look"]["strength"]) == ("rye", 0.4)
    assert len(entry["look"]["digest"]) == 64
    assert entry["encoding_by"] == "person"
    assert call("still", "A001", "--to", "a.png", "--shoot", "card.shoot").status == 0


def test_levelling_is_told_and_a_dry_run_changes_nothing(
    call, card: Path, log_clip: Path, tmp_path: Path
) -> None:
    """`--dry-run` shows what would be decided; `--explain` shows it with its numbers."""
    call("scan", card, "--encoding", "A001=phone-log-1")
    document = tmp_path / "card.shoot" / "shoot.json"
    before = document.read_bytes()

    dry = call("level", "--dry-run")
    unexplained = call("level", "--explain", "A001")
    assert document.read_bytes() == before
    call("level")
    explained = call("level", "--explain", "A001")

    assert "dry run: nothing was changed" in dry.err
    assert unexplained.status == 1
    assert "reference: as shot" in explained.out
    assert "what would change it" in explained.out


def test_a_grey_card_is_remembered_until_it_is_forgotten(
    call, synth: ModuleType, card: Path
) -> None:
    """What a person pointed at counts in the next levelling too: 18 % grey, one stop under."""

    def dark(number: int) -> tuple[np.ndarray, ...]:  # phone log of 9 % is code 422
        return (np.full((108, 192), 422, np.uint16), *[np.full((108, 96), 512, np.uint16)] * 2)

    synth.write_clip(
        card / "A001.mov", **synth.PRORES, frames=3, tags=synth.PHONE_LOG, picture=dark
    )
    call("scan", card, "--encoding", "A001=phone-log-1")

    def stops(*words: str) -> float:
        return json.loads(call("level", *words, "--json").out)["decisions"][0]["stops"]

    pointed, again = stops("--grey", "A001@0s,0.5,0.5"), stops()
    call("forget", "grey-card")
    forgotten = stops()

    assert pointed == pytest.approx(1.0, abs=0.02)
    assert again == pointed
    assert forgotten == 0
