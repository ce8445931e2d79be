"""The page that a person reads: one self-contained file, made from the record alone."""

from assembler.report.page import report_page

__all__ = ["report_page"]
