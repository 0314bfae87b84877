"""The skin check measured: faces by tone, false faces, angles under faults, time.

    python bench/skin.py                       # rendered and drawn faces, spectra under lamps
    python bench/skin.py --shoot DIR           # a shoot's clips too: faces, words, seconds
    python bench/skin.py --pictures FILE…      # delivered pictures (PNG, JPEG): the faces in them

The faces are rendered (first_bread) or drawn, no photographs of people: hits by tone say how the
model takes lightness and distance, not how it takes people.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import cv2
import numpy as np

from evenhand.colourmath.encodings import ENCODINGS, transfer_of
from evenhand.colourmath.primaries import rgb_to_rgb
from evenhand.grade.document import Grade, Levelling, White
from evenhand.jobs.originals import original_and_facts
from evenhand.jobs.skin import faces_skin
from evenhand.measure.skin.check import check_skin
from evenhand.measure.skin.reading import point_patch, read_place
from evenhand.media.faces import FaceFinder, face_finder
from evenhand.shoot import store
from first_bread import stills
from first_bread.figure import Clothes, Pose, figure
from first_bread.records import PLASTER
from first_bread.scene import KeyCard, Scene, View

sys.path.append(str(Path(__file__).parents[1] / "tests" / "measure"))
import published_skins as published

SIZE = (400, 226)
SKINS = ("skin_1", "skin_2", "skin_3", "skin_6", "skin_4", "skin_5")  # light to dark
# Turn of the head in degrees, nod in radians, metres from the lens, hair, cap.
POSES = (
    (0, 0.0, 1.0, "hair_dark", ""),
    (0, 0.0, 1.8, "hair_brown", "linen"),
    (25, 0.1, 1.4, "hair_grey", ""),
    (-40, 0.0, 1.4, "hair_dark", ""),
    (-70, 0.0, 1.4, "hair_dark", ""),
    (10, 0.25, 2.5, "hair_brown", ""),
    (0, 0.0, 3.5, "hair_dark", ""),
    (0, 0.0, 6.0, "hair_dark", ""),
    (180, 0.0, 1.8, "hair_dark", ""),  # from behind: no face
)
STOPS = (0, -2, -4)
LOG = ENCODINGS["phone-log-1"]


def say(line: str) -> None:
    """A line of the result."""
    sys.stdout.write(line + "\n")


def portrait(skin: str, pose: tuple[float, float, float, str, str]) -> np.ndarray:
    """A person by a window before a plain wall, in linear BT.2020."""
    yaw, nod, distance, hair, cap = pose

    def build() -> Scene:
        view = View((0.0, 1.62, -distance), (0.0, 1.58, 0.0), 30, distance - 0.1)
        scene = Scene("shop", view, 1.0, (0.17, 0.175, 0.19))
        scene.key_card = KeyCard((0, 1.6, -0.2), (-0.5, 0.35, -0.79))
        day = scene.lamp_colour("day_5500")
        sides = ((0.5, 0, -0.5), (0, 0.6, 0))
        scene.light((-1.6, 2.0, -1.6), *sides, (0.68, -0.25, 0.68), day * 5)
        sides = ((0.4, 0, 0.4), (0, 0.5, 0))
        scene.light((1.8, 1.8, -1.6), *sides, (-0.68, -0.1, 0.68), day * 1.5)
        scene.box(PLASTER, (0, 1.5, 1.6), (4, 3, 0.05), "plaster")
        clothes = Clothes(skin, "linen", hair=hair, cap=cap)
        figure(scene, clothes, Pose((0, 0, 0), yaw, 1.72, 0, nod))
        return scene

    stills.PLACES["portrait"] = stills.Place(build, 8)
    return stills.make_still("portrait", SIZE).picture


def shown(light: np.ndarray, stops: float = 0.0) -> np.ndarray:
    """Linear BT.2020 as a plain 8-bit picture, with a little noise before it is made brighter."""
    rng = np.random.default_rng(7)
    dark = light * 2.0**stops
    dark = dark + 0.0015 * np.sqrt(np.maximum(dark, 0) + 0.01) * rng.normal(size=light.shape)
    linear = (dark @ rgb_to_rgb("bt2020", "bt709").T) * (2.0 if stops == 0 else 1.0)
    return (np.round(np.clip(linear, 0, 1) ** 0.45 * 255) / 255).astype(np.float32)


def faces_by_tone(finder: FaceFinder) -> None:
    """Hits of rendered people, by tone and by how dark the picture is."""
    say("rendered people: faces found (of 8 poses with a face; last: false ones from behind)")
    say("skin      | " + " | ".join(f"{s:+d} stop" for s in STOPS) + " | from behind")
    for skin in SKINS:
        pictures = [portrait(skin, pose) for pose in POSES]
        hits = [sum(bool(finder(shown(p, s))) for p in pictures[:-1]) for s in STOPS]
        behind = sum(len(finder(shown(pictures[-1], s))) for s in STOPS)
        say(f"{skin:9} | " + " | ".join(f"{h:7d}" for h in hits) + f" | {behind}")


def angles_under_faults() -> None:
    """Skins under lamps, as shot and levelled by the lamp's own white: degrees from D65."""
    say("\nspectra of eight skins under a lamp and −2, 0, +2 stops: degrees from the D65 angle")
    say("output transform | kelvin | as shot, median | levelled, median | levelled, worst")
    patch = point_patch(0.5, 0.5, (800, 40))
    right, _ = published.linear_bt2020()

    def angle(light: np.ndarray, grade: Grade) -> tuple[float, float]:
        signal = transfer_of(LOG).to_signal(np.broadcast_to(light, (40, 800, 3)), LOG.range)
        coded = (np.round(signal * 876) / 876).astype(np.float32)
        place = read_place((coded, coded), patch, grade)
        assert place is not None
        return place.shot.angle or 0.0, place.levelled.angle or 0.0

    for output_transform in ("aces2-sdr", "plain-sdr", "hlg-1000"):
        truth = [angle(s, Grade(LOG, output_transform=output_transform))[1] for s in right]
        for kelvin in (2800, 3200, 4000, 4500, 5500, 7500, 9000):
            lit, white = published.linear_bt2020(kelvin)
            seen = white @ published.BT2020.matrix_RGB_to_XYZ.T
            found = White(*published.kelvin_and_duv(seen))
            shot, levelled = [], []
            for stops in (-2, 0, 2):
                grade = Grade(LOG, Levelling(-stops, found), output_transform=output_transform)
                for skin, true in zip(lit, truth, strict=True):
                    a, b = angle(skin * 2.0**stops, grade)
                    shot.append(a - true)
                    levelled.append(abs(b - true))
            say(
                f"{output_transform:9} | {kelvin} | {np.median(shot):+.1f} | "
                f"{np.median(levelled):.1f} | {max(levelled):.1f}"
            )


def false_whites() -> None:
    """From which false white on the check warns, for each skin under D65."""
    say("\nskin under D65, levelled as if its light were warmer: mired at which the check warns")
    for name, light in zip(published.SKINS, published.linear_bt2020()[0], strict=True):
        signal = transfer_of(LOG).to_signal(np.broadcast_to(light / 2, (40, 800, 3)), LOG.range)
        signal = signal.astype(np.float32)
        patch = point_patch(0.5, 0.5, (800, 40))
        for mired in range(5, 200, 5):
            grade = Grade(LOG, Levelling(white=White(1e6 / (153.7 + mired), 0.003)))
            place = read_place((signal, signal), patch, grade)
            if place and check_skin("x", "person", [place], grade).verdict == "warn":
                say(f"{name:30} Y {light @ [0.2627, 0.6780, 0.0593]:.3f}: {mired} mired")
                break


def clips(folder: Path) -> None:
    """The check of every clip of a shoot, with its time."""
    shoot = store.load(folder)
    for clip in shoot.usable():
        if clip.encoding is None:
            continue
        path, facts = original_and_facts(folder, shoot, clip)
        start = time.perf_counter()
        finding = faces_skin(path, facts, shoot.grade(clip), clip.id)
        seconds = time.perf_counter() - start
        count = len(finding.check.places) if finding.check else 0
        words = finding.check.words if finding.check else finding.why_none
        say(f"{clip.id}: {seconds:.2f} s, {count} faces read in five frames; {words}")


def speed(finder: FaceFinder) -> None:
    """Milliseconds a frame of 400 × 225."""
    picture = np.random.default_rng(1).random((225, 400, 3)).astype(np.float32)
    finder(picture)
    times = []
    for _ in range(20):
        start = time.perf_counter()
        finder(picture)
        times.append(1e3 * (time.perf_counter() - start))
    say(f"\nface model, three looks at a frame: median {np.median(times):.0f} ms")


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--shoot", type=Path)
    parser.add_argument("--pictures", type=Path, nargs="+")
    given = parser.parse_args()
    finder = face_finder()
    if isinstance(finder, str):
        raise SystemExit(finder)
    if given.shoot:
        clips(given.shoot)
    for file in given.pictures or ():
        picture = cv2.imread(str(file), cv2.IMREAD_COLOR_RGB)
        found = finder((picture / 255).astype(np.float32))
        say(f"{file.name}: {[round(face.score, 2) for face in found]}")
    if given.shoot or given.pictures:
        return
    faces_by_tone(finder)
    angles_under_faults()
    false_whites()
    speed(finder)


if __name__ == "__main__":
    main()
