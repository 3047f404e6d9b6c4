"""A time-series server as the site file describes it: immutable values for the wiring."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gaugehouse.sitefile.secret import SecretPlace
from gaugehouse.sitefile.serverschema import ServerTable


@dataclass(frozen=True, slots=True)
class ServerSpec:
    """A second home of the readings. org: "" where the server knows none. reads: it is asked, in InfluxQL, for what the
    embedded store has let go."""

    id: str
    url: str
    org: str
    bucket: str
    token: SecretPlace | None = None
    ca: Path | None = None
    reads: bool = False


def server_of(table: ServerTable, folder: Path) -> ServerSpec:
    token = None
    if table.token_file is not None or table.token_env is not None:
        file = None if table.token_file is None else folder / table.token_file
        token = SecretPlace(f"store.server[{table.id}].token", file, table.token_env)
    ca = None if table.ca is None else folder / table.ca
    return ServerSpec(table.id, table.url.rstrip("/"), table.org or "", table.bucket, token, ca, table.reads)


def settings_of_server(spec: ServerSpec) -> Mapping[str, Any]:
    """What is compared and journaled: of a token only where it is kept."""
    token = spec.token or SecretPlace("")
    return {
        "url": spec.url, "org": spec.org, "bucket": spec.bucket, "token_file": token.file, "token_env": token.env,
        "ca": spec.ca, "reads": spec.reads,
    }  # fmt: skip
