"""The bill of materials is one by the format's own schema, and holds what the daemon really loads.

Source: the JSON schema of CycloneDX 1.6 (ECMA-424), as it ships in the reference library `cyclonedx-python-lib`.
"""

import json
from importlib.metadata import requires, version
from pathlib import Path

import pytest
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from deploy.audit import judged, packages_of
from deploy.sbom import main, needed


@pytest.fixture(scope="module")
def direct() -> set[str]:
    """What the installed gaugehouse says that it needs, extras left out."""
    needs = [Requirement(text) for text in requires("gaugehouse") or ()]
    return {canonicalize_name(one.name) for one in needs if one.marker is None or one.marker.evaluate({"extra": ""})}


def test_the_bill_is_one_by_the_schema_and_holds_every_direct_need(
    tmp_path: Path, direct: set[str], capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "build" / "sbom.json"
    assert main([str(path)]) == 0
    text = path.read_text(encoding="utf-8")
    assert JsonStrictValidator(SchemaVersion.V1_6).validate_str(text) is None
    bill = json.loads(text)
    versions = {canonicalize_name(one["name"]): one["version"] for one in bill["components"]}
    assert direct <= versions.keys()
    assert all(version(name) == found for name, found in versions.items())
    assert "gaugehouse" not in versions
    assert {"pytest", "ruff"}.isdisjoint(versions), "what only developers need is no part of an installation"
    refs = {one["bom-ref"] for one in bill["components"]} | {bill["metadata"]["component"]["bom-ref"]}
    assert {ref for row in bill["dependencies"] for ref in (row["ref"], *row["dependsOn"])} == refs
    assert f"{len(versions)} packages" in capsys.readouterr().out
    assert len(packages_of(bill)) == len(versions)


def test_a_broken_bill_is_found_by_the_schema() -> None:
    assert JsonStrictValidator(SchemaVersion.V1_6).validate_str('{"bomFormat": "CycloneDX", "components": 1}')


def test_what_an_extra_brings_is_followed() -> None:
    assert "pyserial" in needed("pymodbus") or "pyserial" in needed("gaugehouse"), "pymodbus[serial]"
    assert main([]) == 2


FOUND = {"name": "a", "version": "1", "vulns": [{"id": "X-1", "fix_versions": ["2"]}]}


@pytest.mark.parametrize(
    ("answer", "status", "words"),
    [
        ("", 3, "NOT AUDITED"),
        ("no network", 3, "NOT AUDITED"),
        (json.dumps({"dependencies": [{"name": "a", "version": "1", "vulns": []}]}), 0, "1 packages, no known"),
        (json.dumps({"dependencies": [FOUND]}), 1, "a 1: X-1, mended in 2"),
        (json.dumps({"dependencies": [{"name": "b", "skip_reason": "not found"}]}), 3, "NOT AUDITED"),
        (json.dumps({"dependencies": [FOUND, {"name": "b", "skip_reason": "not found"}]}), 1, "X-1"),
    ],
)
def test_an_audit_that_saw_nothing_is_never_called_clean(answer: str, status: int, words: str) -> None:
    code, told = judged(answer)
    assert code == status
    assert words in "\n".join(told)
