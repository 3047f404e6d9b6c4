"""What is shipped for running it: example sites load, the units are tight, the container has no root."""

import re
import subprocess
import tomllib
from pathlib import Path

import pytest
import yaml

from gaugehouse.site import load_site
from tests.services import need

DEPLOY = Path(__file__).parents[2] / "deploy"
EXAMPLES = sorted(DEPLOY.glob("examples/*.toml")) + sorted(DEPLOY.glob("examples/*/site.toml"))
UNITS = sorted(DEPLOY.glob("systemd/*.service"))
MOST_EXPOSED = 2.0


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_an_example_site_loads_and_says_that_it_is_invented(path: Path) -> None:
    assert load_site(path).tanks
    assert "invented" in path.read_text(encoding="utf-8")


def test_there_is_an_example_of_a_serial_line_and_of_many_units_behind_a_gateway() -> None:
    kinds = {}
    for path in EXAMPLES:
        site = tomllib.loads(path.read_text(encoding="utf-8"))
        kinds[path.stem] = {bus["kind"] for bus in site["bus"]}, len(site["instrument"])
    assert kinds["serial-line"] == ({"rtu"}, 3)
    assert kinds["many-units"] == ({"tcp"}, 12)


@pytest.mark.service
@pytest.mark.parametrize("unit", UNITS, ids=lambda path: path.stem)
def test_a_unit_is_tight_by_systemds_own_reckoning(unit: Path) -> None:
    program = need("systemd-analyze", "systemd")
    said = subprocess.run([program, "security", "--offline=true", unit], capture_output=True, text=True, check=False)
    found = re.search(r"Overall exposure level for \S+: ([\d.]+)", said.stdout)
    assert found is not None, said.stdout + said.stderr
    assert float(found.group(1)) <= MOST_EXPOSED


@pytest.mark.service
@pytest.mark.parametrize("unit", UNITS, ids=lambda path: path.stem)
def test_a_unit_has_no_key_that_systemd_does_not_know(unit: Path) -> None:
    program = need("systemd-analyze", "systemd")
    said = subprocess.run([program, "verify", "--man=no", unit], capture_output=True, text=True, check=False)
    wrong = [line for line in said.stderr.splitlines() if unit.stem in line and "is not executable" not in line]
    assert wrong == []


def test_the_container_has_no_root_and_every_service_a_read_only_root() -> None:
    words = (DEPLOY / "container/Containerfile").read_text().split("FROM ")[-1]
    assert re.search(r"^USER [1-9]\d*$", words, re.MULTILINE)
    services = yaml.safe_load((DEPLOY / "container/compose.yaml").read_text())["services"]
    assert set(services) == {"gaugehouse", "broker", "series"}
    for name, service in services.items():
        assert service["read_only"] is True, name
        assert service["cap_drop"] == ["ALL"], name
        assert all(port.startswith("127.0.0.1:") for port in service.get("ports", [])), name
