"""Linear timecode: a stripe of sound that tells, by edges in it, where the tape was."""

from assembler.timecode.ltc.decoding import LtcLog, decode_ltc
from assembler.timecode.ltc.encoding import encode_ltc
from assembler.timecode.ltc.points import ltc_points

__all__ = ["LtcLog", "decode_ltc", "encode_ltc", "ltc_points"]
