"""The parts of the page, each made from the record alone.

Question: what stands in each table and chart of the page?
Input: the record of a set.
Output: frozen rows, bars and charts that the templates write down.

Each in its file:

- `banner`: what set the status, each with the row that it stands in.
- `places`: open and accepted places, flaws, notes; `lists`: passes, levels, joins, files; `tables`: what a table is.
- `strips`: from which pass each track comes; `clocks`: charts of the logs.
- `data`: what the script of the page gets; `marks`: labels of places.
"""
