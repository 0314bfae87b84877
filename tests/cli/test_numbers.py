"""Numbers, times, names of places and files at the edge: refused in a clear line, or taken."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

SAY, LOG = "--encoding", "*=phone-log-1"
MANY = "9" * 5000  # more digits than Python's int() reads: 4300
# A number that float() takes and a person does not write, and those that no document can hold.
WRONG = ["1_0", "１", "٣", "nan", "inf", "-inf", "1e400", "0x10", MANY, "", " ", "1,5", "--3", "1e"]


@pytest.fixture(scope="module")
def shoot_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("scanned") / "card.shoot"


@pytest.fixture
def scanned(call, card: Path, log_clip: Path, shoot_once: Path) -> Path:
    """A shoot of the card; scanned once, and copied. Its document."""
    if not shoot_once.exists():
        assert call("scan", card, SAY, LOG).status == 0
        shutil.copytree("card.shoot", shoot_once)
    else:
        shutil.copytree(shoot_once, "card.shoot")
    return Path("card.shoot/shoot.json")


def refused(said, given: str) -> None:
    """Wrong usage, told in one line of a length to read, that says what was given."""
    assert said.status == 2, said
    assert len(said.err.splitlines()) == 1
    assert len(said.err) < 400
    assert said.err.startswith("evenhand: ")
    assert given[:20].strip() in said.err
    assert len(given) <= 60 or given not in said.err


@pytest.mark.media
@pytest.mark.parametrize("value", WRONG)
def test_a_number_is_written_in_digits(call, scanned: Path, value: str) -> None:
    """Of every kind of option that takes numbers; nothing is changed, and bounds are told."""
    before = scanned.read_bytes()

    exposure = call("adjust", "A001", f"--exposure={value}")
    slope = call("adjust", "A001", f"--slope=1,1,{value}")
    grey = call("level", "--grey", f"A001@0s,{value},0.5")
    strength = call("look", "use", "rye", "--strength", value)

    for said in (exposure, slope, grey, strength):
        refused(said, value)
    assert "-16 to 16 stops" in exposure.err
    assert "CLIP@TIME,X,Y" in grey.err or "0 to 1" in grey.err
    assert scanned.read_bytes() == before


@pytest.mark.media
@pytest.mark.parametrize(
    "value",
    [f"{MANY}s", f"{MANY}f", MANY, "1_0f", "１s", "0:00:00:00", "nan", "", "1e3s", "9f" * 40],
)
def test_a_time_is_written_in_few_digits(call, scanned: Path, value: str) -> None:
    """At every option that takes a time, the three ways of writing one are told."""
    still = call("still", "A001", "--at", value, "--to", "a.png")
    grey = call("level", "--grey", f"A001@{value},0.5,0.5")

    refused(still, value)
    refused(grey, value)
    assert "3s, 75f or 00:00:03:00" in still.err
    assert not Path("a.png").exists()


@pytest.mark.media
@pytest.mark.parametrize("value", ["999999999s", "999999999999f", "99:59:59:24"])
def test_a_time_after_the_end_says_how_long_the_clip_is(call, scanned: Path, value: str) -> None:
    """The longest that can be written is reckoned with, and refused."""
    said = call("still", "A001", "--at", value, "--to", "a.png")

    assert said.status == 2
    assert "the clip is 0.480 s long" in said.err


@pytest.mark.media
@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("", "it is empty"),
        ("  ", "it is empty"),
        (" oven", "begins or ends with blanks"),
        ("o\x1b[31mven", "signs that cannot be seen"),
        ("o\u202even", "signs that cannot be seen"),
        ("o\nven", "signs that cannot be seen"),
        (os.fsdecode(b"\xff"), "signs that cannot be seen"),
        ("o" * 61, "61 letters, more than 60"),
        ("o" * 5000, "5000 letters, more than 60"),
    ],
)
def test_a_place_has_a_name_that_is_seen(call, scanned: Path, name: str, why: str) -> None:
    """Empty, blank, unseen or long: told apart, and nothing is changed."""
    assert call("level", "--place", "oven", "A001").status == 0
    before = scanned.read_bytes()

    put = call("level", "--place", name, "A001")
    split = call("level", "--split", "oven", "--place", name, "A001")
    renamed = call("level", "--rename", "oven", name)

    for said in (put, renamed):
        refused(said, "")
        assert why in said.err
    refused(split, "")
    assert scanned.read_bytes() == before


FILES = [
    ("look", "check", "{}.cube"),
    ("look", "check", "{}.clf"),
    ("look", "check", "{}.toml"),
    ("look", "show", "{}.cube"),
    ("look", "show", "{}.toml"),
    ("look", "use", "{}.cube"),
    ("master", "--spec", "{}.toml", "--to", "out"),
    ("report", "--truth", "{}.json"),
]


@pytest.mark.media
@pytest.mark.parametrize("kind", ["pipe", "device", "folder"])
@pytest.mark.parametrize("arguments", FILES, ids=" ".join)
def test_what_is_no_regular_file_is_refused_at_once(
    call, scanned: Path, arguments: tuple[str, ...], kind: str
) -> None:
    """A pipe that nobody writes to, a device without an end, a folder."""
    words = [part.format("strange") for part in arguments]
    name = next(word for word in words if word.startswith("strange"))
    if kind == "pipe":
        os.mkfifo(name)
    elif kind == "device":
        Path(name).symlink_to("/dev/zero")
    else:
        Path(name).mkdir()

    began = time.monotonic()
    said = call(*words)

    assert time.monotonic() - began < 5
    assert said.status in (1, 2)
    assert "not a regular file" in said.err
    assert len(said.err.splitlines()) == 1


MEASURED = """
import resource, sys, time
from evenhand.cli.main import status
def peak():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
status(["look", "show", "none.cube"])
before, began = peak(), time.monotonic()
code = status(sys.argv[1:])
print(code, peak() - before, time.monotonic() - began)
"""


@pytest.mark.media
@pytest.mark.slow
@pytest.mark.parametrize("arguments", [*FILES, ("level", "--shoot", "strange")], ids=" ".join)
def test_half_a_gigabyte_of_nothing_costs_nothing(
    scanned: Path, arguments: tuple[str, ...]
) -> None:
    """500 MiB of zeros under any name: refused in 2 s with less than 150 MB of memory."""
    words = [part.format("strange") for part in arguments]
    name = next(word for word in words if word.startswith("strange"))
    if name == "strange":
        Path(name).mkdir()
        name = "strange/shoot.json"
    with Path(name).open("wb") as file:
        file.truncate(500 << 20)

    run = [sys.executable, "-c", MEASURED, *words]
    done = subprocess.run(run, capture_output=True, text=True, check=True, timeout=100)
    code, grown, spent = done.stdout.split()

    assert int(code) in (1, 2)
    assert int(grown) < 150
    assert float(spent) < 2
    assert len(done.stderr.splitlines()) == 2
