"""Takes the place of the package of that name: the wrapper loads the stand-in through it.

Put this folder first on the path, and the library's file into STANDIN_LIBRARY.
"""

import ctypes
import os


def load_librtlsdr() -> ctypes.CDLL:
    return ctypes.CDLL(os.environ["STANDIN_LIBRARY"])
