"""The collector's wires for tests."""

from tests.steady import steady

__all__ = ["steady"]
