"""The farm on the wire for tests."""

from tests.steady import steady

__all__ = ["steady"]
