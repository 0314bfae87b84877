"""A chart in clips on disk: found, told in the document, ignored where a person says so."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from evenhand.colourmath.encodings import named
from evenhand.errors import UsageError
from evenhand.jobs.charts import chart_in
from evenhand.jobs.identify import scan
from evenhand.jobs.level import LevelOptions, level
from evenhand.measure import ratios
from evenhand.shoot import store
from first_bread.card import make_card

sys.path.append(str(Path(__file__).parents[1] / "measure"))
import drawn_chart
import simulated_camera as camera

FAULT = camera.Fault(-0.4, 30, 0.002)


@pytest.fixture(scope="module")
def recordings() -> list[camera.Recording]:
    """Three frames with a chart and one without."""
    rng = np.random.default_rng(12)
    pictures = [drawn_chart.with_chart(camera.scene(1), rng, s)[0] for s in (0.3, 0.35, 0.4)]
    return [camera.record(p, FAULT, rng) for p in (camera.scene(1), *pictures)]


def test_the_better_of_two_readings_is_kept(recordings: list[camera.Recording]) -> None:
    """With its time and its place as fractions of the picture, and the camera's fault."""
    timed = [(float(n), r.signal) for n, r in enumerate(recordings)]

    found = chart_in("A001", timed, named("phone-log-1"), 1.0)

    assert found is not None
    assert found.clip == "A001"
    assert found.time in (1.0, 2.0)
    assert all(0 < x < 1 and 0 < y < 1 for x, y in found.corners)
    truth = ratios.gains_of(FAULT.matrix() @ np.ones(3))
    off = ratios.difference_of(np.array(found.gains) - truth)
    assert abs(off.stops) <= 0.02
    assert abs(off.mired) <= 3.0
    assert found.patch_difference <= 3.0


def test_frames_without_a_chart_give_none(recordings: list[camera.Recording]) -> None:
    """Nothing is made up."""
    assert chart_in("A001", [(0.0, recordings[0].signal)], named("phone-log-1"), 1.0) is None
    assert chart_in("A001", [], named("phone-log-1"), 1.0) is None


def test_a_share_of_warmth_has_to_be_one(tmp_path: Path) -> None:
    """130 % is no share."""
    with pytest.raises(UsageError, match="0% to 100%"):
        level(tmp_path, LevelOptions(keep_warmth=1.3))


@pytest.mark.media
@pytest.mark.slow
def test_the_charts_of_the_demo_set_its_shop(tmp_path: Path) -> None:
    """Found in the log clip and in the SDR clip alike, which then agree; its patches come right."""
    make_card(tmp_path / "card", (1280, 720), frames=4, clips=("A010", "A011"))
    scan(tmp_path / "card", tmp_path / "shop.shoot")

    with_chart = level(tmp_path / "shop.shoot", LevelOptions(dry_run=True))
    without = level(tmp_path / "shop.shoot", LevelOptions(use_charts=False))

    assert {d.status for d in without.decisions} == {"reference", "matched"}
    set_by = [d for d in with_chart.decisions if d.status == "chart"]
    assert len(set_by) == 1
    chart = set_by[0].chart
    assert chart is not None
    assert chart.patch_difference <= 3.0
    [compared] = [r for r in set_by[0].why if r.code == "anchor.compared"]
    assert compared.facts["by"] == "chart"
    kept = store.load(tmp_path / "shop.shoot").clips[0].levelled
    assert kept is not None
    assert kept.status == without.decisions[0].status
