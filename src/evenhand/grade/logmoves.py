"""The moves of looks that are made for ACEScct: before the output transform, in stops.

Signals are (..., 3) ACEScct over AP1. A stop is counted along the signal, 17.52 stops to 1, about
18 % grey; below ACEScct's break it is the straight piece that runs on. Tone works on each channel,
the rest leaves luma (AP1 weights on the signal) as it is, so none can fold colours. Turns of hue
have no place here: along lines of constant hue blues stray by 8 to 11 degrees.
"""

from __future__ import annotations

from typing import Annotated, Final

import msgspec
import numpy as np
from msgspec import Meta

from evenhand.colourmath import acescct
from evenhand.colourmath.curves import Array
from evenhand.colourmath.primaries import luminance_weights, rgb_to_rgb, rgb_to_xyz
from evenhand.colourmath.white import white_xy
from evenhand.grade.moves import Move, bent
from evenhand.grade.uniform import OKLAB, Model, smooth_step

STOPS_TO_ONE: Final = 17.52
MOST_STOPS: Final = 0.4

_Stops = Annotated[float, Meta(ge=-MOST_STOPS, le=MOST_STOPS)]


def stops_of(signal: Array) -> Array:
    """Stops from 18 % grey along the signal."""
    result: Array = (signal - acescct.GREY) * STOPS_TO_ONE
    return result


def _luma(signal: Array) -> Array:
    result: Array = signal @ luminance_weights("ap1")
    return result


class LogTone(Move, frozen=True, kw_only=True, tag="tone-in-stops"):
    """A rising curve of every channel with `slope` stops a stop at 18 % grey, which stays.

    The slope goes to 1 by `toe` stops under grey and to `beyond` by `shoulder` stops over it:
    d(x) = e + (slope − e)·(1 − (x/R)²)³ on either side, twice differentiable.
    """

    slope: Annotated[float, Meta(ge=0.5, le=1.6)] = 1.0
    toe: Annotated[float, Meta(ge=1.0, le=6.0)] = 5.0
    shoulder: Annotated[float, Meta(ge=1.0, le=8.0)] = 5.0
    beyond: Annotated[float, Meta(ge=0.4, le=1.2)] = 1.0

    def words(self, model: Model = OKLAB) -> str:
        del model
        return (
            f"{self.slope:.2f} stops a stop at 18 % grey, 1 again {self.toe:.1f} stops under it, "
            f"{self.beyond:.2f} from {self.shoulder:.1f} stops over it"
        )

    def __call__(self, lab: Array, model: Model = OKLAB) -> Array:
        del model
        stops = stops_of(lab)
        low = bent(np.maximum(-stops, 0.0), self.slope, self.toe, 1.0)
        high = bent(np.maximum(stops, 0.0), self.slope, self.shoulder, self.beyond)
        return acescct.GREY + (high - low) / STOPS_TO_ONE


class LogLean(msgspec.Struct, frozen=True, kw_only=True):
    """Where a zone leans: `stops` of red, green and blue, or as a neutral does in a light of
    `kelvin` and `duv` that is seen as D65 is.
    """

    stops: tuple[_Stops, _Stops, _Stops] | None = None
    kelvin: Annotated[float, Meta(ge=2000.0, le=25000.0)] | None = None
    duv: Annotated[float, Meta(ge=-0.02, le=0.02)] | None = None

    def fault(self) -> str:
        """What is missing or too much; empty if nothing."""
        if (self.stops is None) == (self.kelvin is None):
            return "a lean takes stops, or kelvin"
        if self.stops is not None and self.duv is not None:
            return "a lean by stops takes no duv"
        most = float(np.abs(self.offset()).max())
        if most > 2.0 * MOST_STOPS:
            return f"it leans by {most:.2f} stops, at most {2 * MOST_STOPS} is allowed"
        return ""

    def offset(self) -> Array:
        """Stops to add to each channel, (3,), without any change of luma."""
        if self.stops is not None:
            stops = np.array(self.stops)
        else:
            x, y = white_xy(self.kelvin or 6500.0, self.duv or 0.0)
            light = np.linalg.solve(rgb_to_xyz("bt709"), np.array([x / y, 1.0, (1.0 - x - y) / y]))
            ap1 = rgb_to_rgb("bt709", "ap1") @ light
            stops = np.log2(np.maximum(ap1, 2.0**-6))
        result: Array = stops - _luma(stops)
        return result

    def words(self) -> str:
        """The lean as a person reads it."""
        red, green, blue = self.offset()
        duv = f", Duv {self.duv:+.4f}" if self.duv else ""
        by = "" if self.kelvin is None else f" (a light of {self.kelvin:.0f} K{duv})"
        return f"red {red:+.2f}, green {green:+.2f}, blue {blue:+.2f} stops{by}"


class LogSplit(Move, frozen=True, kw_only=True, tag="split-tone"):
    """Leans darks and lights: offsets of the channels by luma, which stays.

    The two meet `balance` stops from grey, over 6 stops; both fade out 6 stops under grey and 7
    over it.
    """

    dark: LogLean | None = None
    light: LogLean | None = None
    balance: Annotated[float, Meta(ge=-2.0, le=2.0)] = 0.0

    @property
    def is_neutral(self) -> bool:
        leans = [lean for lean in (self.dark, self.light) if lean is not None]
        return all(float(np.abs(lean.offset()).max()) < 1e-9 for lean in leans)

    def words(self, model: Model = OKLAB) -> str:
        del model
        zones = (("darks", self.dark), ("lights", self.light))
        return "; ".join(f"{name} {lean.words()}" for name, lean in zones if lean) or "leans by 0"

    def fault(self, model: Model) -> str:
        del model
        for name, lean in (("dark", self.dark), ("light", self.light)):
            if lean is not None and lean.fault():
                return f"{name}: {lean.fault()}"
        return ""

    def __call__(self, lab: Array, model: Model = OKLAB) -> Array:
        del model
        stops = stops_of(_luma(lab))
        fade = smooth_step((stops + 6.0) / 2.5) * smooth_step((7.0 - stops) / 3.0)
        up = smooth_step((stops - self.balance + 3.0) / 6.0)
        out = lab.copy()
        for lean, weight in ((self.dark, 1.0 - up), (self.light, up)):
            if lean is not None:
                out += (weight * fade)[..., None] * (lean.offset() / STOPS_TO_ONE)
        return out


class LogSaturation(Move, frozen=True, kw_only=True, tag="saturation"):
    """Distance of the channels from luma times `dark`, `mid` or `light`; luma stays.

    Smooth steps from 1 to 4 stops under grey and from 0.5 to 3.5 over it.
    """

    dark: Annotated[float, Meta(ge=0.0, le=1.4)] = 1.0
    mid: Annotated[float, Meta(ge=0.0, le=1.4)] = 1.0
    light: Annotated[float, Meta(ge=0.0, le=1.4)] = 1.0

    def words(self, model: Model = OKLAB) -> str:
        del model
        rest = f"{self.mid:.2f} in mid tones, {self.light:.2f} in lights"
        return f"saturation × {self.dark:.2f} in darks, {rest}"

    def __call__(self, lab: Array, model: Model = OKLAB) -> Array:
        del model
        luma = _luma(lab)
        stops = stops_of(luma)
        up, down = smooth_step((stops - 0.5) / 3.0), smooth_step((-1.0 - stops) / 3.0)
        factor = self.mid + (self.light - self.mid) * up + (self.dark - self.mid) * down
        grey = luma[..., None]
        return grey + factor[..., None] * (lab - grey)
