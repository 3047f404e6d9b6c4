"""What the keys of the [[notify]] tables mean together: which go with which kind, where secrets are, who exists."""

from collections.abc import Iterable
from urllib.parse import urlsplit

from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.notifyschema import APPRISE, EMAIL, KEYS_OF, LONGEST_CHANNEL, MQTT, WEBHOOK, NotifyTable
from gaugehouse.sitefile.problems import listed, nearest

_ONLY_SOME = tuple(dict.fromkeys(key for keys in KEYS_OF.values() for key in keys))


def check_notify(draft: Draft) -> None:
    """Every mistake of the channels."""
    seen: set[str] = set()
    for key, table in draft.items("notify"):
        if table.id is not None:
            _id(draft, key, table.id, seen)
        if table.kind is not None:
            _keys(draft, key, table)
            _of_kind(draft, key, table)
        _pair(draft, key, table, "password")
        _pair(draft, key, table, "token")
        if (table.password_file or table.password_env) and table.username is None:
            if draft.report_is_clean(f"{key}.username"):
                text = 'missing; a password goes with a name, add username = "..."'
                draft.report.error(f"{key}.username", text)
        for name in ("ca", "password_file", "token_file", "url_file", "services_file"):
            _file(draft, f"{key}.{name}", getattr(table, name))
        _sources(draft, key, table.sources or ())
        if table.priorities == [] and table.alive_every is None and draft.report_is_clean(key):
            text = (
                "this channel is told of nothing; name priorities, or alive_every for a message that must keep coming"
            )
            draft.report.error(f"{key}.priorities", text, found="[]", allowed="1, 2, 3")


def _id(draft: Draft, key: str, channel: str, seen: set[str]) -> None:
    if channel in seen:
        draft.report.error(f"{key}.id", f'the id "{channel}" is given twice; each channel has its own', found=channel)
    seen.add(channel)
    if len(channel) > LONGEST_CHANNEL:
        allowed = f"1 to {LONGEST_CHANNEL} characters"
        text = f'"{channel}" is too long: alarms of the channel are called notify-{channel}; allowed is {allowed}'
        draft.report.error(f"{key}.id", text, found=channel, allowed=allowed)
    source = f"notify-{channel}"
    for kind in ("tank", "instrument", "point"):
        if source in draft.ids(kind):
            text = f'alarms of this channel are called "{source}", which is the id of a {kind}; choose another id'
            draft.report.error(f"{key}.id", text, found=channel)


def _keys(draft: Draft, key: str, table: NotifyTable) -> None:
    """Keys that this kind has no use for."""
    for name in _ONLY_SOME:
        if name not in KEYS_OF[table.kind] and getattr(table, name) not in (None, []):
            kinds = [kind for kind, keys in KEYS_OF.items() if name in keys]
            text = f'has no use for kind "{table.kind}"; remove it (it goes with {listed(kinds)})'
            draft.report.error(f"{key}.{name}", text, found=name)


def _of_kind(draft: Draft, key: str, table: NotifyTable) -> None:
    match table.kind:
        case kind if kind == EMAIL:
            examples = {"host": '"mail.example.org"', "from_address": '"gaugehouse@example.org"'}
            for name, example in examples.items():
                _required(draft, key, table, name, example)
            if not table.to and draft.report_is_clean(f"{key}.to"):
                draft.report.error(f"{key}.to", 'missing; add a line such as to = ["duty@example.org"]')
        case kind if kind == WEBHOOK:
            _one_of(draft, key, table, ("url", "url_file", "url_env"))
            if table.url is not None:
                _url(draft, f"{key}.url", table.url)
        case kind if kind == APPRISE:
            _one_of(draft, key, table, ("services_file", "services_env"))
        case kind if kind == MQTT:
            if draft.file.mqtt is None and draft.report_is_clean("mqtt"):
                text = 'kind "mqtt" goes by the broker of [mqtt], and there is no [mqtt] here; add it'
                draft.report.error(f"{key}.kind", text, found=MQTT)


def _required(draft: Draft, key: str, table: NotifyTable, name: str, example: str) -> None:
    if getattr(table, name) is None and draft.report_is_clean(f"{key}.{name}"):
        draft.report.error(f"{key}.{name}", f"missing; add a line such as {name} = {example}", allowed=example)


def _one_of(draft: Draft, key: str, table: NotifyTable, names: tuple[str, ...]) -> None:
    given = [name for name in names if getattr(table, name) is not None]
    clean = all(draft.report_is_clean(f"{key}.{name}") for name in names)
    if not given and clean:
        draft.report.error(f"{key}.{names[0]}", f"missing; give one of {listed(names)}", allowed=listed(names))
    elif len(given) > 1:
        text = f"the address has {len(given)} places; keep one of {listed(given)}"
        draft.report.error(f"{key}.{given[1]}", text, found=given[1])


def _pair(draft: Draft, key: str, table: NotifyTable, name: str) -> None:
    if getattr(table, f"{name}_file") is not None and getattr(table, f"{name}_env") is not None:
        text = f"the {name} has two places; keep one of `{name}_file` and `{name}_env`"
        draft.report.error(f"{key}.{name}_env", text, found=getattr(table, f"{name}_env"))


def _url(draft: Draft, key: str, url: str) -> None:
    """An address in the plain: it is shown and journaled, so it must not hold what opens a door."""
    mend = "put the whole address into a file and name it with `url_file`, or into a variable with `url_env`"
    try:
        parts = urlsplit(url)
        host = parts.hostname
    except ValueError:
        parts, host = urlsplit(""), None
    if parts.scheme not in ("http", "https") or not host:
        draft.report.error(key, 'this is no address; write "https://host/path"', allowed='"https://host/path"')
    elif parts.username is not None or parts.password is not None:
        draft.report.error(key, f"a password never stands in the site file; {mend}", allowed="no user and password")
    elif parts.query:
        draft.report.error(key, f"what follows the ? may open a door to others; {mend}", allowed="no query")


def _file(draft: Draft, key: str, name: str | None) -> None:
    if name is None:
        return
    path = draft.folder / name
    if not path.is_file():
        text = f'there is no file "{name}"; the path counts from the folder of the site file'
        draft.report.error(key, text, found=name)


def _sources(draft: Draft, key: str, sources: Iterable[str]) -> None:
    known = [*draft.ids("tank"), *draft.ids("instrument"), *draft.ids("point")]
    known += [f"notify-{channel}" for channel in draft.ids("notify")]
    for source in sources:
        if source not in known:
            text = f'nothing has the id "{source}"; known here: {listed(known)}{nearest(source, known)}'
            draft.report.error(f"{key}.sources", text, found=source, allowed=listed(known))
