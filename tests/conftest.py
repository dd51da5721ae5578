"""How all tests are run."""

from hypothesis import settings

# How long one example takes says little on a machine that others use too, and what must be quick has a test
# of its own: none fails for being slow once.
settings.register_profile("anywhere", deadline=None)
settings.load_profile("anywhere")
