"""The sound of a capture that grows: what of it is looked at next, and what that shows.

- `examining`: new sound, looked at by the aligner's own rules, alone or `beside` finished passes.
- `levels`: how loud it is, and which tracks are alike.
- `silences`: what one track shows alone, weighed by all of its silences so far.
- `windows`: from where on each track is looked at again, so that nothing hides across the end of a look.
- `told`: what has been reported already.
"""
