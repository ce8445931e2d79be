"""The edit for other programs: ``timeline.otio`` for OpenTimelineIO readers.

Question: what does a timeline file of a set say, to the sample?
Input: a `RecordedSet`, or the bytes of a file from anywhere.
Output: a `Timeline`, alike from both; the bytes of a file.

Each in its file:

- `timeline`: the records, and those of a set.
- `otio`: these as the library writes and reads them.
"""
