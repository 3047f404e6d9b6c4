"""`gaugehouse user`: who may come in. Passwords are hashed here; what is kept and journaled never holds one."""

import getpass
import json
import secrets
import sys
import time
from argparse import Namespace
from pathlib import Path
from typing import Any, Final

from console.roles import VIEWER
from console.sign_in import hashed_of, hasher
from gaugehouse.acting import perform
from gaugehouse.days import iso_ms
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.local import where_is
from gaugehouse.optionvalues import quantity
from gaugehouse.peopleroom import DISPLAY, LINK, LONGEST_DISPLAY_MS, TOKEN, PeopleRoom
from gaugehouse.printing import as_json
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book

Json = dict[str, Any]

SHORTEST: Final = 12
"""Characters of a password, without further rules (length over composition: NIST SP 800-63B, from memory)."""
LINK_MS: Final = 15 * 60_000
LONGEST_TOKEN_S: Final = 5 * 366 * 86_400


def user(args: Namespace) -> int:
    """Raises `CallError` for what is wrong in the call, `CouldNot` for what is refused."""
    site = load_site(Path(args.site))
    return _WORK[args.does](args, site)


def people_of(site: Site) -> PeopleRoom:
    """The users as the record book holds them. Nobody where there is no book yet."""
    room = PeopleRoom()
    try:
        with look_into_book(site) as book:
            state = book.state()
    except CouldNot:
        return room

    room.restore({key.removeprefix("people/"): json.loads(text) for key, text in state.items() if
                  key.startswith("people/")})  # fmt: skip
    return room


def _list(args: Namespace, site: Site) -> int:
    room, now_ms = people_of(site), _now_ms()
    rows: list[Json] = [
        {"user": one.name, "kind": "user", "roles": list(one.roles), "blocked": one.blocked,
         "password": bool(one.password), "made": iso_ms(one.made_ms), "until": None, "label": ""}
        for one in room.users()
    ]  # fmt: skip
    rows += [
        {"user": key.user, "kind": key.kind, "roles": list(key.roles), "blocked": key.until_ms <= now_ms,
         "password": False, "made": iso_ms(key.made_ms), "until": iso_ms(key.until_ms), "label": key.label}
        for key in room.keys(TOKEN, DISPLAY)
    ]  # fmt: skip
    if args.json:
        print(as_json(rows))
        return 0
    if not rows:
        print("no users: the console answers on this machine only, and changes bear the name that is typed")
    for row in rows:
        notes = ["blocked" if row["kind"] == "user" else "over"] if row["blocked"] else []
        notes += [f"{row['kind']} {row['label']!r} until {row['until']}"] if row["until"] else []
        print(f"{row['user']:<20} {', '.join(row['roles']):<40} {'; '.join(notes)}".rstrip())
    return 0


def _add(args: Namespace, site: Site) -> int:
    password = "" if args.no_password else hasher.hash(_password(args, args.name))
    answer = perform(site, "put_user", {"user": args.name, "roles": args.role, "password": password, "by": args.by,
                                        "new": True})  # fmt: skip
    if answer.text:
        raise CallError(f"{answer.text}; `user change` changes it")
    return _said(args, dict(answer.body), f"{args.name} may come in as {', '.join(args.role)}")


def _change(args: Namespace, site: Site) -> int:
    fields: Json = {"user": args.name, "by": args.by}
    if args.role:
        fields["roles"] = args.role
    if args.password or args.password_file:
        fields["password"] = hasher.hash(_password(args, args.name))
    if args.block or args.unblock:
        fields["blocked"] = bool(args.block)
    if len(fields) == 2:
        raise CallError("nothing to change: give --role, --password, --password-file, --block or --unblock")
    return _said(args, dict(perform(site, "put_user", fields).body), f"{args.name} is changed; their sessions ended")


def _remove(args: Namespace, site: Site) -> int:
    answer = perform(site, "remove_user", {"user": args.name, "by": args.by})
    return _said(args, dict(answer.body), f"{args.name} may not come in any more")


def _token(args: Namespace, site: Site) -> int:
    lasts_ms = _lasts_ms(args.lasts, "90 d", LONGEST_TOKEN_S, "5 years")
    roles = args.role or [VIEWER]
    secret = _key(site, TOKEN, args.name, roles, args.label, lasts_ms, args.by)
    if args.json:
        print(as_json({"user": args.name, "label": args.label, "roles": roles, "token": secret}))
    else:
        print(secret)
        print(f"for {', '.join(roles)}; send it as `Authorization: Bearer ...`; not shown again", file=sys.stderr)
    return 0


def _lasts_ms(text: str, example: str, longest_s: float, longest: str) -> int:
    lasts_s = quantity("--for", text, "s", example)
    if not 60 <= lasts_s <= longest_s:
        raise CallError(f'--for {text!r}: allowed is "1 min" to "{longest}"')
    return round(lasts_s * 1000)


def _link(args: Namespace, site: Site) -> int:
    url = _entrance(site, args.name, None, "", args.by)
    print(as_json({"user": args.name, "url": url}) if args.json else url)
    return 0


def _display(args: Namespace, site: Site) -> int:
    lasts_ms = _lasts_ms(args.lasts, "400 d", LONGEST_DISPLAY_MS / 1000, "400 d")
    url = _entrance(site, args.name, [VIEWER], args.label, args.by, lasts_ms)
    if args.json:
        print(as_json({"user": args.name, "label": args.label, "url": url, "lasts_s": lasts_ms // 1000}))
        return 0
    print(url)
    print(f"open it on the screen within 15 minutes, once; `user revoke {args.label!r}` ends it", file=sys.stderr)
    return 0


def _entrance(site: Site, name: str, roles: list[str] | None, label: str, by: str, lasts_ms: int = 0) -> str:
    """The address that signs in once. Raises `CouldNot` where no daemon runs."""
    running = where_is(site)
    if running is None:
        raise CouldNot("no daemon runs: a link is of use only while the console answers")
    return f"{running.rstrip('/')}/enter/{_key(site, LINK, name, roles, label, LINK_MS, by, lasts_ms)}"


def _key(
    site: Site, kind: str, name: str, roles: list[str] | None, label: str, for_ms: int, by: str, lasts_ms: int = 0
) -> str:
    """The secret of a new key that ends after `for_ms`; lasts_ms: of the display that a link begins."""
    secret, now_ms = secrets.token_urlsafe(32), _now_ms()
    fields: Json = {"hash": hashed_of(secret), "kind": kind, "user": name, "label": label, "now_ms": now_ms,
                    "until_ms": now_ms + for_ms, "by": by, "lasts_ms": lasts_ms}  # fmt: skip
    perform(site, "put_key", fields if roles is None else fields | {"roles": roles})
    return secret


def _revoke(args: Namespace, site: Site) -> int:
    answer = perform(site, "end_key", {"label": args.label, "by": args.by})
    return _said(args, dict(answer.body), f"{args.label!r} is called back")


def _said(args: Namespace, body: Json, text: str) -> int:
    print(as_json(body) if args.json else text)
    return 0


def _password(args: Namespace, name: str) -> str:
    if args.password_file:
        try:
            lines = Path(args.password_file).read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError) as error:
            raise CouldNot(f"--password-file {args.password_file}: cannot be read: {error}") from error
        password = lines[0] if lines else ""
    elif sys.stdin.isatty():
        password = getpass.getpass(f"Password of {name}: ")
        if getpass.getpass("Once more: ") != password:
            raise CallError("the two are not the same; nothing was changed")
    else:
        raise CallError("there is no terminal to ask for the password on; give --password-file")
    if len(password) < SHORTEST or password.casefold() == name.casefold():
        raise CallError(f"the password is too easy to guess: {SHORTEST} characters at least, and not the name")
    return password


def _now_ms() -> int:
    return time.time_ns() // 1_000_000


_WORK: Final = {
    "list": _list, "add": _add, "change": _change, "remove": _remove, "token": _token, "link": _link,
    "display": _display, "revoke": _revoke,
}  # fmt: skip
