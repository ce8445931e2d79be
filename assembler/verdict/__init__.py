"""What a person is told of a session, and what a person has said to it: the words that all rooms share.

Question: what has been saved for certain, what asks for somebody, and what has somebody signed?
Input: none; the aligner, the importer and the sheet make these records.
Output: frozen records, and plain arithmetic on stretches.

Each in its file:

- `notes`: what was corrected or found, by kinds; which of them need a person.
- `states`: proven, seen once, suspect, flawed, missing: the state of each stretch of a tape; shares of it, in words.
- `signed`: places that a person lets stand, stretches that were never recorded.
"""
