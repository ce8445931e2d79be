"""Assembles flawed captures of digital session tapes into one verified deliverable set."""

__version__ = "0.1.0"
