"""The whole of scan and level on a small demo card, against the truth it was made with."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from evenhand.jobs.identify import ScanResult, scan
from evenhand.jobs.level import LevelOptions, LevelResult, level
from evenhand.measure.decisions import Residual
from evenhand.measure.evenness import score
from evenhand.shoot import store
from first_bread.card import make_card

pytestmark = [pytest.mark.media, pytest.mark.slow]

ALONE = {"A006_prep_dough", "A012_shop_window"}


@pytest.fixture(scope="module")
def truth(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small, short card: the truth lies beside it."""
    return make_card(tmp_path_factory.mktemp("demo") / "card", (640, 360), frames=8)


@pytest.fixture(scope="module")
def scanned(truth: Path) -> tuple[Path, ScanResult]:
    folder = truth.parent / "demo.shoot"
    return folder, scan(truth.parent / "card", folder)


@pytest.fixture(scope="module")
def levelled(scanned: tuple[Path, ScanResult]) -> LevelResult:
    return level(scanned[0], LevelOptions())


@pytest.fixture(scope="module")
def residuals(truth: Path, levelled: LevelResult) -> dict[str, Residual]:
    known = json.loads(truth.read_text("utf-8"))
    return {r.clip: r for r in score(levelled.decisions, known)}


def test_every_clip_is_identified(truth: Path, scanned: tuple[Path, ScanResult]) -> None:
    """All twelve are right and sure, by what the truth says they were made as."""
    made = {c["file"]: c["encoding"] for c in json.loads(truth.read_text("utf-8"))["clips"]}

    found = {f.clip.path: f.clip.encoding.name for f in scanned[1].findings if f.clip.encoding}

    assert found == made


def test_the_clips_of_one_place_are_one_place(levelled: LevelResult) -> None:
    """Four places, three clips each, in the order of the card."""
    places = [tuple(clip[:4] for clip in place.clips) for place in levelled.places]

    assert places == [
        ("A001", "A002", "A003"),
        ("A004", "A005", "A006"),
        ("A007", "A008", "A009"),
        ("A010", "A011", "A012"),
    ]


def test_clips_that_share_a_view_end_even(
    levelled: LevelResult, residuals: dict[str, Residual]
) -> None:
    """Within 0.03 stop and 3 mired of their reference, from faults of up to 1.4 stop."""
    references = {s.reference for s in levelled.places}
    matched = [r for r in residuals.values() if r.clip not in ALONE | references]

    assert len(matched) == 6  # of each three with one view, all but the reference
    assert max(abs(r.before.stops) for r in matched) > 1
    for r in matched:
        assert abs(r.after.stops) <= 0.03, r
        assert abs(r.after.mired) <= 3, r


def test_clips_that_share_none_are_left_alone(
    levelled: LevelResult, scanned: tuple[Path, ScanResult]
) -> None:
    """Untouched in the document, and each says why and proposes without applying."""
    alone = [d for d in levelled.decisions if d.status == "unchanged"]
    shoot = store.load(scanned[0])

    assert {d.clip for d in alone} == ALONE
    for d in alone:
        assert d.why[0].code == "level.no-common-view"
        assert d.proposal is not None
        assert (shoot.clip(d.clip).levelling.stops, shoot.clip(d.clip).levelling.white) == (0, None)


def test_levelling_again_changes_nothing(
    levelled: LevelResult, scanned: tuple[Path, ScanResult]
) -> None:
    """The same decisions, to the last digit."""
    again = level(scanned[0], LevelOptions())

    assert again.decisions == levelled.decisions


def test_clips_that_were_right_are_hardly_moved(tmp_path: Path) -> None:
    """The same places without faults: at most 0.02 stop and 1 mired."""
    truth = make_card(tmp_path / "card", (640, 360), frames=8, clean=True,
                      clips=("A001", "A002", "A007", "A008", "A010", "A011"))  # fmt: skip
    scan(tmp_path / "card", tmp_path / "clean.shoot", {"*": "phone-log-1"})

    result = level(tmp_path / "clean.shoot", LevelOptions())

    known = json.loads(truth.read_text("utf-8"))
    moved = [r for r in score(result.decisions, known) if r.status == "matched"]
    assert len(moved) == 3
    for r in moved:
        assert abs(r.after.stops) <= 0.02, r
        assert abs(r.after.mired) <= 1, r
