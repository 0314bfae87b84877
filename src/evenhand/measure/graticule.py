"""Where known colours lie on a vectorscope: bar targets and the line of skin."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.ycbcr import rgb_to_ycc

if TYPE_CHECKING:
    from collections.abc import Mapping

    from evenhand.colourmath.encodings import Encoding

_BARS: Final = {
    "yellow": (1, 1, 0),
    "cyan": (0, 1, 1),
    "green": (0, 1, 0),
    "magenta": (1, 0, 1),
    "red": (1, 0, 0),
    "blue": (0, 0, 1),
}


@dataclass(frozen=True, slots=True)
class SkinLine:
    """The usual angle of skin in Cb/Cr: degrees from +Cb towards +Cr, and how far skins stray.

    `spread` holds skins of all tones under a right white; from `low` to `high` lies what a lamp, an
    evening or a look may make of them before a person has to look at it.
    """

    angle: float
    spread: float
    low: float
    high: float
    source: str


_SPECTRA = (
    "angles of the eight skin reflectances of the 24-patch chart (two measurements) and of a "
    "memory-colour chart under D65, computed from the spectra"
)
# By transfer and primaries. The spread is what other skins and lights need (CIE 224 samples 15 and
# 18, illuminant A), not what the eight skins themselves need (1.4 degrees in BT.709). The band is
# 100 to 150 degrees in BT.709 (86 faces of delivered photographs: 90 % within 102 to 146, whatever
# their tone) and elsewhere where the eight skins, turned to these two angles, come out.
SKIN_LINES: Final[Mapping[tuple[str, str], SkinLine]] = MappingProxyType(
    {
        ("bt1886", "bt709"): SkinLine(121.5, 8.0, 100.0, 150.0, _SPECTRA),
        ("srgb", "bt709"): SkinLine(121.5, 8.0, 100.0, 150.0, _SPECTRA),
        ("bt1886", "bt601-625"): SkinLine(125.5, 8.0, 106.0, 150.0, _SPECTRA),
        ("bt1886", "bt601-525"): SkinLine(123.5, 8.0, 105.0, 148.0, _SPECTRA),
        ("bt1886", "p3-d65"): SkinLine(124.0, 8.0, 101.0, 152.0, _SPECTRA),
        ("bt1886", "bt2020"): SkinLine(133.5, 8.0, 107.0, 159.0, _SPECTRA),
        ("hlg", "bt2020"): SkinLine(134.5, 8.0, 107.0, 159.0, _SPECTRA),
        ("pq", "bt2020"): SkinLine(136.0, 8.0, 107.0, 161.0, _SPECTRA),
        ("phone-log", "bt2020"): SkinLine(136.0, 8.0, 107.0, 161.0, _SPECTRA),
        ("phone-log", "phone-wide"): SkinLine(130.5, 8.0, 106.0, 157.0, _SPECTRA),
    }
)


def skin_line(encoding: Encoding) -> SkinLine | None:
    """The skin line of an encoding; None where no angle has been computed for it."""
    return SKIN_LINES.get((encoding.transfer, encoding.primaries))


def bar_targets(matrix: str = "bt709", amplitude: float = 0.75) -> dict[str, tuple[float, float]]:
    """(Cb, Cr) ±0.5 of the six colours of colour bars whose channels are 0 and `amplitude`.

    Where the bars of RP 219 (75 %) lie for BT.709; the same bars in BT.2020 by its own matrix.
    """
    chroma = rgb_to_ycc(matrix)[1:]
    places = {name: amplitude * (chroma @ np.array(rgb, float)) for name, rgb in _BARS.items()}
    return {name: (float(cb), float(cr)) for name, (cb, cr) in places.items()}


def chroma_angle(signal: NDArray[np.floating], matrix: str = "bt709") -> NDArray[np.float64]:
    """Angle 0..360 of R'G'B' (..., 3) on the vectorscope: degrees from +Cb towards +Cr."""
    chroma = np.asarray(signal, np.float64) @ rgb_to_ycc(matrix)[1:].T
    angle: NDArray[np.float64] = np.degrees(np.arctan2(chroma[..., 1], chroma[..., 0])) % 360.0
    return angle
