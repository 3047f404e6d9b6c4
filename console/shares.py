"""How much one client may ask: a bucket of tokens for each address, and a bound on what it asks at the same time.

Only reads that cost the store or the record book something count; pages, live state and acts of people never do. The
machine itself (loopback) has bounds so wide that only a loop gone wild meets them. Common practice, no source; answers
429 and Retry-After by RFC 6585, 4 and RFC 9110, 10.2.3.
"""

import json
import math
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, NamedTuple

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from console.problems import MEDIA_TYPE, problem
from console.routes import Table


class Allowance(NamedTuple):
    """burst: tokens of a full bucket; per_s: how fast it fills; at_once: costly reads under way at the same time."""

    burst: float
    per_s: float
    at_once: int


OTHERS: Final = Allowance(120, 10, 8)
LOOPBACK: Final = Allowance(2000, 200, 32)
MOST_ADDRESSES: Final = 4096
"""Remembered at the same time; who asked longest ago is forgotten first, and has a full bucket again."""

COSTS: Final = Table(
    {
        "/api/tanks/{tank}/trend": 1,
        "/api/tanks/{tank}/aggregate": 2,
        "/api/tanks/{tank}/chain": 1,
        "/api/alarms/history": 2,
        "/api/alarms/performance": 5,
        "/api/alarms/tests": 2,
        "/api/batches": 3,
        "/api/dips": 2,
        "/api/dips/trend": 3,
        "/api/documents": 3,
        "/api/documents.csv": 3,
        "/api/documents/movements": 3,
        "/api/drain-checks": 1,
        "/api/drain-checks.csv": 1,
        "/api/due": 2,
        "/api/due.csv": 2,
        "/api/faults": 2,
        "/api/forecast": 5,
        "/api/forecast.csv": 5,
        "/api/leak": 10,
        "/api/leak/tests": 2,
        "/api/leak/tests/{number}/paper": 5,
        "/api/leak/{tank}": 5,
        "/api/loops/{instrument}/checks": 2,
        "/api/loops/{instrument}/checks/{number}": 2,
        "/api/loops/{instrument}/checks/{number}/paper": 5,
        "/api/loops/{instrument}/faults.csv": 3,
        "/api/loops/{instrument}/faults/{number}": 2,
        "/api/loops/{instrument}/faults/{number}/causes": 5,
        "/api/loops/{instrument}/faults/{number}/trace": 2,
        "/api/loops/{instrument}/faults/{number}/trace.csv": 2,
        "/api/loops/{instrument}/figures": 3,
        "/api/movements": 2,
        "/api/receipts": 2,
        "/api/receipts/{number}": 1,
        "/api/receipts/{number}/paper": 5,
        "/api/records": 2,
        "/api/reports/{name}": 10,
        "/api/handovers": 2,
        "/api/samples": 2,
        "/api/status/history": 2,
        "/api/trends": 5,
        "/api/trends.csv": 10,
        "/api/trends/marks": 3,
        "/api/stock/book": 5,
        "/api/stock/book.csv": 5,
        "/api/water": 5,
        "/api/water/{tank}": 3,
    }
)
"""Tokens that a read takes, by its address."""


@dataclass(slots=True)
class _Bucket:
    tokens: float
    at_s: float
    under_way: int = 0


class Shares:
    """The layer. address: where a request comes from; local: whether that is this machine; clock: monotonic seconds."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        address: Callable[[Scope, Headers], str],
        local: Callable[[Scope, Headers], bool],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._app, self._address, self._local, self._clock = app, address, local, clock
        self._buckets: OrderedDict[str, _Bucket] = OrderedDict()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        cost = COSTS.get(scope["path"]) if scope["type"] == "http" and scope["method"] in ("GET", "HEAD") else None
        if cost is None:
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        allowed = LOOPBACK if self._local(scope, headers) else OTHERS
        bucket = self._bucket(self._address(scope, headers), allowed)
        if bucket.under_way >= allowed.at_once:
            await _later(send, 1, f"at most {allowed.at_once} costly requests at the same time from one address")
        elif bucket.tokens < cost:
            wait_s = (cost - bucket.tokens) / allowed.per_s
            await _later(send, wait_s, "this address asks for more than its share; costly reads are limited")
        else:
            bucket.tokens -= cost
            bucket.under_way += 1
            try:
                await self._app(scope, receive, send)
            finally:
                bucket.under_way -= 1

    def _bucket(self, address: str, allowed: Allowance) -> _Bucket:
        now_s = self._clock()
        bucket = self._buckets.setdefault(address, _Bucket(allowed.burst, now_s))
        self._buckets.move_to_end(address)
        while len(self._buckets) > MOST_ADDRESSES:
            self._buckets.popitem(last=False)
        bucket.tokens = min(allowed.burst, bucket.tokens + (now_s - bucket.at_s) * allowed.per_s)
        bucket.at_s = now_s
        return bucket


async def _later(send: Send, wait_s: float, detail: str) -> None:
    seconds = max(1, math.ceil(wait_s))
    body = json.dumps(problem(429, f"{detail}; ask again in {seconds} s")).encode()
    headers = [
        (b"content-type", MEDIA_TYPE.encode()), (b"content-length", str(len(body)).encode()),
        (b"retry-after", str(seconds).encode()),
    ]  # fmt: skip
    await send({"type": "http.response.start", "status": 429, "headers": headers})
    await send({"type": "http.response.body", "body": body})
