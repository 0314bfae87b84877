"""What kind of look a table is, by what it does to greys and to colours near one grey.

Compared are the table's grey response y(t), 129 points of luma, and its response to small moves of
colour at the grey that lands on 42 %, with:

- a creative look on a display: y near t, colours nearly where they were;
- conversions: the light of every known log, at -1 to +1 stop, through output transforms whose
shapes
  differ; and how the log's primaries land on BT.709. An output transform may desaturate, which
  costs nothing.

    look        = rms(y − t)/0.09 + gamut(identity)/0.35, and 3 more where black, white or the
                  middle lie where no look puts them
    conversion  = rms(y − R(2^e · decode(t)))/0.03 + gamut(log)/0.25, the least over R and e

The lower one wins if it is clearly lower; both high, or tones that run backwards, are something
else. Which log it is follows from it only sometimes: several fit, and a person must say which.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

import msgspec
import numpy as np

from evenhand.colourmath.cdl import LUMA
from evenhand.colourmath.curves import Array
from evenhand.colourmath.encodings import Encoding, transfer_of
from evenhand.colourmath.primaries import rgb_to_rgb
from evenhand.grade import ocio
from evenhand.grade.exact import Look
from evenhand.grade.output_transforms import bt709_oetf
from evenhand.grade.spaces import SPACES, is_log

Kind = Literal["look", "conversion", "identity", "else", "unsure"]

STEPS: Final = 129
_GREY: Final = 0.42
_AROUND: Final = 0.02
_EXPOSURES: Final = np.arange(-1.0, 1.01, 0.125)
_IDENTITY: Final = 0.004
_CLEARLY: Final = 0.75
_HIGH: Final = 3.0
_FALL: Final = 0.002
_FALLING: Final = 0.03
_MONOCHROME: Final = 0.05
_AS_ONE: Final = 0.02
# A set of logs holds every one whose score is at most this much of the best.
_NEAR, _NEAR_SPARE = 1.25, 0.1
# Light of the output transforms' table, in stops.
_STOPS: Final = np.linspace(-14.0, 16.0, 3001)

OutputTransform = Callable[[Array], Array]


class LookKind(msgspec.Struct, frozen=True):
    """What a look was found to be.

    `look_score` and `conversion_score` say how far it is from the nearest creative look and the
    nearest conversion: 0 fits wholly, above 3 not at all. `logs` are the log spaces that fit a
    conversion, the best first: a proposal, not a finding. `black`, `middle` and `white` are where
    signals 0, 0.5 and 1 of grey land. `twice` are the logs whose conversion, done twice, gives
    these greys, where it is something else.
    """

    kind: Kind
    look_score: float
    conversion_score: float
    logs: tuple[str, ...]
    black: float
    middle: float
    white: float
    twice: tuple[str, ...] = ()

    @property
    def says(self) -> str:
        """The finding in a line, with both scores."""
        scores = (
            f"score as a creative look {self.look_score:.2f}, as a conversion from log "
            f"{self.conversion_score:.2f}; 0 fits wholly, above 3 not at all"
        )
        what = {
            "look": "a creative look for a display",
            "conversion": f"a conversion from log to a display; fits: {', '.join(self.logs)}",
            "identity": "it changes nothing",
            "else": "neither a creative look nor a conversion from a known log"
            + (
                f"; its greys are those of one applied twice: {', '.join(self.twice)}"
                if self.twice
                else ""
            ),
            "unsure": "it could be a creative look or a conversion",
        }[self.kind]
        return f"{what} ({scores})"


@dataclass(frozen=True, slots=True, eq=False)
class _Response:
    """Luma of greys, (129,), and the rows of the Jacobian near grey in light, each summing to 1."""

    luma: Array
    mixing: Array


def look_kind(look: Look) -> LookKind:
    """Test what a look is by its values; its own declaration is not looked at."""
    response = _response(look)
    luma, along = response.luma, np.linspace(0.0, 1.0, STEPS)
    is_usable = bool(np.isfinite(luma).all() and np.isfinite(response.mixing).all())
    display = _display_score(response, along) if is_usable else np.inf
    logs = _log_scores(response) if is_usable else [(np.inf, "")]
    nearest = logs[0][0]
    near = tuple(name for score, name in logs if score <= _NEAR * nearest + _NEAR_SPARE)
    kind: Kind
    if not is_usable or np.ptp(luma) < 0.05:
        kind = "else"
    elif _is_identity(look):
        kind = "identity"
    elif (np.diff(luma) < -_FALL).mean() > _FALLING or min(display, nearest) > _HIGH:
        kind = "else"
    elif display < _CLEARLY * nearest:
        kind = "look"
    else:
        kind = "conversion" if nearest < _CLEARLY * display else "unsure"
    return LookKind(
        kind=kind,
        look_score=float(min(display, 99.0)),
        conversion_score=float(min(nearest, 99.0)),
        logs=near if kind == "conversion" else (),
        black=float(luma[0]),
        middle=float(luma[STEPS // 2]),
        white=float(luma[-1]),
        twice=_twice(luma) if kind == "else" and is_usable else (),
    )


def _response(look: Look) -> _Response:
    along = np.linspace(0.0, 1.0, STEPS)
    luma = look.apply(np.repeat(along[:, None], 3, axis=1)) @ LUMA
    near = int(
        np.clip(np.nanargmin(np.abs(luma - _GREY)) if np.isfinite(luma).any() else 0, 6, 122)
    )
    grey = np.full(3, along[near])
    moved = np.concatenate([grey + _AROUND * np.eye(3), grey - _AROUND * np.eye(3), grey[None]])
    out = look.apply(moved)
    slopes = ((out[:3] - out[3:6]) / (2.0 * _AROUND)).T
    # Signal to light, near enough for a ratio: the slope of a 2.4 power.
    slopes = slopes * np.maximum(out[6], 0.02)[:, None] ** 1.4
    sums = slopes.sum(axis=1, keepdims=True)
    return _Response(luma, slopes / np.where(np.abs(sums) < 1e-6, 1.0, sums))


def _is_identity(look: Look) -> bool:
    along = np.linspace(0.0, 1.0, 9)
    colours = np.stack(np.meshgrid(along, along, along), axis=-1).reshape(-1, 3)
    return bool(np.sqrt(np.mean((look.apply(colours) - colours) ** 2)) < _IDENTITY)


def _display_score(response: _Response, along: Array) -> float:
    luma = response.luma
    score = _rms(luma - along) / 0.09 + _gamut(response.mixing, np.eye(3)) / 0.35
    is_out = luma[0] > 0.2 or luma[-1] < 0.7 or abs(luma[STEPS // 2] - 0.5) > 0.18
    return score + (3.0 if is_out else 0.0)


def _log_scores(response: _Response) -> list[tuple[float, str]]:
    scores = []
    for name, (curves, costs, primaries) in _candidates().items():
        errors = np.sqrt(np.mean((curves - response.luma) ** 2, axis=1)) + costs
        gamut = _gamut(response.mixing, primaries)
        scores.append((float(errors.min()) / 0.03 + gamut / 0.25, name))
    return sorted(scores)


def _twice(luma: Array) -> tuple[str, ...]:
    """The logs whose conversion to a display, taken for log and done again, has these greys."""
    errors = {
        name: float(np.sqrt(np.mean((curves - luma) ** 2, axis=1)).min())
        for name, curves in _doubled().items()
    }
    return tuple(name for name in sorted(errors, key=errors.__getitem__) if errors[name] < _AS_ONE)


def _gamut(mixing: Array, primaries: Array) -> float:
    """How far a table's mixing of channels is from that of primaries, whatever it desaturates.

    In black and white every channel is the same mix: it says nothing of primaries, and costs
    nothing.
    """
    if np.ptp(mixing, axis=0).max() < _MONOCHROME:
        return 0.0
    grey = np.tile(LUMA, (3, 1))
    full, found = (primaries - grey).ravel(), (mixing - grey).ravel()
    share = np.clip((full @ found) / (full @ full), 0.3, 1.6)
    return float(1.7 * np.linalg.norm(found - share * full) / np.linalg.norm(full))


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


@cache
def _candidates() -> dict[str, tuple[Array, Array, Array]]:
    """For each log space: grey responses of its conversions, what each costs, its primaries."""
    along, found = np.linspace(0.0, 1.0, STEPS), {}
    tables = [_by_table(output_transform) for output_transform in _output_transforms()]
    costs = np.tile(0.01 * np.abs(_EXPOSURES), len(tables))
    for name in SPACES:
        if is_log(name):
            light = _grey_light(SPACES[name], along)
            curves = [table(light * 2.0**stops) for table in tables for stops in _EXPOSURES]
            found[name] = (np.stack(curves), costs, rgb_to_rgb(SPACES[name].primaries, "bt709"))
    return found


@cache
def _doubled() -> dict[str, Array]:
    """For each log space: the grey responses of its conversions done twice."""
    along = np.linspace(0.0, 1.0, STEPS)
    tables = [_by_table(output_transform) for output_transform in _output_transforms()]
    found = {}
    for name in filter(is_log, SPACES):
        once = [table(_grey_light(SPACES[name], along)) for table in tables]
        pairs = zip(tables, once, strict=True)
        found[name] = np.stack([t(_grey_light(SPACES[name], signal)) for t, signal in pairs])
    return found


def _grey_light(space: Encoding, signal: Array) -> Array:
    light: Array = transfer_of(space).to_light(signal, space.range)
    return light


def _output_transforms() -> tuple[OutputTransform, ...]:
    """Grey light to display signal, in shapes that differ: film-like, cut off, camera, shoulder."""
    return (
        lambda light: _aces("aces2-sdr", light),
        lambda light: _aces("aces1-sdr", light),
        lambda light: np.clip(light, 0.0, 1.0) ** (1.0 / 2.4),
        lambda light: bt709_oetf(np.clip(light, 0.0, 1.0)),
        _soft_shoulder,
    )


def _aces(name: str, light: Array) -> Array:
    grey = np.repeat(light[:, None], 3, axis=1)
    luma: Array = np.clip(ocio.render(name, grey).astype(np.float64), 0.0, 1.0) @ LUMA
    return luma


def _soft_shoulder(light: Array) -> Array:
    light = np.maximum(light, 0.0)
    bent = 0.5 + 0.5 * (1.0 - np.exp(-(light - 0.5) / 0.5))
    return np.where(light < 0.5, light, bent) ** (1.0 / 2.4)


def _by_table(output_transform: OutputTransform) -> OutputTransform:
    """An output transform of greys worked out once, at a hundredth of a stop."""
    values, black = output_transform(0.18 * 2.0**_STOPS), float(output_transform(np.zeros(1))[0])

    def read(light: Array) -> Array:
        stops = np.log2(np.maximum(light, 1e-9) / 0.18)
        return np.where(light <= 0.0, black, np.interp(stops, _STOPS, values))

    return read
