"""Conversions from log to a display, made without the project: what their kind is is known.

Curves and primaries are colour-science's, under the titles that their documents print; phone log
is its published formula. Output transforms are OpenColorIO's two ACES ones, three plain ones, and
two that the recognition does not know.
"""

from __future__ import annotations

import colour
import numpy as np
import PyOpenColorIO as ocio

from evenhand.colourmath.primaries import rgb_to_rgb

TO_AP0 = colour.matrix_RGB_to_RGB("ITU-R BT.709", "ACES2065-1", "Bradford")


def titled(names, end: str) -> str:
    """The library's own name for a published title."""
    (found,) = [n for n in names if n.endswith(end) and not n.endswith(f"Venice {end}")]
    return found


def by_title(curve: str, gamut: str):
    """Signal (code/1023) to linear BT.709, by the published curve and primaries of these titles."""
    name = titled(colour.LOG_DECODINGS, curve)
    matrix = colour.matrix_RGB_to_RGB(
        titled(colour.RGB_COLOURSPACES, gamut), "ITU-R BT.709", "CAT02"
    )
    return lambda signal: np.asarray(colour.log_decoding(signal, function=name)) @ matrix.T


def phone_log(signal):
    """The formula of the log profile's white paper."""
    toe = np.sqrt(np.maximum(signal, 0.0) / 47.28711236) - 0.05641088
    return np.where(
        signal >= 0.208555316, 2 ** ((signal - 0.69336945) / 0.08550479) - 0.00964052, toe
    )


def acescct(signal):
    """S-2016-001."""
    toe = (signal - 0.0729055341958355) / 10.5402377416545
    return np.where(signal > 0.155251141552511, 2 ** (signal * 17.52 - 9.72), toe)


# The name that the project has for it, where it has one.
LOGS = {
    "phone-log-1": lambda v: phone_log(v) @ rgb_to_rgb("bt2020", "bt709").T,
    "phone-log-2": lambda v: phone_log(v) @ rgb_to_rgb("phone-wide", "bt709").T,
    "slog3-full": by_title("S-Log3", "S-Gamut3"),
    "slog3-cine-full": by_title("S-Log3", "S-Gamut3.Cine"),
    "logc3": by_title("LogC3", " Wide Gamut 3"),
    "logc4": by_title("LogC4", " Wide Gamut 4"),
    "vlog-full": by_title("V-Log", "V-Gamut"),
    "clog2-full": by_title("Log 2", "Cinema Gamut"),
    "clog3-full": by_title("Log 3", "Cinema Gamut"),
    "log3g10": by_title("Log3G10", "WideGamutRGB"),
    "acescct": lambda v: acescct(v) @ rgb_to_rgb("ap1", "bt709").T,
}
UNKNOWN_LOGS = {
    "f-log": by_title("F-Log", "F-Gamut"),
    "f-log2": by_title("F-Log2", "F-Gamut"),
    "n-log": by_title("N-Log", "N-Gamut"),
}


def aces(style: str):
    """Linear BT.709 to display signal by one of OpenColorIO's ACES output transforms."""
    names = [n[0] if isinstance(n, tuple) else n for n in ocio.BuiltinTransformRegistry()]
    output = next(n for n in names if style in n)
    display = next(n for n in names if n.startswith("DISPLAY - CIE-XYZ-D65_to_REC.1886-REC.709"))
    group = ocio.GroupTransform([ocio.BuiltinTransform(n) for n in (output, display)])
    processor = ocio.Config.CreateRaw().getProcessor(group).getDefaultCPUProcessor()

    def render(light):
        pixels = np.ascontiguousarray(light @ TO_AP0.T, np.float32)
        processor.applyRGB(pixels)
        return np.clip(pixels.astype(np.float64), 0.0, 1.0)

    return render


def bt709_camera(light):
    light = np.clip(light, 0.0, 1.0)
    return np.where(light < 0.018, 4.5 * light, 1.099 * light**0.45 - 0.099)


def shoulder(light):
    light = np.maximum(light, 0.0)
    return np.where(light < 0.5, light, 0.5 + 0.5 * (1 - np.exp(-(light - 0.5) / 0.5))) ** (1 / 2.4)


def rational(light):
    light = np.maximum(light, 0.0) * 1.1
    ratio = (light * (light * 2.51 + 0.03)) / (light * (2.43 * light + 0.59) + 0.14)
    return np.clip(ratio, 0.0, 1.0) ** (1 / 2.2)


def logistic(light):
    return 1.0 / (1.0 + (0.18 / np.maximum(light, 1e-6)) ** 1.25 * 1.6) ** 0.55


OUTPUT_TRANSFORMS = {
    "aces2": aces("SDR-100nit-REC709_2.0"),
    "aces1": aces("SDR-VIDEO_1.0"),
    "cut": lambda light: np.clip(light, 0.0, 1.0) ** (1 / 2.4),
    "camera": bt709_camera,
    "shoulder": shoulder,
}
UNKNOWN_OUTPUT_TRANSFORMS = {"rational": rational, "logistic": logistic}
