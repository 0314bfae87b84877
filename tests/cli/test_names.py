"""Names that others gave, through the command line: they do nothing, and every verb finds them."""

from __future__ import annotations

import json
import os
import shutil
import unicodedata
from pathlib import Path
from types import ModuleType

import msgspec
import pytest

from evenhand.names import cells, real_path

SAY, LOG = "--encoding", "*=phone-log-1"
QUICK = ("--exposure", "+0.3", "--output-transform", "plain-sdr")
# Names that Linux allows; the escape sequences are those of ECMA-48, the marks those of UAX 9.
NAMES = {
    "no UTF-8": b"A\xff01\xc3.mov",
    "long": b"x" * 246 + b".mov",
    "controls": b"A\x01\x08\x7f\t.mov",
    "C1": "A\u009b31m\u0085.mov".encode(),
    "escape": b"A\x1b]0;mine\x07\x1b[2J\x1b[31m.mov",
    "lines": b"A\nevenhand: all is well\r\n.mov",
    "bidi": "A\u202evom.\u2066\u200f\u061c.mov".encode(),
    "unseen": "\u200b\ufeff\u2028.mov".encode(),
    "option": b"--json.mov",
    "shell": b"$(touch mine) `x`;&.mov",
    "markup": b"<script>[bold]&quot;'\\x1b.mov",
}
HOSTILE = os.fsdecode(b"n\xff\x1b[31m") + "\u202e\n\x85"


def harmless(text: str) -> None:
    """Nothing in a text but signs that are seen, and ends of lines."""
    bad = {c for c in text if unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp")} - {"\n"}
    assert not bad, [f"U+{ord(c):04X}" for c in bad]


@pytest.fixture
def quiet(call):
    """Call a verb that must succeed, and whose output does nothing; its JSON is strict."""

    def run(*arguments: object, status: int = 0):
        said = call(*arguments)
        harmless(said.out)
        harmless(said.err)
        assert said.status == status, said.err
        if "--json" in arguments and status == 0:
            msgspec.json.decode(said.out)
        return said

    return run


def clip_named(synth: ModuleType, card: Path, name: bytes, frames: int) -> Path:
    """A phone-log clip under a name that does something; of other content by its frames."""
    made = synth.write_clip(card / "made.mov", **synth.PRORES, frames=frames, tags=synth.PHONE_LOG)
    return made.rename(card / os.fsdecode(name))


@pytest.mark.media
@pytest.mark.slow
def test_every_verb_works_on_every_name(quiet, synth: ModuleType, card: Path) -> None:
    """From scan to report; the ids are short, masters are named after them, files are found."""
    files = {clip_named(synth, card, name, n) for n, name in enumerate(NAMES.values(), 2)}
    before = {file: file.read_bytes() for file in files}
    found = json.loads(quiet("scan", card, SAY, LOG, "--json").out)["findings"]
    ids = [finding["clip"]["id"] for finding in found]
    quiet("scan", card, "--evidence")
    quiet("level")
    quiet("level", "--json")
    quiet("level", "--explain", ids[0])
    for ident in ids:
        assert quiet("adjust", ident, *QUICK).out.startswith(f"{ident}: exposure")
        quiet("look", "use", "rye", ident, "--strength", "70%")
    quiet("look", "use", "none")
    quiet("adjust", *ids, "--json")
    quiet("look", "list")
    quiet("still", ids[0], "--to", "still.png")
    quiet("scopes", ids[0], "--to", "scopes")
    made = json.loads(quiet("master", "--spec", "tiny.toml", "--to", "out", "--json").out)
    kept = json.loads(quiet("master", "--spec", "tiny.toml", "--to", "out", "--json").out)
    quiet("master")
    quiet("history")
    quiet("report", "--json")

    assert {real_path(f["clip"]["path"]) for f in found} == {file.name for file in files}
    assert all(cells(ident) <= 40 for ident in ids)
    assert {p.name for p in Path("out").glob("*.mp4")} == {f"{i}.tiny.mp4" for i in ids}
    assert (len(made["made"]), len(kept["kept"])) == (len(ids), len(ids))
    page = Path("card.shoot/report.html").read_bytes().decode()
    assert "<script>[bold]" not in page
    harmless(page)
    harmless(Path("card.shoot/shoot.json").read_bytes().decode())
    assert {file: file.read_bytes() for file in files} == before


def ident_of(scanned) -> str:
    [finding] = json.loads(scanned.out)["findings"]
    return finding["clip"]["id"]


@pytest.mark.media
@pytest.mark.parametrize("name", [NAMES["no UTF-8"], NAMES["long"]])
def test_a_clip_is_named_by_the_beginning_of_its_id_or_by_its_file(
    quiet, synth: ModuleType, card: Path, name: bytes
) -> None:
    """What a shell completes, the file's name, and the beginning of a shortened id."""
    file = clip_named(synth, card, name, 3)
    ident = ident_of(quiet("scan", card, SAY, LOG, "--json"))
    beginning = ident.rpartition("-")[0] or ident.partition("_")[0]

    for said in (ident, beginning, file.name, file):
        assert quiet("adjust", said).out.startswith(f"{ident}: ")


@pytest.mark.media
def test_two_names_that_look_alike_are_two_clips(quiet, synth: ModuleType, card: Path) -> None:
    """A clip renamed to another such name is still found, by what is in it."""
    for number, name in enumerate((b"A\xff.mov", b"A\xfe.mov", b"A_.mov")):
        clip_named(synth, card, name, 2 + number)
    quiet("scan", card, SAY, LOG)
    first = {c["fingerprint"]: c["id"] for c in document()["clips"]}
    (card / os.fsdecode(b"A\xff.mov")).rename(card / os.fsdecode(b"A\x1b\xfd.mov"))
    quiet("scan", card)

    assert len(set(first.values())) == 3
    assert {c["fingerprint"]: c["id"] for c in document()["clips"]} == first


def document() -> dict:
    return json.loads(Path("card.shoot/shoot.json").read_bytes())


@pytest.mark.media
def test_folders_may_be_named_so_too(quiet, log_clip: Path, card: Path, tmp_path: Path) -> None:
    """The card's own folder, the shoot's, and that of the masters."""
    strange = card.rename(tmp_path / f"card{HOSTILE}")

    quiet("scan", strange, SAY, LOG)
    [shoot] = tmp_path.glob("*.shoot")
    quiet("level", "--json")
    quiet("master", "--spec", "tiny.toml", "--to", f"out{HOSTILE}", "--json")
    kept = quiet("master", "--spec", "tiny.toml", "--to", f"out{HOSTILE}", "--json")
    quiet("still", "A001", "--to", f"{HOSTILE}.png", "--json")
    quiet("report", "--to", f"{HOSTILE}.html")
    quiet("scan", tmp_path / f"card{HOSTILE}", "--json")

    assert real_path(json.loads((shoot / "shoot.json").read_bytes())["cards"][0]["path"]) == str(
        strange
    )
    assert len(json.loads(kept.out)["kept"]) == 1
    assert Path(f"out{HOSTILE}/A001.tiny.mp4").is_file()


@pytest.mark.media
@pytest.mark.parametrize("stem", [HOSTILE, "l" * 240], ids=["hostile", "long"])
def test_a_look_file_may_be_named_so_too(quiet, log_clip: Path, card: Path, stem: str) -> None:
    """Shown, checked, put on a clip, told of when it goes, and its own words are not trusted."""
    look = Path(f"{stem}.cube")
    head = 'TITLE "t\x1b[31m\u202e"\n# c\x1b[2J\nLUT_3D_SIZE 2\n'
    rows = [f"{r} {g} {b}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1)]
    look.write_text(head + "".join(rows), "utf-8")
    spaces = ("--space", "bt709-display")
    quiet("scan", card, SAY, LOG)
    for verb in (("show",), ("use",)):
        quiet("look", *verb, look, *spaces)
        quiet("look", *verb, look, *spaces, "--json")
    look.unlink()
    quiet("look", "list")
    quiet("look", "list", "--json")
    quiet("report")
    gone = quiet("master", "--spec", "tiny.toml", "--to", "out")

    assert "is not there any more" in gone.err + gone.out
    harmless(Path("card.shoot/report.html").read_bytes().decode())


@pytest.mark.parametrize(
    "name", [HOSTILE, "y" * 5000, "a b " * 1000], ids=["signs", "long", "blanks"]
)
@pytest.mark.parametrize(
    "arguments",
    [
        ("{}",),
        ("look", "{}"),
        ("look", "show", "{}"),
        ("look", "check", "{}"),
        ("look", "use", "{}"),
        ("scan", "{}"),
        ("scan", "card", "--encoding", "{}"),
        ("scan", "card", "--encoding", "A001={}"),
        ("adjust", "{}"),
        ("adjust", "A001", "--output-transform", "{}"),
        ("level", "--reference", "{}"),
        ("level", "--forget-{}"),
        ("level", "--rename", "{}", "oven"),
        ("master", "--spec", "{}", "--to", "out"),
        ("report", "--truth", "{}"),
        ("undo", "--to", "{}"),
    ],
    ids=" ".join,
)
@pytest.mark.media
def test_what_is_refused_is_one_harmless_line(
    call, log_clip: Path, name: str, arguments: tuple[str, ...], scanned: None
) -> None:
    """Whatever was given, as an argument of any verb: a line on stderr of a length to read."""
    said = call(*(part.format(name) for part in arguments))

    harmless(said.out)
    harmless(said.err)
    assert said.status in (1, 2)
    assert len(said.err.splitlines()) == 1
    assert "fault in evenhand" not in said.err
    assert len(said.err) < 1200
    assert name not in said.err


@pytest.fixture(scope="module")
def shoot_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("scanned") / "card.shoot"


@pytest.fixture
def scanned(call, card: Path, log_clip: Path, shoot_once: Path) -> None:
    """A shoot of the card; scanned once, and copied."""
    if not shoot_once.exists():
        assert call("scan", card, SAY, LOG).status == 0
        shutil.copytree("card.shoot", shoot_once)
    else:
        shutil.copytree(shoot_once, "card.shoot")
