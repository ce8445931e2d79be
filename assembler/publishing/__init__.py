"""What this program writes for a person reaches the disk whole or not at all.

Question: how does a set, a sheet, a plan or a page get its name only once all of it stands?
Input: bytes and texts, and the name that they are to have, which is free.
Output: the target, complete and synced, or a PublishError and nothing; the publication, which knows what stands.

Each in its file:

- `staging`: a set in the making, its last sync, the one rename; whether there is room for it.
- `text`: one file of text; a text in the place of one that a person wrote, which is kept beside it.
- `scaffold`: the private folder beside a target, its lock and mark, what killed runs left.
- `staged`: the files of a set while they are made, in any process: written, synced, read back.
- `publication`: what a run puts in place, and whether it stands, asked of the disk.
- `disk`: every change that is made to the disk, and why it refuses one.

This text alone is loaded with the room: help needs the publication, and nothing else.
"""
