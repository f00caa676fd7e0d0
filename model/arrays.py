"""Names for the array types used in signatures."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.floating[Any]]
Complex = NDArray[np.complexfloating[Any, Any]]
