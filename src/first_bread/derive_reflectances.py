"""Reduces spectra to colours under each place's light and writes `reflectances.json`.

Run by hand (`python -m first_bread.derive_reflectances`) and only when a spectrum changes; it needs
colour-science, which the demo itself does not.

A reflectance under a light becomes XYZ (CIE 1931 2° observer), is taken from the light's white to
D65 by CAT16 (full von Kries) and then to linear BT.2020: what a camera sees that is white-balanced
for that light. Measured spectra: the average of many 24-patch charts (`patch_1` to `patch_24`,
`skin_5`) and memory colours of four skins (`skin_1`, 2, 3, 6); `skin_4` is a mean of two. All other
rows are smooth model spectra: a logistic edge and Gaussian bumps.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import colour
import numpy as np
import numpy.typing as npt

from evenhand.colourmath.primaries import rgb_to_xyz
from evenhand.colourmath.white import cat16

Array = npt.NDArray[np.float64]
_D65 = (0.3127, 0.3290)
_SHAPE = colour.SpectralShape(380, 780, 5)
_WAVELENGTHS = _SHAPE.wavelengths
_TARGET = Path(__file__).with_name("reflectances.json")

# Low end, high end, wavelength and width of the edge in nm, then bumps of (height, middle, width).
_MODELS: dict[str, tuple[Any, ...]] = {
    "flour": (0.70, 0.87, 440, 30),
    "plaster": (0.48, 0.70, 470, 60),
    "paint_white": (0.70, 0.84, 430, 14),
    "paint_green": (0.16, 0.24, 600, 40, (0.13, 535, 45)),
    "tile_white": (0.66, 0.76, 430, 20),
    "tile_green": (0.09, 0.10, 600, 40, (0.14, 530, 38)),
    "tile_blue": (0.14, 0.10, 560, 40, (0.16, 470, 45)),
    "brick": (0.07, 0.34, 590, 26),
    "brick_dark": (0.05, 0.17, 590, 32),
    "mortar": (0.26, 0.42, 520, 70),
    "oak": (0.13, 0.48, 560, 55),
    "oak_dark": (0.06, 0.25, 575, 50),
    "walnut": (0.035, 0.15, 590, 50),
    "crust_gold": (0.07, 0.55, 572, 33),
    "crust_brown": (0.035, 0.33, 595, 32),
    "crust_dark": (0.025, 0.14, 610, 34),
    "crumb": (0.42, 0.76, 480, 45),
    "dough": (0.42, 0.74, 460, 40),
    "steel": (0.52, 0.58, 500, 90),
    "iron": (0.035, 0.05, 560, 80),
    "linen": (0.36, 0.60, 480, 60),
    "apron": (0.55, 0.74, 450, 40),
    "cotton_blue": (0.05, 0.06, 600, 30, (0.17, 455, 38)),
    "cotton_red": (0.035, 0.46, 596, 14),
    "mustard": (0.05, 0.52, 528, 18),
    "denim": (0.05, 0.07, 600, 40, (0.08, 450, 45)),
    "grey_wool": (0.16, 0.19, 520, 90),
    "hair_dark": (0.018, 0.05, 620, 50),
    "hair_brown": (0.03, 0.16, 600, 50),
    "hair_grey": (0.30, 0.40, 500, 80),
    "cobble": (0.10, 0.15, 520, 80),
    "slate": (0.05, 0.06, 450, 80),
    "leaf": (0.035, 0.42, 705, 14, (0.10, 552, 24)),
    "jute": (0.12, 0.42, 550, 55),
    "kraft": (0.12, 0.40, 560, 45),
    "rubber": (0.03, 0.035, 560, 60),
    "copper": (0.25, 0.78, 580, 20),
    "soot": (0.022, 0.03, 560, 60),
    "lips": (0.10, 0.42, 598, 18, (0.03, 520, 40)),
}


def _aligned(spectrum: Any) -> Array:
    """Samples of a colour-science spectrum at the wavelengths used here."""
    ends = {"method": "Constant", "left": None, "right": None}
    aligned = spectrum.copy().align(_SHAPE, extrapolator_kwargs=ends)
    return np.asarray(aligned.values, np.float64)


def _model(low: float, high: float, middle: float, width: float, *bumps: Any) -> Array:
    spectrum = low + (high - low) / (1.0 + np.exp(-(_WAVELENGTHS - middle) / width))
    for height, centre, spread in bumps:
        spectrum = spectrum + height * np.exp(-0.5 * ((_WAVELENGTHS - centre) / spread) ** 2)
    clipped: Array = np.clip(spectrum, 0.005, 0.98)
    return clipped


def _charts() -> tuple[Mapping[str, Any], Mapping[str, Any]]:
    """The 24-patch chart measured every 10 nm, and the chart with memory colours of skin."""
    tables = (getattr(colour, name) for name in dir(colour) if name.startswith("SDS_COL"))
    found = [chart for table in tables for chart in dict(table).values()]
    patches = next(
        chart
        for chart in found
        if len(chart) == 24 and chart[next(iter(chart))].shape.interval == 10
    )
    skins = next(chart for chart in found if "Caucasian" in list(chart))
    return patches, skins


def reflectances() -> dict[str, Array]:
    """Every reflectance by name, in the order of the table."""
    patches, skins = _charts()
    dark = _aligned(patches["dark skin"])
    south_asian = _aligned(skins["South Asian"])
    found = {name: _model(*numbers) for name, numbers in _MODELS.items()}
    found["skin_1"] = _aligned(skins["Caucasian"])
    found["skin_2"] = _aligned(skins["Oriental"])
    found["skin_3"] = south_asian
    found["skin_4"] = 0.5 * (dark + south_asian)
    found["skin_5"] = dark
    found["skin_6"] = _aligned(skins["African"])
    found["grey18"] = np.full(_WAVELENGTHS.size, 0.18)
    for number, name in enumerate(patches, 1):
        found[f"patch_{number}"] = _aligned(patches[name])
    return found


def _blackbody(kelvin: float) -> Array:
    return np.asarray(colour.sd_blackbody(kelvin, _SHAPE).values, np.float64)


def lights() -> dict[str, Array]:
    """The light each place's camera is balanced for."""
    illuminants = colour.SDS_ILLUMINANTS
    return {
        "oven": _blackbody(2900),
        "prep": _aligned(illuminants["LED-B3"]),
        "yard": _aligned(illuminants["D75"]),
        "shop": _aligned(illuminants["D55"]),
    }


def lamps() -> dict[str, Array]:
    """Lamps and skies of other colours."""
    illuminants = colour.SDS_ILLUMINANTS
    blue_sky = colour.temperature.CCT_to_xy_CIE_D(9500)
    early = _blackbody(3600)
    return {
        "glow_1800": _blackbody(1800),
        "glow_2100": _blackbody(2100),
        "bulb_2700": _blackbody(2700),
        "bulb_2900": _blackbody(2900),
        "day_5500": _aligned(illuminants["D55"]),
        "sky_9000": _aligned(colour.sd_CIE_illuminant_D_series(blue_sky)),
        "dawn_4200": 0.5 * _aligned(illuminants["D50"]) + 0.5 * early / early[36] * 100,
        "led_4100": _aligned(illuminants["LED-B3"]),
    }


def seen_by_camera(spectrum: Array, light: Array) -> Array:
    """Linear BT.2020 of XYZ power `spectrum` for a camera balanced for `light` (Y = 1)."""
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(_SHAPE).values
    white = observer.T @ light
    x, y, _ = white / white.sum()
    adapted = cat16((float(x), float(y)), _D65) @ (observer.T @ spectrum / white[1])
    return np.linalg.solve(rgb_to_xyz("bt2020"), adapted).astype(np.float64)


def tables() -> dict[str, dict[str, dict[str, list[float]]]]:
    """Everything `reflectances.json` holds."""
    luminance = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(_SHAPE).values
    surfaces, sources = reflectances(), lamps()
    found: dict[str, dict[str, dict[str, list[float]]]] = {"reflectance": {}, "lamp": {}}
    for place, light in lights().items():
        found["reflectance"][place] = {
            name: np.round(np.maximum(seen_by_camera(r * light, light), 0.002), 5).tolist()
            for name, r in surfaces.items()
        }
        power = luminance[:, 1] @ light
        found["lamp"][place] = {
            name: np.round(
                np.maximum(seen_by_camera(lamp * power / (luminance[:, 1] @ lamp), light), 0.0), 4
            ).tolist()
            for name, lamp in sources.items()
        }
    return found


if __name__ == "__main__":
    _TARGET.write_text(json.dumps(tables(), indent=1) + "\n")
