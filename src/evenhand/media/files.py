"""Opening a clip safely, and saying in plain words why one cannot be opened.

A card is not trusted: a name is never taken for an address, a list of other files is never
followed, and no picture larger than `MAX_PIXELS` is given memory. The libraries' log level is never
set: with a Python log hook, threaded decoders of damaged clips wait for ever.
"""

from __future__ import annotations

import os
import stat
from codecs import getincrementaldecoder
from pathlib import Path

import av
import av.error
from av.container import InputContainer
from av.video.stream import VideoStream

from evenhand.errors import ClipError
from evenhand.media.boxes import top_level

FORMATS = "mov,mp4,m4a,3gp,3g2,mj2"
SMALLEST, LARGEST = 16, 8192
MAX_PIXELS = LARGEST * LARGEST
MAX_STREAMS = 16
MAX_HOURS = 24
RATES = (1, 480)
_BEGINNINGS = {
    b"\x89PNG": "a PNG picture",
    b"\xff\xd8\xff": "a JPEG picture",
    b"\x1aE\xdf\xa3": "a Matroska file",
    b"RIFF": "a RIFF file",
    b"ID3": "an MP3 file",
    b"#EXT": "a play list",
}
_COPY_AGAIN = "Copy it again from the card, or leave it out"


def open_clip(path: Path | str, *, quick: bool = False) -> InputContainer:
    """The opened container of a MOV or MP4 clip with at least one video stream, for reading only.

    Use it in a `with` statement. `quick` skips the library's look-ahead into the pictures: enough
    to read the index, not to decode by. Raises ClipError for everything that can be wrong.
    """
    path = Path(path)
    require_regular_file(path)
    options = {"protocol_whitelist": "file", "format_whitelist": FORMATS}
    if quick:
        options |= {"analyzeduration": "1", "probesize": "4096"}
    try:
        # Metadata in another alphabet than UTF-8 is no reason to refuse a clip.
        container = av.open(f"file:{path.absolute()}", options=options, metadata_errors="replace")
    except (av.error.FFmpegError, OSError, ValueError) as error:
        raise clip_error(path, error) from error
    try:
        _check_limits(path, container)
    except BaseException:
        container.close()
        raise
    return container


def video_stream(container: InputContainer) -> VideoStream:
    """The stream that is the picture: the default one, else the first."""
    best = container.streams.best("video")
    return best if isinstance(best, VideoStream) else container.streams.video[0]


def share_work(stream: VideoStream) -> None:
    """Sets the threads of a decoder; call it before the first decode.

    Frame threads hold several frames, and when one of them is bad the library may drop a good one
    with it. Where every frame stands alone slices are as fast and lose nothing.
    """
    entries = stream.index_entries
    intra = len(entries) > 0 and all(entry.is_keyframe for entry in entries)
    stream.thread_type = "SLICE" if intra else "AUTO"


def is_bad_data(error: av.error.FFmpegError) -> bool:
    """Whether one packet is to blame, so that the rest of the clip may still be read."""
    return not isinstance(error, OSError | MemoryError)


def require_regular_file(path: Path) -> None:
    """ClipError unless this is a file with something in it; a pipe could make us wait for ever."""
    try:
        facts = path.stat()
    except OSError as error:
        raise clip_error(path, error) from error
    if not stat.S_ISREG(facts.st_mode):
        what = "a folder" if stat.S_ISDIR(facts.st_mode) else "a device or a pipe"
        raise ClipError(path, f"this is {what}, not a file", "Name a clip file", "another-kind")
    if facts.st_size == 0:
        raise ClipError(path, "the file is empty (0 bytes)", _COPY_AGAIN, "empty")


def clip_error(path: Path, error: BaseException) -> ClipError:
    """What an error of the system or of the codec libraries means to a person."""
    if isinstance(error, ClipError):
        return error
    if isinstance(error, FileNotFoundError):
        return ClipError(
            path, "there is no such file", "Check the name and that the drive is there", "gone"
        )
    # The library says "not permitted" of what it will not follow inside a file, too.
    if isinstance(error, PermissionError) and not os.access(path, os.R_OK):
        return ClipError(
            path,
            "this user may not read the file",
            "Ask its owner for permission to read",
            "refused",
        )
    if isinstance(error, av.error.MemoryError | MemoryError):
        return ClipError(
            path, "it asks for more memory than there is", "Leave it out", "beyond-memory"
        )
    if isinstance(error, OSError) and not isinstance(error, PermissionError):
        why = error.strerror or type(error).__name__
        return ClipError(
            path, f"reading failed: {why}", "Check the drive and its cable", "not-read"
        )
    return _unreadable(path, error)


def _unreadable(path: Path, error: BaseException) -> ClipError:
    """The bytes are there and make no sense: say what they look like instead."""
    try:
        top = top_level(path)
        with path.open("rb") as file:
            beginning = file.read(64)
    except OSError as failed:
        return clip_error(path, failed)
    if not top.looks_right:
        return ClipError(
            path,
            f"this is not a MOV or MP4 clip, it looks like {_looks_like(beginning)}",
            "Leave it out, or convert it to MOV or MP4",
            "another-kind",
        )
    if top.moov is None and not top.fragmented:
        return ClipError(
            path,
            "the recording was never finalised: its index (moov) is missing",
            "Try to mend it in the camera that made it, or copy it again if the copy was cut short",
            "unfinished",
        )
    return ClipError(path, f"the clip is damaged ({_plain(error)})", _COPY_AGAIN, "damaged")


def _looks_like(beginning: bytes) -> str:
    for start, what in _BEGINNINGS.items():
        if beginning.startswith(start):
            return what
    try:
        text = getincrementaldecoder("utf-8")().decode(beginning)
    except UnicodeDecodeError:
        return "something else"
    readable = all(letter.isprintable() or letter in "\r\n\t\ufeff" for letter in text)
    return "text" if readable else "something else"


def _plain(error: BaseException) -> str:
    words = error.strerror if isinstance(error, av.error.FFmpegError) else None
    return (words or type(error).__name__).lower()


def _check_limits(path: Path, container: InputContainer) -> None:
    if len(container.streams) > MAX_STREAMS:
        _refuse(path, f"it has {len(container.streams)} streams, more than {MAX_STREAMS}")
    if not container.streams.video:
        raise ClipError(
            path, "there is no picture in it (no video stream)", "Leave it out", "no-picture"
        )
    stream = video_stream(container)
    context = stream.codec_context
    if context is None:
        raise ClipError(
            path, "no decoder knows its picture codec", "Convert it, or leave it out", "no-picture"
        )
    width, height = context.width, context.height
    if max(width, height) > LARGEST:
        _refuse(path, f"its picture is {width}×{height}, larger than {LARGEST} a side")
    if min(width, height) < SMALLEST:
        _refuse(path, f"its picture is {width}×{height}, smaller than {SMALLEST} a side")
    if container.duration is not None and container.duration > MAX_HOURS * 3600 * av.time_base:
        _refuse(path, f"it claims to last more than {MAX_HOURS} hours")
    rate = stream.average_rate
    if rate is not None and not RATES[0] <= rate <= RATES[1]:
        slowest, fastest = RATES
        _refuse(path, f"it claims {float(rate):g} frames a second, not {slowest} to {fastest}")
    context.options = {"max_pixels": str(MAX_PIXELS)}


def _refuse(path: Path, found: str) -> None:
    raise ClipError(path, found, "Leave it out, or convert it", "beyond-limits")
