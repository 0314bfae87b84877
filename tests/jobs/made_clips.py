"""Clips of made scenes on disk, as a phone would log them."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import named, transfer_of
from evenhand.colourmath.ycbcr import to_codes

sys.path.append(str(Path(__file__).parents[1] / "measure"))
import simulated_camera as camera

SIZE = (384, 216)
LOG = named("phone-log-1")
Light = NDArray[np.float32]


def scene(seed: int) -> Light:
    """Textured shapes in linear BT.2020, larger than a frame."""
    return camera.scene(seed, (768, 432), 260)


def view(picture: Light, share: float, x: float = 0.5, size: tuple[int, int] = SIZE) -> Light:
    """A part of a scene."""
    return camera.View(x=x, share=share).of(picture, size, np.random.default_rng(1))


def planes(light: Light, seed: int = 0) -> tuple[NDArray[np.uint16], ...]:
    """Light as 10-bit narrow 4:2:2 planes of phone log, with a little noise."""
    rng = np.random.default_rng(seed)
    noisy = light + rng.normal(0, 0.002, light.shape) * np.sqrt(np.maximum(light, 0.01))
    signal = transfer_of(LOG).to_signal(np.clip(noisy, 0, 12), LOG.range)
    codes = to_codes(signal, 10, "bt2020", "narrow")
    y, u, v = (np.clip(np.round(codes[..., i]), 4, 1019).astype(np.uint16) for i in range(3))
    return y, u[:, ::2].copy(), v[:, ::2].copy()


def write(
    synth: ModuleType,
    path: Path,
    lights: Sequence[Light] | Callable[[int], Light],
    frames: int = 10,
    created: str = "",
) -> Path:
    """A ProRes clip whose frames show these lights in turn."""

    def picture(number: int) -> tuple[NDArray[np.uint16], ...]:
        light = lights(number) if callable(lights) else lights[number * len(lights) // frames]
        return planes(light, number)

    height, width = planes(lights(0) if callable(lights) else lights[0])[0].shape
    made: Path = synth.write_clip(
        path,
        **synth.PRORES,
        size=(width, height),
        frames=frames,
        tags=synth.PHONE_LOG,
        picture=picture,
        metadata={"creation_time": created} if created else {},
    )
    return made


def stumbling(source: Any, kept: Any, wants_chart: bool) -> Any:
    """What children are asked for, with a fault of the program in one clip, a crash in another."""
    from evenhand.jobs.looking import looked_at

    if source.id == "B1":
        raise TypeError("a fault that nobody foresaw")
    if source.id == "B2":
        os.kill(os.getpid(), signal.SIGSEGV)
    return looked_at(source, kept, wants_chart)


def master_of_another(wanted: Any, *given: Any) -> Any:
    """What a child is asked for, with a fault of the program in the first clip."""
    from evenhand.jobs.mastering import made_in_child

    if wanted.clip.id == "A001":
        raise ValueError("a lens\nfell off")
    return made_in_child(wanted, *given)


def master_beyond_memory(wanted: Any, *given: Any) -> Any:
    """The same, with no memory left for the first clip."""
    from evenhand.jobs.mastering import made_in_child

    if wanted.clip.id == "A001":
        raise MemoryError
    return made_in_child(wanted, *given)


def master_beyond_room(wanted: Any, *given: Any) -> Any:
    """The same, with a first master that needs more than any disk has."""
    from evenhand.jobs import mastering

    mastering.room_needed = lambda _order: 10**19 if wanted.clip.id == "A001" else 1
    return mastering.made_in_child(wanted, *given)
