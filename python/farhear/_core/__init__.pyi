from __future__ import annotations
from . import clock as clock
from . import path as path
from . import zone as zone
from . import sun as sun
from . import magnetic as magnetic
from . import ionosphere as ionosphere
from . import noise as noise
from . import losses as losses
from . import antenna as antenna
from . import listening as listening
from . import skywave as skywave
from . import sporadic as sporadic
from . import rays as rays
from . import circuit as circuit
from . import lightning as lightning
from . import reception as reception

class FarhearError(Exception):
    """
    Whatever this package raises on purpose.
    """

class InputError(FarhearError, ValueError):
    """
    A value, file or table that cannot be used; the text names it and the range.
    """

__version__: str
build: str
