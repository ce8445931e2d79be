"""Linear timecode: a stripe of sound that tells, by edges in it, where the tape was.

Question: what timecode does a stripe tell, and at which sample?
Input: the samples of a stripe in blocks, and the sheet's frame rate.
Output: words that are believed, and `TimecodePoints` as those of a log. The other way round, for tests.

Each in its file:

- `decoding`: samples to words in bounded memory. `edges`: where the level changes; `cells`: edges to bits.
- `word`: the 80 bits that tell a frame; `believing`: which words to believe.
- `points`: points for the clock fit. `encoding`: a stripe as a generator would send it.
"""

from assembler.timecode.ltc.decoding import LtcLog, decode_ltc
from assembler.timecode.ltc.encoding import encode_ltc
from assembler.timecode.ltc.points import ltc_points

__all__ = ["LtcLog", "decode_ltc", "encode_ltc", "ltc_points"]
