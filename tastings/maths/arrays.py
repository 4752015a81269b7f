"""Array types of the numerical code; shapes stand in the docstrings of what takes them."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
IndexArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]
PixelArray = NDArray[np.uint8]
