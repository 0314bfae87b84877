"""What every move of a look can do, and the moves of tone in an even space."""

from __future__ import annotations

from typing import Annotated, Final, Protocol

import msgspec
import numpy as np
from msgspec import Meta

from evenhand.colourmath.curves import Array
from evenhand.grade.uniform import GAMMA, OKLAB, Model, grey_light, grey_signal, with_grey

# Stops from 18 % grey to the white of the display.
_TO_WHITE: Final = float(-np.log2(0.18))
# A window that is 1 at its middle and 0 at its reach holds 16/35 of its reach: its integral.
_ROOM: Final = 16.0 / 35.0


class Operator(Protocol):
    """One move: a function on colours, and what it does in words with numbers."""

    @property
    def is_neutral(self) -> bool:
        """Greys stay grey."""
        ...

    def words(self, model: Model = OKLAB) -> str:
        """What it does; hues are named as the model has them."""
        ...

    def fault(self, model: Model) -> str:
        """What about its settings, taken together, cannot be; empty if nothing."""
        ...

    def __call__(self, lab: Array, model: Model = OKLAB) -> Array: ...


class Move(msgspec.Struct, frozen=True, kw_only=True, tag_field="move"):
    """What all moves share: most leave greys, and most settings fit each other."""

    @property
    def is_neutral(self) -> bool:
        return True

    def fault(self, model: Model) -> str:
        del model
        return ""


def bent(stops: Array, slope: float, reach: float, end: float) -> Array:
    """The integral of end + (slope − end)·(1 − (x/reach)²)³ from 0 to `stops` (not below 0).

    A curve that leaves 0 with `slope` and no curvature and has bent to the slope `end` by `reach`;
    twice differentiable, and rising while both slopes are above 0.
    """
    u = np.clip(stops / reach, 0.0, 1.0)
    window = u * (1.0 - u * u * (1.0 - u * u * (0.6 - u * u / 7.0)))
    return end * stops + (slope - end) * reach * window


def end_slope(slope: float, reach: float, room: float) -> float:
    """The slope to end with so that `bent` gives `room` at `room`, which is not below `reach`."""
    return (room - slope * reach * _ROOM) / (room - reach * _ROOM)


class Tone(Move, frozen=True, kw_only=True, tag="tone"):
    """A monotone curve of grey signal with slope `contrast` at `pivot`.

    It works on V = display signal of the grey of that lightness: on lightness itself a lifted black
    would have an endless slope in signal. Two quintics meet at the pivot with equal value, slope
    and no curvature. `toe` and `shoulder` 0..1 say how softly the ends run out (1 softest). `black`
    and `white` are the signal of the ends. Chroma follows lightness by `follow`, so that darkened
    colours do not glow and lightened ones do not bleach.
    """

    contrast: Annotated[float, Meta(ge=0.4, le=1.8)] = 1.0
    pivot: Annotated[float, Meta(ge=0.4, le=0.65)] = 0.50
    toe: Annotated[float, Meta(ge=0.0, le=1.0)] = 0.0
    shoulder: Annotated[float, Meta(ge=0.0, le=1.0)] = 0.0
    black: Annotated[float, Meta(ge=0.0, le=0.08)] = 0.0
    white: Annotated[float, Meta(ge=0.9, le=1.0)] = 1.0
    follow: Annotated[float, Meta(ge=0.0, le=1.0)] = 0.55

    def words(self, model: Model = OKLAB) -> str:
        del model
        ends = f", toe {self.toe:.2f}, shoulder {self.shoulder:.2f}"
        about = f"contrast {self.contrast:.2f} about {self.pivot:.0%} signal"
        return f"{about}{ends}{_ends(self.black, self.white)}"

    def __call__(self, lab: Array, model: Model = OKLAB) -> Array:
        signal = grey_signal(lab, model)
        above = 1.0 - self.pivot
        low = self.pivot * _run_out(signal / self.pivot, self.contrast, self.toe)
        high = 1.0 - above * _run_out((1.0 - signal) / above, self.contrast, self.shoulder)
        curve = np.where(signal < self.pivot, low, high)
        return with_grey(lab, self.black + (self.white - self.black) * curve, self.follow, model)


def _ends(black: float, white: float) -> str:
    lifted = f", black lifted to {black:.1%}" if black else ""
    lowered = f", white at {white:.1%}" if white < 1.0 else ""
    return lifted + lowered


def _run_out(x: Array, slope: float, softness: float) -> Array:
    """[0, 1] to itself with `slope` at 1 and no curvature at either end (quintic Hermite)."""
    x = np.clip(x, 0.0, 1.0)
    start = min(max((2.0 - slope) * (1.0 - softness) + 0.35 * softness, 0.05), 1.6)
    a3 = 10.0 - 6.0 * start - 4.0 * slope
    a4 = -15.0 + 8.0 * start + 7.0 * slope
    a5 = 6.0 - 3.0 * start - 3.0 * slope
    return x * (start + x * x * (a3 + x * (a4 + x * a5)))


class ToneInStops(Move, frozen=True, kw_only=True, tag="tone-in-stops"):
    """A monotone curve of light in stops from 18 % grey, with `slope` stops a stop there.

    Below grey the slope goes back to 1 by `toe` stops, so that what is darker keeps its steps;
    above it the curve has bent by `shoulder` stops and then runs straight to white, which stays.
    d(x) = e + (slope − e)·(1 − (x/R)²)³ on either side, e = 1 below and above whatever brings white
    to white; twice differentiable at both joints. `black` and `white` are the signal of the ends.
    """

    slope: Annotated[float, Meta(ge=0.5, le=1.6)] = 1.0
    toe: Annotated[float, Meta(ge=1.0, le=8.0)] = 5.0
    shoulder: Annotated[float, Meta(ge=0.5, le=2.4)] = 2.0
    black: Annotated[float, Meta(ge=0.0, le=0.08)] = 0.0
    white: Annotated[float, Meta(ge=0.9, le=1.0)] = 1.0
    follow: Annotated[float, Meta(ge=0.0, le=1.0)] = 0.55

    def words(self, model: Model = OKLAB) -> str:
        del model
        reach = f"back to even {self.toe:.1f} stops under it, bent by {self.shoulder:.1f} over it"
        about = f"{self.slope:.2f} stops a stop at 18 % grey, {reach}"
        return f"{about}{_ends(self.black, self.white)}"

    def __call__(self, lab: Array, model: Model = OKLAB) -> Array:
        light = grey_light(lab, model)
        stops = np.log2(np.maximum(light, 1e-12) / 0.18)
        low = bent(np.maximum(-stops, 0.0), self.slope, self.toe, 1.0)
        end = end_slope(self.slope, self.shoulder, _TO_WHITE)
        high = bent(np.maximum(stops, 0.0), self.slope, self.shoulder, end)
        # A factor on light, not a power of it: black is 0 and stays there.
        moved = np.where(stops < 0.0, -low - stops, high - stops)
        signal = np.clip(light * np.exp2(moved), 0.0, 1.0) ** (1.0 / GAMMA)
        return with_grey(lab, self.black + (self.white - self.black) * signal, self.follow, model)


class Middle(Move, frozen=True, kw_only=True, tag="middle"):
    """Mid tones lighter or darker by `amount` of signal, ends kept: V + 4 · amount · V(1 − V).

    V is as in `Tone`, and chroma follows as there.
    """

    amount: Annotated[float, Meta(ge=-0.15, le=0.15)]

    def words(self, model: Model = OKLAB) -> str:
        del model
        return f"mid tones {abs(self.amount):.1%} {'lighter' if self.amount > 0 else 'darker'}"

    def __call__(self, lab: Array, model: Model = OKLAB) -> Array:
        signal = grey_signal(lab, model)
        moved = signal + 4.0 * self.amount * signal * (1.0 - signal)
        return with_grey(lab, moved, 0.55, model)
