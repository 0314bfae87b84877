"""Opening clips: what is taken, what is refused, and what the person is told."""

from __future__ import annotations

import logging
import os
import re
from fractions import Fraction
from pathlib import Path
from types import ModuleType

import av.error
import pytest

from evenhand.errors import ClipError
from evenhand.media import files
from evenhand.media.files import clip_error, open_clip, video_stream
from evenhand.media.probe import count_decoded

pytestmark = pytest.mark.media


@pytest.fixture(scope="module")
def good(synth: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path: Path = synth.write_clip(tmp_path_factory.mktemp("good") / "good.mp4", frames=5)
    return path


def most_memory() -> int:
    """The most memory this process has held, in KiB on Linux."""
    resource = pytest.importorskip("resource")
    return int(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)


def refusal(path: Path | str) -> str:
    with pytest.raises(ClipError) as caught:
        open_clip(path)
    assert caught.value.remedy
    return str(caught.value)


def test_a_good_clip_opens(good: Path) -> None:
    """A plain MP4 gives its one video stream."""
    with open_clip(good) as container:
        assert video_stream(container).codec_context.width == 192


@pytest.mark.parametrize("name", ["data:a.mp4", "http:x.mp4", "concat:a|b.mp4", "a %04d #?.mp4"])
@pytest.mark.skipif(os.name == "nt", reason="such names are not allowed on Windows")
def test_a_file_name_is_never_an_address(good: Path, tmp_path: Path, name: str) -> None:
    """Files called like addresses are opened as the files they are."""
    path = tmp_path / name
    path.write_bytes(good.read_bytes())

    with open_clip(path) as container:
        assert container.streams.video


def test_empty_file(tmp_path: Path) -> None:
    """Zero bytes are said to be zero bytes."""
    path = tmp_path / "empty.mov"
    path.touch()

    assert "empty (0 bytes)" in refusal(path)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"ffconcat version 1.0\nfile other.mp4\n", "text"),
        ("Läufer und Öfen\n".encode() * 9, "text"),
        (b"#EXTM3U\n#EXT-X-TARGETDURATION:1\nother.ts\n", "a play list"),
        (b"\x89PNG\r\n\x1a\n" + bytes(99), "a PNG picture"),
        (bytes(range(256)) * 4, "something else"),
    ],
)
def test_other_things_called_mov(tmp_path: Path, content: bytes, said: str) -> None:
    """A file of another kind is named by what it looks like, whatever its suffix."""
    path = tmp_path / "clip.mov"
    path.write_bytes(content)

    assert f"not a MOV or MP4 clip, it looks like {said}" in refusal(path)


def test_list_of_other_files_is_not_followed(good: Path, tmp_path: Path) -> None:
    """A list that names a real clip beside it opens nothing."""
    (tmp_path / "other.mp4").write_bytes(good.read_bytes())
    path = tmp_path / "list.mov"
    path.write_text("ffconcat version 1.0\nfile other.mp4\n")

    assert "looks like text" in refusal(path)


def test_real_picture_called_mov(tmp_path: Path, synth: ModuleType) -> None:
    """A PNG that a library would gladly decode is not a clip."""
    path = tmp_path / "still.mov"
    with av.open(str(path), "w", format="image2", options={"update": "1"}) as out:
        stream = out.add_stream("png", rate=1)
        stream.width, stream.height, stream.pix_fmt = 64, 64, "rgb24"
        for packet in (*stream.encode(av.VideoFrame(64, 64, "rgb24")), *stream.encode(None)):
            out.mux(packet)

    assert "a PNG picture" in refusal(path)


def test_recording_that_was_never_finalised(synth: ModuleType, tmp_path: Path) -> None:
    """Without its index the recording is named as what it is."""
    path = synth.write_clip(tmp_path / "cut.mov", frames=10, front=False)
    synth.cut_to(path, 0.5)

    assert "never finalised" in refusal(path)


def test_folder_missing_and_pipe(tmp_path: Path) -> None:
    """What is not a file is refused before the library could wait for it."""
    assert "this is a folder" in refusal(tmp_path)
    assert "no such file" in refusal(tmp_path / "nothing.mov")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.mov")
        assert "a device or a pipe" in refusal(tmp_path / "pipe.mov")


def test_no_picture(tmp_path: Path) -> None:
    """A sound file in a MOV has no picture."""
    path = tmp_path / "sound.mov"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("pcm_s16le", rate=48000)
        frame = av.AudioFrame(format="s16", layout="stereo", samples=1024)
        frame.sample_rate, frame.pts, frame.time_base = 48000, 0, Fraction(1, 48000)
        for packet in (*stream.encode(frame), *stream.encode(None)):
            out.mux(packet)

    assert "no video stream" in refusal(path)


def test_tiny_picture(synth: ModuleType, tmp_path: Path) -> None:
    """Eight pixels are no picture."""
    path = synth.write_clip(
        tmp_path / "tiny.mov", size=(8, 8), frames=1, picture=lambda n: _grey(8, 8)
    )

    assert "8×8, smaller than 16" in refusal(path)


def _grey(width: int, height: int) -> tuple[object, object, object]:
    import numpy as np

    chroma = np.full((height // 2, width // 2), 128, np.uint8)
    return np.full((height, width), 90, np.uint8), chroma, chroma


def test_picture_larger_than_allowed_is_never_given_memory(
    synth: ModuleType, tmp_path: Path
) -> None:
    """A frame header that claims 16000×16000 (1 GB decoded) is refused, and costs nothing."""
    path = synth.write_clip(tmp_path / "bomb.mov", **synth.PRORES, frames=2)
    data = bytearray(path.read_bytes())
    at = data.index(b"icpf") + 4
    # RDD 36: header size, version and maker (8 bytes), then width and height
    assert int.from_bytes(data[at + 8 : at + 10]) == 192
    data[at + 8 : at + 12] = (16000).to_bytes(2) * 2
    path.write_bytes(data)

    before = most_memory()
    assert "16000×16000, larger than 8192" in refusal(path)
    assert most_memory() - before < 100_000


def test_decoder_holds_the_limit_too(synth: ModuleType, tmp_path: Path) -> None:
    """A frame that grows in the middle of a clip is refused by the decoder."""
    path = synth.write_clip(tmp_path / "bomb.mov", **synth.PRORES, frames=6)
    data = bytearray(path.read_bytes())
    at = data.rindex(b"icpf") + 4
    data[at + 8 : at + 12] = (16000).to_bytes(2) * 2
    path.write_bytes(data)

    before = most_memory()
    assert count_decoded(path) == (5, 1)
    assert most_memory() - before < 100_000


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (PermissionError(1, "Operation not permitted"), "not a MOV or MP4 clip"),
        (OSError(5, "Input/output error"), "reading failed: Input/output error"),
        (MemoryError(), "more memory than there is"),
    ],
)
def test_errors_of_the_system(tmp_path: Path, error: Exception, said: str) -> None:
    """Each error of the system has its own words and a thing to do."""
    path = tmp_path / "clip.mov"
    path.write_bytes(b"....")

    assert said in str(clip_error(path, error))


def test_not_permitted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the system denies reading, that is what is said."""
    path = tmp_path / "clip.mov"
    path.write_bytes(b"....")
    monkeypatch.setattr(os, "access", lambda *_: False)

    assert "may not read the file" in str(clip_error(path, PermissionError(13, "denied")))


def test_metadata_in_another_alphabet(synth: ModuleType, tmp_path: Path) -> None:
    """Words that are not UTF-8 do not stop a clip from being opened."""
    path = synth.write_clip(tmp_path / "a.mov", frames=1, metadata={"com.example.note": "Oefen"})
    path.write_bytes(path.read_bytes().replace(b"Oefen", b"\xd6\xe9\xff\xfen"))

    with open_clip(path) as container:
        assert container.streams.video


@pytest.mark.skipif(getattr(os, "geteuid", lambda: 0)() == 0, reason="root may read everything")
def test_unreadable_file(good: Path, tmp_path: Path) -> None:
    """A file without permission is not called damaged."""
    path = tmp_path / "secret.mov"
    path.write_bytes(good.read_bytes())
    path.chmod(0)

    assert "may not read" in refusal(path)


def test_library_log_is_left_alone(good: Path) -> None:
    """No module sets the library's log level: with a log hook threaded decoders can hang."""
    sources = Path(files.__file__).parents[1].rglob("*.py")
    calls = [p.name for p in sources if re.search(r"logging\.set_level\(", p.read_text("utf-8"))]

    assert calls == []
    assert logging.getLogger("libav").handlers == []
