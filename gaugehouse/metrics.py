"""What the daemon counts, as Prometheus text (exposition format 0.0.4): made when it is asked for, kept nowhere.

Ages are of the site's clock, everything else of real time. A figure that is not known has no sample: a missing line can
be alarmed on, a false zero cannot.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, Final, NamedTuple

from prometheus_client import CollectorRegistry, ProcessCollector, generate_latest
from prometheus_client.core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    HistogramMetricFamily,
    InfoMetricFamily,
    Metric,
)
from prometheus_client.registry import Collector

from collector.health import LATE_MS, BusHealth
from collector.mqtt_messages import PublishCounters
from gaugehouse.days import parse_ms
from gaugehouse.registerserver import Counts
from gaugehouse.vitals import Vitals
from history.bookwriter import BookCounters
from history.writer import Counters

Json = Mapping[str, Any]

QUALITIES: Final = {"Bad": 0, "Uncertain": 1, "Good": 2}


class Counted(NamedTuple):
    """Where the counts come from. waiting, dropped: Samples and acts before the core. published, registers: None where
    the site has none."""

    site: str
    build: str
    live: Callable[[], Json]
    health: Callable[[], Mapping[str, BusHealth]]
    waiting: Callable[[], int]
    dropped: Callable[[], int]
    readings: Callable[[], Counters]
    book: Callable[[], BookCounters]
    channels: Callable[[], list[dict[str, Any]]]
    servers: Callable[[], list[dict[str, Any]]]
    published: Callable[[], PublishCounters] | None
    registers: Callable[[], Counts | None]
    now_ms: Callable[[], int]


class DaemonMetrics(Collector):
    """One scrape at a time out of the daemon's own counters."""

    def __init__(self, counted: Counted, vitals: Vitals) -> None:
        self._counted, self._vitals = counted, vitals
        self._registry = CollectorRegistry(auto_describe=False)
        self._registry.register(self)
        ProcessCollector(registry=self._registry)

    def text(self) -> bytes:
        """The whole exposition."""
        return generate_latest(self._registry)

    def collect(self) -> Iterable[Metric]:
        counted = self._counted
        yield InfoMetricFamily("gaugehouse_build", "What runs.", {"version": counted.build, "site": counted.site})
        yield from _buses(counted.health())
        yield from _tanks(counted.live(), counted.now_ms())
        yield from _alarms(counted.live())
        yield from self._queues()
        yield from self._outward()
        yield from self._vital()

    def _queues(self) -> Iterator[Metric]:
        counted = self._counted
        readings, book = counted.readings(), counted.book()
        yield _gauge("core_waiting", "Samples and acts that wait to be decided.", counted.waiting())
        yield _gauge("core_waiting_seconds", "How long the oldest of them has waited.", self._vitals.waiting_s())
        yield _counter("core_ticks", "Ticks decided since the start.", self._vitals.decided())
        yield _counter("core_dropped", "Samples given up because too many waited.", counted.dropped())
        yield _counter("readings_written", "Readings in the store.", readings.written)
        yield _counter("readings_dropped", "Readings given up for lack of room or time.", readings.dropped)
        yield _counter("readings_refused", "Readings that the store will never take.", readings.refused)
        yield _gauge("readings_waiting", "Readings still to be written.", readings.waiting)
        yield _gauge("readings_lag_seconds", "How long the oldest of them has waited.", readings.lag_s)
        yield _counter("records_entries", "Entries written to the record book.", book.entries)
        yield _counter("records_retries", "Commits tried again.", book.retries)
        yield _gauge("records_waiting", "Commits that wait for the disk.", book.waiting)
        yield _gauge("records_commit_seconds", "What the last commit took.", book.last_s)

    def _outward(self) -> Iterator[Metric]:
        counted = self._counted
        if counted.published is not None:
            mqtt = counted.published()
            yield _gauge("mqtt_connected", "1 while the broker is there.", int(mqtt.connected))
            yield _counter("mqtt_acknowledged", "Messages that the broker took.", mqtt.acknowledged)
            yield _counter("mqtt_dropped", "Readings that gave way to newer ones.", mqtt.dropped)
            yield _gauge("mqtt_waiting", "Messages not acknowledged.", mqtt.waiting_alarms + mqtt.waiting_readings)
        sent = CounterMetricFamily(
            "gaugehouse_notify_messages", "By channel and outcome.", labels=["channel", "outcome"]
        )
        for channel in counted.channels():
            for outcome in ("sent", "failed"):
                sent.add_metric([channel["id"], outcome], channel[outcome])
        yield sent
        lag = GaugeMetricFamily("gaugehouse_server_lag_seconds", "How far a server is behind.", labels=["server"])
        for server in counted.servers():
            lag.add_metric([server["id"]], server["lag_s"])
        yield lag
        registers = counted.registers()
        if registers is not None:
            yield _gauge("registers_connected", "Callers of the register server.", registers.connected)
            yield _counter("registers_answered", "Pieces of requests answered.", registers.answered)
            yield _counter("registers_refused", "Callers that may not ask.", registers.refused + registers.full)

    def _vital(self) -> Iterator[Metric]:
        ok = GaugeMetricFamily("gaugehouse_check_ok", "1 while a check of the daemon holds.", labels=["check"])
        for check in self._vitals.checks():
            ok.add_metric([check.name], int(check.ok))
        yield ok
        yield _counter("loop_stalls", "Times that the daemon stood still.", self._vitals.stalls)
        yield _gauge("loop_longest_stall_seconds", "The longest since the start.", self._vitals.longest_stall_s)


def _gauge(name: str, words: str, value: float) -> Metric:
    return GaugeMetricFamily(f"gaugehouse_{name}", words, value)


def _counter(name: str, words: str, value: float) -> Metric:
    return CounterMetricFamily(f"gaugehouse_{name}", words, value)


def _buses(health: Mapping[str, BusHealth]) -> Iterator[Metric]:
    up = GaugeMetricFamily("gaugehouse_bus_connected", "1 while the line is open.", labels=["bus"])
    busy = GaugeMetricFamily("gaugehouse_bus_utilisation_ratio", "Share of the last minute.", labels=["bus"])
    requests = CounterMetricFamily("gaugehouse_bus_requests", "Requests sent.", labels=["bus"])
    late = HistogramMetricFamily(
        "gaugehouse_poll_lateness_seconds", "How long after its tick a poll began (site time).", labels=["bus"]
    )
    labels = ["bus", "instrument"]
    polls = CounterMetricFamily("gaugehouse_polls", "Polls by outcome.", labels=[*labels, "outcome"])
    missed = CounterMetricFamily("gaugehouse_poll_ticks_missed", "Ticks that went by unused.", labels=labels)
    spared = CounterMetricFamily(
        "gaugehouse_poll_ticks_spared", "Ticks left out because the instrument kept failing.", labels=labels
    )
    answer = GaugeMetricFamily("gaugehouse_answer_seconds", "Of the last answers.", labels=[*labels, "quantile"])
    for bus, one in health.items():
        up.add_metric([bus], int(one.connected))
        requests.add_metric([bus], one.requests)
        if one.utilisation is not None:
            busy.add_metric([bus], one.utilisation)
        counts, sum_so_far = [], 0
        for bound_ms, count in zip((*LATE_MS, None), one.late, strict=True):
            sum_so_far += count
            counts.append(("+Inf" if bound_ms is None else f"{bound_ms / 1000:g}", float(sum_so_far)))
        late.add_metric([bus], counts, one.late_sum_ms / 1000)
        for instrument, of_it in one.instruments.items():
            for outcome, count in (("ok", of_it.ok), ("timeout", of_it.no_answer), ("wrong-reply", of_it.wrong_reply)):
                polls.add_metric([bus, instrument, outcome], count)
            polls.add_metric([bus, instrument, "exception"], sum(of_it.exceptions.values()))
            missed.add_metric([bus, instrument], of_it.missed_ticks)
            spared.add_metric([bus, instrument], of_it.spared_ticks)
            for quantile, ms in (("0.5", of_it.latency_p50_ms), ("0.95", of_it.latency_p95_ms)):
                if ms is not None:
                    answer.add_metric([bus, instrument, quantile], ms / 1000)
    yield from (up, busy, requests, late, polls, missed, spared, answer)


def _tanks(live: Json, now_ms: int) -> Iterator[Metric]:
    quality = GaugeMetricFamily("gaugehouse_tank_quality", "0 Bad, 1 Uncertain, 2 Good.", labels=["tank"])
    age = GaugeMetricFamily("gaugehouse_reading_age_seconds", "Of the newest reading.", labels=["tank"])
    good = GaugeMetricFamily("gaugehouse_good_reading_age_seconds", "Of the newest Good reading.", labels=["tank"])
    for tank in live["tanks"]:
        quality.add_metric([tank["tank"]], QUALITIES[tank["quality"]])
        for family, column in ((age, "time"), (good, "last_good_time")):
            if tank[column] is not None:
                family.add_metric([tank["tank"]], max(0.0, (now_ms - parse_ms(tank[column])) / 1000))
    yield from (quality, age, good)


def _alarms(live: Json) -> Iterator[Metric]:
    counts: dict[tuple[str, str], int] = {}
    for alarm in live["alarms"]:
        key = str(alarm["priority"]), str(alarm["state"])
        counts[key] = counts.get(key, 0) + 1
    family = GaugeMetricFamily(
        "gaugehouse_alarms", "Alarms that are not normal, by priority and state.", labels=["priority", "state"]
    )
    for (priority, state), count in sorted(counts.items()):
        family.add_metric([priority, state], count)
    yield family
    yield _gauge("alarms_standing", "All alarms that are not normal.", sum(counts.values()))
