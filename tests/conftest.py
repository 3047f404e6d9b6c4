"""What holds for every test."""

from hypothesis import settings

settings.register_profile("house", deadline=None)  # a busy machine is no finding; pytest-timeout bounds a test
settings.load_profile("house")
