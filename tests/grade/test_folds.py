"""No legal setting of a move lays one colour over another.

A map that keeps its orientation everywhere (a positive determinant of its derivative) folds
nothing. It is measured by differences of 2e-5 on colours of the display's cube.
"""

from __future__ import annotations

from typing import Any

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.grade.logmoves import LogLean, LogSaturation, LogSplit, LogTone
from evenhand.grade.moves import Middle, Operator, Tone, ToneInStops
from evenhand.grade.operators import Density, Lean, Mix, Print, Saturation, SplitTone, Turn
from evenhand.grade.uniform import MODELS, Model, chroma, lab_to_light, signal_to_lab

RNG = np.random.default_rng(5)
CUBE = RNG.random((600, 3)) * 0.97 + 0.015
# Near grey hues change fastest, and skins are there.
CUBE[300:] = CUBE[300:].mean(axis=1, keepdims=True) + 0.12 * (RNG.random((300, 3)) - 0.5)
CUBE = CUBE.clip(0.015, 0.985)
LOG = 0.1 + 0.6 * CUBE


def numbers(kind: type[msgspec.Struct], **fixed: Any) -> st.SearchStrategy[Any]:
    """Records of that kind with every number anywhere in its written range."""
    drawn = {}
    for field in msgspec.inspect.type_info(kind).fields:  # type: ignore[union-attr]
        if field.name in fixed:
            continue
        low, high = field.type.ge, field.type.le
        # A factor of 0 takes all colour: that is flat, not folded.
        drawn[field.name] = st.floats(max(low, 0.05) if kind in FACTORS else low, high)
    chosen = {
        name: st.just(value) if not isinstance(value, st.SearchStrategy) else value
        for name, value in fixed.items()
    }
    return st.builds(kind, **drawn, **chosen)


FACTORS = (Saturation, LogSaturation)
LEANS = st.builds(Lean, hue=st.floats(0, 360), amount=st.floats(0, 0.025))
LOG_LEANS = st.builds(LogLean, stops=st.tuples(*[st.floats(-0.4, 0.4)] * 3))
MOVES = st.one_of(
    numbers(Tone),
    numbers(ToneInStops),
    numbers(Middle),
    numbers(Turn),
    numbers(Saturation),
    numbers(Density),
    numbers(Print),
    numbers(SplitTone, dark=LEANS, light=LEANS),
)
LOG_MOVES = st.one_of(
    numbers(LogTone), numbers(LogSaturation), numbers(LogSplit, dark=LOG_LEANS, light=LOG_LEANS)
)


def least_volume(move: Operator, points: np.ndarray, model: Model) -> float:
    """The smallest determinant of the move's derivative at the points."""
    step = 1e-5
    columns = [
        (move(points + step * axis, model) - move(points - step * axis, model)) / (2 * step)
        for axis in np.eye(3)
    ]
    return float(np.linalg.det(np.stack(columns, axis=-1)).min())


@settings(max_examples=250, deadline=None)
@given(move=MOVES, name=st.sampled_from(sorted(MODELS)))
def test_no_legal_move_folds_colours(move: Operator, name: str) -> None:
    """Whatever the numbers, as long as the document would be taken."""
    model = MODELS[name]
    if move.fault(model):
        return

    assert least_volume(move, signal_to_lab(CUBE, model), model) > 0.0


@settings(max_examples=80, deadline=None)
@given(move=LOG_MOVES)
def test_no_legal_move_in_stops_folds_colours(move: Operator) -> None:
    """The same for looks that are made for ACEScct."""
    if not move.fault(MODELS["oklab"]):
        assert least_volume(move, LOG, MODELS["oklab"]) > 0.0


def test_the_measure_sees_a_fold() -> None:
    """A turn beyond its limit and a lean that spares skin too well are refused, and do fold."""
    oklab = MODELS["oklab"]
    turn = Turn(hue=45.0, half_width=40.0, turn=48.0)
    split = SplitTone(light=Lean(hue=100.0, amount=0.025), keep_skin=1.0, balance=0.3)
    hue, far = np.meshgrid(np.radians(np.arange(0, 360, 2.0)), np.linspace(0.005, 0.1, 60))
    ring = np.stack([np.full_like(hue, 0.7), far * np.cos(hue), far * np.sin(hue)], axis=-1)

    for move in (turn, split):
        assert "fold" in move.fault(oklab)
        assert least_volume(move, ring.reshape(-1, 3), oklab) < 0.0


def test_black_and_white_flattens_and_does_not_fold() -> None:
    """All colours fall on one line, so the volume is 0; lightness rises with every channel."""
    mix = Mix(red=0.4, green=0.5, blue=0.1)
    for channel in range(3):
        more = CUBE.copy()
        more[:, channel] += 0.01
        assert (mix(signal_to_lab(more)) - mix(signal_to_lab(CUBE)))[:, 0].min() > 0.0


def test_the_cube_holds_all_kinds_of_colour() -> None:
    """Greys and pure colours, so that the volumes above are measured where it matters."""
    lab = signal_to_lab(CUBE)

    assert chroma(lab).min() < 0.01
    assert chroma(lab).max() > 0.2
    assert lab_to_light(lab) == pytest.approx(CUBE**2.4, abs=1e-9)
