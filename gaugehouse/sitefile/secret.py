"""The one secret of a site: read from a file or from the environment when connecting, never from the site file."""

from collections.abc import Mapping

from gaugehouse.errors import CallError
from gaugehouse.sitefile.facts import MqttSpec


def read_password(mqtt: MqttSpec, environment: Mapping[str, str]) -> str | None:
    """The broker's password, None where none is set. Raises `CallError` where the place that is named holds none."""
    if mqtt.password_file is not None:
        try:
            word = mqtt.password_file.read_text(encoding="utf-8").rstrip("\r\n")
        except (OSError, UnicodeDecodeError) as exc:
            raise CallError(f"mqtt.password_file: {mqtt.password_file} cannot be read: {exc}") from exc
        if not word:
            raise CallError(f"mqtt.password_file: {mqtt.password_file} is empty; write the password into it")
        return word
    if mqtt.password_env is not None:
        word = environment.get(mqtt.password_env, "")
        if not word:
            raise CallError(f"mqtt.password_env: the variable {mqtt.password_env} is not set; set it for the daemon")
        return word
    return None
