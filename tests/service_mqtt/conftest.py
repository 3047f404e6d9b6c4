"""The publisher and its brokers for tests."""

from tests.steady import steady

__all__ = ["steady"]
