"""Masters through the command line: made, kept, replaced when outdated, never taken for passed."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from evenhand.jobs import master as job
from evenhand.media.marks import read_mark

sys.path.append(str(Path(__file__).parents[1] / "jobs"))
import made_clips as made

pytestmark = [pytest.mark.media, pytest.mark.slow]
Call = Callable[..., Any]
MASTER = ("master", "--to", "out", "--spec")
BETTER = """
[quality.usual]
psnr_luma = 25.0
psnr_chroma = 25.0
bits_per_pixel = 2.0
[quality.usual.encoder]
preset = "ultrafast"
crf = "8"
x265-params = "open-gop=0:info=0:log-level=error:pools=1:frame-threads=1"
"""


@pytest.fixture
def scanned(call: Call, log_clip: Path, tmp_path: Path, quick_spec: Callable[..., str]) -> Path:
    """The folder for the masters of a card of one clip; tiny.toml has the levels quick and usual,
    tiny-hlg.toml is another spec.
    """
    (tmp_path / "tiny.toml").write_text(quick_spec("tiny") + BETTER, "utf-8")
    hlg = quick_spec("tiny-hlg").replace('encoding = "bt709"', 'encoding = "hlg"')
    (tmp_path / "tiny-hlg.toml").write_text(hlg, "utf-8")
    assert call("scan", "card", "--encoding", "*=phone-log-1").status == 0
    return tmp_path / "out"


@pytest.fixture
def second_clip(synth: ModuleType, card: Path) -> Path:
    """Another clip on the card; ask for it before `scanned`."""
    path: Path = synth.write_clip(
        card / "B001.mov", **synth.PRORES, frames=12, tags=synth.PHONE_LOG, size=(256, 144)
    )
    return path


def states(call: Call) -> dict[str, str]:
    """The state of each master of the shoot, as `master` lists them."""
    said = call("master", "--json")
    assert said.status == 0
    return {Path(m["path"]).name: m["state"] for m in json.loads(said.out)}


def row(table: str, name: str) -> list[str]:
    """The row of a master in a table, by its columns."""
    [found] = [line.split("  ") for line in table.splitlines() if line.startswith(name)]
    return [cell.strip() for cell in found if cell.strip()]


def report(call: Call, tmp_path: Path) -> str:
    assert call("report").status == 0
    return (tmp_path / "card.shoot" / "report.html").read_text("utf-8")


def record(said: str) -> dict[str, Any]:
    """The one master of a result, without the time that it took and the order of its frames, which
    only whoever wrote it knows.
    """
    result = json.loads(said)
    [entry] = result["made"] + result["kept"]
    checks = [c for c in entry["checks"] if c["name"] != "order of frames"]
    return {**entry, "seconds": None, "checks": checks}


def test_a_spec_that_does_not_fit_a_clip_stops_no_other_pair(
    call: Call, second_clip: Path, scanned: Path
) -> None:
    """Two clips, two specs: each fits one of them, whichever comes first."""
    call("adjust", "B001", "--output-transform", "hlg-1000")

    said = call(*MASTER, "tiny-hlg.toml", "--spec", "tiny.toml")

    assert said.status == 1
    assert sorted(p.name for p in scanned.iterdir()) == ["A001.tiny.mp4", "B001.tiny-hlg.mp4"]
    assert [
        line.split(": the spec")[0] for line in said.err.splitlines() if "not made" in line
    ] == [
        "not made: A001, tiny-hlg: A001, tiny-hlg",
        "not made: B001, tiny: B001, tiny",
    ]


def test_a_lower_quality_never_replaces_a_higher_one(call: Call, scanned: Path) -> None:
    """Quick after usual keeps the usual one and says so; usual after quick replaces it."""
    call(*MASTER, "tiny.toml", "--quality", "quick")
    quick = (scanned / "A001.tiny.mp4").read_bytes()
    up = call(*MASTER, "tiny.toml", "--quality", "usual")
    usual = (scanned / "A001.tiny.mp4").read_bytes()
    down = call(*MASTER, "tiny.toml", "--quality", "quick")

    assert (up.status, down.status) == (0, 0)
    assert row(up.out, "A001.tiny.mp4")[1] == "replaced"
    assert "A001, tiny: replaced one of the lower quality quick" in up.err
    assert row(down.out, "A001.tiny.mp4")[1] == "kept"
    assert "A001, tiny: kept the one of quality usual, which is higher than quick" in down.err
    assert quick != usual == (scanned / "A001.tiny.mp4").read_bytes()


def test_a_master_of_an_older_grade_is_outdated_until_it_is_made_again(
    call: Call, scanned: Path, tmp_path: Path
) -> None:
    """In the list, in the report, and beside what another spec makes; a lower quality of today's
    grade replaces it.
    """
    call(*MASTER, "tiny.toml", "--quality", "usual")
    passed = states(call), "outdated" in report(call, tmp_path)
    call("adjust", "A001", "--exposure", "0.5")
    listed, page = states(call), report(call, tmp_path)
    other = call(*MASTER, "tiny-hlg.toml")
    again = call(*MASTER, "tiny.toml", "--quality", "quick")

    assert passed == ({"A001.tiny.mp4": "passed"}, False)
    assert listed == {"A001.tiny.mp4": "outdated"}
    assert "outdated: the grade has changed since" in page
    assert "1 of 1 master outdated." in page
    assert "every check passed" not in page
    assert row(other.out, "A001.tiny.mp4") == ["A001.tiny.mp4", "outdated"]
    assert "outdated: " in other.err
    assert again.status == 0
    assert row(again.out, "A001.tiny.mp4")[1] == "replaced"
    assert "replaced an outdated one" in again.err
    assert states(call) == {"A001.tiny.mp4": "passed"}
    mark = read_mark(scanned / "A001.tiny.mp4")
    assert mark is not None
    assert mark.quality == "quick"


def test_an_outdated_master_that_cannot_be_replaced_stays_outdated(
    call: Call, scanned: Path, log_clip: Path
) -> None:
    """The original is away: the file is let be, and nobody says that it passed."""
    call(*MASTER, "tiny.toml")
    before = (scanned / "A001.tiny.mp4").read_bytes()
    call("adjust", "A001", "--exposure", "0.5")
    log_clip.rename(log_clip.parent.parent / "elsewhere.mov")
    said = call(*MASTER, "tiny.toml")

    assert said.status == 1
    assert "not made: A001, tiny: " in said.err
    assert row(said.out, "A001.tiny.mp4") == ["A001.tiny.mp4", "outdated"]
    assert (scanned / "A001.tiny.mp4").read_bytes() == before


def test_a_database_that_is_lost_costs_a_verification(
    call: Call, scanned: Path, tmp_path: Path
) -> None:
    """The master is known by its mark, verified anew, kept to the byte, and told as before."""
    made = record(call(*MASTER, "tiny.toml", "--json").out)
    master = scanned / "A001.tiny.mp4"
    before = master.read_bytes(), master.stat().st_mtime_ns
    for path in (tmp_path / "card.shoot").glob("measurements.db*"):
        path.unlink()
    lost = states(call)
    anew = call(*MASTER, "tiny.toml", "--json")
    third = call(*MASTER, "tiny.toml")

    assert lost == {"A001.tiny.mp4": "unverified"}
    assert anew.status == 0
    assert json.loads(anew.out)["made"] == []
    assert json.loads(anew.out)["remarks"][0]["why"]["code"] == "master.verified-anew"
    assert record(anew.out) == made
    assert (master.read_bytes(), master.stat().st_mtime_ns) == before
    assert row(third.out, "A001.tiny.mp4")[1] == "kept"
    assert "verified anew" not in third.err
    assert states(call) == {"A001.tiny.mp4": "passed"}


def test_a_kill_between_the_name_and_the_record_goes_on(call: Call, scanned: Path) -> None:
    """The process is killed as the record is about to be kept; the next run keeps the master."""
    script = (
        "import os, signal\n"
        "from evenhand.cli.main import status\n"
        "from evenhand.jobs import master\n"
        "master.keep_master = lambda *_: os.kill(os.getpid(), signal.SIGKILL)\n"
        f"status({[*MASTER, 'tiny.toml']!r})\n"
    )
    killed = subprocess.run(
        [sys.executable, "-c", script], cwd=scanned.parent, check=False, capture_output=True
    )
    left = sorted(p.name for p in scanned.iterdir())
    before = (scanned / "A001.tiny.mp4").stat().st_mtime_ns
    said = call(*MASTER, "tiny.toml")

    assert killed.returncode == -signal.SIGKILL
    assert left == [".A001.tiny.mp4.lock", "A001.tiny.mp4"]
    assert said.status == 0
    assert row(said.out, "A001.tiny.mp4")[1] == "kept"
    assert "A001, tiny: it had no record, was verified anew, and passed" in said.err
    assert [p.name for p in scanned.iterdir()] == ["A001.tiny.mp4"]
    assert (scanned / "A001.tiny.mp4").stat().st_mtime_ns == before


def test_a_master_that_was_cut_is_made_again(call: Call, scanned: Path) -> None:
    """Its mark is still in front; its pictures are not, and it is ours to replace."""
    call(*MASTER, "tiny.toml")
    master = scanned / "A001.tiny.mp4"
    whole = master.read_bytes()
    master.write_bytes(whole[: len(whole) * 2 // 3])
    said = call(*MASTER, "tiny.toml")

    assert said.status == 0
    assert row(said.out, "A001.tiny.mp4")[1] == "replaced"
    assert "A001, tiny: made again: it no longer passed (" in said.err
    assert len(master.read_bytes()) == len(whole)


def test_a_file_that_is_not_ours_is_never_replaced_unasked(
    call: Call, second_clip: Path, scanned: Path
) -> None:
    """A film of somebody else, and the master of another clip, under the name of ours."""
    call(*MASTER, "tiny.toml", "B001")
    (scanned / "B001.tiny.mp4").rename(scanned / "A001.tiny.mp4")
    theirs = (scanned / "A001.tiny.mp4").read_bytes()
    (scanned / "B001.tiny.mp4").write_bytes(b"mine")
    refused = call(*MASTER, "tiny.toml")
    kept = {p.name: p.read_bytes() for p in scanned.iterdir()}
    asked = call(*MASTER, "tiny.toml", "--overwrite")

    assert refused.status == 1
    assert refused.err.count("a file of this name is there already") == 2
    assert kept == {"A001.tiny.mp4": theirs, "B001.tiny.mp4": b"mine"}
    assert asked.status == 0
    marks = {p.name: read_mark(p) for p in scanned.iterdir()}
    assert {name: mark and mark.id for name, mark in marks.items()} == {
        "A001.tiny.mp4": "A001",
        "B001.tiny.mp4": "B001",
    }


def test_a_spec_of_another_content_makes_another_master(call: Call, scanned: Path) -> None:
    """Its name is the same; what it asks for is not."""
    call(*MASTER, "tiny.toml")
    spec = scanned.parent / "tiny.toml"
    spec.write_text(spec.read_text("utf-8").replace('rate = "25"', 'rate = "50"'), "utf-8")
    said = call(*MASTER, "tiny.toml")

    assert said.status == 0
    assert row(said.out, "A001.tiny.mp4")[1:4] == ["replaced", "192 x 108", "24"]
    assert "replaced one of another content of the spec" in said.err


@pytest.mark.parametrize(
    ("work", "words"),
    [
        (made.master_of_another, r"a fault in evenhand \(ValueError\)\. Report it with .+\.txt"),
        (made.master_beyond_memory, r"needs more than 8\.0 GB of memory"),
        (made.master_beyond_room, r"are needed and"),
    ],
)
def test_whatever_goes_wrong_with_one_clip_is_its_one_line(
    call: Call,
    second_clip: Path,
    scanned: Path,
    monkeypatch: pytest.MonkeyPatch,
    work: Callable[..., Any],
    words: str,
) -> None:
    """A fault of the program, no memory, no room on the disk: the second clip is made."""
    monkeypatch.setattr(job, "made_in_child", work)
    said = call(*MASTER, "tiny.toml")

    assert said.status == 1
    assert [p.name for p in scanned.iterdir()] == ["B001.tiny.mp4"]
    [line] = [line for line in said.err.splitlines() if line.startswith("not made")]
    assert line.startswith("not made: A001, tiny: ")
    assert re.search(words, line)


def test_two_at_once_make_one_master(call: Call, scanned: Path, synth: ModuleType) -> None:
    """The second says whom it waits for, and then keeps what the first has made."""
    command = [sys.executable, "-m", "evenhand", *MASTER, "tiny.toml"]
    slow = (
        "import sys, time\n"
        "from evenhand.cli.main import status\n"
        "from evenhand.jobs import mastering\n"
        "plain = mastering.write_pictures\n"
        "def write(*given, **named):\n"
        "    sys.stdin.readline()\n"
        "    return plain(*given, **named)\n"
        "mastering.write_pictures = write\n"
        f"sys.exit(status({[*MASTER, 'tiny.toml']!r}))\n"
    )
    streams: dict[str, Any] = {
        "stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE,
        "text": True, "cwd": scanned.parent,
    }  # fmt: skip
    first = subprocess.Popen([sys.executable, "-c", slow], **streams)
    deadline = time.monotonic() + 60
    while not list(scanned.glob(".A001.tiny.mp4.lock")):
        assert time.monotonic() < deadline
        time.sleep(0.02)
    second = subprocess.Popen(command, **streams)
    assert second.stderr is not None
    told = second.stderr.readline()
    first.communicate("go on\n", timeout=120)
    out, _ = second.communicate(timeout=120)

    said = f"waiting for A001.tiny.mp4, being made by process {first.pid} since "
    assert told.startswith(said)
    assert (first.returncode, second.returncode) == (0, 0)
    assert row(out, "A001.tiny.mp4")[1] == "kept"
    assert [p.name for p in scanned.iterdir()] == ["A001.tiny.mp4"]


def test_a_list_needs_neither_spec_nor_folder_and_one_alone_is_wrong_usage(
    call: Call, scanned: Path
) -> None:
    """Nothing is made by asking what is there."""
    none = call("master")
    half = call("master", "--spec", "tiny.toml")
    call(*MASTER, "tiny.toml")
    listed = call("master", "A001")
    (scanned / "A001.tiny.mp4").unlink()

    assert none.status == 0
    assert "no masters yet" in none.err
    assert half.status == 2
    assert "--spec and --to go together" in half.err
    assert row(listed.out, "A001.tiny.mp4")[1:4] == ["passed", "tiny", "quick"]
    assert states(call) == {"A001.tiny.mp4": "away"}


def test_masters_that_were_moved_are_known_in_a_folder_of_the_shoot(
    call: Call, scanned: Path
) -> None:
    """Another name in the same folder: the mark tells, not the name."""
    call(*MASTER, "tiny.toml")
    (scanned / "A001.tiny.mp4").rename(scanned / "for the client.mp4")

    assert states(call) == {"for the client.mp4": "unverified"}


def test_a_grade_that_changes_while_it_is_waited_for_is_the_one_that_is_made(
    call: Call, scanned: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else the last to come would put an older grade over a newer one."""
    plain = job.claimed

    @contextmanager
    def changed_meanwhile(*given: Any) -> Iterator[None]:
        assert call("adjust", "A001", "--exposure", "0.5").status == 0
        with plain(*given):
            yield

    monkeypatch.setattr(job, "claimed", changed_meanwhile)
    said = call(*MASTER, "tiny.toml")

    assert said.status == 0
    assert states(call) == {"A001.tiny.mp4": "passed"}
