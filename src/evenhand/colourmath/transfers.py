"""The transfers: one row per published curve, signal to scene light and back.

Signal is normalised R'G'B' on (..., 3) (0..1 over the nominal range of the file); light is
scene-linear, 0.18 = grey card, 1.0 = diffuse white. HLG and PQ take one road: HLG light is the
inverse OETF scaled so that the 75 % signal is 1.0; PQ goes to display light, then through the
inverse HLG OOTF of a 1000 cd/m² display to the same scale. Display-referred curves (BT.1886, sRGB)
give display light, 1.0 = white: their highlights are already rolled off.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from evenhand.colourmath import hdr
from evenhand.colourmath.curves import (
    Array,
    Curve,
    Linear,
    LinearLog,
    MirroredLog,
    Power,
    QuadraticLog,
    Srgb,
)

Kind = Literal["log", "scene", "display", "linear"]
CodeScale = Literal["signal", "code"]
CodeRange = Literal["narrow", "full"]

# Scene light of E: the 75 % HLG signal (203 cd/m² on a 1000 cd/m² display, BT.2408) is 1.0.
HLG_SCALE: Final = 1.0 / float(hdr.hlg_inverse_oetf(np.array(0.75)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Transfer:
    """One transfer characteristic.

    `code_scale` says what the published curve is a function of: "signal" is the normalised signal
    V; "code" is code/1023 of a file whose codes are V·876 + 64, so that a narrow V becomes
    P = (V·876 + 64)/1023 first. In a full-range file both are the same.
    """

    name: str
    title: str
    kind: Kind
    source: str
    curve: Curve
    code_scale: CodeScale = "signal"

    def to_light(self, signal: ArrayLike, code_range: CodeRange = "narrow") -> Array:
        """Signal (..., 3) to scene light (..., 3) in the file's own primaries; NaN stays NaN."""
        v = np.asarray(signal, np.float64)
        if self.code_scale == "code" and code_range == "narrow":
            v = (v * 876.0 + 64.0) / 1023.0
        return self.curve.decode(v)

    def to_signal(self, light: ArrayLike, code_range: CodeRange = "narrow") -> Array:
        """Scene light (..., 3) to signal (..., 3), unclipped; the inverse of `to_light`."""
        p = self.curve.encode(np.asarray(light, np.float64))
        if self.code_scale == "code" and code_range == "narrow":
            p = (p * 1023.0 - 64.0) / 876.0
        return p

    @property
    def peak(self) -> float:
        """Scene light at signal 1.0 of all three channels, narrow range."""
        return float(self.to_light(np.ones(3))[1])

    @property
    def black(self) -> float:
        """Signal of light 0, narrow range."""
        return float(self.to_signal(np.zeros(3))[1])


@dataclass(frozen=True, slots=True)
class _Hlg:
    def decode(self, signal: Array) -> Array:
        return HLG_SCALE * hdr.hlg_inverse_oetf(signal)

    def encode(self, light: Array) -> Array:
        return hdr.hlg_oetf(light / HLG_SCALE)


@dataclass(frozen=True, slots=True)
class _Pq:
    def decode(self, signal: Array) -> Array:
        return HLG_SCALE * hdr.hlg_inverse_ootf(hdr.pq_eotf(signal))

    def encode(self, light: Array) -> Array:
        return hdr.pq_inverse_eotf(hdr.hlg_ootf(light / HLG_SCALE))


# OpenColorIO's curves of these titles agree with every row below to 1e-6 of light (see the tests).
_LOG3_TOE: Final = 171.2102946929
# fmt: off
_ROWS: Final = (
    Transfer(name="phone-log", title="Phone log, both generations", kind="log",
             source="Log profile white paper of 2023; ACES input transform of the same curve",
             curve=QuadraticLog(r0=-0.05641088, rt=0.01, c=47.28711236, beta=0.00964052,
                                gamma=0.08550479, delta=0.69336945)),
    Transfer(name="hlg", title="HLG", kind="scene",
             source="ITU-R BT.2100-2 table 5; scale by BT.2408 (75 % is reference white)",
             curve=_Hlg()),
    Transfer(name="pq", title="PQ", kind="scene",
             source="ITU-R BT.2100-2 tables 4 and 5, through a 1000 cd/m² HLG display",
             curve=_Pq()),
    Transfer(name="bt1886", title="BT.709 as shown by BT.1886", kind="display",
             source="ITU-R BT.1886 with LB = 0", curve=Power(exponent=2.4)),
    Transfer(name="srgb", title="sRGB", kind="display", source="IEC 61966-2-1", curve=Srgb()),
    Transfer(name="linear", title="Scene-linear", kind="linear", source="definition",
             curve=Linear()),
    Transfer(name="slog3", title="S-Log3", kind="log", code_scale="code",
             source="Technical Summary for S-Gamut3.Cine/S-Log3; grey is code 420, 41 %",
             curve=LinearLog(base=10.0, cut=0.01125, a=1 / 0.19, b=0.01 / 0.19, c=261.5 / 1023,
                             d=420 / 1023, e=(_LOG3_TOE - 95) / 0.01125 / 1023, f=95 / 1023)),
    Transfer(name="logc3", title="LogC3, EI 800", kind="log",
             source="LogC3 usage in VFX, EI 800; narrow files carry the curve on 64..940 "
                    "(from memory)",
             curve=LinearLog(base=10.0, cut=0.010591, a=5.555556, b=0.052272, c=0.247190,
                             d=0.385537, e=5.367655, f=0.092809)),
    Transfer(name="logc4", title="LogC4", kind="log",
             source="LogC4 specification; narrow files carry the curve on 64..940 (from memory)",
             curve=LinearLog(base=2.0, cut=-0.01805699611991131, a=(2**18 - 16) / 117.45, b=64.0,
                             c=(1023 - 95) / 1023 / 14, d=95 / 1023 - 6 * (1023 - 95) / 1023 / 14,
                             e=8.803033210331753, f=0.15895633652241087)),
    Transfer(name="vlog", title="V-Log", kind="log", code_scale="code",
             source="V-Log/V-Gamut Reference Manual; grey is code 433, 42 %",
             curve=LinearLog(base=10.0, cut=0.01, a=1.0, b=0.00873, c=0.241514, d=0.598206,
                             e=5.6, f=0.125)),
    Transfer(name="clog2", title="C-Log2", kind="log", code_scale="code",
             source="Log gamma curves white paper, 2018 form; grey is 39.2 % (from memory)",
             curve=MirroredLog(white=0.9, a=87.099375, c=0.24136077, d_above=0.092864125,
                               d_below=0.092864125)),
    Transfer(name="clog3", title="C-Log3", kind="log", code_scale="code",
             source="Log gamma curves white paper, 2018 form; grey is 32.8 % (from memory)",
             curve=MirroredLog(white=0.9, a=14.98325, c=0.36726845, d_above=0.12240537,
                               d_below=0.12783901, cut=0.014, slope=1.9754798,
                               middle=0.12512219)),
    Transfer(name="log3g10", title="Log3G10", kind="log",
             source="White paper on Log3G10, version 3; carried on 64..940 (from memory)",
             curve=LinearLog(base=10.0, cut=-0.01, a=155.975327, b=0.01 * 155.975327 + 1.0,
                             c=0.224282, d=0.0, e=15.1927, f=0.151927)),
    Transfer(name="acescct", title="ACEScct", kind="log", source="AMPAS S-2016-001",
             curve=LinearLog(base=2.0, cut=0.0078125, a=1.0, b=0.0, c=1 / 17.52, d=9.72 / 17.52,
                             e=10.5402377416545, f=0.0729055341958355)),
)
# fmt: on
TRANSFERS: Final[Mapping[str, Transfer]] = MappingProxyType({row.name: row for row in _ROWS})
