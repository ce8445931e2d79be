"""What is measured on every delivered track, in one pass over its samples.

Question: how loud is a track, how high its peaks, how many of its bits are used?
Input: samples of one channel, block by block.
Output: `TrackLevels`, in memory that does not grow.

Each in its file:

- `track`: all measures of a track together. `levels`: of samples as numbers.
- `loudness`: programme loudness and range; `weighting`: the filter before them. `true_peak`: between samples.
- `slots`: the grid that measures in time share.
"""

from assembler.consolidator.metering.track import TrackMeter
from assembler.record.written import TrackLevels

__all__ = ["TrackLevels", "TrackMeter"]
