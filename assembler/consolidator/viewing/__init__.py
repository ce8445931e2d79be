"""What the page shows of places, made while tracks are rendered.

Question: what is there to see and hear of a place?
Input: the record as it is planned, the edit, and the samples of a track while it is rendered.
Output: `Views`, within the limit of a page.

Each in its file:

- `choosing`: which places there are, in which order they count, which of them get waveforms and clips.
- `layout`: which windows and which clip a place has.
- `tracing`: samples to drawn lines; `hushing`: to a clip that is never louder than its source.
- `sources`: what of a track is shown, and the one part that reads: passes, short ranges of them.
- `viewer`: a track's views, made block by block; `gathering`: those of all tracks, cut to the limit.

The numbers stand in `limits`.
"""

from assembler.consolidator.viewing.choosing import Choice, choose_places
from assembler.consolidator.viewing.gathering import MadeView, gather_views
from assembler.consolidator.viewing.sources import TrackSources, track_sources
from assembler.consolidator.viewing.viewer import TrackViewer

__all__ = [
    "Choice",
    "MadeView",
    "TrackSources",
    "TrackViewer",
    "choose_places",
    "gather_views",
    "track_sources",
]
