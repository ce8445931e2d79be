"""``python -m assembler``."""

from assembler.cli import main

main()
