"""What stands in the header of a delivered track?

In: a `RecordedSet` and which track. Out: the chunks, byte for byte, and notes of what they have no room for.
"""
