"""Where a pass lies by its own source of timecode, before its sound is compared with any other.

Question: where does its log, its stripe, its label or its header put a pass, and how surely?
Input: a pass of the sheet, its open audio, the log or stripe beside it; all passes, where they settle together.
Output: a `Position` a pass, with slips and doubts, and notes on what its log shows.

Each in its file:

- `source`: which source a pass has; a label and a time reference are places by themselves.
- `log`: what a MIDI log says; `stripe`: what linear timecode says.
- `position`: the answer, and what is asked.
- `settling`: clocks of all passes to places, those of one interface together.
- `counts`: whether a log drops frames, answered by others; `midnight`: labels begin again, the timeline runs on.
- `notes`: what a log shows, in words.
"""
