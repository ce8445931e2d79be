"""What is measured on every delivered track, in one pass over its samples."""

from assembler.consolidator.metering.track import TrackLevels, TrackMeter

__all__ = ["TrackLevels", "TrackMeter"]
