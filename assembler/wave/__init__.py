"""WAV files: chunk by chunk, read as they come and written as an archive wants them.

Question: which samples does a file hold, and what does it say about itself?
Input: an open stream from anywhere; samples and records, for a file to be written.
Output: `WaveFile`, with what is wrong with the file; `wave_header` and `wave_trailer` around the bytes of
`pack_samples`, with the payloads of `encode_bext`, `encode_ixml`, `encode_markers` and `encode_info` inside.

Each in its file:

- `chunks`: where the chunks of RIFF, RF64 and BW64 lie; `format`: how samples lie in one.
- `samples`: packed bytes to numbers and back.
- `reading`: a capture, read wherever samples are asked for; `writing`: the bytes around samples.
- `metadata/`: what a file says about itself.
"""

from assembler.wave.chunks import Chunk, ChunkMap, read_chunks
from assembler.wave.format import PcmFormat, encode_format, parse_format
from assembler.wave.metadata.bext import (
    BroadcastExtension,
    Loudness,
    coding_history_row,
    decode_bext,
    encode_bext,
)
from assembler.wave.metadata.info import decode_info, encode_info
from assembler.wave.metadata.ixml import TrackSheet, decode_ixml, encode_ixml
from assembler.wave.metadata.markers import Marker, decode_markers, encode_markers
from assembler.wave.metadata.text import fit_field, transliterate
from assembler.wave.reading import WaveFile, WaveInfo, read_info
from assembler.wave.samples import PackedSamples, pack_samples, unpack_samples
from assembler.wave.writing import LARGEST_RIFF, wave_header, wave_trailer

__all__ = [
    "LARGEST_RIFF",
    "BroadcastExtension",
    "Chunk",
    "ChunkMap",
    "Loudness",
    "Marker",
    "PackedSamples",
    "PcmFormat",
    "TrackSheet",
    "WaveFile",
    "WaveInfo",
    "coding_history_row",
    "decode_bext",
    "decode_info",
    "decode_ixml",
    "decode_markers",
    "encode_bext",
    "encode_format",
    "encode_info",
    "encode_ixml",
    "encode_markers",
    "fit_field",
    "pack_samples",
    "parse_format",
    "read_chunks",
    "read_info",
    "transliterate",
    "unpack_samples",
    "wave_header",
    "wave_trailer",
]
