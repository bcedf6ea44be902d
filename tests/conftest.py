"""Settings for every test."""

from hypothesis import settings

# A busy machine is slow, not wrong.
settings.register_profile("tensionlog", deadline=None, max_examples=20)
settings.register_profile("nightly", deadline=None, max_examples=2000)
settings.load_profile("tensionlog")
