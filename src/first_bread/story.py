"""The twelve clips of "First Bread": what each shows, and its known faults."""

from __future__ import annotations

from dataclasses import dataclass

TITLE = "First Bread, Aldersyke Bakery (an invented documentary)"
NIGHT = "2025-11-08"


@dataclass(frozen=True, slots=True)
class Framing:
    """How the camera is turned: zoom 1 shows the whole still about (x, y), shares of its size.

    Roll, pan and tilt are degrees.
    """

    zoom: float
    x: float
    y: float
    roll: float = 0.0
    pan: float = 0.0
    tilt: float = 0.0


@dataclass(frozen=True, slots=True)
class Shot:
    """One clip. A neutral of the clean picture lands at (kelvin, duv), `stops` brighter.

    `grain` scales the sensor's noise, `created` is the time of the night, `sensor_clip` the light
    at which the sensor is full (None: where the encoding ends).
    """

    name: str
    place: str
    start: Framing
    end: Framing
    stops: float
    kelvin: float
    duv: float
    grain: float
    created: str
    encoding: str = "phone-log-1"
    sensor_clip: float | None = None
    timecode: bool = False
    portrait: bool = False
    variable_rate: bool = False
    loud: bool = False

    @property
    def setup(self) -> str:
        """The place and light the clip was shot in."""
        return self.place.partition("_")[0]

    @property
    def overlaps(self) -> bool:
        """Whether the clip shares its view with others of its setup."""
        return not self.place.endswith("_close")

    @property
    def file(self) -> str:
        """The clip's file name."""
        return self.name + (".mp4" if self.encoding in ("hlg", "bt709") else ".mov")


SHOTS = (
    Shot(
        "A001_oven_wide",
        "oven",
        Framing(1.06, 0.51, 0.51),
        Framing(1.12, 0.52, 0.51),
        -0.3,
        5900,
        0.001,
        2.2,
        "02:11:20",
        timecode=True,
    ),
    Shot(
        "A002_oven_baker",
        "oven",
        Framing(1.34, 0.40, 0.50, 0.4),
        Framing(1.34, 0.43, 0.49, -0.2),
        -0.95,
        5250,
        -0.002,
        2.2,
        "02:14:05",
        timecode=True,
    ),
    Shot(
        "A003_oven_mouth",
        "oven",
        Framing(1.45, 0.62, 0.52, 0, 1),
        Framing(1.52, 0.61, 0.52),
        1.1,
        6900,
        0.002,
        1.2,
        "02:18:47",
        sensor_clip=2.6,
        timecode=True,
    ),
    Shot(
        "A004_prep_wide",
        "prep",
        Framing(1.05, 0.5, 0.51),
        Framing(1.05, 0.515, 0.50, 0.2),
        0.2,
        6150,
        0.013,
        0.7,
        "03:42:10",
        timecode=True,
    ),
    Shot(
        "A005_prep_hands",
        "prep",
        Framing(1.42, 0.60, 0.60),
        Framing(1.48, 0.59, 0.60),
        -0.6,
        5700,
        0.009,
        0.7,
        "03:46:32",
        encoding="phone-log-2",
        timecode=True,
    ),
    Shot(
        "A006_prep_dough",
        "prep_close",
        Framing(1.06, 0.5, 0.5),
        Framing(1.10, 0.49, 0.5),
        0.45,
        6600,
        0.011,
        0.6,
        "03:51:55",
        variable_rate=True,
    ),
    Shot(
        "A007_yard_wide",
        "yard",
        Framing(1.05, 0.49, 0.5),
        Framing(1.09, 0.51, 0.5),
        0.0,
        7900,
        0.003,
        0.8,
        "06:31:02",
    ),
    Shot(
        "A008_yard_cart",
        "yard",
        Framing(1.35, 0.44, 0.58),
        Framing(1.35, 0.48, 0.57),
        0.35,
        7000,
        0.002,
        0.8,
        "06:34:40",
        encoding="hlg",
    ),
    Shot(
        "A009_yard_tall",
        "yard",
        Framing(1.06, 0.60, 0.5),
        Framing(1.10, 0.61, 0.5),
        -0.7,
        8800,
        0.001,
        0.9,
        "06:38:13",
        portrait=True,
    ),
    Shot(
        "A010_shop_wide",
        "shop",
        Framing(1.05, 0.5, 0.5),
        Framing(1.08, 0.5, 0.51),
        0.4,
        6250,
        0.004,
        0.4,
        "08:05:28",
        timecode=True,
    ),
    Shot(
        "A011_shop_counter",
        "shop",
        Framing(1.38, 0.43, 0.55),
        Framing(1.42, 0.46, 0.55),
        -0.35,
        7300,
        0.002,
        0.4,
        "08:09:51",
        encoding="bt709",
    ),
    Shot(
        "A012_shop_window",
        "shop_close",
        Framing(1.05, 0.5, 0.5),
        Framing(1.11, 0.5, 0.5),
        0.3,
        5600,
        0.003,
        0.4,
        "08:14:36",
        loud=True,
    ),
)
