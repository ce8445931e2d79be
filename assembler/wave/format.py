"""The ``fmt `` chunk: how samples lie in the data chunk.

Sources: Multimedia Programming Interface and Data Specifications 1.0 (IBM and Microsoft, 1991), WAVE pp.
56-65; WAVEFORMATEXTENSIBLE as documented with mmreg.h and ksmedia.h.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

from assembler.errors import WaveError

CONTAINER_BITS = (16, 24)

_PLAIN = struct.Struct("<HHIIHH")
_EXTENSIBLE = struct.Struct("<HHI16s")  # from byte 16: cbSize, valid bits, speaker mask, GUID
_TAG_PCM = 0x0001
_TAG_EXTENSIBLE = 0xFFFE
# The GUIDs of the old tags are the tag and this tail (ksmedia.h).
_GUID_TAIL = bytes.fromhex("000000001000800000AA00389B71")
_TAG_FLOAT = 0x0003
_OTHER_TAGS = {0x0006: "A-law compressed", 0x0007: "mu-law compressed"}
_ALLOWED = "16 or 24 bit PCM is needed"


@dataclass(frozen=True)
class PcmFormat:
    """PCM as it stands in a WAV file.

    Attributes:
        channels: samples in a frame, 1 or more.
        sample_rate: frames per second.
        container_bits: bits a sample takes in the file, 16 or 24.
        valid_bits: bits of these that carry sound, at most ``container_bits``; the low bits left over are
            zero.
    """

    channels: int
    sample_rate: int
    container_bits: int
    valid_bits: int

    @property
    def block_align(self) -> int:
        """Bytes in a frame: one sample of every channel."""
        return self.channels * self.container_bits // 8


def parse_format(payload: bytes) -> PcmFormat:
    """Return the sample format that a ``fmt `` payload describes.

    Plain PCM and the extensible header with PCM inside are read. Plain PCM of 20 bits in three bytes, as the
    1991 document has it, is 20 valid bits in 24.

    Raises:
        WaveError: the chunk is cut off or contradicts itself, or it describes anything but 16 or 24 bit PCM.
    """
    if len(payload) < _PLAIN.size:
        raise WaveError(f"the fmt chunk has {len(payload)} bytes, at least {_PLAIN.size} are needed")
    tag, channels, sample_rate, _, block_align, bits = _PLAIN.unpack_from(payload)
    valid_bits = bits
    if tag == _TAG_EXTENSIBLE:
        tag, valid_bits = _parse_extension(payload, bits)
    if tag != _TAG_PCM:
        raise WaveError(f"{_name_tag(tag, bits)}; {_ALLOWED}")
    if channels == 0 or sample_rate == 0:
        raise WaveError(f"the fmt chunk says {channels} channels at {sample_rate} Hz; neither may be 0")
    container_bits = -(-bits // 8) * 8
    if container_bits not in CONTAINER_BITS:
        raise WaveError(f"{bits}-bit PCM; {_ALLOWED}")
    if block_align != channels * container_bits // 8:
        raise WaveError(
            f"the fmt chunk says {block_align} bytes a frame; {channels} x {container_bits} bits are needed"
        )
    if not 0 < valid_bits <= container_bits:
        raise WaveError(f"the fmt chunk says {valid_bits} valid bits in {container_bits}")
    return PcmFormat(channels, sample_rate, container_bits, valid_bits)


def encode_format(pcm: PcmFormat) -> bytes:
    """Return the 16-byte ``fmt `` payload of plain PCM.

    Never the extensible header: several readers refuse it. Fewer valid bits than the container has are
    therefore not in this chunk; who writes the file says them elsewhere (coding history, iXML).

    Raises:
        WaveError: the format does not fit the chunk's fields or is not 16 or 24 bit.
    """
    if pcm.container_bits not in CONTAINER_BITS or not 0 < pcm.valid_bits <= pcm.container_bits:
        raise WaveError(f"{pcm.valid_bits} bits in {pcm.container_bits}; {_ALLOWED}")
    byte_rate = pcm.sample_rate * pcm.block_align
    if pcm.channels < 1 or pcm.sample_rate < 1 or pcm.block_align > 0xFFFF or byte_rate > 0xFFFFFFFF:
        raise WaveError(f"{pcm.channels} channels at {pcm.sample_rate} Hz do not fit into a fmt chunk")
    rate_fields = (pcm.sample_rate, byte_rate, pcm.block_align)
    return _PLAIN.pack(_TAG_PCM, pcm.channels, *rate_fields, pcm.container_bits)


def _parse_extension(payload: bytes, bits: int) -> tuple[int, int]:
    """Return the format tag and the valid bits that an extensible header gives."""
    if len(payload) < _PLAIN.size + _EXTENSIBLE.size:
        raise WaveError(f"the extensible fmt chunk has {len(payload)} bytes, 40 are needed")
    _, valid_bits, _, guid = _EXTENSIBLE.unpack_from(payload, _PLAIN.size)
    if guid[2:] != _GUID_TAIL:
        raise WaveError(f"an unknown kind of samples (GUID {guid.hex()}); {_ALLOWED}")
    # Some programs leave the field 0 where every bit of the container is used.
    return int.from_bytes(guid[:2], "little"), valid_bits or bits


def _name_tag(tag: int, bits: int) -> str:
    if tag == _TAG_FLOAT:
        return f"{bits}-bit floating point"
    return _OTHER_TAGS.get(tag, "compressed") + f" (format tag 0x{tag:04X})"
