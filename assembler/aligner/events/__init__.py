"""What befell all tracks of a pass at once: they lie in the same sweeps of a tape.

Question: what do several tracks together say that none of them says alone?
Input: samples of all tracks of a block, or what comparing each track has given.
Output: standstills, strewn losses, flaws settled on one track by others, flaws of lone stretches.

In the order in which they act:

- `stuck`: a bit of the words of one track that stays as it is while those beside it move; likewise.
- `stops/`: all tracks of a pass stand still at once: it is as if it held nothing there.
- `strewn/`: samples lost here and there on all tracks, without a witness.
- `settle`: what some tracks decide settles the same place on the others.
- `lone`: the same moment on several tracks of a lone pass.
- `suspects`: of what stays open the places worth listening to, with the odds for a flaw.

The numbers stand in `limits`.
"""
