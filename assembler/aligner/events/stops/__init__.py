"""All tracks of a pass stand still at once, or hold once more what was before.

Question: where could a machine read nothing at all, or a recorder write nothing new?
Input: samples of all tracks of all passes, block by block.
Output: stops, those that music may make left out; passes as they are heard: as if they held nothing there.

- `stop`: what a block shows of a stretch, and what the whole of it proves.
- `standstill`: all tracks of a pass stand still while another pass sounds, or are cut out at once.
- `twice`: all tracks of a pass hold what they held before, where another pass goes on or none is.
- `pace`: stops of all blocks joined; what may be played is told from a machine's by the pace of its drum, or by a pass
  that stops there, too.
"""
