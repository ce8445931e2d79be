"""The page that a person reads: one self-contained file, made from the record alone."""

from assembler.report.grouping import TextLine, group_lines
from assembler.report.outcomes import outcome_words
from assembler.report.page import report_page

__all__ = ["TextLine", "group_lines", "outcome_words", "report_page"]
