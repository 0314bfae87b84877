"""Scenes made by program, and a simulated camera with known faults of exposure and white.

The camera knows nothing of evenhand: its curves are the published formulas written out here, and
its white fault is a von Kries adaptation in Bradford's cone space, not the estimator's.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

PHOTOS = Path(__file__).parents[2].parent / "shared" / "photos"

# Linear BT.2020 and BT.709 to XYZ (ITU-R BT.2020-2, BT.709-6; D65).
BT2020 = np.array(
    [
        [0.6369580483, 0.1446169036, 0.1688809752],
        [0.2627002120, 0.6779980715, 0.0593017165],
        [0.0, 0.0280726930, 1.0609850577],
    ]
)
BT709 = np.array(
    [
        [0.4123907993, 0.3575843394, 0.1804807884],
        [0.2126390059, 0.7151686788, 0.0721923154],
        [0.0193308187, 0.1191947798, 0.9505321522],
    ]
)
# Bradford's sharpened cone space (CIE 15, Annex E; matrix as in ICC.1:2010).
BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
D65_UV = np.array([0.19783, 0.31221])
D65_MIRED = 153.7


def phone_log(light: np.ndarray) -> np.ndarray:
    """Phone log, first generation, by its published formula."""
    top = 0.08550479 * np.log2(np.maximum(light, 0.01) + 0.00964052) + 0.69336945
    foot = 47.28711236 * np.maximum(light + 0.05641088, 0) ** 2
    return np.where(light >= 0.01, top, foot)


def phone_log_light(signal: np.ndarray) -> np.ndarray:
    """Inverse of `phone_log`."""
    join = 47.28711236 * (0.01 + 0.05641088) ** 2
    top = np.exp2((signal - 0.69336945) / 0.08550479) - 0.00964052
    return np.where(signal >= join, top, np.sqrt(np.maximum(signal, 0) / 47.28711236) - 0.05641088)


def hlg(light: np.ndarray) -> np.ndarray:
    """HLG OETF (BT.2100-2 table 5), reflectance 1.0 at 75 % signal."""
    e = np.maximum(light, 0) / 3.774118
    high = 0.17883277 * np.log(np.maximum(12 * e, 0.3) - 0.28466892) + 0.55991073
    return np.where(e <= 1 / 12, np.sqrt(3 * e), high)


def hlg_light(signal: np.ndarray) -> np.ndarray:
    """Inverse of `hlg`."""
    high = (np.exp((signal - 0.55991073) / 0.17883277) + 0.28466892) / 12
    return 3.774118 * np.where(signal <= 0.5, signal * signal / 3, high)


def display(light: np.ndarray) -> np.ndarray:
    """A display-referred picture for a BT.1886 screen with black at zero."""
    return np.clip(light, 0, 1) ** (1 / 2.4)


def display_light(signal: np.ndarray) -> np.ndarray:
    """BT.1886 EOTF, black at zero."""
    return np.maximum(signal, 0) ** 2.4


Curve = Callable[[np.ndarray], np.ndarray]
CURVES: dict[str, tuple[Curve, Curve, float]] = {
    "phone-log": (phone_log, phone_log_light, 6.0),
    "hlg": (hlg, hlg_light, 3.774118),
    "bt709": (display, display_light, 1.0),
}


def planckian_uv(kelvin: float) -> np.ndarray:
    """CIE 1960 uv of a black body (Krystek 1985, doi:10.1002/col.5080100109)."""
    t = kelvin
    u = 0.860117757 + 1.54118254e-4 * t + 1.28641212e-7 * t * t
    u /= 1 + 8.42420235e-4 * t + 7.08145163e-7 * t * t
    v = 0.317398726 + 4.22806245e-5 * t + 4.20481691e-8 * t * t
    v /= 1 - 2.89741816e-5 * t + 1.61456053e-7 * t * t
    return np.array([u, v])


@dataclass(frozen=True)
class Fault:
    """How a camera is off: stops, and the white of a neutral as mired and Duv away from D65."""

    stops: float = 0.0
    mired: float = 0.0
    duv: float = 0.0

    def matrix(self, cones: np.ndarray = BRADFORD) -> np.ndarray:
        """Linear BT.2020 as it is → as the camera has it (von Kries in `cones`, grey keeps Y)."""
        t = 1e6 / (D65_MIRED + self.mired)
        along = planckian_uv(t) - planckian_uv(t * 1.001)
        normal = np.array([-along[1], along[0]]) / np.hypot(*along)
        normal *= np.sign(normal[1])
        locus = planckian_uv(1e6 / D65_MIRED)
        uv = planckian_uv(t) + (D65_UV - locus) + self.duv * normal
        gains = (cones @ _xyz(uv)) / (cones @ _xyz(D65_UV))
        adapt = np.linalg.inv(cones) @ np.diag(gains) @ cones
        return np.linalg.inv(BT2020) @ adapt @ BT2020 * 2.0**self.stops


def _xyz(uv: np.ndarray) -> np.ndarray:
    u, v = uv
    d = 2 * u - 8 * v + 4
    x, y = 3 * u / d, 2 * v / d
    return np.array([x / y, 1.0, (1 - x - y) / y])


def random_fault(rng: np.random.Generator) -> Fault:
    """Faults as wide as hand-held phones make them: 0.6 stop, 20 mired, Duv 0.005 (1 sd)."""
    return Fault(
        stops=float(np.clip(rng.normal(0, 0.6), -2, 2)),
        mired=float(np.clip(rng.normal(0, 20), -45, 120)),
        duv=float(np.clip(rng.normal(0, 0.005), -0.02, 0.02)),
    )


def scene(seed: int, size: tuple[int, int] = (1280, 720), shapes: int = 500) -> np.ndarray:
    """Linear BT.2020 (h, w, 3): several hundred textured shapes under uneven light."""
    rng = np.random.default_rng(seed)
    w, h = size
    picture = np.full((h, w, 3), 0.2, np.float32)
    for _ in range(shapes):
        tone = 2.0 ** rng.uniform(-4.0, 0.2)
        colour = tone * 2.0 ** rng.normal(0, 0.35, 3)
        extent = np.minimum(rng.pareto(1.3) * 14 + 6, 240)
        axes = (int(extent), int(extent * rng.uniform(0.3, 1.0)))
        centre = (int(rng.uniform(0, w)), int(rng.uniform(0, h)))
        angle = float(rng.uniform(0, 180))
        if rng.random() < 0.5:
            cv2.ellipse(picture, centre, axes, angle, 0, 360, colour.tolist(), -1, cv2.LINE_8)
        else:
            corners = cv2.boxPoints((centre, (2.0 * axes[0], 2.0 * axes[1]), angle))
            cv2.fillConvexPoly(picture, corners.astype(np.int32), colour.tolist())
    grain = np.zeros((h, w), np.float32)
    for step in (2, 4, 8, 16, 32):
        octave = rng.standard_normal((h // step + 2, w // step + 2)).astype(np.float32)
        grain += cv2.resize(octave, (w, h), interpolation=cv2.INTER_CUBIC) * 0.08
    light = cv2.resize(rng.uniform(-1, 1, (4, 5)).astype(np.float32), (w, h), interpolation=2)
    picture *= np.exp2(grain + 0.7 * light)[..., None]
    return cv2.GaussianBlur(picture, (0, 0), 0.8)


def photographs() -> dict[str, np.ndarray]:
    """Real photographs in linear BT.2020 by name, set to a middle exposure; empty where absent."""
    pictures = {}
    for path in sorted(PHOTOS.glob("*.npz")):
        with np.load(path) as stored:
            linear = stored["linear_bt709"].astype(np.float32)
        if path.stem == "adjuster":  # a test picture without a scene in it
            continue
        linear = np.maximum(cv2.transform(linear, np.linalg.inv(BT2020) @ BT709), 0)
        level = np.exp(np.mean(np.log(cv2.transform(linear, BT2020[1:2]) + 1e-4)))
        pictures[path.stem] = (linear * np.float32(0.14 / level)).astype(np.float32)
    return pictures


@dataclass(frozen=True)
class View:
    """What the camera sees of a scene: centre and size as shares of it, roll, corner shifts."""

    x: float = 0.5
    y: float = 0.5
    share: float = 0.97
    roll: float = 0.0
    skew: float = 0.0

    def of(
        self, picture: np.ndarray, size: tuple[int, int], rng: np.random.Generator
    ) -> np.ndarray:
        """The view as a picture of `size` (width, height)."""
        h, w = picture.shape[:2]
        aspect = size[1] / size[0]
        width = self.share * min(w, h / aspect)
        height = width * aspect
        cx = np.clip(self.x * w, width / 2, max(w - width / 2, width / 2))
        cy = np.clip(self.y * h, height / 2, max(h - height / 2, height / 2))
        corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [width / 2, height / 2]
        c, s = np.cos(self.roll), np.sin(self.roll)
        corners = corners @ np.array([[c, s], [-s, c]])
        corners += rng.uniform(-self.skew, self.skew, (4, 2)) * width + [cx, cy]
        target = np.array([[0, 0], [size[0], 0], size, [0, size[1]]], np.float32)
        matrix = cv2.getPerspectiveTransform(corners.astype(np.float32), target)
        shrink = width / size[0]
        if shrink > 1.2:  # a lens blurs before it samples
            picture = cv2.GaussianBlur(picture, (0, 0), 0.45 * shrink)
        return cv2.warpPerspective(
            picture, matrix, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT
        )


def views_of(framing: str, rng: np.random.Generator) -> tuple[View, View]:
    """Two views of one scene: same, reframe, close (a detail of a wide), or none in common."""
    if framing == "same":
        return View(), View(roll=float(rng.normal(0, 0.005)))
    if framing == "reframe":
        first = View(x=rng.uniform(0.4, 0.6), y=rng.uniform(0.4, 0.6), share=0.8)
        place = {"x": rng.uniform(0.35, 0.65), "y": rng.uniform(0.4, 0.6)}
        second = View(
            **place, share=rng.uniform(0.55, 0.8), roll=float(rng.normal(0, 0.05)), skew=0.03
        )
        return first, second
    if framing == "close":
        place = {"x": rng.uniform(0.3, 0.7), "y": rng.uniform(0.4, 0.7)}
        second = View(
            **place, share=rng.uniform(0.3, 0.45), roll=float(rng.normal(0, 0.05)), skew=0.02
        )
        return View(share=0.95), second
    return View(x=0.25, share=0.5), View(x=0.75, share=0.5)


def stand_in_front(
    picture: np.ndarray, other: np.ndarray, share: float, rng: np.random.Generator
) -> np.ndarray:
    """The picture with an ellipse of another one in front of it that covers `share` of the area."""
    if share <= 0:
        return picture
    h, w = picture.shape[:2]
    axis = int(np.sqrt(share * w * h / np.pi / 1.8))
    mask = np.zeros((h, w), np.float32)
    centre = (int(rng.uniform(0.2, 0.8) * w), int(rng.uniform(0.4, 0.8) * h))
    cv2.ellipse(mask, centre, (axis, int(axis * 1.8)), 0, 0, 360, 1.0, -1)
    mask = cv2.GaussianBlur(mask, (0, 0), 2)[..., None]
    return picture * (1 - mask) + cv2.resize(other, (w, h)) * mask


@dataclass(frozen=True)
class Sensor:
    """What else is wrong with a camera.

    well: electrons of a full pixel (noise); mixing: a 3×3 on its light that keeps neutrals, for
    filters that are not the observer's; flare: share of the mean light that veils everything;
    contrast: exponent about a grey card of a camera that develops for a display.
    """

    well: float = 4000.0
    mixing: np.ndarray | None = None
    flare: float = 0.0
    contrast: float = 1.0


PLAIN = Sensor()


@dataclass(frozen=True)
class Recording:
    """A frame as decoded: signal and linear BT.2020 light (h, w, 3), clip level as a signal.

    matrix: the fault; grey: what is recorded of an 18 % grey, over 0.18 (3,).
    """

    signal: np.ndarray
    light: np.ndarray
    clip_level: float
    matrix: np.ndarray
    grey: np.ndarray


def record(
    picture: np.ndarray,
    fault: Fault,
    rng: np.random.Generator,
    curve: str = "phone-log",
    sensor: Sensor = PLAIN,
) -> Recording:
    """Fault, shot and read noise, clip, encode, 4:2:0, 10-bit codes, and decoded again."""
    to_signal, to_light, top = CURVES[curve]
    matrix = fault.matrix()
    light = np.maximum(cv2.transform(picture, matrix), 0)
    if sensor.mixing is not None:
        light = np.maximum(cv2.transform(light, sensor.mixing.astype(np.float32)), 0)
    light = light + np.float32(sensor.flare) * light.mean(axis=(0, 1))
    electrons = sensor.well / 6.0
    noise = rng.standard_normal(light.shape, dtype=np.float32)
    light = np.minimum(light + noise * np.sqrt(light * electrons + 9.0) / electrons, top)
    if sensor.contrast != 1.0:  # about a grey card, as a camera that develops for a display
        light = 0.18 * (np.maximum(light, 0) / 0.18) ** np.float32(sensor.contrast)
        light = np.minimum(light, top)
    signal = _coded(np.asarray(to_signal(light), dtype=np.float32))
    return Recording(
        signal=signal,
        light=to_light(signal.astype(np.float64)).astype(np.float32),
        clip_level=float(to_signal(np.float64(top))),
        matrix=matrix,
        grey=(matrix @ np.ones(3)) ** sensor.contrast,
    )


def _coded(signal: np.ndarray) -> np.ndarray:
    """R'G'B' through 10-bit narrow-range BT.2020 Y'CbCr with chroma at half size."""
    h, w = signal.shape[:2]
    y = cv2.transform(signal, np.array([[0.2627, 0.6780, 0.0593]], np.float32))
    planes = []
    for channel, scale in ((2, 1.8814), (0, 1.4746)):
        half = cv2.resize((signal[..., channel] - y) / scale, (w // 2, h // 2), interpolation=3)
        planes.append(np.round(cv2.resize(half, (w, h)) * 896) / 896)
    y = np.round(y * 876) / 876
    red, blue = y + 1.4746 * planes[1], y + 1.8814 * planes[0]
    green = (y - 0.2627 * red - 0.0593 * blue) / 0.6780
    return np.clip(np.stack([red, green, blue], axis=-1), 0, 1).astype(np.float32)
