"""Sending by e-mail: one connection a message, TLS checked, the server's own words given back.

The Message-ID is made of the letter's key, so that the same message sent twice can be told by whoever receives it.
"""

import asyncio
import os
import socket
import ssl
from datetime import UTC, datetime
from email.message import EmailMessage
from email.utils import format_datetime
from typing import Final

import aiosmtplib

from alerts.notify.letter import Letter
from gaugehouse.errors import CallError
from gaugehouse.notifying.sender import LONGEST_SEND_S, SendTrouble, said, tls_of
from gaugehouse.sitefile.notifyfacts import NotifySpec
from gaugehouse.sitefile.secret import read_secret, without_secrets

_NO: Final = range(500, 600)
"""A permanent refusal. Source: RFC 5321, 4.2.1."""


class MailSender:
    """One channel's way to its mail server. domain: what stands behind the @ of our Message-IDs."""

    def __init__(self, spec: NotifySpec) -> None:
        self._spec = spec
        self._where = f"mail server {spec.host} port {spec.port}"
        self._domain = spec.from_address.rpartition("@")[2]

    async def send(self, letter: Letter) -> str:
        spec = self._spec
        password, tls = await asyncio.to_thread(self._prepared)
        try:
            client = aiosmtplib.SMTP(
                hostname=spec.host,
                port=spec.port,
                use_tls=spec.security == "tls",
                start_tls=spec.security == "starttls",
                username=spec.username,
                password=password,
                timeout=LONGEST_SEND_S / 3,
                tls_context=tls,
            )
            async with client:
                refused, answer = await client.send_message(self.message(letter))
        except (aiosmtplib.SMTPException, OSError, ValueError) as error:
            trouble = self._trouble(error)
            raise SendTrouble(without_secrets(str(trouble), [password or ""]), refused=trouble.refused) from None
        if refused:
            whom = "; ".join(f"{who}: {said(reply.message)}" for who, reply in sorted(refused.items()))
            text = f"{self._where} took the message for some only, not for {whom}; mend `to` of the channel"
            raise PartlyTaken(without_secrets(text, [password or ""]))
        return without_secrets(said(answer), [password or ""])

    def message(self, letter: Letter) -> EmailMessage:
        """The letter as a mail that no other machine answers (RFC 3834)."""
        mail = EmailMessage()
        mail["From"] = self._spec.from_address
        mail["To"] = ", ".join(self._spec.to)
        mail["Subject"] = letter.subject
        mail["Date"] = format_datetime(datetime.now(UTC))
        mail["Message-ID"] = f"<{letter.key}@{self._domain}>"
        mail["Auto-Submitted"] = "auto-generated"
        if letter.priority == 1:
            mail["Importance"] = "high"
        mail.set_content(letter.text)
        return mail

    def _prepared(self) -> tuple[str | None, ssl.SSLContext | None]:
        """The password and the certificates, from their files: not for the event loop."""
        password = None if self._spec.password is None else _secret(self._spec)
        return password, None if self._spec.security == "none" else tls_of(self._spec)

    def _trouble(self, error: Exception) -> SendTrouble:
        """What went wrong, and what would mend it."""
        where = self._where
        match error:
            case aiosmtplib.SMTPAuthenticationError(code=code, message=message):
                mend = "mend username and password of the channel"
                return SendTrouble(f"{where} does not let us in: {code} {said(message)}; {mend}", refused=code in _NO)
            case aiosmtplib.SMTPRecipientsRefused(recipients=several):
                whom = "; ".join(f"{one.recipient}: {one.code} {said(one.message)}" for one in several)
                final = all(one.code in _NO for one in several)
                return SendTrouble(f"{where} takes the message for nobody: {whom}; mend `to`", refused=final)
            case aiosmtplib.SMTPResponseException(code=code, message=message):
                return SendTrouble(f"{where} answered {code} {said(message)}", refused=code in _NO)
            case aiosmtplib.SMTPNotSupported():
                mend = "see security, username and port of the channel"
                text = f"{where} does not offer what is asked of it ({said(str(error))}); {mend}"
                return SendTrouble(text, refused=True)
            case aiosmtplib.SMTPException() if type(error) is aiosmtplib.SMTPException:  # a lack of STARTTLS or AUTH
                return self._trouble(aiosmtplib.SMTPNotSupported(str(error)))
            case aiosmtplib.SMTPTimeoutError():
                return SendTrouble(f"{where} does not answer in time")
        cause = error.__cause__ or error
        if isinstance(cause, ssl.SSLCertVerificationError):
            text = f"{where}: its certificate is not accepted: {cause.verify_message}; see host and ca of the channel"
            return SendTrouble(text, refused=True)
        words = _word_of(cause) or said(str(error))
        return SendTrouble(f"{where} cannot be reached: {words or type(error).__name__}; see host and port")


class PartlyTaken(SendTrouble):
    """The message went out to some of its receivers. It is not sent again; the others are a failure of the channel."""


def _word_of(cause: BaseException) -> str:
    """The system's own word for what stood in the way, empty where there is none."""
    if isinstance(cause, ssl.SSLError):
        return f"no agreement on TLS ({cause.reason or said(str(cause))})"
    if isinstance(cause, socket.gaierror):
        return f"no address is known for that host ({cause.strerror})"
    return os.strerror(cause.errno) if isinstance(cause, OSError) and cause.errno else ""


def _secret(spec: NotifySpec) -> str:
    assert spec.password is not None
    try:
        return read_secret(spec.password, os.environ)
    except CallError as error:
        raise SendTrouble(str(error), refused=True) from error
