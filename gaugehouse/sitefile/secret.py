"""Secrets: read from a file or from the environment when they are needed, never from the site file.

They are never kept, shown or logged; `without_secrets` takes them out of what others say about them.
"""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple
from urllib.parse import quote, unquote, urlsplit

from gaugehouse.errors import CallError

if TYPE_CHECKING:
    from gaugehouse.sitefile.facts import MqttSpec

SHORTEST: Final = 4
"""Parts of a secret that are shorter stand in every other text, and give nothing away."""

HIDDEN: Final = "***"


class SecretPlace(NamedTuple):
    """Where a secret is kept: a file or an environment variable. key: of the site file, without `_file` or `_env`."""

    key: str
    file: Path | None = None
    env: str | None = None


def read_secret(place: SecretPlace, environment: Mapping[str, str]) -> str:
    """The secret. Raises `CallError` where the place that is named holds none."""
    what = place.key.rpartition(".")[2]
    if place.file is not None:
        try:
            word = place.file.read_text(encoding="utf-8").rstrip("\r\n")
        except UnicodeDecodeError as exc:  # its own words would quote the file's bytes
            raise CallError(f"{place.key}_file: {place.file} is no text in UTF-8; save it as UTF-8") from exc
        except OSError as exc:
            raise CallError(f"{place.key}_file: {place.file} cannot be read: {exc}") from exc
        if not word:
            raise CallError(f"{place.key}_file: {place.file} is empty; write the {what} into it")
        return word
    word = environment.get(place.env or "", "")
    if not word:
        raise CallError(f"{place.key}_env: the variable {place.env} is not set; set it for the daemon")
    return word


def read_password(mqtt: "MqttSpec", environment: Mapping[str, str]) -> str | None:
    """The broker's password, None where none is set. Raises `CallError` where the place that is named holds none."""
    if mqtt.password_file is None and mqtt.password_env is None:
        return None
    return read_secret(SecretPlace("mqtt.password", mqtt.password_file, mqtt.password_env), environment)


def without_secrets(text: str, secrets: Iterable[str]) -> str:
    """A text of others with every secret, and every part of a secret address, taken out of it."""
    parts: set[str] = set()
    for secret in secrets:
        for line in secret.splitlines():
            parts |= _parts(line.strip())
    for part in sorted(parts, key=len, reverse=True):
        text = text.replace(part, HIDDEN)
    return text


def _parts(secret: str) -> set[str]:
    """A secret as it may stand in a message: whole, quoted, and of an address the parts that open a door."""
    found = {secret, quote(secret, safe=""), unquote(secret)}
    try:
        address = urlsplit(secret)
        if address.scheme and address.netloc:
            found |= {address.username or "", address.password or "", address.path, address.query}
            found |= {
                *address.path.split("/"),
                *(word for pair in address.query.split("&") for word in pair.split("=")),
            }
            if address.scheme not in ("http", "https", "mailto", "mailtos"):
                found.add(address.hostname or "")  # many services carry a token where others have a host
                found.add(address.netloc)
            found |= {unquote(part) for part in found}
    except ValueError:
        pass
    return {part for part in found if len(part) >= SHORTEST}
