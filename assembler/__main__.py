"""``python -m assembler``."""

from assembler.cli import main

if __name__ == "__main__":  # a worker process loads this module too
    main()
