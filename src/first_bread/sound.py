"""Location sound by program: room tone, hum, and a murmur like speech that says no words."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
RATE = 48000
_SLOPES = {"oven": 0.9, "yard": 0.7}
# Formants: lowest and highest centre, bandwidth (hertz), strength.
_FORMANTS = ((350, 750, 90, 1.0), (900, 1900, 130, 0.5), (2300, 2900, 200, 0.25))
_TOO_LOUD = 24.0


def _gain(decibels: float) -> float:
    return float(10.0 ** (decibels / 20.0))


def _room(setup: str, random: np.random.Generator, t: Array, f: Array) -> Array:
    """Stereo room tone at -52 dBFS RMS, with mains hum in the prep room."""
    noise = random.standard_normal((2, f.size)) + 1j * random.standard_normal((2, f.size))
    room: Array = np.fft.irfft(noise / np.maximum(f, 40.0) ** _SLOPES.get(setup, 0.8), n=t.size)
    room *= _gain(-52.0) / room.std()
    if setup == "prep":
        room += _gain(-58.0) * (np.sin(2 * np.pi * 100 * t) + 0.4 * np.sin(2 * np.pi * 300 * t))
    return room


def _voice(random: np.random.Generator, t: Array, f: Array) -> Array:
    """Pulses of a gliding pitch through three wandering formants, -26 dBFS RMS."""
    glide = 1.0 + 0.06 * np.sin(2 * np.pi * 0.8 * t + 1) + 0.02 * np.sin(2 * np.pi * 4.6 * t)
    phase = np.cumsum(random.uniform(105, 190) * glide) / RATE
    pulses = np.fft.rfft(np.maximum(0.0, 1.0 - (phase % 1.0) * 4.0) ** 2 - 0.08)
    times = np.sort(random.uniform(0.0, t[-1], 16))
    loudness = random.uniform(0.0, 1.0, 16) * (random.uniform(0.0, 1.0, 16) > 0.25)
    syllables = np.interp(t, times, loudness)
    voice = np.zeros(t.size)
    for number, (low, high, width, strength) in enumerate(_FORMANTS):
        for centre in random.uniform(low, high, 3):
            part = np.fft.irfft(pulses * strength / (1.0 + ((f - centre) / width) ** 2), n=t.size)
            wander = 0.2 * np.sin(2 * np.pi * random.uniform(2, 4) * t + number)
            voice += part * np.clip(syllables * random.uniform(0.5, 1.0) + wander, 0.0, 1.0)
    quieter: Array = voice * _gain(-26.0) / (voice.std() + 1e-9)
    return quieter


def location_sound(
    setup: str, loud: bool, random: np.random.Generator, seconds: float
) -> npt.NDArray[np.int16]:
    """Stereo samples (2, n) at 48 kHz; `loud` is far too hot and hits the limit."""
    n = int(RATE * seconds)
    t = np.arange(n) / RATE
    f: Array = np.arange(n // 2 + 1) * np.float64(RATE / n)
    mixed: Array = _room(setup, random, t, f)
    mixed += _voice(random, t, f)
    if loud:
        mixed *= _gain(_TOO_LOUD)
    return np.round(np.clip(mixed, -1.0, 1.0) * 32767.0).astype(np.int16)
