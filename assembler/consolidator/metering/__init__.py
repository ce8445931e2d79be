"""What is measured on every delivered track, in one pass over its samples."""

from assembler.consolidator.metering.track import TrackMeter
from assembler.record.written import TrackLevels

__all__ = ["TrackLevels", "TrackMeter"]
