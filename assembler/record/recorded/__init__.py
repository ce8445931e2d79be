"""Is this a record of a set, and what does it say?

In: the bytes of an ``assembly.json``. Out: a `RecordedSet`, checked by pydantic and by what its parts say of each
other, or a ValueError with the first key at fault.
"""
