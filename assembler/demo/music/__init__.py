"""The music that the demo's tapes hold: voices, the piece they play, and the converters that record it."""
