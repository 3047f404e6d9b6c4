"""What an installation is made of, as a CycloneDX 1.6 bill of materials: `python deploy/sbom.py FILE`.

Reads the packages that are installed beside gaugehouse: itself and whatever it needs to run, down to the last one, with
versions, licences and checksums where the installer left them. Nothing is asked of any network.
Source of the format: ECMA-424, CycloneDX v1.6.
"""

import json
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib.metadata import Distribution, PackageMetadata, PackageNotFoundError, distribution
from pathlib import Path
from typing import Any
from uuid import uuid4

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

Json = dict[str, Any]

ROOT = "gaugehouse"


def needed(root: str) -> dict[str, tuple[Distribution, list[str]]]:
    """By name: what is installed of a package and all that it needs, each with the names that it needs itself.

    Raises `PackageNotFoundError` where something needed is not installed.
    """
    found: dict[str, tuple[Distribution, list[str]]] = {}
    waiting: list[tuple[str, frozenset[str]]] = [(canonicalize_name(root), frozenset())]
    seen: set[tuple[str, frozenset[str]]] = set()
    while waiting:
        name, extras = waiting.pop()
        if (name, extras) in seen:
            continue
        seen.add((name, extras))
        package = distribution(name)
        needs = sorted(_needs(package, extras))
        found[name] = package, sorted({*found.get(name, (None, []))[1], *(need for need, _ in needs)})
        waiting += needs
    return found


def _needs(package: Distribution, extras: frozenset[str]) -> Iterator[tuple[str, frozenset[str]]]:
    for text in package.requires or ():
        requirement = Requirement(text)
        marker = requirement.marker
        if marker is None or any(marker.evaluate({"extra": extra}) for extra in (*extras, "")):
            yield canonicalize_name(requirement.name), frozenset(requirement.extras)


def bill(root: str = ROOT) -> Json:
    """The whole document."""
    packages = needed(root)
    top = packages[root][0]
    return {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "serialNumber": f"urn:uuid:{uuid4()}",
        "version": 1,
        "metadata": {
            "timestamp": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            "component": component(top, kind="application"),
        },
        "components": [component(package) for name, (package, _) in sorted(packages.items()) if name != root],
        "dependencies": [
            {"ref": purl(package), "dependsOn": sorted(purl(packages[need][0]) for need in needs)}
            for _, (package, needs) in sorted(packages.items())
        ],
    }


def purl(package: Distribution) -> str:
    """A package's address (Package URL specification, type pypi)."""
    return f"pkg:pypi/{canonicalize_name(package.metadata['Name'])}@{package.version}"


def component(package: Distribution, *, kind: str = "library") -> Json:
    out: Json = {
        "type": kind,
        "bom-ref": purl(package),
        "name": package.metadata["Name"],
        "version": package.version,
        "purl": purl(package),
    }
    said = licence(package.metadata)
    if said:
        out["licenses"] = [{"license": {"name": said}}]
    return out


def licence(metadata: PackageMetadata) -> str:
    """The licence in the package's own words: an expression, one line, or its classifiers; "" where it says none."""
    expression = metadata.get("License-Expression") or ""
    line = (metadata.get("License") or "").strip()
    classes = [
        text.rpartition(" :: ")[2] for text in metadata.get_all("Classifier", []) if text.startswith("License ::")
    ]
    return expression or (line if line and "\n" not in line and len(line) < 100 else "") or "; ".join(classes)


def main(words: list[str]) -> int:
    if len(words) != 1:
        print("call: python deploy/sbom.py FILE", file=sys.stderr)
        return 2
    try:
        document = bill()
    except PackageNotFoundError as error:
        print(f"{error.name}: is needed and not installed; run this in an environment with gaugehouse", file=sys.stderr)
        return 2
    path = Path(words[0])
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")
    print(f"{path}: {len(document['components'])} packages")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
