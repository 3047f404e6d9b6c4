"""Programs from outside that tests talk to. One rule for all: missing is said, and fails where they are required."""

import os
import shutil
from typing import NoReturn

import pytest

REQUIRED = os.environ.get("GAUGEHOUSE_REQUIRE_SERVICES") == "1"

_SBIN = "/usr/sbin:/usr/local/sbin"


def need(program: str, package: str = "") -> str:
    """The path of an installed program; without it the test is left out, or fails where all are required."""
    path = shutil.which(program, path=os.environ.get("PATH", "") + os.pathsep + _SBIN)
    if path:
        return path
    missing(f"{program} (Debian package {package or program}) is not installed")


def missing(what: str) -> NoReturn:
    """Leave the test out, or fail it where GAUGEHOUSE_REQUIRE_SERVICES=1."""
    if REQUIRED:
        pytest.fail(f"left out although GAUGEHOUSE_REQUIRE_SERVICES=1: {what}")
    pytest.skip(f"left out: {what}")
