"""Work shared among processes: a task and what it needs go out, what came of it comes back."""

from assembler.crew.crew import Crew, cores

__all__ = ["Crew", "cores"]
