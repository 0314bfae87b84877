"""Colours of things and lamps under each place's light, derived from spectra beforehand.

`reflectances.json` is written by `derive_reflectances.py`: linear BT.2020 as a camera sees it that
is balanced for the place's light. `REFLECTANCE[place][name]` is a diffuse reflectance (1 = white),
`LAMP[place][name]` the colour of another lamp of luminance one.
"""

from __future__ import annotations

import json
from importlib.resources import files

_TABLES = json.loads((files("first_bread") / "reflectances.json").read_text())

REFLECTANCE: dict[str, dict[str, list[float]]] = _TABLES["reflectance"]
LAMP: dict[str, dict[str, list[float]]] = _TABLES["lamp"]

# The row of each reflectance in the table that compiled code reads.
ROW = {name: row for row, name in enumerate(REFLECTANCE["shop"])}
