"""What farhear raises and warns of."""

from farhear._core import FarhearError, InputError

__all__ = ["FarhearError", "FarhearWarning", "InputError"]

# they are made by the core, where a text would stand for that of Python's own
FarhearError.__doc__ = "Whatever this package raises on purpose."
InputError.__doc__ = "A value, file or table that cannot be used; the text names it and the range."


class FarhearWarning(UserWarning):
    """Something is doubtful but not wrong; the text says what and how large the effect may be."""
