"""Packs of looks: the same bytes, tables that others read as the exact look, words for anybody."""

from __future__ import annotations

import hashlib
import re
import sys
from itertools import product
from pathlib import Path

import colour
import cv2
import msgspec
import numpy as np
import PyOpenColorIO as ocio
import pytest

from evenhand.colourmath.encodings import ENCODINGS
from evenhand.errors import LookMisplacedError, NameTakenError, UsageError
from evenhand.grade.document import Grade, LookUse
from evenhand.grade.exact import exact_transform
from evenhand.grade.looks import LOOKS
from evenhand.grade.packtables import PHONE_LOGS
from evenhand.jobs import lookpack
from evenhand.jobs.lookpack import PackMade, PackOptions, pack_looks, read_licence
from evenhand.jobs.looks import find_look
from evenhand.jobs.packnotice import MIT
from evenhand.jobs.progress import Step
from evenhand.luts.cube import CubeFile, write
from evenhand.luts.tables import Table3D
from evenhand.measure.looks.errors import samples
from evenhand.measure.looks.table import grid

sys.path.insert(0, str(Path(__file__).parent))
from small_pack import NAMES, SMALL, small_pack, taken_apart

ROOT = Path(__file__).parents[2]
# fmt: off
KNOWN = (
    "A", "Or", "If", "For", "Take", "What", "No", "Not", "Do", "On", "To", "It", "They", "You",
    "Who", "dE", "How", "Set", "Convert", "Where", "Reading", "Greys", "Range", "Strength",
    "Then", "The", "Two",
    "Large", "Whole", "Measured", "Passes", "Black", "Seller", "Bought", "Returns", "Handing",
    "Licence", "LICENCE", "Exposure", "README", "NOTICE", "SHA", "SHA256SUMS", "CIEDE2000",
    "BT", "R", "G", "B", "HLG", "PQ", "HDR", "SDR", "Baker", "Rye", "Soot",
)
# fmt: on
LOG = "instead-of-the-conversion/from-phone-log-{}-generation/{}-from-phone-log-{}-17"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, PackMade]:
    path = tmp_path_factory.mktemp("pack") / "looks.zip"
    return path, small_pack(path)


@pytest.fixture
def no_sheet(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without drawing the contact sheet, which costs more than all the rest of a small pack."""
    monkeypatch.setattr(lookpack, "_sheet", lambda *_: b"no picture")


@pytest.fixture(scope="module")
def members(made: tuple[Path, PackMade]) -> dict[str, bytes]:
    return taken_apart(made[0])


def document(name: str, space: str, moves: str) -> str:
    return f'format = 1\nname = "{name}"\ntitle = "T"\npurpose = "P"\nspace = "{space}"\n{moves}'


def test_order_gives_the_same_bytes(made: tuple[Path, PackMade], tmp_path: Path) -> None:
    """The same looks named the other way round are the same zip, by its own figure too."""
    again = small_pack(tmp_path / "again.zip", tuple(reversed(NAMES)))

    assert (tmp_path / "again.zip").read_bytes() == made[0].read_bytes()
    assert again.sha256 == made[1].sha256 == hashlib.sha256(made[0].read_bytes()).hexdigest()


def test_what_lies_in_a_pack(made: tuple[Path, PackMade], members: dict[str, bytes]) -> None:
    """Folders that say where their tables stand, both kinds of file, documents, words, sums."""
    tables = [f"after-the-conversion/{name}-on-display-17" for name in NAMES]
    tables += [LOG.format("first", name, 1) for name in NAMES]
    tables += [LOG.format("second", name, 2) for name in NAMES]
    wanted = {f"{table}.{kind}" for table in tables for kind in ("cube", "clf")}
    wanted |= {f"documents/{name}.toml" for name in NAMES}
    wanted |= {"README.txt", "LICENCE.txt", "NOTICE.txt", "SHA256SUMS", "looks.json", "sheet.png"}

    assert set(members) == wanted
    assert made[1].members == len(wanted)


def test_sums_and_index_hold_every_members_hash(members: dict[str, bytes]) -> None:
    """Worked out anew by hashlib."""
    listed = dict(
        reversed(line.split("  ")) for line in members["SHA256SUMS"].decode().splitlines()
    )
    index = msgspec.json.decode(members["looks.json"])

    hashes = {n: hashlib.sha256(d).hexdigest() for n, d in members.items() if n != "SHA256SUMS"}
    assert listed == hashes
    for look in index["looks"]:
        assert look["sha256"] == hashes[look["document"]]
        assert all(t["sha256"] == hashes[t["path"]] for t in look["tables"])


@pytest.mark.oracle
def test_colour_science_reads_the_exact_look(members: dict[str, bytes], tmp_path: Path) -> None:
    """Each .cube by colour-science's reader: nodes are the look's own values to six decimals."""
    nodes = grid(17).transpose(2, 1, 0, 3)  # colour-science: [red, green, blue]
    for name in NAMES:
        use = LookUse(name)
        roads = {
            f"after-the-conversion/{name}-on-display-17": LOOKS[name].apply,
            LOG.format("first", name, 1): exact_transform(
                Grade(ENCODINGS["phone-log-1"], look=use)
            ),
            LOG.format("second", name, 2): exact_transform(
                Grade(ENCODINGS["phone-log-2"], look=use)
            ),
        }
        for path, road in roads.items():
            file = tmp_path / f"{Path(path).name}.cube"
            file.write_bytes(members[f"{path}.cube"])
            table = colour.io.read_LUT_IridasCube(str(file))
            assert table.size == 17
            assert np.abs(table.table - road(nodes)).max() <= 5.1e-7


def lab_by_colour_science(signal: np.ndarray) -> np.ndarray:
    space = colour.RGB_COLOURSPACES["ITU-R BT.709"]
    xyz = np.clip(signal, 0.0, 1.0) ** 2.4 @ space.matrix_RGB_to_XYZ.T
    return np.asarray(colour.XYZ_to_Lab(xyz, space.whitepoint))


@pytest.mark.oracle
def test_opencolorio_reads_the_exact_look(members: dict[str, bytes], tmp_path: Path) -> None:
    """Each .clf by OpenColorIO itself: the look at its nodes, and between them the stated errors,
    whose CIEDE2000 is by colour-science."""
    index = msgspec.json.decode(members["looks.json"])
    nodes = grid(17).reshape(-1, 3)
    for name, log in product(NAMES, PHONE_LOGS):
        path = f"{log.folder}/{name}-{log.tag}-17.clf"
        file = tmp_path / f"{name}-{log.tag}.clf"
        file.write_bytes(members[path])
        transform = ocio.FileTransform(str(file), interpolation=ocio.INTERP_TETRAHEDRAL)
        reader = ocio.Config.CreateRaw().getProcessor(transform).getDefaultCPUProcessor()
        exact = exact_transform(Grade(ENCODINGS[log.expects], look=LookUse(name)))
        pixels = nodes.astype(np.float32)
        reader.applyRGB(pixels)
        assert np.abs(pixels - exact(nodes)).max() <= 1e-6

        natural, _ = samples(log)
        pixels, wanted = natural.astype(np.float32), exact(natural)
        reader.applyRGB(pixels)
        off = np.abs(pixels - wanted).max(axis=1) * 1023.0
        de = colour.delta_E(lab_by_colour_science(wanted), lab_by_colour_science(pixels))
        (stated,) = [t["errors"]["natural"] for k in index["looks"] for t in k["tables"]
                     if t["path"] == path]  # fmt: skip
        assert stated["codes_p99"] == pytest.approx(np.quantile(off, 0.99), abs=0.01)
        assert stated["codes_max"] == pytest.approx(off.max(), abs=0.01)
        assert stated["de_p99"] == pytest.approx(np.quantile(de, 0.99), abs=0.003)
        assert stated["de_max"] == pytest.approx(de.max(), abs=0.01)


@pytest.mark.usefixtures("no_sheet")
def test_stated_errors_grow_with_the_step(tmp_path: Path) -> None:
    """Half the step is about a quarter of the error of linear reading; here at least half."""
    both = small_pack(tmp_path / "a.zip", ("rye",), PackOptions(sizes=(17, 33), kinds=("cube",)))
    errors = {(t.place, t.size): t.errors.natural.de_p99 for t in both.index.looks[0].tables}

    for place in ("after-the-conversion", "from-phone-log-1", "from-phone-log-2"):
        assert errors[place, 33] <= 0.5 * errors[place, 17]
        assert 0.0 < errors[place, 33] < 1.0


def test_words_name_no_product(members: dict[str, bytes]) -> None:
    """Every word with a capital letter is known here: a name of a product would be one more."""
    known = set(KNOWN)
    for name in ("README.txt", "LICENCE.txt"):
        text = members[name].decode()
        assert "evenhand" not in text.lower()
        assert {w for w in re.findall(r"[A-Za-z0-9]+", text) if w != w.lower()} - known == set()


def test_the_readme_tells_this_packs_own_figures(
    made: tuple[Path, PackMade], members: dict[str, bytes]
) -> None:
    """The row of a table in the text is its row in the index."""
    text = members["README.txt"].decode()
    for look in made[1].index.looks:
        for table in look.tables:
            (row,) = [r for r in text.splitlines() if r.startswith(Path(table.path).stem + " ")]
            figures = [float(word) for word in row.split()[1:]]
            natural, hard = table.errors.natural, table.errors.stress
            wanted = [e for part in (natural, hard) for e in
                      (part.de_p99, part.de_max, part.codes_p99, part.codes_max)]  # fmt: skip
            assert figures == pytest.approx(wanted, abs=0.051)


@pytest.mark.usefixtures("no_sheet")
def test_the_licence_is_the_sellers(tmp_path: Path, members: dict[str, bytes]) -> None:
    """Marked places to fill in, or the text that was filled in."""
    assert members["LICENCE.txt"].decode().count("[[") == 9
    assert "A. Baker" in members["LICENCE.txt"].decode()
    text = tmp_path / "mine.txt"
    text.write_text("All mine.", "utf-8")

    small_pack(tmp_path / "a.zip", ("rye",), options(licence=read_licence(text)))

    assert taken_apart(tmp_path / "a.zip")["LICENCE.txt"] == b"All mine."
    (tmp_path / "bad.txt").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UsageError, match="not UTF-8"):
        read_licence(tmp_path / "bad.txt")


def options(**options: object) -> PackOptions:
    return PackOptions(sizes=(17,), kinds=("cube",), **options)  # type: ignore[arg-type]


def test_the_notice_is_the_projects_own_licence(members: dict[str, bytes]) -> None:
    """Looks of ours may be sold with it, not without."""
    assert (ROOT / "LICENSE").read_text("utf-8") == MIT
    assert MIT in members["NOTICE.txt"].decode()


@pytest.mark.usefixtures("no_sheet")
def test_a_strength_is_baked_in(tmp_path: Path) -> None:
    """Half of rye is halfway to rye; the title, the words and the index say so."""
    made = small_pack(tmp_path / "a.zip", ("rye",), options(strength=0.5))
    members = taken_apart(tmp_path / "a.zip")
    text = members["after-the-conversion/rye-on-display-17.cube"].decode()
    rows = np.array([line.split() for line in text.splitlines()[-(17**3) :]], np.float64)
    nodes = grid(17).reshape(-1, 3)

    assert np.abs(rows - (nodes + LOOKS["rye"].apply(nodes)) / 2.0).max() <= 5.1e-7
    assert made.index.looks[0].strength == 0.5
    assert 'TITLE "Rye at 50 %' in text
    assert "The tables hold it at 50 %" in members["README.txt"].decode()


def test_a_black_and_white_may_be_baked_in_weaker(tmp_path: Path) -> None:
    """It takes colour from skin because it is meant to: no fault at 70 % either."""
    made = small_pack(tmp_path / "a.zip", ("soot",), options(strength=0.7))

    assert made.index.looks[0].verdict == "pass"


def test_the_contact_sheet_is_a_picture_of_each_look(members: dict[str, bytes]) -> None:
    """A PNG in which rye has colour, and soot below it none."""
    sheet = cv2.imdecode(np.frombuffer(members["sheet.png"], np.uint8), cv2.IMREAD_COLOR)
    coloured = np.ptp(sheet.astype(int), axis=2).max(axis=1) > 8
    height = len(coloured)

    assert members["sheet.png"].startswith(b"\x89PNG")
    assert coloured[height // 3 : 3 * height // 5].mean() > 0.7
    assert not coloured[7 * height // 10 :].any()


def posterised(path: Path) -> Path:
    """A look that fails: six steps."""
    table = np.round(grid(17) * 5.0) / 5.0
    path.write_bytes(write(CubeFile(three=Table3D(table), title="Steps")))
    return path


@pytest.mark.usefixtures("no_sheet")
def test_a_failing_look_is_refused_unless_allowed(tmp_path: Path) -> None:
    """And then the index and the words say so."""
    steps = find_look(str(posterised(tmp_path / "Six Steps.cube")))
    with pytest.raises(UsageError, match="six-steps: "):
        pack_looks([steps], tmp_path / "a.zip", SMALL)
    assert not (tmp_path / "a.zip").exists()

    made = pack_looks([steps], tmp_path / "a.zip", options(allow_failing=True))

    assert made.index.looks[0].verdict == "fail"
    members = taken_apart(tmp_path / "a.zip")
    assert "FAILS tests of its health" in members["README.txt"].decode()
    assert members["documents/six-steps.cube"] == (tmp_path / "Six Steps.cube").read_bytes()
    assert "NOTICE.txt" not in members


@pytest.mark.usefixtures("no_sheet")
def test_looks_before_the_conversion_go_too(tmp_path: Path) -> None:
    """A look in ACEScct: its own table in a folder that says so, and combined ones."""
    path = tmp_path / "warm.toml"
    moves = '[[moves]]\nmove = "tone-in-stops"\nslope = 1.1\n'
    path.write_text(document("warm", "acescct", moves), "utf-8")
    pack_looks([find_look(str(path))], tmp_path / "a.zip", options())
    members = taken_apart(tmp_path / "a.zip")

    assert "before-the-conversion/on-acescct/warm-on-acescct-17.cube" in members
    use = LookUse("warm")
    road = exact_transform(
        Grade(ENCODINGS["phone-log-2"], look=use), lambda _: find_look(str(path)).look
    )
    text = members[LOG.format("second", "warm", 2) + ".cube"].decode()
    rows = np.array([line.split() for line in text.splitlines()[-(17**3) :]], np.float64)
    assert np.abs(rows - road(grid(17).reshape(-1, 3))).max() <= 5.1e-7


def conversion(path: Path, says: str) -> Path:
    lattice = exact_transform(Grade(ENCODINGS["phone-log-1"]))(grid(17))
    path.write_bytes(write(CubeFile(three=Table3D(lattice), comments=(says,))))
    return path


@pytest.mark.usefixtures("no_sheet")
def test_a_conversion_from_a_file_goes_in_its_own_place(tmp_path: Path) -> None:
    """And never as a look for after the conversion; declared for that, it is refused."""
    good = conversion(tmp_path / "good.cube", "expects phone-log-1, gives bt709-display")
    made = pack_looks([find_look(str(good))], tmp_path / "a.zip", options(allow_failing=True))

    places = {table.place for table in made.index.looks[0].tables}
    assert places == {"from-phone-log-1", "from-phone-log-2"}
    bad = conversion(tmp_path / "bad.cube", "expects bt709-display, gives bt709-display")
    with pytest.raises(LookMisplacedError, match="second time"):
        pack_looks([find_look(str(bad))], tmp_path / "b.zip", options(allow_failing=True))


def test_two_looks_of_one_name_are_refused(tmp_path: Path) -> None:
    """One would take the other's place."""
    with pytest.raises(UsageError, match="two looks have this name"):
        small_pack(tmp_path / "a.zip", ("rye", "rye"))


@pytest.mark.usefixtures("no_sheet")
def test_what_is_there_is_kept(tmp_path: Path) -> None:
    """Unless it is to be replaced; and a stop leaves what was there."""
    target = tmp_path / "a.zip"
    target.write_bytes(b"mine")
    with pytest.raises(NameTakenError):
        small_pack(target)

    def stop(step: Step) -> None:
        if step.job == "pack":
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        pack_looks([find_look("rye")], target, SMALL, overwrite=True, progress=stop)
    assert [p.name for p in tmp_path.iterdir()] == ["a.zip"]
    assert target.read_bytes() == b"mine"


@pytest.mark.parametrize("name", ["a.cube", "a"])
def test_a_pack_is_a_zip(tmp_path: Path, name: str) -> None:
    """Another ending would hide what it is."""
    with pytest.raises(UsageError, match="zip"):
        small_pack(tmp_path / name)
