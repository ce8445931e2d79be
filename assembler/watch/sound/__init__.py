"""The sound of a capture that grows.

Question: what of it is looked at next, and what does that show that was not reported before?
Input: samples as they come; finished passes beside them.
Output: flaws, slips, levels and tracks that are alike, each once.

Each in its file:

- `examining`: new sound, looked at by the aligner's own rules, alone or beside finished passes.
- `beside`: where it lies beside them. `scales`: what its sample values mean.
- `levels`: how loud it is, and which tracks are alike.
- `silences`: what one track shows alone, weighed by all of its silences so far.
- `windows`: from where on each track is looked at again, so that nothing hides across the end of a look.
- `told`: what has been reported already.
"""
