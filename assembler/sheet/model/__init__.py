"""What a sheet may say, key by key.

Question: which tables and keys does a sheet have, and what may each of them hold by itself?
Input: the values of one table, as TOML gives them.
Output: frozen records, or words on what was found and what is allowed.

Each in its file:

- `tables`: session, reel, pass, repair, deliver; the whole sheet.
- `stretches`: punches, accepted places, what was never recorded: what is said of one stretch of a reel.
- `sources`: the several ways of naming where a pass has its place from.
- `values`: texts and names, how a value that was found is shown, and what every table has in common.
"""
