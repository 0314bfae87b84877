"""The face model: its numbers against another runtime, faces of all tones, and its absence."""

from __future__ import annotations

import sys
from importlib.metadata import packages_distributions
from pathlib import Path

import numpy as np
import pytest

from evenhand.colourmath.primaries import rgb_to_rgb
from evenhand.measure.skin.faces import CELLS, Picture
from evenhand.media import faces
from evenhand.media.faces import FaceFinder, face_finder
from evenhand.reasons import Reason, because
from evenhand.wording.saying import clause

sys.path.append(str(Path(__file__).parents[1] / "measure"))
from drawn_face import drawn_face

PHOTOS = Path(__file__).parents[3] / "shared" / "photos"

# Linear BT.709 of skins under D65, from the published spectra of the 24-patch chart (dark, light)
# and of a memory-colour chart, as tests/measure/test_graticule.py takes them.
SKINS = {
    "light": (0.5599, 0.2774, 0.2109),
    "medium": (0.4260, 0.1990, 0.1260),
    "dark": (0.1737, 0.0788, 0.0528),
    "very dark": (0.0868, 0.0394, 0.0264),  # the dark one at half the light
}


@pytest.fixture(scope="module")
def finder() -> FaceFinder:
    """The finder; skips where the optional model was not added."""
    found = face_finder()
    if isinstance(found, Reason):
        pytest.skip(clause(found))
    return found


def shown(light: np.ndarray) -> Picture:
    """Linear BT.2020 for a display, as a plain picture."""
    linear = light @ rgb_to_rgb("bt2020", "bt709").T
    return (np.clip(linear, 0, 1) ** 0.45).astype(np.float32)


@pytest.mark.oracle
def test_the_network_gives_what_another_runtime_gives(finder: FaceFinder) -> None:
    """Cells 0, 700, 1500 and 2303 of a made wave: score, then x, y, width and height.

    Figures by the reference runtime of the model's format (LiteRT 2.3.0), run apart from this.
    """
    i, j, c = np.meshgrid(np.arange(192), np.arange(192), np.arange(3), indexing="ij")
    wave = (np.sin(0.11 * i + c) * np.cos(0.07 * j)).astype(np.float32)

    raw, logits = finder._run(np.ascontiguousarray(wave.transpose(2, 0, 1)[None]))

    assert raw.shape == (CELLS**2, 16)
    expected = {
        0: (-6.518, -3.5516, -2.9879, 23.6387, 23.6427),
        700: (-4.9159, -1.8957, -1.1646, 64.1397, 64.1359),
        1500: (-5.0417, -2.2222, -0.9279, 42.9510, 42.9492),
        2303: (-7.5162, -1.8737, -0.6554, 47.2285, 47.2336),
    }
    for cell, figures in expected.items():
        assert (logits[cell], *raw[cell, :4]) == pytest.approx(figures, abs=2e-3)


@pytest.mark.parametrize("tone", SKINS)
@pytest.mark.parametrize("tall", [40, 80, 150])
def test_drawn_faces_of_all_tones_are_found_where_they_are(
    finder: FaceFinder, tone: str, tall: int
) -> None:
    """One face each, its eyes and mouth where they were drawn."""
    skin = np.array(SKINS[tone]) @ rgb_to_rgb("bt709", "bt2020").T

    (face,) = finder(shown(drawn_face(skin, (400, 225), (230, 100), tall)))

    points = np.array(face.points) * [400, 225]
    assert points[:2].mean(axis=0) == pytest.approx([230, 100 - 0.05 * tall], abs=0.08 * tall)
    assert points[3] == pytest.approx([230, 100 + 0.27 * tall], abs=0.1 * tall)
    assert points[0, 0] < points[1, 0]  # a person's right eye is at the left of the picture


@pytest.mark.parametrize("seed", range(4))
def test_pictures_without_a_face_give_none(finder: FaceFinder, seed: int) -> None:
    """Flat, noise, a wave, and blocks of skin colour: colour alone makes no face."""
    rng = np.random.default_rng(seed)
    skin = np.array(SKINS["light"]) @ rgb_to_rgb("bt709", "bt2020").T
    blocks = np.full((225, 400, 3), 0.1)
    for _ in range(8):
        y, x = rng.integers(0, 150), rng.integers(0, 320)
        blocks[y : y + 60, x : x + 70] = skin * rng.uniform(0.3, 1.2)
    wave = 0.5 + 0.5 * np.sin(np.mgrid[0:225, 0:400][1] / (5 + 4 * seed))[..., None]
    for picture in (blocks, wave * np.ones(3), rng.random((225, 400, 3)), np.zeros((225, 400, 3))):
        assert finder(shown(picture)) == ()


def test_photographs_without_people_give_none(finder: FaceFinder) -> None:
    """Six scene-linear photographs (lamps, fruit, a desk, rocks) at three exposures."""
    files = sorted(PHOTOS.glob("*.npz"))
    if not files:
        pytest.skip("the photographs are not on this machine (../shared/photos)")
    for file in files:
        light = np.load(file)["linear_bt709"].astype(np.float32)
        for stops in (-1, 0, 1):
            level = light * 2.0**stops / (4 * np.median(light))
            assert finder((np.clip(level, 0, 1) ** 0.45).astype(np.float32)) == (), file.name


def test_without_the_model_one_line_says_how_to_add_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """No error, no import: a reason, whose words say what to do."""
    monkeypatch.setattr(faces, "find_spec", lambda _name: None)

    found = face_finder()

    assert found == because("skin.no-model")
    assert "make faces" in clause(found)


def test_another_file_in_its_place_is_not_read(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A model that is not the one that was measured is refused by its digest."""
    place = tmp_path / "model.tflite"
    place.write_bytes(b"TFL3 something else")
    monkeypatch.setattr(faces, "model_place", lambda: place)

    found = face_finder()

    assert found == because("skin.other-model")
    assert "make faces" in clause(found)


def test_there_is_one_opencv_and_no_other_network_library() -> None:
    """Two packages with `cv2` overwrite one another; the model needs no runtime of its own."""
    packages = packages_distributions()

    assert set(packages["cv2"]) == {"opencv-python-headless"}
    assert {"tensorflow", "torch", "tflite_runtime", "mediapipe"} & set(packages) == set()
