"""The page that a person reads: one self-contained file, made from the record alone."""

from assembler.report.grouping import TextLine, group_lines
from assembler.report.outcomes import outcome_words
from assembler.report.page import load_page, report_page
from assembler.report.reasons import RULE_WORDS, because_words, reason_words, with_reason

__all__ = [
    "RULE_WORDS",
    "TextLine",
    "because_words",
    "group_lines",
    "load_page",
    "outcome_words",
    "reason_words",
    "report_page",
    "with_reason",
]
