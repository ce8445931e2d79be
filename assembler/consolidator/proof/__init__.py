"""The proof of a set.

Question: is a set whole, does it say what its record says, and does every sample follow from the captures?
Input: a folder from anywhere, and for the last question the sheet beside the captures.
Output: problems, each with its file and place; the number of samples proved.

Each in its file:

- `verifying`: the whole set: bag, record, papers, tracks, and with a sheet the proof.
- `examining`: one track against the record: header, metadata, samples as libsndfile decodes them.
- `proving`: every sample computed again from the captures, and measured again.
"""
