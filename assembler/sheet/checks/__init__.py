"""What the tables of a sheet must say about each other.

Question: does every name stand for something, is every label one, and does no table contradict another?
Input: the tables as far as they could be read, and where in the file each stands.
Output: problems, each with its key; none for a sheet that may be used.

Each in its file:

- `tables`: names used twice, unknown reels, labels, paths that leave the folder.
- `stretches`: passes and tracks that stretches name; two that take one place from different passes.
- `labels`: what is wrong with a label, and which of two is later.
- `named`: the tables themselves, and what their names stand for.
"""
