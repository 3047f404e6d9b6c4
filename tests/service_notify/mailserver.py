"""A real SMTP server (aiosmtpd) as a process of its own: `python -m tests.service_notify.mailserver PORT FILE [WORD]`.

Each message that it has taken is one line of JSON in FILE, on the disk before the sender is answered. WORD changes its
manners: `login` asks for Ana's password, `slow` answers each message after a minute, `refuse` knows no receiver,
`some` knows only those at home.example, `mute` takes a message and dies before it answers, `starttls` and `tls` encrypt
with the CERTIFICATE and KEY that follow.
"""

import asyncio
import json
import os
import ssl
import sys
from email import message_from_bytes, policy
from pathlib import Path
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

PASSWORD = "correct-horse-battery"


class Box:
    """Keeps what comes."""

    def __init__(self, path: Path, manners: str) -> None:
        self._path, self._manners = path, manners

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        unknown = self._manners == "refuse" or (self._manners == "some" and not address.endswith("@home.example"))
        if unknown:
            return "550 5.1.1 nobody of that name lives here"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        if self._manners == "slow":
            await asyncio.sleep(60)
        content = envelope.content
        assert isinstance(content, bytes)
        mail = message_from_bytes(content, policy=policy.default)
        line = {
            "to": envelope.rcpt_tos,
            "headers": dict(mail.items()),
            "body": mail.get_content().replace("\r\n", "\n"),
        }
        with self._path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(line) + "\n")
            file.flush()
            os.fsync(file.fileno())
        if self._manners == "mute":
            os._exit(1)
        return "250 2.0.0 kept as number 7"


def _let_in(server: SMTP, session: Session, envelope: Envelope, mechanism: str, data: Any) -> AuthResult:
    right = isinstance(data, LoginPassword) and (data.login, data.password) == (b"ana", PASSWORD.encode())
    return AuthResult(success=right, handled=False)


def main(port: int, path: Path, manners: str = "", certificate: str = "", key: str = "") -> None:
    options: dict[str, Any] = {}
    if manners == "login":
        options = {"authenticator": _let_in, "auth_required": True, "auth_require_tls": False}
    if certificate:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(certificate, key)
        if manners == "tls":
            options = {"ssl_context": context}
        else:
            options = {"tls_context": context, "require_starttls": True}
    server = Controller(Box(path, manners), hostname="127.0.0.1", port=port, ready_timeout=60, **options)
    server.start()
    print("up", flush=True)
    asyncio.new_event_loop().run_forever()


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]), *sys.argv[3:])
