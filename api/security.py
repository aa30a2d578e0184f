"""Who may come in: host and origin, token, cookie, form key, one-use code, wrong guesses.

- A host name that is not listed is answered 400 (DNS rebinding); an origin that is not listed may
  write nothing, 403 (forged requests from another page).
- The token stands for the operator. Five wrong ones a minute from one address: every further wrong
  one, and every code, is answered 429 for 60 s of real time. The right token and a right cookie are
  let in all the same: nobody guesses 256 bits, and whoever else is on the link could keep the
  operator from his own garden, and from a stop.
- A paired browser has a cookie: a random name, signed with a key made from the token, so that it
  ends when the token is changed, and kept by the engine as a hash, so that it can be listed and
  withdrawn. It got it by a one-use code, which says whether it is an operator's or a helper's.
  On loopback each browser simply gets one that is good for the page's own forms only.
- Page forms carry a key that is bound to the cookie and works once.

Nothing here grows without bound: the tables have a stated size and drop their oldest row.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from fastapi import Request

from api import roles
from api.addresses import Names, caller_of, on_loopback
from api.pace import Guesses, Pace, trim
from api.problems import LET_IN, ProblemError
from api.roles import OPERATOR
from controller.told_state import Paired

COOKIE = "thirstline"
COOKIE_S = 180 * 86_400  # [s] a season
CODE_S = 600.0  # [s] a one-use code lives; it has 128 bits
CODES_MOST = 16  # outstanding at once
FORM_MARK_S = 3600.0  # [s] a page kept by a browser is shown again for so long
FORM_KEY_S = 12 * 3600.0  # [s] a page left open over a night still works
USED_KEYS_MOST = 4096
PAIRED, LOCAL = "paired", "local"
LONG_TOKEN = 16  # letters, from which on nobody guesses it here; a made one has 43


@dataclass(frozen=True, slots=True, kw_only=True)
class Caller:
    """Who asks. `who` is what the record says of an order."""

    who: str
    writes: bool
    session: str = ""
    role: str = OPERATOR
    by_token: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """What a one-use code is good for."""

    role: str
    name: str
    until_s: float


class Doors:
    """All checks at the door, with what they have to remember.

    Args:
        token: the operator's token.
        names: listed host names.
        monotonic: seconds of a real clock that never jumps.
        pairs: the paired browsers that may come in now, by id.
    """

    def __init__(
        self,
        token: str,
        names: Iterable[str],
        monotonic: Callable[[], float],
        pairs: Callable[[], Mapping[str, Paired]] = dict,
    ) -> None:
        self.names = Names(names)
        self._token = token.encode()
        self._monotonic = monotonic
        self._cookie_key = hmac.digest(self._token, b"thirstline page cookie", "sha256")
        self._form_key = secrets.token_bytes(32)
        self._pairs = pairs
        self._guesses = Guesses(monotonic)
        self._pace = Pace(monotonic)
        self._codes: OrderedDict[bytes, Offer] = OrderedDict()
        self._used: OrderedDict[str, float] = OrderedDict()
        self._spent = 0

    # -- who is it

    def reader(self, request: Request) -> Caller:
        """Whoever may look.

        Raises:
            ProblemError: 401, 429.
        """
        caller = self._known(request)
        if caller is not None:
            return caller
        if on_loopback(request):
            return Caller(who="loopback", writes=False, session=self._session(request, LOCAL))
        raise _no_token()

    def writer(self, request: Request) -> Caller:
        """Whoever may order over `/api`.

        Raises:
            ProblemError: 401, 403, 429.
        """
        caller = self._sender(request)
        self.keep_pace(request, caller)
        return caller

    def _sender(self, request: Request) -> Caller:
        self.check_origin(request)
        caller = self._known(request)
        if caller is None:
            raise _no_token()
        if caller.session and "origin" not in request.headers:
            raise ProblemError(403, "An order with a cookie needs an Origin that is listed.")
        roles.check(caller.role, request)
        return caller

    def stopper(self, request: Request) -> Caller:
        """Whoever may close valves: from loopback everybody, wrong tokens or not.

        Raises:
            ProblemError: 401, 403, 429.
        """
        self.check_origin(request)
        if on_loopback(request):
            return Caller(who="loopback", writes=True)
        return self._sender(request)  # outside every pace

    def form_sender(self, request: Request) -> Caller:
        """Whoever may send a form of the page; the form's key is checked apart.

        Raises:
            ProblemError: 401, 403.
        """
        self.check_origin(request)
        caller = self._paired(request)
        if caller is not None:
            roles.check(caller.role, request)
            return caller
        if on_loopback(request):
            session = self._session(request, LOCAL)
            return Caller(who="page on loopback", writes=bool(session), session=session)
        raise _no_token()

    def keep_pace(self, request: Request, caller: Caller) -> None:
        """Count one order of this browser, else of its network; stops are not counted.

        Raises:
            ProblemError: 429.
        """
        paired = caller.session.startswith(f"{PAIRED}.")
        self._pace.spend(caller.who if paired else caller_of(request)[1])

    def _known(self, request: Request) -> Caller | None:
        header = request.headers.get("authorization")
        if header is not None:
            self._check_token(request, header)
            return Caller(who="operator", writes=True, by_token=True)
        return self._paired(request)

    def _paired(self, request: Request) -> Caller | None:
        """The paired browser that holds this cookie, unless it was withdrawn."""
        session = self._session(request, PAIRED)
        if not session:
            return None
        given = _digest(session).hex().encode()
        for name, one in self._pairs().items():
            if hmac.compare_digest(given, one.secret_sha256.encode()):
                called = f" ({one.name})" if one.name else ""
                who = f"{one.role} {name}{called}"
                return Caller(who=who, writes=True, session=session, role=one.role)
        return None

    # -- tokens

    def _check_token(self, request: Request, header: str) -> None:
        scheme, _, given = header.partition(" ")
        # encoded first: compare_digest takes no text beyond ASCII
        right = hmac.compare_digest(given.strip().encode("utf-8", "replace"), self._token)
        right = right and scheme.lower() == "bearer" and self._token != b""
        if right and len(self._token) >= LONG_TOKEN:
            return
        self._guesses.check_token(*caller_of(request))
        if not right:
            self._guesses.count_token(*caller_of(request))
            raise _no_token()

    # -- origins

    def check_origin(self, request: Request) -> None:
        """Refuse what another page makes a browser send.

        Raises:
            ProblemError: 403.
        """
        if request.headers.get("sec-fetch-site") == "cross-site":
            raise ProblemError(403, "Orders come from the garden's own page.")
        origin = request.headers.get("origin")
        if origin is None:
            return
        server = request.scope.get("server")
        if not self.names.knows_origin(origin, server[1] if server else None):
            raise ProblemError(403, "This origin is not listed under [page] names.")

    # -- cookies

    def issue_code(self, role: str = OPERATOR, name: str = "", lives_s: float = CODE_S) -> str:
        """A one-use code: `/open?code=...` gives the browser that opens it its cookie.

        Args:
            role: `operator` or `helper`.
            name: whose browser it is, for the record.
            lives_s: how long it works [s, real].
        """
        code = secrets.token_urlsafe(16)
        until_s = self._monotonic() + min(lives_s, CODE_S)
        self._codes[_digest(code)] = Offer(role=role, name=name, until_s=until_s)
        trim(self._codes, CODES_MOST)
        return code

    def redeem(self, request: Request, code: str) -> Offer:
        """Use a code up, for the first and last time.

        Raises:
            ProblemError: 401 for a code that is wrong, used or too old; 403 for what a page loads
                as a picture or frame; 429.
        """
        if request.headers.get("sec-fetch-dest", "document") != "document":
            raise ProblemError(403, "A link is opened as a page of its own.")  # no try of a code's
        self._guesses.check_code(*caller_of(request))
        offer = self._codes.pop(_digest(code), None)
        if offer is not None and self._monotonic() < offer.until_s:
            return offer
        self._guesses.count_code(*caller_of(request))
        raise ProblemError(401, "This link was used already or is too old; make a new one.")

    def new_pairing(self) -> tuple[str, str, str]:
        """A browser's new id, its cookie's value, and the hash that is kept of it (hex)."""
        value = self.new_cookie(PAIRED)
        return secrets.token_hex(4), value, _digest(value.rpartition(".")[0]).hex()

    def new_cookie(self, kind: str) -> str:
        """A fresh signed cookie, `PAIRED` or `LOCAL`."""
        name = f"{kind}.{secrets.token_urlsafe(18)}"
        return f"{name}.{_sign(self._cookie_key, name)}"

    def _session(self, request: Request, kind: str) -> str:
        """The signed name in the caller's cookie, empty where there is none of this kind."""
        name, _, signature = request.cookies.get(COOKIE, "").rpartition(".")
        right = hmac.compare_digest(
            signature.encode("utf-8", "replace"), _sign(self._cookie_key, name).encode()
        )
        return name if right and name.startswith(f"{kind}.") else ""

    # -- form keys

    def new_form_key(self, session: str) -> str:
        """A key for the forms of one view of the page, bound to this browser."""
        name = f"{self._monotonic():.0f}.{secrets.token_urlsafe(9)}"
        return f"{name}.{_sign(self._form_key, f'{session} {name}')}"

    def form_mark(self) -> str:
        """Another one once a form key was spent, and every hour."""
        return f"{self._spent}.{self._monotonic() // FORM_MARK_S:.0f}"

    def spend_form_key(self, session: str, key: str) -> None:
        """Use a form key, for the first and last time.

        Raises:
            ProblemError: 403.
        """
        name, _, signature = key.rpartition(".")
        expected = _sign(self._form_key, f"{session} {name}").encode()
        right = hmac.compare_digest(signature.encode("utf-8", "replace"), expected)
        if not (session and right):
            raise ProblemError(
                403, "This form is not from a page of this garden. Load the page anew."
            )
        if name in self._used:
            raise ProblemError(403, "This form was sent already; nothing was done a second time.")
        now_s = self._monotonic()
        made_s = float(name.partition(".")[0])
        if not now_s - made_s <= FORM_KEY_S:
            raise ProblemError(403, "This page is too old for an order. Load it anew.")
        self._spent += 1
        self._used[name] = now_s
        trim(self._used, USED_KEYS_MOST)


def _no_token() -> ProblemError:
    headers = {"WWW-Authenticate": "Bearer"}
    return ProblemError(401, LET_IN, headers=headers)


def _digest(text: str) -> bytes:
    return hashlib.sha256(text.encode("utf-8", "replace")).digest()


def _sign(key: bytes, text: str) -> str:
    return hmac.new(key, text.encode("utf-8", "replace"), "sha256").hexdigest()[:32]
