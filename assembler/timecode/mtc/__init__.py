"""MIDI timecode decoded.

Question: what timecode did the messages tell, and when?
Input: a `MidiLog` and the sheet's frame rate.
Output: `TimecodePoints`: frames against log seconds, what kind of count they show, and what was found.

Each in its file:

- `decoding`: quarter frames to points; `readings`: to whole readings first, disorder sorted out.
- `counting`: whether labels are left out as drop frame leaves them out.
- `words`: what was found, in an engineer's words.
"""
