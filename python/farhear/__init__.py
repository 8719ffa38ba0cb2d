"""farhear: what can be heard on the shortwave broadcast bands from here, when, and why not."""

from farhear import ionosphere, magnetic, noise, path, reception, skywave, sun
from farhear._core import __version__
from farhear.errors import FarhearError, FarhearWarning, InputError
from farhear.times import UtcTimes, utc

__all__ = [
    "FarhearError",
    "FarhearWarning",
    "InputError",
    "UtcTimes",
    "__version__",
    "ionosphere",
    "magnetic",
    "noise",
    "path",
    "reception",
    "skywave",
    "sun",
    "utc",
]
