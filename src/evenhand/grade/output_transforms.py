"""Output transforms: scene light to a display, by name, and what the result is encoded as.

`aces2-sdr`, `hlg-1000` and `pq-1000` are the ACES 2 output transforms. `plain-sdr` is ours: a
straight conversion that keeps mid tones where the scene put them.

plain-sdr, in this order:
1. linear BT.709.
2. gamut compression, where the source can hold colours that BT.709 cannot: along constant luminance
   towards white, by the distance of the lowest channel from luminance, (Y − min)/Y. Up to
   COMPRESSION_START colours stay; beyond it they approach the boundary and never cross it.
3. shoulder per channel: the identity up to KNEE, above it a logarithm with slope 1 at the knee that
   takes the scene's peak to 1. A peak of 1 or less leaves nothing to do.
4. scene light takes the BT.709 camera curve, so that a BT.1886 display adds the system gamma it is
   meant to add: 18 % grey is 40.9 % of signal. Its straight piece near black keeps noise down.
   Display-referred light has the system gamma in it and goes back the way it came, by the inverse
   of BT.1886. Clamped to 0..1.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.colourmath.encodings import ENCODINGS, Encoding, transfer_of
from evenhand.colourmath.primaries import luminance_weights, rgb_to_rgb
from evenhand.errors import UsageError
from evenhand.grade import ocio
from evenhand.grade.document import Grade

COMPRESSION_START: Final = 0.6
# Exponent of the compression curve: the reference gamut compression of ACES 1.3 uses it too.
COMPRESSION_POWER: Final = 1.2
KNEE: Final = 0.5
# BT.2020's exact constants of the BT.709 curve (its two pieces meet; with 1.099 they miss by 2e-4).
OETF_ALPHA: Final = 1.09929682680944
OETF_BETA: Final = 0.018053968510807
# Luminance below which gamut compression sees black.
_DARK: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputTransform:
    """One output transform; `output` is the encoding of its display signal."""

    name: str
    title: str
    output: Encoding
    peak_nits: float
    source: str


_ROWS: Final = (
    OutputTransform(
        name="aces2-sdr",
        title="ACES 2, SDR",
        output=ENCODINGS["bt709"],
        peak_nits=100.0,
        source="ACES 2 output transform, 100 cd/m², BT.709; BT.1886",
    ),
    OutputTransform(
        name="plain-sdr",
        title="Plain, SDR",
        output=ENCODINGS["bt709"],
        peak_nits=100.0,
        source="ours; ITU-R BT.709 curve, levels as BT.2408 has them",
    ),
    OutputTransform(
        name="hlg-1000",
        title="ACES 2, HLG",
        output=ENCODINGS["hlg"],
        peak_nits=1000.0,
        source="ACES 2 output transform, 1000 cd/m², BT.2020; ITU-R BT.2100 HLG",
    ),
    OutputTransform(
        name="pq-1000",
        title="ACES 2, PQ",
        output=ENCODINGS["pq"],
        peak_nits=1000.0,
        source="ACES 2 output transform, 1000 cd/m², BT.2020; ITU-R BT.2100 PQ",
    ),
)
OUTPUT_TRANSFORMS: Final[Mapping[str, OutputTransform]] = MappingProxyType(
    {row.name: row for row in _ROWS}
)


def output_encoding(output_transform: str) -> Encoding:
    """How an output transform's signal is coded in a master; UsageError for unknown names."""
    try:
        return OUTPUT_TRANSFORMS[output_transform].output
    except KeyError:
        raise UsageError(
            output_transform,
            "no output transform has this name",
            f"Choose one of: {', '.join(OUTPUT_TRANSFORMS)}",
        ) from None


@dataclass(frozen=True, slots=True)
class PlainSetting:
    """What plain-sdr needs to know of the clip."""

    peak: float  # scene light at the top of the encoding, after exposure
    scene_referred: bool  # display-referred light has the system gamma in it
    compress_gamut: bool  # whether the source can hold colours outside BT.709


def plain_setting(grade: Grade) -> PlainSetting:
    """The plain-sdr setting of a grade: the encoding's peak times its exposure."""
    transfer = transfer_of(grade.encoding)
    stops = grade.levelling.stops + grade.adjustment.exposure
    to_709 = rgb_to_rgb(grade.encoding.primaries, "bt709")
    white_moved = grade.adjustment.white is not None or grade.levelling.white is not None
    return PlainSetting(
        peak=transfer.peak * 2.0**stops,
        scene_referred=transfer.kind != "display",
        compress_gamut=bool(to_709.min() < -1e-9) or white_moved or _saturates(grade),
    )


def _saturates(grade: Grade) -> bool:
    adjustment = grade.adjustment
    return max(adjustment.saturation, adjustment.cdl.saturation, adjustment.contrast) > 1.0


def render(name: str, light: Array, plain: PlainSetting) -> Array:
    """Linear AP1 (n, 3), finite, to display signal (n, 3) in 0..1."""
    if name == "plain-sdr":
        return plain_sdr(light @ rgb_to_rgb("ap1", "bt709").T, plain)
    return np.clip(ocio.render(name, light).astype(np.float64), 0.0, 1.0)


def plain_sdr(light: Array, setting: PlainSetting) -> Array:
    """Linear BT.709 scene or display light (n, 3) to BT.709 display signal 0..1."""
    rgb = _compress_gamut(light) if setting.compress_gamut else light
    if setting.peak > 1.0:
        rgb = _shoulder(rgb, setting.peak)
    rgb = np.clip(rgb, 0.0, 1.0)
    return bt709_oetf(rgb) if setting.scene_referred else rgb ** (1.0 / 2.4)


def bt709_oetf(light: Array) -> Array:
    """Scene light 0..1 to BT.709 signal (BT.709 item 1.2, with the exact constants)."""
    power = OETF_ALPHA * np.maximum(light, OETF_BETA) ** 0.45 - (OETF_ALPHA - 1.0)
    return np.where(light < OETF_BETA, 4.5 * light, power)


def _compress_gamut(rgb: Array) -> Array:
    luminance = np.maximum(rgb @ luminance_weights("bt709"), 0.0)[:, None]
    drop = luminance - rgb.min(axis=1, keepdims=True)
    distance = drop / np.maximum(luminance, _DARK)
    room = 1.0 - COMPRESSION_START
    over = np.maximum(distance - COMPRESSION_START, 0.0) / room
    kept = over / (1.0 + over**COMPRESSION_POWER) ** (1.0 / COMPRESSION_POWER)
    share = np.where(
        over > 0.0, (COMPRESSION_START + room * kept) / np.maximum(distance, room), 1.0
    )
    result: Array = luminance + share * (rgb - luminance)
    return result


def _shoulder(rgb: Array, peak: float) -> Array:
    span = (peak - KNEE) / (1.0 - KNEE)
    bend = _log_bend(span)
    over = np.maximum(rgb - KNEE, 0.0) / (1.0 - KNEE)
    return np.where(rgb > KNEE, KNEE + (1.0 - KNEE) * np.log1p(bend * over) / bend, rgb)


def _log_bend(span: float) -> float:
    """a with ln(1 + a·span) = a: slope 1 at 0, and `span` lands on 1. Newton from above."""
    if span - 1.0 < 1e-9:
        return 1e-9
    a = 2.0 * math.log(span) + 2.0 * (span - 1.0) / span
    for _ in range(60):
        a -= (a - math.log1p(a * span)) / (1.0 - span / (1.0 + a * span))
    return a
