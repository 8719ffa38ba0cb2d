"""Settings that hold for every test."""

from hypothesis import settings

# The gate draws the same examples on every machine; by hand they are fresh each time.
settings.register_profile("gate", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None)
settings.load_profile("explore")
