"""Groups of pictures of a recording, to be copied into a film without decoding them.

Only H.264 is copied (ITU-T H.264; container form: ISO/IEC 14496-15). A group may be copied when it
begins with an IDR picture and none of its pictures is shown before that or after the next one: then
nothing outside refers to it. Parameter sets go into the film once, messages (SEI) stay behind.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from chapters.errors import RecordingError
from chapters.media.decode import PacketDecoder
from chapters.media.encode import CodedPacket
from chapters.media.mux import Copying
from chapters.media.opening import open_recording
from chapters.media.probe import Probe
from chapters.media.timeline import NONE

_START = b"\x00\x00\x00\x01"
_IDR, _SPS, _PPS = 5, 7, 8
#: NAL unit types that travel with a picture: its slices.
_KEPT = (1, 2, 3, 4, 5, 19)
#: Profiles that every player of the film's own profile (High) decodes: Baseline, Main, High.
_PROFILES = (66, 77, 100)


class CannotCopy(ValueError):
    """A recording, or a group of it, must be encoded; the message is the reason, in plain words."""


@dataclass(frozen=True, slots=True)
class Group:
    """Packets ``first`` to ``stop`` (not included) that show frames ``shown_first`` on, all of them."""

    first: int
    stop: int
    shown_first: int

    @property
    def frames(self) -> int:
        """How many pictures."""
        return self.stop - self.first


@dataclass(frozen=True)
class CopySource:
    """One part whose pictures may be copied."""

    probe: Probe
    parameter_sets: bytes
    length_bytes: int
    groups: tuple[Group, ...]
    delay: int

    @property
    def copying(self) -> Copying:
        """What the film's muxer needs to know."""
        return Copying(self.parameter_sets, self.delay)

    def read(self, groups: tuple[Group, ...]) -> Iterator[CodedPacket]:
        """Packets of groups that follow one another, stamps in frames from the first one's start.

        Raises RecordingError where the file is not what it was when it was probed.
        """
        first, stop = groups[0].first, groups[-1].stop
        starts = {group.first for group in groups}
        line, zero = self.probe.timeline, groups[0].shown_first
        come = 0
        with PacketDecoder(self.probe.source, threads=1) as source:
            for number, data in source.packets(first, stop):
                units = list(nal_units(data, self.length_bytes))
                if number in starts and not any(u[0] & 31 == _IDR for u in units):
                    raise RecordingError(self.probe.shown_as, "a group of pictures is not closed")
                shown = int(np.searchsorted(line.shown, line.ticks[number])) - zero
                yield CodedPacket(as_stream(units), shown, come, 1, number in starts)
                come += 1
        if come != stop - first:
            raise RecordingError(self.probe.shown_as, "pictures are missing that were there before")


def nal_units(data: bytes, length_bytes: int) -> Iterator[bytes]:
    """NAL units of a packet: length-prefixed, or behind start codes where ``length_bytes`` is 0."""
    if length_bytes == 0:
        units = (unit.rstrip(b"\x00") for unit in data.split(b"\x00\x00\x01")[1:])
        yield from (unit for unit in units if unit)
        return
    at = 0
    while at + length_bytes <= len(data):
        size = int.from_bytes(data[at : at + length_bytes], "big")
        at += length_bytes
        if size:
            yield data[at : at + size]
        at += size


def as_stream(units: list[bytes]) -> bytes:
    """The units that belong into the film, each behind a start code (H.264, annex B)."""
    return b"".join(_START + unit for unit in units if unit[0] & 31 in _KEPT)


def parameter_sets(extradata: bytes) -> tuple[list[bytes], list[bytes], int]:
    """Sequence and picture parameter sets of a stream's header, and its length prefix in bytes.

    Raises CannotCopy when there are none.
    """
    if extradata[:1] != b"\x01":
        units = list(nal_units(extradata, 0))
        sps = [u for u in units if u[0] & 31 == _SPS]
        pps = [u for u in units if u[0] & 31 == _PPS]
        if not sps or not pps:
            raise CannotCopy("its parameter sets are not in the file's header")
        return sps, pps, 0
    if len(extradata) < 8:
        raise CannotCopy("its header is not whole")
    found: list[list[bytes]] = [[], []]
    at = 5
    for kind, mask in enumerate((31, 255)):
        count = extradata[at] & mask
        at += 1
        for _ in range(count):
            size = int.from_bytes(extradata[at : at + 2], "big")
            found[kind].append(extradata[at + 2 : at + 2 + size])
            at += 2 + size
    if not found[0] or not found[1] or at > len(extradata):
        raise CannotCopy("its header is not whole")
    return found[0], found[1], (extradata[4] & 3) + 1


def first_number(bits: bytes) -> int:
    """The first Exp-Golomb number of a bit string (H.264, 9.1)."""
    text = "".join(f"{byte:08b}" for byte in bits[:8])
    zeros = text.index("1") if "1" in text else 0
    return int(text[zeros : 2 * zeros + 1] or "0", 2) - 1


def used_ids(sets: bytes) -> set[int]:
    """Numbers that the parameter sets of a copied recording bear: the encoder must take another."""
    ids = set()
    for unit in nal_units(sets, 0):
        ids.add(first_number(unit[4:] if unit[0] & 31 == _SPS else unit[1:]))
    return ids


def copy_source(probe: Probe, path: Path, size_px: tuple[int, int], colour: str) -> CopySource:
    """What of a part may be copied into a film of ``size_px``.

    ``colour`` other than "auto" says that the case overrules the file's own colours. Raises
    CannotCopy with the reason.
    """
    _refuse(probe, size_px, colour)
    with open_recording(path, probe.shown_as) as box:
        stream = box.streams[probe.source.stream_index]
        extradata = bytes(getattr(stream.codec_context, "extradata", None) or b"")
    sps, pps, length_bytes = parameter_sets(extradata)
    if any(unit[1] not in _PROFILES for unit in sps):
        raise CannotCopy("its profile is not one that every player knows")
    groups, delay = closed_groups(probe)
    if not groups:
        raise CannotCopy("it has no closed group of pictures")
    sets = b"".join(_START + unit for unit in (*sps, *pps))
    source = CopySource(probe, sets, length_bytes, groups, delay)
    _look_into(source, sps, pps)
    return source


def _refuse(probe: Probe, size_px: tuple[int, int], colour: str) -> None:
    video = probe.video
    reasons = {
        f"it is {video.codec}, not H.264": video.codec != "h264",
        f"its pictures are {video.pix_fmt}, not 8-bit 4:2:0": video.pix_fmt != "yuv420p",
        "its pictures are interlaced": video.interlaced,
        "its pictures are turned": video.rotation_deg != 0 or video.mirrored,
        "its pixels are not square": video.sar not in (0, 1),
        "it has another size than the film": video.coded_px != size_px,
        "its colours are not BT.709 of limited range": video.hdr
        or colour != "auto"
        or video.matrix != "bt709"
        or video.colour_range != "limited",
        "its time stamps are not steady": not probe.source.seekable or probe.timeline.by_order,
        "it is damaged": bool(probe.damage),
    }
    for reason, holds in reasons.items():
        if holds:
            raise CannotCopy(reason)


def closed_groups(probe: Probe) -> tuple[tuple[Group, ...], int]:
    """Groups whose pictures are shown together, and the frames by which decoding must run ahead."""
    line, table = probe.timeline, probe.source.table
    keys = [*np.flatnonzero(table.key).tolist(), len(table)]
    groups, delay = [], 0
    for first, stop in pairwise(keys):
        ticks = line.ticks[first:stop]
        if np.any(ticks == NONE) or np.any(table.corrupt[first:stop]):
            continue
        shown = np.searchsorted(line.shown, ticks)
        lowest = int(shown.min())
        whole = int(shown.max()) - lowest + 1 == stop - first == len(np.unique(shown))
        if whole and int(shown[0]) == lowest:
            groups.append(Group(first, stop, lowest))
            delay = max(delay, int((np.arange(stop - first) - (shown - lowest)).max()))
    return tuple(groups), delay


def _look_into(source: CopySource, sps: list[bytes], pps: list[bytes]) -> None:
    """Refuse a stream that changes its parameter sets on the way or has no IDR pictures.

    Looks at the first packet of every group.
    """
    table, known = source.probe.source.table, {*sps, *pps}
    with PacketDecoder(source.probe.source, threads=1) as packets:
        for group in source.groups:
            for _, data in packets.packets(group.first, group.first + 1):
                units = list(nal_units(data, source.length_bytes))
                if len(data) != table.size[group.first] or not any(
                    unit[0] & 31 == _IDR for unit in units
                ):
                    raise CannotCopy("its groups of pictures are not closed")
                if any(u[0] & 31 in (_SPS, _PPS) and u not in known for u in units):
                    raise CannotCopy("it changes its coding on the way")
