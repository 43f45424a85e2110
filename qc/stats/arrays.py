"""Arrays of floating-point numbers, as statistics pass them on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
