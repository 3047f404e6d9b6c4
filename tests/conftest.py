"""What holds for every test."""

import gc

from hypothesis import HealthCheck, settings

# A busy machine is no finding; pytest-timeout bounds a test.
settings.register_profile("house", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("house")


def pytest_collection_finish() -> None:
    """What was loaded to collect the tests stays; each full collection of garbage would look through it again."""
    gc.collect()
    gc.freeze()
