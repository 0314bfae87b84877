"""What a frame shows, in a form that two clips can be compared by: key points and light.

Key points are found on the logarithm of green light, stretched to its own range: a change of
exposure is then a shift that the stretch takes out, and two encodings look alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

FloatImage = NDArray[np.float32]

KEYPOINTS = 1500
# Longest side of the picture that they are sought in. At 480 pixels they take half of the time, and
# of 90 close-ups 72 are found in their wide instead of 75.
KEYPOINT_SIZE = 640
# How far below the clip level (signal) a pixel has to stay: 4:2:0 chroma smears the clipped edge.
CLIP_MARGIN = 0.02
# Distance of the nearest to the second nearest descriptor (Lowe 2004 took 0.8).
RATIO = 0.8
REACH = 3.0  # pixels; how far an inlier may lie from where the homography puts it
LEAST_INLIERS = 12


@dataclass(frozen=True, slots=True)
class AnalysisFrame:
    """One frame made small for measuring: longest side about 640 pixels.

    signal and light are float32 (h, w, 3); light is linear BT.2020, 0.18 = grey card. `clip_level`
    is the signal above which a pixel is clipped, `floor` the light under which it is noise, `time`
    the presentation time in seconds.
    """

    signal: FloatImage
    light: FloatImage
    clip_level: float
    floor: float
    time: float = 0.0


@dataclass(frozen=True, slots=True)
class Features:
    """What is kept of a frame: key points (n, 2), descriptors (n, 128), light and valid pixels.

    light is float16 to spare memory (its rounding is 0.0007 stop); `valid` is neither clipped nor
    under the floor in any channel.
    """

    points: FloatImage
    descriptors: NDArray[np.uint8]
    light: NDArray[np.float16]
    valid: NDArray[np.bool_]
    floor: float
    time: float

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.light.shape[1], self.light.shape[0]


@dataclass(frozen=True, slots=True)
class Registration:
    """How view a lies on view b: a homography from pixels of a to pixels of b, and its inliers."""

    homography: NDArray[np.float64]
    matches: int
    points: FloatImage  # inliers in b, (n, 2)

    @property
    def inliers(self) -> int:
        """Key points that the homography puts where they were found."""
        return len(self.points)

    @property
    def ratio(self) -> float:
        """Inliers as a share of the descriptor matches."""
        return self.inliers / self.matches


def features(frame: AnalysisFrame) -> Features:
    """Key points of a frame, and its light with the pixels that can be measured."""
    light = np.ascontiguousarray(frame.light, dtype=np.float32)
    valid = (largest(frame.signal) < frame.clip_level - CLIP_MARGIN) & (
        smallest(light) > frame.floor
    )
    picture, scale = _reduced(stretched(log_green(light, frame.floor)))
    detector = cv2.SIFT.create(nfeatures=KEYPOINTS, contrastThreshold=0.02)
    found, descriptors = detector.detectAndCompute(picture, None)
    if descriptors is None:
        descriptors = np.zeros((0, 128), np.float32)
    # Square roots of the histograms, so that their dot product is Hellinger's (Arandjelović 2012).
    total = np.maximum(descriptors.sum(axis=1, keepdims=True), 1e-6)
    hellinger = np.sqrt(descriptors / total)
    points = np.array([k.pt for k in found], np.float32).reshape(-1, 2)
    return Features(
        points=(points + np.float32(0.5)) * np.float32(scale) - np.float32(0.5),
        descriptors=np.round(hellinger * 255).astype(np.uint8),
        light=np.clip(light, 0, 6e4).astype(np.float16),
        valid=valid,
        floor=frame.floor,
        time=frame.time,
    )


def _reduced(picture: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], float]:
    """The picture that key points are sought in, and how much larger the whole one is."""
    longest = max(picture.shape)
    if longest <= KEYPOINT_SIZE:
        return picture, 1.0
    scale = longest / KEYPOINT_SIZE
    size = (round(picture.shape[1] / scale), round(picture.shape[0] / scale))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8), scale


def largest(picture: FloatImage) -> FloatImage:
    """The largest channel of each pixel (h, w); five times as fast as NumPy's own reduction."""
    return np.maximum(np.maximum(picture[..., 0], picture[..., 1]), picture[..., 2])


def smallest(picture: FloatImage) -> FloatImage:
    """The smallest channel of each pixel (h, w)."""
    return np.minimum(np.minimum(picture[..., 0], picture[..., 1]), picture[..., 2])


def log_green(light: FloatImage, floor: float) -> FloatImage:
    """log2 of green light (h, w), lifted by half the floor so that darkness does not sparkle."""
    logs: FloatImage = np.log2(np.maximum(light[..., 1], 0) + np.float32(0.5 * floor + 1e-6))
    return logs


def stretched(values: FloatImage) -> NDArray[np.uint8]:
    """Values as 8 bits from the 1st to the 99th percentile, a little smoothed."""
    smooth = cv2.GaussianBlur(values, (3, 3), 0)
    low, high = np.percentile(smooth[::4, ::4], [1, 99])
    scaled = np.clip((smooth - low) / max(high - low, 1e-3), 0, 1) * 255
    return np.asarray(scaled.astype(np.uint8))


def similar(a: Features, b: Features, most: int = KEYPOINTS) -> NDArray[np.intp]:
    """Pairs (n, 2) of descriptors of a and b that are each other's nearest, and clearly so."""
    return similar_descriptors(a.descriptors[:most], b.descriptors[:most])


def similar_descriptors(first: NDArray[np.uint8], second: NDArray[np.uint8]) -> NDArray[np.intp]:
    """The same of descriptors (n, 128) alone."""
    if len(first) < 8 or len(second) < 8:
        return np.zeros((0, 2), np.intp)
    likeness = _product(_unit(first), _unit(second))
    best = likeness.argmax(axis=1)
    rows = np.arange(len(first))
    nearest = likeness[rows, best]
    mutual = likeness.argmax(axis=0)[best] == rows
    likeness[rows, best] = -1
    runner_up = likeness.max(axis=1)
    clear = (2 - 2 * nearest) < RATIO**2 * (2 - 2 * runner_up)
    keep = np.flatnonzero(mutual & clear)
    return np.stack([keep, best[keep]], axis=1)


def _product(first: FloatImage, second: FloatImage) -> FloatImage:
    """first @ second.T without the threads that NumPy's product wakes.

    Clips are compared by several processes at once, where threads that wait for one another cost
    ten times more than they gain.
    """
    none = np.empty((0, 0), np.float32)
    return np.asarray(cv2.gemm(first, second, 1.0, none, 0.0, flags=cv2.GEMM_2_T), np.float32)


def _unit(descriptors: NDArray[np.uint8]) -> FloatImage:
    values = descriptors.astype(np.float32)
    lengths = np.sqrt(np.einsum("ij,ij->i", values, values))
    unit: FloatImage = values / np.maximum(lengths, 1e-6)[:, None]
    return unit


def register(a: Features, b: Features) -> Registration | None:
    """Finds the homography from a to b, or None where too few key points agree on one."""
    pairs = similar(a, b)
    if len(pairs) < LEAST_INLIERS:
        return None
    from_points, to_points = a.points[pairs[:, 0]], b.points[pairs[:, 1]]
    found, inside = cv2.findHomography(
        from_points, to_points, cv2.USAC_MAGSAC, REACH, maxIters=3000, confidence=0.999
    )
    if found is None:
        return None
    homography = np.asarray(found, dtype=np.float64)
    inliers = inside.ravel() > 0
    if inliers.sum() < LEAST_INLIERS or not 0.05 < magnification(homography, a.size) < 20:
        return None
    return Registration(homography, len(pairs), to_points[inliers])


def magnification(homography: NDArray[np.float64], size: tuple[int, int]) -> float:
    """Area in b of one pixel at the middle of a; 0 where the homography folds the picture."""
    h = homography / homography[2, 2]
    corners = np.array([[0, 0, 1], [size[0], 0, 1], [0, size[1], 1], [*size, 1]]) @ h[2]
    if corners.min() <= 0:
        return 0.0
    depth = float(h[2] @ [size[0] / 2, size[1] / 2, 1])
    return float(np.linalg.det(h)) / depth**3
