"""Files that others made.

Question: how is a file read that may be a pipe, may be replaced, or may change while it is read?
Input: a path from a sheet, a command line or a program.
Output: an open file whose bytes, digest and state belong together, or a CaptureError that says what the path is.

Each in its file:

- `regular`: what a path stands for; a regular file opened without waiting for anybody.
- `files`: an open file with its digest and its state, the same in every process; whether it is unchanged.
"""

from assembler.inputs.files import FileState, InputFile
from assembler.inputs.regular import AnyPath, is_utf8, kind_of, open_regular

__all__ = ["AnyPath", "FileState", "InputFile", "is_utf8", "kind_of", "open_regular"]
