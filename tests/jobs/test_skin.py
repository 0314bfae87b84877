"""The skin check of clips on disk: pointed at, found as faces, or told why there is none."""

from __future__ import annotations

import sys
from fractions import Fraction
from pathlib import Path
from types import ModuleType

import msgspec
import numpy as np
import pytest

from evenhand.colourmath.encodings import ENCODINGS, transfer_of
from evenhand.colourmath.ycbcr import to_codes
from evenhand.errors import UsageError
from evenhand.grade.document import Levelling, LookUse, White
from evenhand.jobs import skin as job
from evenhand.jobs.identify import scan
from evenhand.jobs.originals import original_and_facts
from evenhand.jobs.skin import SkinFinding, SkinPoint, faces_skin, seen_picture, skin_of_points
from evenhand.media.faces import face_finder
from evenhand.reasons import Reason, because
from evenhand.shoot import store
from evenhand.shoot.document import PlaceEntry
from evenhand.shoot.history import Origin
from evenhand.wording.saying import clause, said

sys.path.append(str(Path(__file__).parents[1] / "measure"))
import published_skins as published
from drawn_face import drawn_face

LOG = ENCODINGS["phone-log-1"]
SIZE = (320, 180)
AT, TALL = (180.0, 80.0), 90.0
# Skins of a clip: a light and a dark one.
CLIPS = {"A001": 1, "A002": 0}


def light_of(clip: str) -> np.ndarray:
    """Linear BT.2020 of the skin in a clip."""
    return 0.6 * published.linear_bt2020()[0][CLIPS[clip]]


def planes(light: np.ndarray) -> tuple[np.ndarray, ...]:
    """10-bit 4:2:2 narrow codes of a picture in light, as phone log."""
    codes = to_codes(transfer_of(LOG).to_signal(light, LOG.range), 10, "bt2020", "narrow")
    y, cb, cr = np.moveaxis(np.round(codes).astype(np.uint16), -1, 0)
    return y, cb[:, ::2], cr[:, ::2]


@pytest.fixture(scope="module")
def shoot_folder(synth: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two clips with a drawn face each, and one without a face."""
    place = tmp_path_factory.mktemp("skin")
    card = place / "card"
    card.mkdir()
    recipe = {**synth.PRORES, "tags": synth.PHONE_LOG, "frames": 6, "size": SIZE}
    for clip in CLIPS:
        face = planes(drawn_face(light_of(clip), SIZE, AT, TALL))
        synth.write_clip(card / f"{clip}.mov", **recipe, picture=lambda _, face=face: face)
    flat = planes(np.full((SIZE[1], SIZE[0], 3), 0.18))
    synth.write_clip(card / "A003.mov", **recipe, picture=lambda _: flat)
    folder = place / "card.shoot"
    scan(card, folder, dict.fromkeys([*CLIPS, "A003"], LOG.name))
    return folder


def cheek(clip: str, time: Fraction = Fraction(0)) -> SkinPoint:
    """A place on the forehead of the drawn face."""
    return SkinPoint(clip, time, AT[0] / SIZE[0], (AT[1] - 0.22 * TALL) / SIZE[1])


def faces_in(folder: Path, clip: str, **changes: object) -> SkinFinding:
    shoot = store.load(folder)
    entry = shoot.clip(clip)
    path, facts = original_and_facts(folder, shoot, entry)
    grade = msgspec.structs.replace(shoot.grade(entry), **changes)
    return faces_skin(path, facts, grade, clip)


@pytest.fixture
def model() -> None:
    """Skips where the optional face model was not added."""
    found = face_finder()
    if isinstance(found, Reason):
        pytest.skip(clause(found))


@pytest.mark.media
@pytest.mark.parametrize("clip", CLIPS)
def test_skin_that_is_pointed_at_lies_at_its_angle(shoot_folder: Path, clip: str) -> None:
    """From the file: within 2 degrees of the angle that its spectrum has, and on the line."""
    result = skin_of_points(shoot_folder, [cheek(clip)])

    ((finding), pairs) = (result.findings[0], result.pairs)
    assert finding.check is not None
    assert finding.check.by == "person"
    assert finding.check.levelled.angle == pytest.approx(
        published.angle_709(light_of(clip)), abs=2.0
    )
    assert finding.check.verdict == "fine"
    assert pairs == ()


@pytest.mark.media
def test_pointing_changes_nothing_in_the_shoot(shoot_folder: Path) -> None:
    """A check, never a target: the document stays as it is, byte for byte."""
    before = (shoot_folder / "shoot.json").read_bytes()

    skin_of_points(shoot_folder, [cheek("A001"), cheek("A002")])

    assert (shoot_folder / "shoot.json").read_bytes() == before


@pytest.mark.media
def test_two_clips_are_compared_within_a_place_only(shoot_folder: Path, tmp_path: Path) -> None:
    """Pointed at in both: compared where they share a place; else light itself may differ."""
    shoot = store.load(shoot_folder)
    folder = tmp_path / "copy.shoot"
    for names, count in ((("Bar", "Bar"), 1), (("Bar", "Yard"), 0)):
        together = {
            name: [c for c, n in zip(CLIPS, names, strict=True) if n == name] for name in names
        }
        places = tuple(PlaceEntry(name=n, clips=tuple(c)) for n, c in together.items())
        changed = msgspec.structs.replace(shoot, places=places)
        store.change(folder, Origin("level"), lambda _, changed=changed: changed, start=shoot)
        pairs = skin_of_points(folder, [cheek("A001"), cheek("A002")]).pairs
        assert len(pairs) == count
        if pairs:
            assert pairs[0].verdict == "warn"  # two people: two stops apart
            assert pairs[0].stops == pytest.approx(
                np.log2(light_of("A002")[1] / light_of("A001")[1]), abs=0.15
            )


@pytest.mark.media
@pytest.mark.parametrize(
    ("point", "words"),
    [
        (SkinPoint("A001", Fraction(0), 1.2, 0.5), "outside the picture"),
        (SkinPoint("A001", Fraction(99), 0.5, 0.5), "s long"),
        (SkinPoint("A009", Fraction(0), 0.5, 0.5), "no clip of this name"),
    ],
)
def test_a_place_that_is_none_is_refused(shoot_folder: Path, point: SkinPoint, words: str) -> None:
    """Outside the picture, outside the clip, or in a clip that does not exist."""
    with pytest.raises(UsageError, match=words):
        skin_of_points(shoot_folder, [point])


@pytest.mark.media
@pytest.mark.parametrize("clip", CLIPS)
def test_a_face_is_found_and_read(shoot_folder: Path, model: None, clip: str) -> None:
    """In all five frames that are looked at, at the angle of its spectrum, whatever its tone."""
    finding = faces_in(shoot_folder, clip, look=LookUse("oven-light", 1.0))

    assert finding.check is not None
    assert finding.check.by == "face"
    assert len(finding.check.places) == 5
    assert finding.check.levelled.angle == pytest.approx(
        published.angle_709(light_of(clip)), abs=2.0
    )
    assert finding.check.looked is not None
    assert finding.check.why[-1].facts["stage"] == "looked"


@pytest.mark.media
@pytest.mark.parametrize("stops", [-2, 2])
def test_a_face_is_found_after_levelling_in_a_clip_that_was_shot_wrong(
    shoot_folder: Path, model: None, stops: int
) -> None:
    """What the model is shown is levelled: two stops off and a lamp's white do not hide a face."""
    levelling = Levelling(stops=stops, white=White(4500, 0.0))

    finding = faces_in(shoot_folder, "A002", levelling=levelling)

    assert finding.check is not None
    assert len(finding.check.places) == 5


@pytest.mark.media
def test_a_clip_without_a_face_says_so(shoot_folder: Path, model: None) -> None:
    """And how to point instead."""
    finding = faces_in(shoot_folder, "A003")

    assert finding.check is None
    assert finding.why_none == (because("skin.no-face", frames=5),)
    assert "--skin" in said(finding.why_none)


@pytest.mark.media
def test_without_the_model_the_reason_is_told(
    shoot_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No face is looked for; pointing still works."""
    monkeypatch.setattr(job, "_finder", lambda: because("skin.no-model"))

    finding = faces_in(shoot_folder, "A001")

    assert finding.check is None
    assert finding.why_none == (because("skin.no-model"),)
    assert "; or point at skin" in said(finding.why_none)
    assert skin_of_points(shoot_folder, [cheek("A001")]).findings[0].check is not None


@pytest.mark.media
def test_what_holds_no_light_is_told(shoot_folder: Path, synth: ModuleType, tmp_path: Path) -> None:
    """A black clip gives a reason, not a hue."""
    card = tmp_path / "card"
    card.mkdir()
    black = planes(np.zeros((SIZE[1], SIZE[0], 3)))
    recipe = {**synth.PRORES, "tags": synth.PHONE_LOG, "frames": 3, "size": SIZE}
    synth.write_clip(card / "B001.mov", **recipe, picture=lambda _: black)
    scan(card, tmp_path / "b.shoot", {"B001": LOG.name})

    (finding,) = skin_of_points(tmp_path / "b.shoot", [cheek("B001")]).findings

    assert finding.check is None
    assert finding.why_none == (because("skin.point-unread"),)


def test_the_picture_for_the_model_is_small_and_levelled(shoot_folder: Path) -> None:
    """A dark clip comes out as bright as a right one, upright sizes kept."""
    shoot = store.load(shoot_folder)
    grade = shoot.grade(shoot.clip("A001"))
    light = np.full((450, 800, 3), 0.18)
    signals = [
        transfer_of(LOG).to_signal(light * 2.0**s, LOG.range).astype(np.float32) for s in (0, -2)
    ]

    right = seen_picture(signals[0], grade)
    dark = seen_picture(signals[1], msgspec.structs.replace(grade, levelling=Levelling(stops=2.0)))

    assert right.shape == (225, 400, 3)
    assert dark == pytest.approx(right, abs=0.003)
    assert right.mean() == pytest.approx(0.409, abs=0.005)  # 18 % grey by the curve of BT.709
