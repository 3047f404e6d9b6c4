"""What the site's own tables mean: the time zone, the files that are named, the broker."""

from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.problems import nearest
from gaugehouse.sitefile.stock_leak import check_leak


def check_site(draft: Draft) -> None:
    _zone(draft)
    alarms = draft.file.alarms
    if alarms is not None and alarms.sheet is not None:
        _file(draft, "alarms.sheet", alarms.sheet)
    _mqtt(draft)
    check_leak(draft)


def _zone(draft: Draft) -> None:
    zone = draft.file.site.zone if draft.file.site is not None else None
    if zone is None:
        return
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        text = f'"{zone}" is no time zone; write a name of the IANA time zone database, such as "Europe/Oslo" or "UTC"'
        draft.report.error("site.zone", text + nearest(zone, available_timezones()), found=zone)


def _file(draft: Draft, key: str, name: str) -> None:
    path = draft.folder / name
    draft.files.append(path)
    if not path.is_file():
        text = f'there is no file "{name}"; the path counts from the folder of the site file'
        draft.report.error(key, text, found=name)


def _both(draft: Draft, *keys: str) -> None:
    """Keys of [mqtt] that are of use only together."""
    missing = [key for key in keys if getattr(draft.file.mqtt, key) is None and draft.report_is_clean(f"mqtt.{key}")]
    if len(missing) == 1:
        (other,) = (key for key in keys if key != missing[0])
        text = f"missing; a client's `{other}` goes with it, add {missing[0]} or remove {other}"
        draft.report.error(f"mqtt.{missing[0]}", text)


def _mqtt(draft: Draft) -> None:
    mqtt = draft.file.mqtt
    if mqtt is None:
        return
    for key in ("ca", "certificate", "private_key"):
        name = getattr(mqtt, key)
        if name is None:
            continue
        _file(draft, f"mqtt.{key}", name)
        if mqtt.tls is False:
            text = "has no use without TLS; add tls = true, or remove it"
            draft.report.error(f"mqtt.{key}", text, found=name)
    _both(draft, "certificate", "private_key")
    if mqtt.password_file is not None and mqtt.password_env is not None:
        text = "the password has two places; keep one of `password_file` and `password_env`"
        draft.report.error("mqtt.password_env", text, found=mqtt.password_env)
    elif (mqtt.password_file or mqtt.password_env) and mqtt.username is None and draft.report_is_clean("mqtt.username"):
        draft.report.error("mqtt.username", 'missing; a password goes with a name, add username = "..."')
