"""The parts of the page, each made from the record alone.

In: the record of a set. Out: frozen rows, bars and charts that the templates write down. `marks` gives places their
labels, `tables` says what a table is, `places` and `lists` make the tables, `strips` and `clocks` what is drawn without
a script, `banner` what set the status, `data` what the script of the page gets.
"""
