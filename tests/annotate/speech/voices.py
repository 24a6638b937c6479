"""Synthesised speech with the synthesiser's own word times: flite and espeak-ng by ctypes.

The truth comes from the synthesisers, not from us: flite's utterance structure (word -> syllable
-> segment end times) and espeak-ng's word events (speak_lib.h). Both are Debian packages used by
tests only (``flite``, ``espeak-ng``), in 16 kHz int16 mono.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import functools
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.annotate.sound.clips import needed

RATE_HZ = 16_000
Pcm = NDArray[np.int16]

_START = b"daughter1.R:SylStructure.daughter1.daughter1.R:Segment.p.end"
_END = b"daughtern.R:SylStructure.daughtern.daughtern.R:Segment.end"


@dataclass(frozen=True)
class Said:
    """What a voice said: samples, and for each whitespace token its start and end in seconds."""

    pcm: Pcm
    times: tuple[tuple[float, float], ...]


class _Wave(ctypes.Structure):
    _fields_ = (
        ("type", ctypes.c_char_p),
        ("rate", ctypes.c_int),
        ("count", ctypes.c_int),
        ("channels", ctypes.c_int),
        ("samples", ctypes.POINTER(ctypes.c_short)),
    )


class _Event(ctypes.Structure):
    _fields_ = (
        ("type", ctypes.c_int),
        ("unique", ctypes.c_uint),
        ("text_position", ctypes.c_int),
        ("length", ctypes.c_int),
        ("audio_ms", ctypes.c_int),
        ("sample", ctypes.c_int),
        ("user", ctypes.c_void_p),
        ("id", ctypes.c_char * 8),
    )


def _library(name: str, package: str) -> ctypes.CDLL:
    try:
        return ctypes.CDLL(name, mode=ctypes.RTLD_GLOBAL)
    except OSError:
        needed(package, f"apt-get install {package}")
        raise


@functools.cache
def _flite() -> ctypes.CDLL:
    flite = _library("libflite.so.1", "flite")
    for name in ("libflite_cmulex.so.1", "libflite_usenglish.so.1"):
        _library(name, "flite")
    pointer, text = ctypes.c_void_p, ctypes.c_char_p
    for name, result, arguments in (
        ("flite_synth_text", pointer, [text, pointer]),
        ("utt_wave", ctypes.POINTER(_Wave), [pointer]),
        ("utt_relation", pointer, [pointer, text]),
        ("relation_head", pointer, [pointer]),
        ("item_next", pointer, [pointer]),
        ("flite_ffeature_float", ctypes.c_float, [pointer, text]),
        ("delete_utterance", None, [pointer]),
    ):
        function = getattr(flite, name)
        function.restype, function.argtypes = result, arguments
    flite.flite_init()
    return flite


@functools.cache
def _flite_voice(voice: str) -> int:
    library = _library(f"libflite_cmu_us_{voice}.so.1", "flite")
    register = getattr(library, f"register_cmu_us_{voice}")
    register.restype = ctypes.c_void_p
    return int(register(None))


def flite(text: str, voice: str) -> Said:
    """Speak with flite; ``voice`` is slt, rms, awb or kal16."""
    library = _flite()
    utterance = library.flite_synth_text(text.encode("ascii"), _flite_voice(voice))
    wave = library.utt_wave(utterance).contents
    assert wave.rate == RATE_HZ
    pcm = np.ctypeslib.as_array(wave.samples, (wave.count,)).astype(np.int16)
    times = []
    item = library.relation_head(library.utt_relation(utterance, b"Token"))
    while item:
        start = library.flite_ffeature_float(item, _START)
        times.append((start, library.flite_ffeature_float(item, _END)))
        item = library.item_next(item)
    library.delete_utterance(utterance)
    assert len(times) == len(text.split()), (text, len(times))
    return Said(pcm, tuple(times))


@functools.cache
def _espeak() -> tuple[ctypes.CDLL, int]:
    library = _library("libespeak-ng.so.1", "espeak-ng")
    rate = library.espeak_Initialize(1, 200, None, 0)
    assert rate > 0
    return library, rate


def espeak(text: str, voice: str) -> Said:
    """Speak with espeak-ng; ``voice`` such as en-us, en-gb, en-gb-scotland, en-us+f4."""
    from scipy.signal import resample_poly

    library, rate = _espeak()
    blocks: list[Pcm] = []
    events: list[tuple[int, int]] = []
    kind = ctypes.CFUNCTYPE(
        ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.POINTER(_Event)
    )

    def heard(samples: Any, count: int, event: Any) -> int:
        if samples and count > 0:
            blocks.append(np.ctypeslib.as_array(samples, (count,)).copy())
        index = 0
        while event[index].type != 0:
            if event[index].type == 1:
                events.append((event[index].text_position - 1, event[index].audio_ms))
            index += 1
        return 0

    callback = kind(heard)
    library.espeak_SetSynthCallback(callback)
    assert library.espeak_SetVoiceByName(voice.encode()) == 0, voice
    data = text.encode("ascii")
    library.espeak_Synth(data, len(data) + 1, 0, 1, 0, 1, None, None)
    library.espeak_Synchronize()
    pcm = np.concatenate(blocks)
    at = dict(reversed(events))
    times, position = [], 0
    for token in text.split():
        position = text.index(token, position)
        inside = [at[p] for p in range(position, position + len(token)) if p in at]
        times.append(min(inside) / 1000 if inside else np.nan)
        position += len(token)
    ends = [*times[1:], len(pcm) / rate]
    low = np.gcd(RATE_HZ, rate)
    resampled = resample_poly(pcm.astype(float), RATE_HZ // low, rate // low)
    pcm16 = np.clip(resampled, -32768, 32767).astype(np.int16)
    return Said(pcm16, tuple((float(s), float(e)) for s, e in zip(times, ends, strict=True)))


def say(text: str, voice: str) -> Said:
    """Speak with ``flite:slt`` or ``espeak:en-us`` and so on."""
    engine, _, name = voice.partition(":")
    return flite(text, name) if engine == "flite" else espeak(text, name)
