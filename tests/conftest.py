"""What holds for every test: a busy machine is no reason to fail."""

from hypothesis import settings

settings.register_profile("tensionlog", deadline=None)
settings.load_profile("tensionlog")
