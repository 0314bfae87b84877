"""Makes the demo card: twelve clips in a folder, and what is true of them beside it.

`<folder>/` holds nothing but clips; `<folder>.truth.json` lies beside it. While the card is made,
`<folder>.making/` holds stills and unfinished clips; an interrupted make goes on from there.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Collection, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import asdict
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from evenhand.errors import UsageError
from first_bread.clip import FRAME_RATE, Settings, write_clip
from first_bread.stills import Still, make_still
from first_bread.story import SHOTS, TITLE, Shot
from first_bread.warming import warm_frames, warm_light, warm_shade

Progress = Callable[[str, float], None]
Truth = dict[str, Any]

_EDITION = 4  # goes up when the same settings give another card
_STILL = 16 / 15  # width of a still over that of a frame: room for a camera that moves
_SEED = 1108
_SMALLEST = 64
_STILL_COST = 1.6  # in clips


def truth_path(folder: Path) -> Path:
    """Where the truth about the card in `folder` lies."""
    return folder.with_name(f"{folder.name}.truth.json")


def make_card(
    folder: Path,
    size: tuple[int, int] = (1920, 1080),
    *,
    frames: int = 50,
    seed: int = _SEED,
    clips: Collection[str] | None = None,
    clean: bool = False,
    workers: int = 2,
    progress: Progress | None = None,
) -> Path:
    """Make the card, or what is missing of it, and return the path of its truth.

    `clips` names a part of it ("A001", or a whole name); `clean` leaves the faults out; `workers`
    is the number of processes. `progress` is told what was finished and the share that is done.
    Raises UsageError for a size that is odd or too small, or an unknown clip.
    """
    settings = Settings(_checked_size(size), _checked_frames(frames), seed, clean)
    wanted = _wanted(clips)
    maker = _Maker(Path(folder), settings, progress or _silent)
    maker.make(wanted, max(1, workers))
    return truth_path(Path(folder))


def _silent(_what: str, _share: float) -> None:
    """No progress is shown."""


def _checked_size(size: tuple[int, int]) -> tuple[int, int]:
    w, h = size
    if w % 2 or h % 2 or min(w, h) < _SMALLEST:
        remedy = f"Give an even width and height of at least {_SMALLEST}, such as 1920 and 1080"
        raise UsageError(f"{w}x{h}", "clips cannot have this size", remedy)
    return w, h


def _checked_frames(frames: int) -> int:
    if frames < 2:
        raise UsageError(str(frames), "a clip needs at least 2 frames", "Give 2 frames or more")
    return frames


def _wanted(clips: Collection[str] | None) -> list[Shot]:
    if clips is None:
        return list(SHOTS)
    names = {form for s in SHOTS for form in (s.name, s.name[:4])}
    for name in clips:
        if name not in names:
            known = ", ".join(shot.name for shot in SHOTS)
            raise UsageError(name, "the card has no such clip", f"Choose from: {known}")
    return [shot for shot in SHOTS if shot.name in clips or shot.name[:4] in clips]


def _replace(path: Path, text: str) -> None:
    """Write a small file whole or not at all."""
    part = path.with_name(f"{path.name}.part")
    part.write_text(text)
    part.replace(path)


def _record(path: Path) -> dict[str, Any]:
    """A JSON object that was written here; empty where there is none or it is damaged."""
    try:
        found = json.loads(path.read_text())
    except (FileNotFoundError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _still_task(place: str, path: str, size: tuple[int, int], seconds: float) -> None:
    target = Path(path)
    if not target.exists():
        part = target.with_name(f"{target.name}.part")
        make_still(place, size, seconds).save(part)
        part.replace(target)


def _clip_task(shot: Shot, still: str, part: str, target: str, settings: Settings) -> Truth:
    truth = write_clip(Path(part), shot, Still.load(Path(still)), settings)
    Path(part).replace(target)
    return truth


class _Here(Executor):
    """Runs every task at once in this process."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        done: Future[Any] = Future()
        done.set_result(fn(*args, **kwargs))
        return done


@contextmanager
def _executor(workers: int) -> Iterator[Executor]:
    if workers == 1:
        yield _Here()
        return
    pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"))
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


class _Maker:
    """The state of one make."""

    def __init__(self, folder: Path, settings: Settings, progress: Progress) -> None:
        self.folder = folder
        self.work = folder.with_name(f"{folder.name}.making")
        self.settings = settings
        self.progress = progress
        # Through JSON, so that it equals what is read back.
        self.stamp = json.loads(json.dumps({"edition": _EDITION, **asdict(settings)}))
        self.truths = self._finished()

    def _finished(self) -> dict[str, Truth]:
        """Truth of clips that lie on the card and were made with the same settings."""
        records = [truth_path(self.folder), *sorted(self.work.glob("*.truth.json"))]
        found = {}
        for path in records:
            record = _record(path)
            if record.get("settings") != self.stamp:
                continue
            for truth in record["clips"]:
                clip = self.folder / truth["file"]
                if clip.exists() and clip.stat().st_size == truth["bytes"]:
                    found[truth["file"]] = truth
        return found

    def _prepare(self) -> None:
        """Empty the work folder and remove clips of other settings that were made here."""
        stamp = self.work / "settings.json"
        if self.work.exists() and _record(stamp) != self.stamp:
            shutil.rmtree(self.work)
        for truth in _record(truth_path(self.folder)).get("clips", []):
            if truth["file"] not in self.truths:
                (self.folder / truth["file"]).unlink(missing_ok=True)
        self.folder.mkdir(parents=True, exist_ok=True)
        self.work.mkdir(exist_ok=True)
        _replace(stamp, json.dumps(self.stamp))

    def make(self, wanted: list[Shot], workers: int) -> None:
        """Make the clips that are missing, then write the truth."""
        missing = [shot for shot in wanted if shot.file not in self.truths]
        if missing:
            self._prepare()
            with _executor(workers) as executor:
                self._run(executor, missing, workers)
        ordered = [self.truths[shot.file] for shot in SHOTS if shot.file in self.truths]
        record = {"title": TITLE, "settings": self.stamp, "clips": ordered}
        _replace(truth_path(self.folder), json.dumps(record, indent=1) + "\n")
        if self.work.exists():
            shutil.rmtree(self.work)

    def _run(self, executor: Executor, missing: list[Shot], workers: int) -> None:
        if workers > 1:
            self.progress("compiling", 0.0)
            loops = (warm_shade, warm_light, warm_frames)
            compiling = [executor.submit(warm) for warm in loops]
            for task in compiling:
                task.result()
        places = list(dict.fromkeys(shot.place for shot in missing))
        total = _STILL_COST * len(places) + len(missing)
        done = 0.0
        tasks: dict[Future[Any], Shot | str] = {}
        for place in places:
            tasks[self._submit_still(executor, place)] = place
        while tasks:
            finished, _ = wait(tasks, return_when=FIRST_COMPLETED)
            for task in finished:
                made = tasks.pop(task)
                result: Any = task.result()
                if isinstance(made, Shot):
                    self._keep(result)
                    done += 1.0
                    self.progress(made.name, done / total)
                    continue
                done += _STILL_COST
                self.progress(made, done / total)
                for shot in missing:
                    if shot.place == made:
                        tasks[self._submit_clip(executor, shot)] = shot

    def _submit_still(self, executor: Executor, place: str) -> Future[Any]:
        w, h = self.settings.size
        size = (round(w * _STILL), round(h * _STILL))
        seconds = self.settings.frames / FRAME_RATE
        return executor.submit(_still_task, place, str(self._still(place)), size, seconds)

    def _submit_clip(self, executor: Executor, shot: Shot) -> Future[Any]:
        part, target = self.work / shot.file, self.folder / shot.file
        still = self._still(shot.place)
        return executor.submit(_clip_task, shot, str(still), str(part), str(target), self.settings)

    def _still(self, place: str) -> Path:
        return self.work / f"{place}.still"

    def _keep(self, truth: Truth) -> None:
        self.truths[truth["file"]] = truth
        record = {"settings": self.stamp, "clips": [truth]}
        _replace(self.work / f"{truth['file']}.truth.json", json.dumps(record))


__all__ = ["make_card", "truth_path"]
