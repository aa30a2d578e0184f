"""Alarms by mail: one message to all addresses over an encrypted connection.

Certificates are checked; plain text goes to loopback only (the garden file is refused otherwise).
Each answer of the server is waited for 15 s at most, the whole for 45 s.
"""

from __future__ import annotations

import smtplib
import socket
import ssl
from email.message import EmailMessage
from email.utils import formatdate
from pathlib import Path

from controller.alarming.letters import Message
from controller.alarming.ways import DELIVERED, Delivery
from controller.garden import Garden
from controller.garden_ways import Mail

ANSWER_S = 15.0  # [s] real, for each answer of the server
EHLO = "[127.0.0.1]"  # who we say we are; asking for our own name could take minutes
REFUSED_FROM = 500  # an SMTP answer from here on is a lasting no (RFC 5321 section 4.2.1)
PASSWORD_MOST = 1024  # [bytes] of the password file


class MailWay:
    """The way by mail.

    Args:
        mail: the garden file's table.
        garden: names the sender's host in the message's id.
        context: what certificates are held against; the system's own where None.
    """

    name = "mail"

    def __init__(self, mail: Mail, garden: Garden, context: ssl.SSLContext | None = None) -> None:
        self._mail = mail
        self._garden_id = garden.garden.id
        self._context = context

    def send(self, message: Message) -> Delivery:
        """Send it to every address; see `Way`."""
        try:
            password = self._password()
        except (OSError, ValueError):
            return _no("the password file cannot be read", lasting=True)
        try:
            refused = self._hand_over(self._letter(message), password)
        except (OSError, ValueError, smtplib.SMTPException) as exc:
            return _failure(exc)
        if refused:
            many = f"{refused} of {len(self._mail.to)} addresses"
            return Delivery(out=True, cause=f"the server refuses {many}", lasting=True)
        return DELIVERED

    def _password(self) -> str:
        if self._mail.password_file is None:
            return ""
        with Path(self._mail.password_file).open("rb") as file:
            lines = file.read(PASSWORD_MOST).decode("utf-8").splitlines()
        if not lines or not lines[0].strip():
            msg = "an empty password file"
            raise ValueError(msg)
        return lines[0].strip()

    def _letter(self, message: Message) -> EmailMessage:
        letter = EmailMessage()
        letter["Subject"] = message.subject
        letter["From"] = self._mail.sender_or_first
        letter["To"] = ", ".join(self._mail.to)
        letter["Date"] = formatdate(message.at_utc_s)
        letter["Message-ID"] = f"<{message.id}@{self._garden_id}.thirstline.invalid>"
        letter["Auto-Submitted"] = "auto-generated"  # RFC 3834: nobody's holiday answer comes back
        letter.set_content(message.text)
        return letter

    def _hand_over(self, letter: EmailMessage, password: str) -> int:
        """Hand the letter to the server; tells how many addresses it refused."""
        mail = self._mail
        with self._connected() as smtp:
            if mail.user is not None:
                smtp.login(mail.user, password)
            refused = smtp.send_message(letter, mail.sender_or_first, list(mail.to))
        return len(refused)

    def _connected(self) -> smtplib.SMTP:
        mail, host = self._mail, self._mail.host.strip("[]")
        context = self._context or ssl.create_default_context()
        if mail.security == "tls":
            return smtplib.SMTP_SSL(host, mail.port, EHLO, timeout=ANSWER_S, context=context)
        smtp = smtplib.SMTP(host, mail.port, EHLO, timeout=ANSWER_S)
        if mail.security == "starttls":
            try:
                smtp.starttls(context=context)
            except BaseException:
                smtp.close()
                raise
        return smtp


# the first that fits; some are kinds of others further down
CAUSES: tuple[tuple[type[Exception], str, bool], ...] = (
    (smtplib.SMTPAuthenticationError, "the server refuses user or password", True),
    (
        smtplib.SMTPNotSupportedError,
        "the server does not offer what is needed (STARTTLS, a login)",
        True,
    ),
    (
        ssl.SSLCertVerificationError,
        "the server's certificate is not trusted or is for another host",
        True,
    ),
    (ssl.SSLError, "no encrypted connection comes about", True),
    (socket.gaierror, "the server's name is not known", False),
    (TimeoutError, f"no answer within {ANSWER_S:.0f} s", False),
    (ConnectionRefusedError, "nothing listens at that host and port", False),
    (OSError, "the connection does not come about or breaks off", False),
    (Exception, "the message or the account holds a letter that cannot be sent", True),
)


def _no(cause: str, *, lasting: bool = False) -> Delivery:
    return Delivery(out=False, cause=cause, lasting=lasting)


def _failure(exc: Exception) -> Delivery:
    """What went wrong in one of our own sentences."""
    if isinstance(exc, smtplib.SMTPRecipientsRefused):
        codes = [code for code, _ in exc.recipients.values()]
        lasting = bool(codes) and min(codes) >= REFUSED_FROM
        return _no("the server refuses every address", lasting=lasting)
    if isinstance(exc, smtplib.SMTPServerDisconnected):
        late = isinstance(exc.__context__, TimeoutError)  # the library says no more than "closed"
        exc = TimeoutError() if late else ConnectionError()
    kind, cause, lasting = next(row for row in CAUSES if isinstance(exc, row[0]))
    if isinstance(exc, smtplib.SMTPResponseException) and kind is OSError:
        code = exc.smtp_code  # what it said is not repeated
        return _no(f"the server says no ({code:d})", lasting=code >= REFUSED_FROM)
    return _no(cause, lasting=lasting)
