"""The part of a look that an ASC CDL can hold: the nearest CDL, and what it leaves out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from evenhand.colourmath.cdl import LUMA, apply_cdl
from evenhand.colourmath.curves import Array
from evenhand.errors import UsageError
from evenhand.grade.document import Cdl
from evenhand.grade.exact import Look
from evenhand.grade.spaces import is_display

CODES: Final = 1023.0
DEFAULT_BOUND: Final = 2.0

_GRID: Final = 9
_ROUNDS: Final = 60
_STEP: Final = 1e-6
_FAR: Final = 3.0  # of the logarithms of slope and power, and of offset and saturation
_QUIET, _PURE = 4.0, 0.03


@dataclass(frozen=True, slots=True)
class CdlFit:
    """The nearest CDL of a look, and how far from it, in 10-bit codes.

    `greys` and `colours` are the largest differences on the grey scale and on colours between those
    that were fitted; `typical` the median over colours; `worst` is the signal of the largest.
    """

    cdl: Cdl
    greys: float
    colours: float
    typical: float
    worst: tuple[float, float, float]

    @property
    def says(self) -> str:
        """What is lost, in a line."""
        red, green, blue = (round(100 * value) for value in self.worst)
        return (
            f"greys differ by up to {self.greys:.1f} and colours by up to {self.colours:.1f} "
            f"10-bit codes (typically {self.typical:.1f}), most at R′G′B′ {red} {green} {blue} %"
        )


def nearest_cdl(look: Look) -> CdlFit:
    """Fit a CDL to a look: least squares over greys and 9³ colours, greys and quiet ones first.

    By Levenberg and Marquardt's method. A CDL is a tone curve a channel and one saturation, so
    what it can hold of a look is on and near the greys; the purest colours count least.
    """
    clamp = is_display(look.space)
    fit = _Fit.of(look, clamp)
    tries = [fit.from_start(start) for start in fit.starts()]
    cdl = _cdl(min(tries, key=lambda found: found[0])[1])
    colours = _colours(np.linspace(0.0, 1.0, _GRID))
    between = (np.linspace(0.0, 1.0, _GRID)[:-1] + np.linspace(0.0, 1.0, _GRID)[1:]) / 2.0
    judged = np.concatenate([_colours(between), colours])
    away = np.abs(apply_cdl(judged, cdl, clamp=clamp) - look.apply(judged)).max(axis=1) * CODES
    grey = np.repeat(np.linspace(0.0, 1.0, 257)[:, None], 3, axis=1)
    on_greys = np.abs(apply_cdl(grey, cdl, clamp=clamp) - look.apply(grey)).max() * CODES
    red, green, blue = (float(v) for v in judged[int(away.argmax())])
    return CdlFit(
        cdl, float(on_greys), float(away.max()), float(np.median(away)), (red, green, blue)
    )


def cdl_of(look: Look, name: str, bound: float = DEFAULT_BOUND) -> CdlFit:
    """The CDL that a look is; UsageError, which says what would be lost, beyond `bound` codes."""
    fit = nearest_cdl(look)
    if max(fit.greys, fit.colours) > bound:
        raise UsageError(
            name,
            f"a CDL cannot hold this look within {bound:g} 10-bit codes: {fit.says}",
            "Write it as .cube or CLF, or allow a larger difference",
        )
    return fit


def _colours(along: Array) -> Array:
    return np.stack(np.meshgrid(along, along, along), axis=-1).reshape(-1, 3)


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """Colours, what the look makes of them, and how much each counts."""

    colours: Array
    wanted: Array
    weights: Array
    clamp: bool

    @classmethod
    def of(cls, look: Look, clamp: bool) -> _Fit:
        greys = np.repeat(np.linspace(0.0, 1.0, 4 * _GRID)[:, None], 3, axis=1)
        colours = np.concatenate([_colours(np.linspace(0.0, 1.0, _GRID)), greys])
        weights = np.exp(-_QUIET * np.ptp(colours, axis=1))[:, None] + _PURE
        return cls(colours, look.apply(colours), weights, clamp)

    def missing(self, x: Array) -> Array:
        made = apply_cdl(self.colours, _cdl(x), clamp=self.clamp)
        result: Array = ((made - self.wanted) * self.weights).ravel()
        return result

    def starts(self) -> list[Array]:
        """Identity, and two guesses of saturation; the power from what becomes of middle grey."""
        middle = np.abs(self.colours - 0.5).max(axis=1).argmin()
        power = np.log(np.clip(self.wanted[middle], 1e-3, 0.999)) / np.log(0.5)
        log_power = np.log(np.clip(power, 0.1, 10.0))
        chroma = [np.abs(c - (c @ LUMA)[:, None]).sum() for c in (self.colours, self.wanted)]
        saturation = chroma[1] / chroma[0]
        return [
            np.array([*np.zeros(9), 1.0]),
            np.array([*np.zeros(6), *log_power, saturation]),
            np.array([*np.zeros(6), *log_power, 0.5 * saturation]),
        ]

    def from_start(self, x: Array) -> tuple[float, Array]:
        """The sum of squares and the ten numbers that a start leads to."""
        error, damping = self.missing(x), 1e-3
        for _ in range(_ROUNDS):
            slopes = np.stack(
                [(self.missing(x + _STEP * axis) - error) / _STEP for axis in np.eye(10)], axis=1
            )
            normal, pull = slopes.T @ slopes, slopes.T @ error
            step = np.linalg.solve(normal + damping * np.diag(normal.diagonal() + 1e-9), pull)
            trial = np.clip(x - step, -_FAR, _FAR)
            found = self.missing(trial)
            if found @ found < error @ error:
                x, error, damping = trial, found, damping / 5.0
            else:
                damping *= 8.0
            if damping > 1e8 or error @ error < 1e-24:
                break
        return float(error @ error), x


def _cdl(x: Array) -> Cdl:
    """Ten free numbers as a CDL: slope and power by their logarithms, saturation not below 0."""
    slope, offset, power = np.exp(x[:3]), x[3:6], np.exp(x[6:9])
    return Cdl(_triple(slope), _triple(offset), _triple(power), max(float(x[9]), 0.0))


def _triple(values: Array) -> tuple[float, float, float]:
    red, green, blue = values.tolist()
    return red, green, blue
