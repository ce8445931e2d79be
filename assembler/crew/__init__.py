"""Work shared among processes: a task and what it needs go out, what came of it comes back.

Question: how is work shared among processes so that nothing differs but the time, and nobody is left behind?
Input: a function and its arguments, once for each piece of work.
Output: what each has given, in the order of the arguments; the first error; the end of all processes.

Each in its file:

- `crew`: who gets which task, progress, errors, ends.
- `worker`: a worker as the process sees it that started it; `serving`: the worker's own side.
- `forking`: when a process may be forked, and what it does first.
"""

from assembler.crew.crew import Crew, cores
from assembler.crew.forking import begin_forked, has_one_thread, let_signals_come, signals_held

__all__ = ["Crew", "begin_forked", "cores", "has_one_thread", "let_signals_come", "signals_held"]
