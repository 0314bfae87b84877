"""A tiny card: what is promised about it is read back from its files."""

from __future__ import annotations

import hashlib
import itertools
import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from evenhand.errors import UsageError
from first_bread.card import make_card, truth_path
from first_bread.story import SHOTS

pytestmark = [pytest.mark.slow, pytest.mark.media]

ALL = [shot.name[:4] for shot in SHOTS]
LOGS = [shot.name[:4] for shot in SHOTS if shot.encoding.startswith("phone-log")]
SIZE = (96, 64)


def _picture_sums(path: Path) -> list[str]:
    """A checksum for every decoded picture."""
    with av.open(str(path)) as source:
        frames = source.decode(source.streams.video[0])
        return [hashlib.sha256(frame.to_ndarray().tobytes()).hexdigest() for frame in frames]


def test_folder_holds_clips_alone(card: Any) -> None:
    """The truth lies beside the card, not on it, and no work is left behind."""
    assert sorted(shot.file for shot in SHOTS) == sorted(p.name for p in card.folder.iterdir())
    beside = {path.name for path in card.folder.parent.iterdir()}
    assert beside == {"card", "card.truth.json"}
    assert [shot.file for shot in SHOTS] == list(card.clips)


@pytest.mark.parametrize("short", ALL)
def test_tags(card: Any, short: str) -> None:
    """Pictures carry H.273 code points as phones write them: logs 9/2/9, HLG 9/18/9, SDR 1/1/1."""
    expected = {"hlg": (9, 18, 9), "bt709": (1, 1, 1)}
    frame = card.frames(short)[0]
    found = (int(frame.color_primaries), int(frame.color_trc), int(frame.colorspace))
    assert expected.get(card.truth(short)["encoding"], (9, 2, 9)) == found
    assert int(frame.color_range) == 1


@pytest.mark.parametrize("short", ALL)
def test_times(card: Any, tick: Fraction, short: str) -> None:
    """Decoded pictures are shown at the times in the truth; one clip's rate varies."""
    truth = card.truth(short)
    shown = [frame.pts * frame.time_base for frame in card.frames(short)]
    assert [time * tick for time in truth["times_600"]] == shown
    gaps = np.diff(truth["times_600"])
    assert (short == "A006") == truth["variable_rate"] == bool((gaps != 24).any())


def test_upright_clip(card: Any) -> None:
    """One clip is turned by its display matrix: a quarter clockwise shows it upright."""
    turned = {short: card.frames(short)[0].rotation for short in ALL}
    assert {short: -90 if short == "A009" else 0 for short in ALL} == turned


@pytest.mark.parametrize("short", ALL)
def test_fault_is_what_the_truth_says(card: Any, clean_card: Any, short: str) -> None:
    """Clip against its clean twin, through the written matrix: median within 0.01 stop."""
    matrix = np.array(card.truth(short)["fault_matrix_bt2020"])
    clip_light = card.truth(short)["sensor_clip"]
    errors = []
    for number in range(6):
        expected = clean_card.light(short, number) @ matrix.T
        found = card.light(short, number)
        # Away from the noise floor, from both clips' ceilings and from edges of clipped areas.
        inside = (expected > 0.02).all(-1) & (found > 0.02).all(-1)
        inside &= (expected < 0.5 * clip_light).all(-1) & (found < 0.5 * clip_light).all(-1)
        inside &= (clean_card.light(short, number) < 0.5).all(-1)
        errors.append(np.log2(found[inside] / expected[inside]))
    medians = np.median(np.concatenate(errors), axis=0)
    assert np.abs(medians).max() < 0.01


def test_clean_card_has_no_fault(clean_card: Any) -> None:
    """Without faults every matrix is the identity and the white is D65 (6504 K, Duv 0.0032)."""
    for clip in clean_card.clips.values():
        assert np.eye(3).tolist() == clip["fault_matrix_bt2020"]
        assert clip["white_kelvin"] == pytest.approx(6504, abs=2)
        assert clip["white_duv"] == pytest.approx(0.0032, abs=1e-4)


@pytest.mark.parametrize("short", LOGS)
def test_metadata_tells_the_two_logs_apart(card: Any, short: str) -> None:
    """A vendor key says which generation of the log a clip holds; others name the maker."""
    with av.open(str(card.folder / card.truth(short)["file"])) as source:
        found = source.metadata
    second = short == "A005"
    assert found["com.example.camera.log"] == f"phone log {2 if second else 1}"
    assert found["com.example.camera.make"] == "Aldersyke"
    assert found["com.example.camera.software"] == "first_bread 1"


def test_times_of_the_night(card: Any) -> None:
    """Clips of a setup are minutes apart, setups about an hour or more; some carry timecode."""
    created = {}
    for short in ALL:
        with av.open(str(card.folder / card.truth(short)["file"])) as source:
            found = source.metadata["creation_time"]
            codes = [source.metadata.get("timecode")]
            codes += [stream.metadata.get("timecode") for stream in source.streams]
        assert found[:19] + "Z" == card.truth(short)["created"]
        assert (card.truth(short)["timecode"] or None) in codes
        hours, minutes, seconds = (int(part) for part in found[11:19].split(":"))
        created[short] = hours * 60 + minutes + seconds / 60
    gaps = np.diff([created[short] for short in ALL])
    setups = [card.truth(short)["setup"] for short in ALL]
    same = np.array([a == b for a, b in itertools.pairwise(setups)])
    assert gaps[same].max() < 10
    assert gaps[~same].min() > 60


def test_one_clip_is_far_too_loud(card: Any) -> None:
    """A012 hits full scale; no other clip comes near."""
    peaks = {}
    for short in ALL:
        with av.open(str(card.folder / card.truth(short)["file"])) as source:
            blocks = [frame.to_ndarray() for frame in source.decode(source.streams.audio[0])]
        samples = np.concatenate([block.ravel() for block in blocks])
        scale = 32768.0 if samples.dtype == np.int16 else 1.0
        peaks[short] = float(np.abs(samples.astype(np.float64)).max()) / scale
    assert peaks.pop("A012") > 0.99
    assert max(peaks.values()) < 0.7


@pytest.mark.parametrize("short", ["A010", "A011"])
def test_grey_card_lies_where_the_truth_says(clean_card: Any, short: str) -> None:
    """At the written place the clean picture is neutral, and darker than the bench round it."""
    truth = clean_card.truth(short)
    place = truth["grey_card"]
    number = [time / 600 for time in truth["times_600"]].index(place["seconds"])
    light = clean_card.light(short, number)
    row, column = int(place["y"] * light.shape[0]), int(place["x"] * light.shape[1])
    patch = light[row, column]
    assert patch == pytest.approx(np.full(3, patch.mean()), rel=0.12)
    assert 0.05 < patch.mean() < 0.5


def _truth(folder: Path) -> list[dict[str, object]]:
    """The truth but for the sizes of files: coders of narrow pictures vary by some bytes."""
    clips = json.loads(truth_path(folder).read_text("utf-8"))["clips"]
    return [{key: value for key, value in clip.items() if key != "bytes"} for clip in clips]


def test_same_seed_same_card(tmp_path: Path) -> None:
    """Two makes agree in truth and in every decoded picture, in one process or in two."""
    wanted = ["A005", "A006", "A008", "A011"]
    for name, workers in (("one", 1), ("two", 2)):
        make_card(tmp_path / name, SIZE, frames=3, clips=wanted, workers=workers)
    assert _truth(tmp_path / "one") == _truth(tmp_path / "two")
    for clip in (tmp_path / "one").iterdir():
        assert _picture_sums(clip) == _picture_sums(tmp_path / "two" / clip.name)


def test_interrupted_make_goes_on(tmp_path: Path) -> None:
    """What was finished before an interruption is kept, and the rest is made."""

    def interrupt(what: str, _share: float) -> None:
        if what.startswith("A010"):
            raise KeyboardInterrupt

    folder = tmp_path / "card"
    wanted = ["A010", "A011"]
    with pytest.raises(KeyboardInterrupt):
        make_card(folder, SIZE, frames=3, clips=wanted, workers=1, progress=interrupt)
    first = folder / "A010_shop_wide.mov"
    made = first.stat().st_mtime_ns
    told: list[str] = []
    make_card(
        folder, SIZE, frames=3, clips=wanted, workers=1, progress=lambda what, _: told.append(what)
    )
    assert made == first.stat().st_mtime_ns
    assert "A010_shop_wide" not in told
    files = [clip["file"] for clip in json.loads(truth_path(folder).read_text())["clips"]]
    assert files == ["A010_shop_wide.mov", "A011_shop_counter.mp4"]


def test_other_settings_remake_the_card(tmp_path: Path) -> None:
    """A clip of another seed does not stay on the card."""
    folder = tmp_path / "card"
    make_card(folder, SIZE, frames=3, clips=["A011"], workers=1, seed=1)
    before = _picture_sums(folder / "A011_shop_counter.mp4")
    make_card(folder, SIZE, frames=3, clips=["A011"], workers=1, seed=2)
    assert before != _picture_sums(folder / "A011_shop_counter.mp4")


@pytest.mark.parametrize(
    ("arguments", "subject"),
    [
        ({"size": (321, 180)}, "321x180"),
        ({"size": (32, 18)}, "32x18"),
        ({"frames": 1}, "1"),
        ({"clips": ["A099"]}, "A099"),
    ],
)
def test_wrong_use_is_refused(tmp_path: Path, arguments: dict[str, Any], subject: str) -> None:
    """Odd or tiny sizes, a single frame and unknown clips are refused by name, before any work."""
    with pytest.raises(UsageError) as refused:
        make_card(tmp_path / "card", **arguments)
    assert subject == refused.value.subject
    assert not (tmp_path / "card").exists()
