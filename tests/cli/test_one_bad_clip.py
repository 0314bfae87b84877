"""Whatever is wrong with one clip is that clip's own line, and the others are done."""

from __future__ import annotations

import json
import random
import sys
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

sys.path.append(str(Path(__file__).parents[1] / "jobs"))
import made_clips as made

pytestmark = [pytest.mark.media, pytest.mark.slow]
Call = Callable[..., Any]
SIZE = (320, 180)


def lamp(number: int, seconds: Callable[[int], float]) -> np.ndarray:
    """A scene under a lamp that pulses at 100 Hz by 15 %, its rows read in 18 ms."""
    light = made.view(made.scene(0), 0.9, size=SIZE)
    rows = (np.arange(SIZE[1]) + 0.5) / SIZE[1]
    pulse = 1 + 0.15 * np.cos(2 * np.pi * 100 * (seconds(number) + 0.018 * rows) + 0.4)
    return light * pulse[:, None, None].astype(np.float32)


def write(synth: ModuleType, path: Path, ticks: list[int]) -> Path:
    """A clip with these presentation times (1/90000 s) under that lamp."""
    result: Path = synth.write_clip(
        path,
        **synth.PRORES,
        size=SIZE,
        frames=len(ticks),
        times=ticks,
        rate=Fraction(25),
        tags=synth.PHONE_LOG,
        picture=lambda n: made.planes(lamp(n, lambda k: ticks[k] / 90000), n),
    )
    return result


def levelled(call: Call, card: Path) -> dict[str, Any]:
    call("scan", card, "--encoding", "*=phone-log-1")
    done = call("level", "--json", "--no-chart")
    assert "fault in evenhand" not in done.err
    assert done.status == 0, done.err
    told: dict[str, Any] = json.loads(done.out)
    return told


def test_mains_flicker_is_levelled_and_kept(call: Call, synth: ModuleType, card: Path) -> None:
    """30 frames a second under 100 Hz: found, taken out, and the same when it is recalled."""
    write(synth, card / "A001.mov", [3000 * n for n in range(30)])

    first, second = levelled(call, card), levelled(call, card)

    found = first["clips"][0]["findings"]["flicker"]
    assert found["hertz"] == pytest.approx(100, abs=0.5)
    assert first["clips"][0]["steadying"]["ripple"] is not None
    assert second["clips"] == first["clips"]


@pytest.mark.parametrize("step", [3600, 3750, 1800])
def test_uneven_times_at_a_rate_of_the_mains(
    call: Call, synth: ModuleType, card: Path, step: int
) -> None:
    """Median rates of exactly 25, 24 and 50, at which one lamp's bands would stand still."""
    wobble = np.random.default_rng(3).choice([0, 0, 0, 0, 400], 29)
    write(synth, card / "A001.mov", np.cumsum([0, *(step + wobble)]).tolist())

    assert len(levelled(call, card)["decisions"]) == 1


@pytest.mark.parametrize("frames", [1, 2, 3, 9, 15])
def test_a_few_frames_are_enough(call: Call, synth: ModuleType, card: Path, frames: int) -> None:
    """However short a clip is, it is looked at."""
    write(synth, card / "A001.mov", [3600 * n for n in range(frames)])

    assert len(levelled(call, card)["decisions"]) == 1


def mutated(content: bytes, seed: int) -> bytes:
    """Bytes changed, a run of them zeroed, or the end cut off."""
    chance, changed = random.Random(seed), bytearray(content)
    if seed % 3 == 0:
        for _ in range(chance.randrange(1, 40)):
            changed[chance.randrange(len(changed))] = chance.randrange(256)
    elif seed % 3 == 1:
        start, length = chance.randrange(len(changed)), chance.randrange(1, len(changed) // 3)
        changed[start : start + length] = bytes(min(length, len(changed) - start))
    else:
        del changed[chance.randrange(len(changed) // 2, len(changed)) :]
    return bytes(changed)


def test_mutated_clips_never_stop_a_good_one(call: Call, synth: ModuleType, card: Path) -> None:
    """Twelve damaged clips beside a good one: it is levelled; each other one has its line."""
    whole = write(synth, card / "A001.mov", [3600 * n for n in range(15)]).read_bytes()
    for seed in range(12):
        (card / f"B{seed:03}.mov").write_bytes(mutated(whole, seed))

    call("scan", card, "--encoding", "*=phone-log-1")
    done = call("level", "--json", "--no-chart")

    assert "fault in evenhand" not in done.err
    told = json.loads(done.out)
    assert "A001" in {d["clip"] for d in told["decisions"]}
    assert done.status == (1 if told["failures"] else 0)
    for failure in told["failures"]:
        assert failure["clip"].startswith("B")
        assert "\n" not in failure["why"]


def test_a_fault_and_a_crash_cost_one_line_each(
    call: Call, synth: ModuleType, card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The others are levelled; the fault's line names a file that shows where; exit status 1."""
    for name, frames in (("A001", 4), ("A002", 5), ("B1", 6), ("B2", 7)):
        write(synth, card / f"{name}.mov", [3600 * n for n in range(frames)])
    call("scan", card, "--encoding", "*=phone-log-1")
    monkeypatch.setattr("evenhand.jobs.views.looked_at", made.stumbling)

    done = call("level", "--no-chart")

    assert done.status == 1
    skipped = [line for line in done.err.splitlines() if line.startswith("skipped: ")]
    fault = next(line for line in skipped if "B1" in line)
    crash = next(line for line in skipped if "B2" in line)
    assert "SIGSEGV" in crash
    [trace] = (card.parent / "card.shoot" / "faults").iterdir()
    assert str(trace) in fault or trace.name in fault
    assert "a fault that nobody foresaw" in trace.read_text("utf-8")
    assert "A001" in done.out
    assert "A002" in done.out
