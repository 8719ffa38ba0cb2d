"""What farhear raises and warns of."""

from farhear._core import FarhearError, InputError

__all__ = ["FarhearError", "FarhearWarning", "InputError"]


class FarhearWarning(UserWarning):
    """Something is doubtful but not wrong; the text says what and how large the effect may be."""
