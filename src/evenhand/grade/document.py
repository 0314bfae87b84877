"""The grade as data: what one clip goes through, in the fixed order of work.

Records are frozen and serialise as they are into the shoot document. Units: exposure in stops
(positive brightens), white in kelvin and Duv (CIE 1960), strength as a share 0..1.
"""

from __future__ import annotations

from typing import Literal, get_args

import msgspec

from evenhand.colourmath.encodings import Encoding
from evenhand.errors import UsageError

Triple = tuple[float, float, float]
OutputTransform = Literal["aces2-sdr", "plain-sdr", "hlg-1000", "pq-1000"]


class White(msgspec.Struct, frozen=True):
    """A white: where neutral lands in the clip's own light. `duv` is positive towards green."""

    kelvin: float
    duv: float


class Ripple(msgspec.Struct, frozen=True):
    """Light that pulses with the mains, as a rolling shutter sees it.

    The light of a row at `y` (fraction of the stored picture's height from its top), `t` seconds
    after the first frame, is brighter by cosine · cos φ + sine · sin φ stops,
    φ = 2π · hertz · (t + readout · y). `readout` is in seconds.
    """

    hertz: float
    readout: float
    cosine: float
    sine: float


class Steadying(msgspec.Struct, frozen=True, omit_defaults=True):
    """How a clip's light changed by itself while it was recorded; its inverse is applied.

    A key at `seconds` after the first frame (ascending) says how that moment differs from the
    clip's own reference moment: stops (positive is brighter), mired and Duv of where a D65 neutral
    lands (positive is warmer, greener). Linear between keys, held outside them. `clip` is the
    signal at which the camera's lights are pinned: what lies there is left as it is.
    """

    seconds: tuple[float, ...] = ()
    stops: tuple[float, ...] = ()
    mired: tuple[float, ...] = ()
    duv: tuple[float, ...] = ()
    ripple: Ripple | None = None
    clip: float = 1.0


class Levelling(msgspec.Struct, frozen=True, omit_defaults=True):
    """Exposure and white set from measurements, in scene-linear light.

    `stops` is the correction to apply (light × 2^stops). `white` is the white that the clip has;
    it is taken to the working white by CAT16. None leaves the white as it is. `steadying` comes
    before both.
    """

    stops: float = 0.0
    white: White | None = None
    steadying: Steadying | None = None


class Cdl(msgspec.Struct, frozen=True, omit_defaults=True):
    """ASC CDL v1.2: out = clamp(in·slope + offset)^power, then saturation; works on ACEScct."""

    slope: Triple = (1.0, 1.0, 1.0)
    offset: Triple = (0.0, 0.0, 0.0)
    power: Triple = (1.0, 1.0, 1.0)
    saturation: float = 1.0

    def triples(self) -> tuple[Triple, Triple, Triple]:
        """Slope, offset and power."""
        return self.slope, self.offset, self.power


class Adjustment(msgspec.Struct, frozen=True, omit_defaults=True):
    """What a person changes by hand. `white` replaces the levelled white; the rest adds to it."""

    exposure: float = 0.0
    white: White | None = None
    cdl: Cdl = Cdl()
    contrast: float = 1.0
    saturation: float = 1.0


class LookUse(msgspec.Struct, frozen=True):
    """A look by name, at a strength from 0 to 1; `digest` is the SHA-256 of its content.

    `effects` asks for what the look would do to the picture as a whole: halation, grain.
    """

    name: str
    strength: float = 1.0
    digest: str = ""
    effects: bool = False


class Grade(msgspec.Struct, frozen=True):
    """Encoding + levelling + adjustment + output transform + look of one clip."""

    encoding: Encoding
    levelling: Levelling = Levelling()
    adjustment: Adjustment = Adjustment()
    output_transform: OutputTransform = "aces2-sdr"
    look: LookUse | None = None


def check_grade(grade: Grade) -> None:
    """UsageError, with the value, where a grade holds something that has no meaning."""
    adjustment = grade.adjustment
    if grade.output_transform not in get_args(OutputTransform):
        raise UsageError(
            str(grade.output_transform),
            "no output transform has this name",
            f"Choose one of: {', '.join(get_args(OutputTransform))}",
        )
    if not adjustment.contrast > 0.0:
        raise UsageError("contrast", f"{adjustment.contrast:g} is not above 0", "1 changes nothing")
    if min(adjustment.cdl.power) <= 0.0:
        raise UsageError("power", f"{adjustment.cdl.power} is not above 0", "1 changes nothing")
    if min(adjustment.saturation, adjustment.cdl.saturation) < 0.0:
        raise UsageError("saturation", "it is below 0", "0 is grey, 1 changes nothing")
    if grade.look is not None and not 0.0 <= grade.look.strength <= 1.0:
        raise UsageError(
            f"look {grade.look.name}",
            f"strength {grade.look.strength:g} is outside 0 to 1",
            "Give a strength from 0 % to 100 %",
        )
