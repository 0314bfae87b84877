"""What `level` is told about charts and warmth."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

Call = Callable[..., Any]

pytestmark = pytest.mark.media


def test_without_a_chart_nothing_absolute_is_set(call: Call, card: Path, log_clip: Path) -> None:
    """Looked for or not, and whatever warmth is to stay: the only clip is untouched."""
    call("scan", card, "--encoding", "A001=phone-log-1")
    for extra in ((), ("--no-chart",), ("--keep-warmth", "30%")):
        said = call("level", "--json", *extra)
        decision = json.loads(said.out)["decisions"][0]

        assert said.status == 0, said.err
        assert decision["status"] == "reference"
        assert decision["stops"] == 0.0
        assert decision["white"] is None
        assert decision["chart"] is None


@pytest.mark.parametrize("share", ["130%", "-1%", "warm"])
def test_a_share_of_warmth_goes_from_none_to_all(
    share: str, call: Call, card: Path, log_clip: Path
) -> None:
    """Anything else is wrong usage."""
    call("scan", card, "--encoding", "A001=phone-log-1")
    said = call("level", "--keep-warmth", share)

    assert said.status == 2


def test_explain_takes_no_other_option(call: Call, card: Path, log_clip: Path) -> None:
    """It shows what was decided before."""
    call("scan", card, "--encoding", "A001=phone-log-1")

    assert call("level", "--explain", "A001", "--no-chart").status == 2


@pytest.fixture
def two_clips(synth: ModuleType, card: Path) -> Path:
    """Two phone-log clips of the same drawn picture, which shows too little to be matched."""
    for name in ("A001", "A002"):
        synth.write_clip(card / f"{name}.mov", **synth.PRORES, frames=6, tags=synth.PHONE_LOG)
    return card


def places(call: Call, *said: str) -> dict[str, list[str]]:
    """The places of a levelling, by name."""
    done = call("level", "--json", "--no-chart", *said)
    assert done.status == 0, done.err
    return {s["name"]: s["clips"] for s in json.loads(done.out)["places"]}


def test_places_are_named_joined_split_and_given_back(call: Call, two_clips: Path) -> None:
    """Each word is remembered, and the whole is as it was once they are taken back."""
    call("scan", two_clips, "--encoding", "*=phone-log-1")
    at_first = places(call)
    name = next(iter(at_first))

    assert places(call, "--place", "door", "A001")["door"] == ["A001"]
    assert places(call)["door"] == ["A001"]
    assert set(places(call, "--rename", "door", "hall")) >= {"hall"}
    other = next(n for n in places(call) if n != "hall")
    assert places(call, "--join", "hall", other) == {"hall": ["A001", "A002"]}
    assert places(call, "--split", "hall", "A002") == {"hall": ["A001"], "hall 2": ["A002"]}
    assert call("forget", "place").status == 0
    assert set(places(call)) == set(at_first) == {name, *at_first}


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (["A001"], "clips are named only together"),
        (["--place", "x"], "--place names no clip"),
        (["--split", "place 1"], "--split names no clip"),
        (["--rename", "nowhere", "x"], "no place of this name"),
        (["--refuse", "everything"], "is not one of"),
        (["--skin", "A001@0s,0.5,0.5", "--dry-run"], "--skin shows"),
        (["--skin", "A001@0s,2,0.5"], "outside the picture"),
        (["--keep-warmth", "130%"], "a share of warmth goes from 0% to 100%"),
        (["--keep-warmth", "warm"], "a share of warmth is written"),
    ],
)
def test_what_does_not_go_together_is_refused(
    said: list[str], words: str, call: Call, card: Path, log_clip: Path
) -> None:
    """With what was wrong, in the words of the option."""
    call("scan", card, "--encoding", "A001=phone-log-1")
    refused = call("level", *said)

    assert refused.status == 2
    assert words in " ".join(refused.err.split())


def test_a_hand_on_top_is_in_the_list_and_in_the_explanation(
    call: Call, card: Path, log_clip: Path
) -> None:
    """Exposure beside the levelled one, a white instead of it; levelling again keeps both."""
    call("scan", card, "--encoding", "A001=phone-log-1")
    call("adjust", "A001", "--exposure", "0.3", "--white", "5000")
    listed = call("level", "--again", "--no-chart").out
    told = call("level", "--explain", "A001").out

    assert "+0.30 stop by hand" in listed
    assert "5000 K, Duv +0.0032 by hand" in listed
    assert "by hand, over levelling: exposure +0.30 stop; white 5000 K" in told
    assert "a white by hand: set <- this counts" in told


def test_a_dry_run_names_what_would_change(call: Call, two_clips: Path) -> None:
    """First that all is new, then nothing, then a clip that goes to another place."""
    call("scan", two_clips, "--encoding", "*=phone-log-1")
    new = call("level", "--no-chart", "--dry-run").err
    call("level", "--no-chart")
    same = call("level", "--dry-run").err
    moved = call("level", "--dry-run", "--place", "door", "A002").err

    assert "2 clips would be levelled for the first time" in new
    assert "nothing would change" in same
    assert "A002: place" in moved
    assert "-> door" in moved
