"""Matching and levelling on coded clips: real ones by phones, and the demo's with known faults."""

from __future__ import annotations

import json
from datetime import datetime
from itertools import combinations
from pathlib import Path

import msgspec
import numpy as np
import pytest

from evenhand.colourmath.encodings import Encoding, named, transfer_of
from evenhand.grade.exact import scene_light_image
from evenhand.measure.decisions import LevelDecision
from evenhand.measure.evenness import evenness, score
from evenhand.measure.levelling import level_place
from evenhand.measure.matching import match
from evenhand.measure.places import ClipView, find_links, group, picture_numbers
from evenhand.measure.views import AnalysisFrame, Features, features
from evenhand.media.analysis import small_signals
from evenhand.media.probe import probe

pytestmark = [pytest.mark.slow, pytest.mark.media]

SHARES = (0.1, 0.3, 0.5, 0.7, 0.9)
REAL = {
    "hlg-portrait-edit-list.mov": named("hlg"),
    "pq-variable-rate.mp4": named("pq"),
    "sdr-portrait-uhd-60.mp4": msgspec.structs.replace(named("bt601-625"), range="full"),
}


def analysed(path: Path, encoding: Encoding, clip_level: float) -> list[AnalysisFrame]:
    """Five frames of a clip, made ready for measuring."""
    return [
        AnalysisFrame(signal, scene_light_image(signal, encoding), clip_level, 0.004, time)
        for time, signal in small_signals(path, probe(path), encoding, SHARES)
    ]


@pytest.mark.parametrize("name", list(REAL))
def test_rounds_of_matches_in_a_real_clip_close(name: str, real_clips: Path) -> None:
    """A hand-held clip, through its own exposure changes: 0.04 stop and 1.5 mired in the middle."""
    views = [features(f) for f in analysed(real_clips / name, REAL[name], 0.98)]
    found = {(i, j): match(views[i], views[j]) for i, j in combinations(range(5), 2)}
    assert all(m.accepted for m in found.values())
    closures = np.array(
        [
            [
                abs(found[i, j].stops + found[j, k].stops - found[i, k].stops),
                abs(found[i, j].mired + found[j, k].mired - found[i, k].mired),
            ]
            for i, j, k in combinations(range(5), 3)
        ]
    )

    assert (np.median(closures, axis=0) <= [0.04, 1.5]).all()
    assert (closures.max(axis=0) <= [0.15, 8.0]).all()


def test_real_clips_of_different_places_do_not_match(real_clips: Path) -> None:
    """Three clips of three places: no frame of one is taken for a view of another."""
    clips: list[list[Features]] = [
        [features(f) for f in analysed(real_clips / name, encoding, 0.98)]
        for name, encoding in REAL.items()
    ]
    for a, b in combinations(clips, 2):
        assert not any(match(x, y).accepted for x in a for y in b)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[ClipView], dict[str, object]]:
    """The demo's clips as levelling sees them, and their truth."""
    from first_bread.card import make_card

    folder = tmp_path_factory.mktemp("levelling") / "card"
    truth = json.loads(make_card(folder, (640, 360), frames=12, workers=1).read_text())
    return read(folder, truth), truth


def read(folder: Path, truth: dict[str, object]) -> list[ClipView]:
    """Clips of a card by its truth."""
    clips = []
    for order, clip in enumerate(truth["clips"]):
        encoding = named(clip["encoding"])
        top = transfer_of(encoding).to_signal(np.full(3, clip["sensor_clip"])).min()
        frames = analysed(folder / clip["file"], encoding, float(min(top, 1.0)))
        clips.append(
            ClipView(
                clip["file"].rpartition(".")[0],
                datetime.fromisoformat(clip["created"]).timestamp(),
                order,
                encoding,
                tuple(features(f) for f in frames),
                picture_numbers(frames, 2.0),
            )
        )
    return clips


def test_the_demo_card_is_grouped_and_levelled(
    demo: tuple[list[ClipView], dict[str, object]],
) -> None:
    """Four places; matched clips within 0.03 stop and 3 mired of the truth; two left alone."""
    clips, truth = demo
    by_id = {c.id: c for c in clips}
    links = find_links(clips)
    places = group(clips, links)

    assert [[c[:4] for c in s.clips] for s in places] == [
        ["A001", "A002", "A003"],
        ["A004", "A005", "A006"],
        ["A007", "A008", "A009"],
        ["A010", "A011", "A012"],
    ]
    decisions: list[LevelDecision] = []
    for place in places:
        mine = level_place(place, by_id, links)
        even = evenness(mine, by_id, links)
        assert even.after is not None
        # seen on other frames than the match was made from, so it has an error of its own
        assert even.after.worst_stops <= 0.03
        decisions += mine
    alone = [d.clip[:4] for d in decisions if d.status == "unchanged"]
    assert alone == ["A006", "A012"]
    for left in score(decisions, truth):
        if left.status == "matched":
            assert abs(left.after.stops) <= 0.03, left
            assert abs(left.after.mired) <= 3.0, left
