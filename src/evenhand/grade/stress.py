"""A fixed set of signals that a compiled grade is measured on besides the clip's own pixels.

Made in scene light in the clip's encoding, so that it holds colours that scenes hold: a grey ramp
over the whole encoding, 24 hues of BT.709 at four purities, skin, each from five stops under grey
to the encoding's peak, and black with noise. The same set every time.
"""

from __future__ import annotations

from functools import cache
from typing import Final

import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.colourmath.encodings import Encoding, transfer_of
from evenhand.colourmath.primaries import luminance_weights, rgb_to_rgb

_PURITIES: Final = (0.2, 0.4, 0.6, 0.8)
# Linear BT.709 of a 24-patch chart's two skin patches (colour-science, after November 2014).
_SKINS: Final = np.array([[0.173705, 0.078775, 0.052849], [0.559856, 0.277390, 0.210867]])
_GREYS: Final = 512
_NOISE: Final = 400


def _hues(shift: float) -> Array:
    """98 colours of luminance 1, linear BT.709; `shift` turns the hues by a share of their step."""
    turn = (np.arange(24) + shift) / 24.0 * 6.0
    pure = np.clip(
        2.0 - np.abs((turn[:, None] - np.array([0.0, 2.0, 4.0]) + 3.0) % 6.0 - 3.0), 0, 1
    )
    mixed = np.concatenate([1.0 - purity * (1.0 - pure) for purity in _PURITIES] + [_SKINS])
    result: Array = mixed / (mixed @ luminance_weights("bt709"))[:, None]
    return result


@cache
def stress_signals(encoding: Encoding, shift: float = 0.0) -> Array:
    """The set in R'G'B' signal of an encoding, (n, 3), every signal at most 1; read-only.

    `shift` 0 is the set to measure on. Another shift gives as many colours between those: a lattice
    may be fitted to it and still be measured on colours that it has not seen.
    """
    transfer = transfer_of(encoding)
    stops = np.arange(-5.0, np.log2(max(transfer.peak, 1.0) / 0.18) + 0.25, 0.5) + shift / 2.0
    exposures = 0.18 * 2.0**stops
    light = (exposures[:, None, None] * _hues(shift)).reshape(-1, 3)
    light = light @ rgb_to_rgb("bt709", encoding.primaries).T
    colours = transfer.to_signal(light, encoding.range)
    grey_step = (1.0 - transfer.black) / (_GREYS - 1)
    greys = transfer.black + grey_step * (np.arange(_GREYS) + shift)
    seed = 5 if shift == 0.0 else 6
    noise = transfer.black + np.random.default_rng(seed).normal(0.0, 2.0 / 876.0, (_NOISE, 3))
    signals = np.concatenate([np.repeat(greys[:, None], 3, axis=1), colours, noise])
    kept: Array = signals[(signals <= 1.0 + 1e-12).all(axis=1)]
    kept.setflags(write=False)
    return kept


def neutral_signals(encoding: Encoding, to_working: Array, shift: float = 0.0) -> Array:
    """The clip's neutral axis: what levelling takes to neutral, from 1/500 of grey to the top."""
    transfer = transfer_of(encoding)
    steps = 0.18 * 2.0 ** (-9.0 + (np.arange(341) + shift) / 20.0)
    light = np.linalg.solve(to_working, np.repeat(steps[None, :], 3, axis=0)).T
    signals = transfer.to_signal(light, encoding.range)
    kept: Array = signals[((signals <= 1.0) & (signals >= transfer.black)).all(axis=1)]
    return kept
