"""Levelling clips on disk: measured once, what a person says is kept, and odd clips say so."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import cv2
import msgspec
import numpy as np
import pytest

from evenhand.children import Pool, Task
from evenhand.grade.document import Adjustment
from evenhand.jobs.adjust import Changes, adjust
from evenhand.jobs.decide import forget
from evenhand.jobs.explain import explain
from evenhand.jobs.identify import scan
from evenhand.jobs.level import LevelOptions, LevelResult, Regrouping, level
from evenhand.jobs.progress import Step
from evenhand.measure.evenness import score
from evenhand.measure.reference import BY_HAND
from evenhand.shoot import store
from evenhand.shoot.document import LevelWishes
from evenhand.shoot.measurements import DATABASE

sys.path.append(str(Path(__file__).parent))
import made_clips as made

pytestmark = [pytest.mark.media, pytest.mark.slow]

camera = made.camera
FAULTS = {"A1": camera.Fault(), "A2": camera.Fault(0.5, 12, 0.002), "A3": camera.Fault(-0.4, -9)}


@pytest.fixture(scope="module")
def card(synth: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three clips of one place with known faults, and one of another place."""
    place = tmp_path_factory.mktemp("shoot") / "card"
    place.mkdir()
    for (name, fault), share in zip(FAULTS.items(), (0.9, 0.75, 0.6), strict=True):
        light = cv2.transform(made.view(made.scene(0), share), fault.matrix())
        made.write(synth, place / f"{name}.mov", [np.maximum(light, 0)])
    warm = made.view(made.scene(1), 0.9) * np.array([1.5, 1.0, 0.3], np.float32)
    made.write(synth, place / "B1.mov", [warm])
    return place


@pytest.fixture
def folder(card: Path, tmp_path: Path) -> Path:
    """A shoot of the card, scanned and not levelled."""
    scan(card, tmp_path / "a.shoot", {"*": "phone-log-1"})
    return tmp_path / "a.shoot"


@pytest.fixture(scope="module")
def levelled(card: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shoot of the card that was levelled once; not to be changed."""
    folder = tmp_path_factory.mktemp("levelled") / "a.shoot"
    scan(card, folder, {"*": "phone-log-1"})
    level(folder, LevelOptions(use_charts=False))
    return folder


@pytest.fixture
def again(levelled: Path, tmp_path: Path) -> Path:
    """A copy of the levelled shoot, to be changed."""
    shutil.copytree(levelled, tmp_path / "a.shoot")
    return tmp_path / "a.shoot"


def calls(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The files that children are asked to look into from now on, by what they are asked for."""
    asked: list[str] = []
    real = Pool.run

    def run(self: Pool, tasks: Iterable[Task[Any]], told: Any = None) -> Iterator[Any]:
        given = list(tasks)
        asked.extend(f"{t.function.__name__} {Path(t.subject).stem}" for t in given)
        return real(self, given, told)

    monkeypatch.setattr(Pool, "run", run)
    return asked


def truth() -> dict[str, object]:
    """The faults as a card's truth has them."""
    matrices = {name: fault.matrix().tolist() for name, fault in FAULTS.items()}
    return {"clips": [{"file": f"{n}.mov", "fault_matrix_bt2020": m} for n, m in matrices.items()]}


def test_faults_are_found_and_levelling_twice_changes_nothing(folder: Path) -> None:
    """Within 0.02 stop and 2 mired of the truth; the second time to 0.01 stop the same."""
    first = level(folder, LevelOptions(use_charts=False))
    for residual in score(first.decisions, truth()):
        assert abs(residual.after.stops) <= 0.02
        assert abs(residual.after.mired) <= 2

    second = level(folder, LevelOptions())

    assert second.decisions == first.decisions
    assert second.changes == ()


def test_with_and_without_what_was_kept_all_is_the_same(again: Path) -> None:
    """From the cache, without it, and measured anew: the same to the last digit."""
    kept = level(again, LevelOptions(dry_run=True))
    (again / DATABASE).unlink()
    anew = level(again, LevelOptions(dry_run=True))
    forced = level(again, LevelOptions(dry_run=True, again=True))

    assert msgspec.json.encode(anew) == msgspec.json.encode(kept)
    assert msgspec.json.encode(forced) == msgspec.json.encode(kept)


def test_nothing_is_decoded_twice(again: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Levelling again, with other names and a place by hand, needs no frame; `again` does."""
    asked = calls(monkeypatch)
    level(again, LevelOptions())
    level(again, LevelOptions(places=Regrouping(rename=(("place 1", "kitchen"),))))

    assert asked == []
    level(again, LevelOptions(again=True))
    assert {f"looked_at {name}" for name in ("A1", "A2", "A3", "B1")} <= set(asked)


def test_a_stopped_levelling_goes_on_where_it_stopped(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C after the third clip: one is left to be looked at."""

    def stop(step: Step) -> None:
        if step.number == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        level(folder, LevelOptions(), stop)
    looked = calls(monkeypatch)
    level(folder, LevelOptions())

    assert len([name for name in looked if name.startswith("looked_at")]) == 1


def test_a_damaged_cache_is_measured_again(again: Path) -> None:
    """What cannot be read is made anew, and nothing else is said."""
    before = level(again, LevelOptions(dry_run=True))
    (again / DATABASE).write_bytes(
        b"this is no database, but it is long enough to be taken for one"
    )

    assert level(again, LevelOptions(dry_run=True)).decisions == before.decisions


def test_what_a_person_says_is_kept_when_all_is_measured_anew(again: Path) -> None:
    """Places, names, references, wishes and adjustments outlive `again`, until taken back."""
    said = LevelOptions(
        references=("A3",),
        places=Regrouping(rename=(("place 1", "kitchen"),), place="door"),
        clips=("A2",),
        keep_warmth=0.3,
        use_charts=False,
    )
    level(again, said)
    adjust(again, ["A1"], Changes(exposure=0.25))
    result = level(again, LevelOptions(again=True))
    shoot = store.load(again)

    assert {s.name: s.clips for s in result.places} == {
        "kitchen": ("A1", "A3"),
        "door": ("A2",),
        "place 2": ("B1",),
    }
    assert next(s for s in result.places if s.name == "kitchen").reference == "A3"
    assert shoot.wishes == LevelWishes(leave_warmth=0.3, use_charts=False)
    assert shoot.clip("A1").adjustment == Adjustment(exposure=0.25)
    assert next(c for c in result.clips if c.clip == "A1").by_hand == Adjustment(exposure=0.25)

    forget(again, ("place", "reference"))
    back = level(again, LevelOptions())

    assert {s.name: s.clips for s in back.places} == {
        "place 1": ("A1", "A2", "A3"),
        "place 2": ("B1",),
    }
    assert back.places[0].why_reference != BY_HAND


def test_a_dry_run_says_what_would_change_and_changes_nothing(again: Path) -> None:
    """Another reference: who moves, from what to what."""
    before = (again / "shoot.json").read_bytes()
    reference = store.load(again).clip("A1").levelled
    assert reference is not None
    other = "A3" if reference.reference != "A3" else "A2"

    result = level(again, LevelOptions(references=(other,), dry_run=True))

    assert (again / "shoot.json").read_bytes() == before
    told = {(c.subject, c.what): (c.before, c.after) for c in result.changes}
    assert told["place 1", "reference"] == (reference.reference, other)
    assert told[other, "status"] == ("matched", "reference")
    assert any(what == "exposure" for _, what in told)


def test_a_clip_alone_stays_as_it_is(levelled: Path) -> None:
    """It is the reference of a place of its own, untouched, and says why."""
    told = explain(levelled, "B1")

    assert told.mates == ("B1",)
    assert told.decision.status == "reference"
    assert (told.decision.stops, told.decision.white) == (0.0, None)
    assert [t.source for t in told.trust if t.counts] == ["reference"]


def test_a_hand_on_top_is_told_in_the_explanation(again: Path) -> None:
    """A white by hand counts before everything that was measured."""
    adjust(again, ["A2"], Changes(exposure=-0.5, kelvin=5000))
    told = explain(again, "A2")

    assert told.adjustment.exposure == -0.5
    assert [t.source for t in told.trust if t.counts] == ["hand"]


@pytest.fixture(scope="module")
def odd(synth: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> LevelResult:
    """Clips with which nothing much can be done, on one card."""
    folder = tmp_path_factory.mktemp("odd")
    card = folder / "card"
    card.mkdir()
    height, width = made.SIZE[1], made.SIZE[0]
    flat = np.ones((height, width, 3), np.float32)
    rng = np.random.default_rng(0)
    grey, other = (
        made.view(made.scene(s), 0.9).mean(axis=-1, keepdims=True).repeat(3, axis=-1)
        for s in (7, 3)
    )
    tinted = 0.85 * other + 0.15 * made.view(made.scene(3), 0.9)
    day, lamp = (cv2.transform(tinted, camera.Fault(0, m).matrix()) for m in (-10, 130))
    left = (np.arange(width) < 0.6 * width)[None, :, None]
    clips = {
        "black": [0 * flat],
        "white": [20 * flat],
        "mono": [grey],
        "cut": [made.view(made.scene(4), 0.9), made.view(made.scene(6), 0.9) * (1.4, 1, 0.4)],
        "twolights": [np.where(left, day, lamp)],
    }
    for name, lights in clips.items():
        made.write(synth, card / f"{name}.mov", [np.asarray(x, np.float32) for x in lights])

    def noise(number: int) -> np.ndarray:
        return np.exp2(rng.normal(-3, 1.5, flat.shape)).astype(np.float32)

    made.write(synth, card / "noise.mov", noise)
    scan(card, folder / "odd.shoot", {"*": "phone-log-1"})
    return level(folder / "odd.shoot", LevelOptions())


@pytest.mark.parametrize(
    ("clip", "words"),
    [
        ("black", "no light"),
        ("white", "clipped all over"),
        ("mono", "no colour"),
        ("cut", "the scene changes between"),
        ("twolights", "two lights"),
        ("noise", ""),
    ],
)
def test_odd_clips_are_left_as_they_are_and_say_what_is_odd(
    clip: str, words: str, odd: LevelResult
) -> None:
    """No light, all clipped, no colour, a cut, two lights, mere noise: nothing is moved."""
    [decision] = [d for d in odd.decisions if d.clip == clip]
    [told] = [c for c in odd.clips if c.clip == clip]

    assert decision.status in ("reference", "unchanged")
    assert (decision.stops, decision.white) == (0.0, None)
    if words:
        assert any(words in remark for remark in told.remarks), told.remarks
    else:
        assert told.remarks == ()


def test_the_larger_of_two_lights_is_named_first(odd: LevelResult) -> None:
    """Three fifths of the picture in daylight, the rest under a lamp 140 mired warmer."""
    [told] = [c for c in odd.clips if c.clip == "twolights"]
    mixed = told.findings.mixed

    assert mixed is not None
    assert mixed.share[0] == pytest.approx(0.6, abs=0.1)
    assert mixed.kelvin[0] > 5500
    assert 1e6 / mixed.kelvin[1] - 1e6 / mixed.kelvin[0] == pytest.approx(140, abs=25)


def test_a_change_of_scene_is_put_between_the_right_frames(odd: LevelResult) -> None:
    """Ten frames at 25 a second, cut in the middle."""
    [told] = [c for c in odd.clips if c.clip == "cut"]

    assert told.findings.change is not None
    assert told.findings.change.after < 0.2 <= told.findings.change.before


def test_light_that_pumps_is_evened_out_first_and_left_where_a_person_says_so(
    synth: ModuleType, tmp_path: Path
) -> None:
    """Half a stop up and down within two seconds: in the grade, and out of it again."""
    card = tmp_path / "card"
    card.mkdir()
    light = made.view(made.scene(0), 0.9)

    def pumped(number: int) -> np.ndarray:
        return np.asarray(light * 2.0 ** (0.25 * np.sin(2 * np.pi * number / 40)), np.float32)

    made.write(synth, card / "P1.mov", pumped, frames=50)
    folder = tmp_path / "p.shoot"
    scan(card, folder, {"*": "phone-log-1"})
    told = level(folder, LevelOptions(use_charts=False)).clips[0]
    steadying = store.load(folder).clip("P1").levelling.steadying

    assert steadying is not None
    assert max(steadying.stops) - min(steadying.stops) == pytest.approx(0.5, abs=0.06)
    assert any(remark.startswith("drift, levelled") for remark in told.remarks)

    left = level(folder, LevelOptions(steady=False))

    assert store.load(folder).clip("P1").levelling.steadying is None
    assert [(c.what, c.after) for c in left.changes] == [("drift", False)]
    assert level(folder, LevelOptions(again=True)).changes == ()  # the word is kept
