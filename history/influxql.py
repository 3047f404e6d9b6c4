"""Readings asked back from a server that speaks InfluxQL at /query: single ones, and sums by minutes or hours.

Knows the language's few words that are needed and how its errors come (with status 200, inside of the answer). Refuses
to know what the embedded store holds. InfluxQL is what InfluxDB 1, 2 and 3 have in common; VictoriaMetrics has none.
Sums of floats come back to the whole scaled numbers that they are sums of, so trends are exact.

Source: InfluxData, "Query data with the InfluxDB API" (v1): parameters db, rp, q, epoch, chunked; error and partial.
"""

import json
import ssl
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Final

import httpx
import numpy as np

from history.block import scaled_all
from history.lines import FIELDS, MEASUREMENT, NS_PER_MS, SITE, TANK, reading_from
from history.servertrouble import Away, Held
from history.store import COUNTS_WHEN_BAD, HOUR_MS, Buckets, Floats, Grid, Ints
from models.errors import GaugehouseError
from models.reading import Reading

TIMEOUT_S: Final = 10.0
CONNECT_S: Final = 3.0
DAY_MS: Final = 86_400_000
_UNITS: Final = {60_000: "1m", HOUR_MS: "1h"}

Rows = list[list[Any]]


class InfluxReadings:
    """What one server holds of a site. bucket: a database, or database/retention-policy. Calls may come from threads.

    token: asked anew after it was not accepted; "" for none. Every call raises `Away` or `Held` when no answer can be
    had.
    """

    def __init__(
        self, url: str, bucket: str, site: str, token: Callable[[], str], *, ca: str | None = None,
        timeout_s: float = TIMEOUT_S,
    ) -> None:  # fmt: skip
        database, _, policy = bucket.partition("/")
        self._where = {"db": database, "epoch": "ns", "chunked": "true"} | ({"rp": policy} if policy else {})
        self._site, self._token = site, token
        self._secret: str | None = None
        verify = ssl.create_default_context(cafile=ca) if url.startswith("https:") else False
        patience = httpx.Timeout(timeout_s, connect=min(timeout_s, CONNECT_S))
        self._client = httpx.Client(base_url=url, timeout=patience, verify=verify)

    def close(self) -> None:
        self._client.close()

    def read(self, tank: str, start_ms: int, end_ms: int) -> Iterator[Reading]:
        """The readings with start_ms <= time_ms < end_ms that are there when it is called: day by day of UTC, each in
        the order of seq."""
        where = self._where_is(tank, start_ms, end_ms)
        [first, last] = self._ask(_select('first("seq")', where), _select('last("seq")', where))
        if not first or not last:
            return iter(())
        return self._days(tank, max(start_ms, first[0][0] // NS_PER_MS), min(end_ms, last[0][0] // NS_PER_MS + 1))

    def _days(self, tank: str, start_ms: int, end_ms: int) -> Iterator[Reading]:
        names = ", ".join(f'"{name}"' for name in FIELDS)
        while start_ms < end_ms:
            next_ms = min(end_ms, (start_ms // DAY_MS + 1) * DAY_MS)
            [rows] = self._ask(_select(names, self._where_is(tank, start_ms, next_ms)))
            found = (reading_from(tank, row[0], dict(zip(FIELDS, row[1:], strict=True))) for row in rows)
            yield from sorted((one for one in found if one is not None), key=lambda one: one.seq)
            start_ms = next_ms

    def fill(self, buckets: Buckets, tank: str, quantity: str, grid: Grid, before_ms: int) -> None:
        """Add what is known of a tank before a time to the buckets of a trend."""
        end_ms = min(grid.end_ms, before_ms)
        if end_ms <= grid.first_ms:
            return
        where = self._where_is(tank, grid.first_ms, end_ms)
        if grid.unit_ms == 1:
            [rows] = self._ask(_select(f'"quality", "{quantity}"', where))
            times, quality, figure = _columns(rows, 3)
            known = ~np.isnan(figure)
            counts = known if quantity in COUNTS_WHEN_BAD else known & (quality < 2)
            buckets.add_readings(_ms(times), quality.astype(np.int64), scaled_all(quantity, figure), counts)
            return
        by = f"GROUP BY time({_UNITS[grid.unit_ms]}) fill(none)"
        counted = "" if quantity in COUNTS_WHEN_BAD else ' AND "quality" < 2'
        figure_of = ", ".join(f'{what}("{quantity}")' for what in ("count", "sum", "min", "max"))
        all_rows, good_rows, rows = self._ask(
            _select('count("quality")', f"{where} {by}"),
            _select('count("quality")', f'{where} AND "quality" = 0 {by}'),
            _select(figure_of, f"{where}{counted} {by}"),
        )
        times, readings = _columns(all_rows, 2)
        good = _at(times, *_columns(good_rows, 2))
        at, *figures = _columns(rows, 5)
        values, total, least, most = (_at(times, at, column) for column in figures)
        buckets.add(
            _ms(times), readings.astype(np.int64), good.astype(np.int64), values.astype(np.int64),
            *(scaled_all(quantity, column) for column in (total, least, most)),
        )  # fmt: skip

    def _where_is(self, tank: str, start_ms: int, end_ms: int) -> str:
        return (
            f'"{MEASUREMENT}" WHERE "{SITE}" = {_quoted(self._site)} AND "{TANK}" = {_quoted(tank)} '
            f"AND time >= {start_ms * NS_PER_MS} AND time < {end_ms * NS_PER_MS}"
        )

    def _ask(self, *statements: str) -> list[Rows]:
        """The rows of each statement, the time in ns first."""
        try:
            if self._secret is None:
                self._secret = self._token()
            headers: dict[str, str] = {"Authorization": f"Token {self._secret}"} if self._secret else {}
            answer = self._client.post("/query", data=self._where | {"q": "; ".join(statements)}, headers=headers)
            told = list(_documents(answer.text)) if answer.status_code == 200 else []
        except httpx.HTTPError as error:
            raise Away(f"does not answer a question: {error or type(error).__name__}") from error
        except (ValueError, GaugehouseError, httpx.InvalidURL) as error:
            raise Held(f"cannot be asked: {error}") from error
        if answer.status_code != 200:
            self._secret = None
            kind = Away if answer.status_code >= 500 or answer.status_code == 429 else Held
            raise kind(f"answers a question with {answer.status_code}: {answer.text[:400].strip()}")
        return _rows_of(told, len(statements))


def _select(what: str, where: str) -> str:
    return f"SELECT {what} FROM {where}"  # noqa: S608 (names are ours, values are quoted)


def _documents(text: str) -> Iterator[Any]:
    """The answer's JSON documents: long ones come in several."""
    decoder, at = json.JSONDecoder(), 0
    while at < len(text):
        told, end = decoder.raw_decode(text, at)
        yield told
        at = end + len(text[end : end + 2]) - len(text[end : end + 2].lstrip())


def _rows_of(told: Sequence[Any], statements: int) -> list[Rows]:
    """The answer's tables. Errors of single statements come with status 200."""
    tables: list[Rows] = [[] for _ in range(statements)]
    answered: set[int] = set()
    more = True
    for document in told:
        results = document.get("results") if isinstance(document, dict) else None
        if not isinstance(results, list):
            raise Held(f"gives no InfluxQL answer: {str(document)[:200]}")
        for result in results:
            if "error" in result:
                raise Held(f"cannot answer: {result['error']}")
            series = result.get("series", [])
            number = result.get("statement_id", 0)
            answered.add(number)
            tables[number] += [row for one in series for row in one["values"]]
            more = any(one.get("partial") for one in (result, *series))
    if len(answered) != statements:  # VictoriaMetrics answers every question with one empty result
        raise Held(f"gives no InfluxQL answer: {str(told)[:200]}")
    if more:
        raise Held("cuts its answers short; raise its `max-row-limit`")
    return tables


def _columns(rows: Rows, width: int) -> list[Any]:
    """Times as integers, then floats with NaN for what is missing."""
    turned: Sequence[Sequence[Any]] = list(zip(*rows, strict=True)) if rows else [()] * width
    times = np.array(turned[0], np.int64)
    return [times, *(np.array([np.nan if v is None else v for v in column], np.float64) for column in turned[1:])]


def _ms(times: Ints) -> Ints:
    return times // NS_PER_MS


def _at(wanted: Ints, times: Ints, values: Floats) -> Floats:
    """The values at some times, 0 where there is none."""
    out = np.zeros(len(wanted))
    out[np.searchsorted(wanted, times)] = np.nan_to_num(values)
    return out


def _quoted(text: str) -> str:
    return "'" + text.replace("\\", "\\\\").replace("'", "\\'") + "'"
