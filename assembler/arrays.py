"""Array types, named once.

Audio is kept as whole numbers at the word length of the set: shape ``(samples,)`` for one track and
``(samples, tracks)`` for several, C order, ``int32``.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Bools: TypeAlias = NDArray[np.bool_]
Bytes: TypeAlias = NDArray[np.uint8]
Int32s: TypeAlias = NDArray[np.int32]
Int64s: TypeAlias = NDArray[np.int64]
UInt64s: TypeAlias = NDArray[np.uint64]
Float32s: TypeAlias = NDArray[np.float32]
Float64s: TypeAlias = NDArray[np.float64]
