"""What the console asks of the daemon: the one Protocol between the pages and the rest of the house.

Knows names, units and shapes; refuses to know where a figure comes from. All dicts are JSON-ready (str, int, float,
bool, None, list, dict); a missing figure is ``None``, never NaN; readings.csv columns keep their names and SI units;
times are ISO 8601 UTC with milliseconds and ``Z`` unless a name ends in ``_ms``. Nothing blocks: slow work is awaited.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Literal, NamedTuple, Protocol

from console.dip_facts import DipFacts
from console.people import People
from console.report_facts import ReportFacts
from models.errors import GaugehouseError

Json = dict[str, Any]
PaperSize = Literal["A4", "Letter"]


class FactsUnavailable(GaugehouseError):
    """The store or the record book cannot be reached now. Answered as 503; asking again later may help."""


class ActWaits(FactsUnavailable):
    """A person's act could not be written within a time. Its text is for that person: whether it happens, and why not
    yet."""


class AckStatus(StrEnum):
    """How an acknowledgement was taken."""

    ACCEPTED = "accepted"  # this call acknowledged it; it is in the record book
    ALREADY = "already"  # the same occurrence was acknowledged before; `by` and `time` say by whom and when
    OUTDATED = "outdated"  # the occurrence is not the newest one of this alarm
    UNKNOWN = "unknown"  # no such alarm
    REFUSED = "refused"  # it waits for no acknowledgement; `text` says why


class AckAnswer(NamedTuple):
    """The answer to an acknowledgement. `by` and `time` (ISO Z) are those of the first one; empty where there is none.

    For OUTDATED, `occurrence` is the newest one.
    """

    status: AckStatus
    by: str = ""
    time: str = ""
    occurrence: int | None = None
    text: str = ""


class ActAnswer(NamedTuple):
    """How a person's act was taken.

    status: done, already (somebody was first), older (not the newest occurrence), unknown (nothing of that name),
    refused (not now; the text says why) or wrong (a field; the text says which). body: what the act tells, JSON-ready.
    """

    status: str
    text: str = ""
    body: Json = {}  # noqa: RUF012 never changed


@dataclass(frozen=True, slots=True)
class SiteFacts:
    """What never changes while the daemon runs. `zone` is an IANA name; `build` changes whenever the program does.

    longest_shelf_s: the longest time that an alarm may be shelved for.
    """

    id: str
    name: str
    zone: str
    simulated: bool
    build: str
    longest_shelf_s: float = 28_800.0


class Facts(Protocol):
    """The daemon as the console sees it."""

    @property
    def site(self) -> SiteFacts: ...

    @property
    def dips(self) -> DipFacts:
        """Dips and density samples, asked in the same way."""
        ...

    @property
    def people(self) -> People:
        """Who may come in."""
        ...

    @property
    def reports(self) -> ReportFacts:
        """Reports and shifts handed over, asked in the same way."""
        ...

    def metrics(self) -> bytes:
        """What the daemon counts of itself, as Prometheus text."""
        ...

    def vital_checks(self) -> list[Json]:
        """Whether the daemon does its work: ``{name, ok, text}`` each, `text` only where it does not."""
        ...

    def not_ready(self) -> str:
        """Why the figures cannot be used yet, "" when they can."""
        ...

    def live(self) -> Json:
        """The newest state: ``{time, seq, build, tanks, alarms, tests, loops, buses, points}``.

        `time` is the data's clock.

        `tanks`: every tank, always, in the site file's order (before its first reading: Bad, BadNoCommunication,
        figures None). Each: all readings.csv columns (`time` None before the first reading) and `name`, `product`,
        `age_s` (None before the first reading), `last_good_level_m`, `last_good_tov_m3`, `last_good_time`, `flow`
        ("filling" | "emptying" | "still" | "" = not known), `next_limit` ``{condition, at_m, seconds, volume_m3}`` or
        None, `time_to` ``{high_high, critical_high}``, each ``{at_m, seconds, earliest_s, latest_s}`` (at the rate as
        it is and at its two sides, 95 %; latest None = perhaps never) or None, `plan` ``{tank, kind, product,
        quantity_m3, rate_m3_per_h, by, made, begun, moved_m3, receipt}`` (a movement that was ordered) or
        None, `usable_m3` and `dead_m3` (above and under the lowest suction, None without one), `room_m3` (volume up
        to the limit `high`,
        negative above it), `water_age_s`, `water_source` ("signal" | "dips" | "none"), `dip`
        (`console.dip_facts.DipFacts.state` without what moves), `day_low_m`, `day_high_m`,
        `since_reset_low_m`, `since_reset_high_m`, `since_reset_time`, `alarms` (ids of the standing alarms of the tank
        and of its instrument), `torn` ``{status, word}`` with status "F", "C", "S" or "M", or None, `status` as
        `tank_status` tells it, or None.

        `alarms`: every alarm whose state is not normal. Each: `id` (``<source>.<condition>``), `source`, `tank` (the
        tank it concerns, None for none), `condition`, `name` (words), `priority` 1-3, `state`, `occurrence` (int, one
        more each time it is raised anew), `raised`, `returned` (None while the cause stands), `acknowledged_by`,
        `acknowledged`, `comment`, `action`, `respond`, `cause`, `consequence` (words), `not_independent` (bool),
        `active` (its condition is on), `one_shot` (its shelf ends with its condition), `hides` (what hides it, the
        one that is shown first: ``{state, by, reason, since, until}``, `until` of a shelf only).

        `tests`: ids of the alarms whose end-to-end test is under way.

        `loops`: every instrument, in the site file's order. Each: `instrument`, `name`, `tanks` (ids), `outcome` ("ok"
        or how the last poll failed; None before the first), `current_mA`, `band` (`models.signal.Band` or None),
        `fault` (class, "" for none), `fault_since`, `age_s`, `noise_now_m`, `noise_usual_m`, `noise_loud_m` (one
        standard deviation of the level, None where it is not known), and `check` (the loop check under way or None:
        ``{number, by, since, until, blinds, blinded_names, covered_by, before_m, limit_percent, taken, steps, next,
        verdict}``).

        `buses`: every bus, in the site file's order. Each: `bus`, `kind`, `where`, `period_s`, `connected`, `fault`,
        `connects`, `refused`, `requests`, `utilisation` (0 to 1 over the last minute, or None), `strays`, `errors`
        (failed polls by outcome), `units`: each ``{instrument, name, unit, polls, ok, no_answer, wrong_reply,
        exceptions, missed_ticks, failures_in_a_row, failure, latency_ms, latency_p50_ms, latency_p95_ms, timeout_ms,
        last_good}``.

        `points`: meters and signals without a tank. Each: `id`, `name`, `what`, `value`, `unit`, `age_s`.
        """
        ...

    async def newer_live(self, seq: int) -> Json:
        """Wait until the newest state is not number `seq`, then the same as `live`. About one a second."""
        ...

    def tank_facts(self, tank: str) -> Json:
        """What is fixed for a tank; known ids only.

        ``{id, name, product, instrument, reference_height_m, top_m, capacity_m3, range_m: [low, high] | None, reach_m,
        stale_after_s, limits, profile, suction, safe_fill}``. `limits`, highest first: ``{condition, at_m, name,
        volume_m3}`` (level limits only). `profile`: about 60 pairs ``[level_m, litres_per_mm]`` from the bottom to the
        top of the table. A reading older than `stale_after_s` is shown as stale. `suction` ``{level_m, volume_m3}`` and
        `safe_fill` ``{level_m, volume_m3, rule}`` are None where the site names none.
        """
        ...

    def loop_facts(self, instrument: str) -> Json:
        """What is fixed for a loop; known ids only.

        ``{instrument, name, tanks, bus, unit, ne43: {fail_low_mA, low_mA, high_mA, fail_high_mA}, covers}``, `bus` in
        words for people, `unit` the address on the bus, `covers` the points that can watch its tanks during a loop
        check: ``{id, name}``.
        """
        ...

    def loop_budget(self, instrument: str) -> list[Json]:
        """The supplies that feed a loop and its output, with all that hangs on them; known ids only, empty for none.

        Each ``{supply, volts_V, least_V, limit_mA, derated_mA, loops_mA, loads: [{name, steady_mA, inrush_mA}],
        load_mA, load_percent, cold_mA, cold_percent, fits, circuits, objections}``; percents are None where the supply
        gives no current. A circuit: ``{circuit, cable_ohm, burden_ohm, loop_ohm, most_ohm, lowest_mA, highest_mA,
        terminal_at_highest_V, spare_at_lowest_V, spare_at_20mA_V, spare_at_highest_V, ceiling_mA, ceiling_by_volts_mA,
        ceiling_by_supply_mA, fail_high}``. An objection: ``{weight, about, what, change}``, weight one of "fault",
        "caution", "note".
        """
        ...

    def chain(self, tank: str) -> Json:
        """Every step of the newest reading; known ids only.

        ``{tank, time, quality, reason, steps, result}``, a step being ``{symbol, name, value, unit, rule, quality}``
        (value: number, text or None), `result` the readings.csv columns.
        """
        ...

    async def trend(self, tank: str, quantity: str, start_ms: int, span_ms: int, points: int) -> Json:
        """An envelope of a readings.csv column of a known tank.

        ``{unit, t, min, mean, max, good}``: lists of one length, at most `points`. `t`: start of each stretch, UTC ms;
        None in min, mean and max = a gap; `good`: 0..1, the share of the samples of the stretch that were Good.
        """
        ...

    def files(self) -> Json:
        """The files that are kept: ``{unclean, done, faults}``.

        `unclean`: names of those that were not closed in order before this start, and are therefore looked at; `done`:
        nothing is left to look at; `faults`: what is damaged, each as a text.
        """
        ...

    async def aggregate(self, tank: str, asked: Json) -> Json:
        """A readings.csv column of a known tank over equal intervals, by OPC UA Part 13.

        asked: ``{quantity, aggregate, start_ms, end_ms, interval_ms, stepped, uncertain_is_bad}``. Answers
        ``{unit, start_ms[], value[], status[], good_percent[]}``; raises `ValueError` with what cannot be asked.
        """
        ...

    async def faults(self, instrument: str | None, from_ms: int, to_ms: int) -> list[Json]:
        """Loop faults that touch from <= t < to, newest first: faults.csv columns (`end` None = still open).

        Beside them, of each: `blinded` (a list of alarm ids), `around` (point id to value when it was declared),
        `found_by`, `cause`, `part`, `action`, `comment`, `dip_before_m`, `dip_after_m`, `closed_by`, `closed`, `flag`
        ("goes on" | "not closed" | "closed without cause" | ""), `repeats_30d`, `repeats_90d` (same class, this one
        included), and `entries`, oldest first: ``{entry, time, by, close, corrects, ...}`` with what each says.
        """
        ...

    async def movements(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        """Movements that touch from <= t < to, newest first: movements.csv columns (`end` and final volumes None
        while one runs) and `revision`, how many entries of the record book there are about it."""
        ...

    def stock(self) -> Json:
        """What every tank holds now: ``{time, tanks, products}``.

        A tank: ``{tank, name, product, time, quality, stock_quality, level_m, temperature_degC, tov_m3, gov_m3,
        gsv_m3, mass_kg, why, gsv_u95_m3}``; a product: ``{product, gov_m3, gsv_m3, mass_kg, missing: [tanks],
        gsv_u95_m3}``, its figures None where a tank of it is not measured.
        """
        ...

    async def stock_book(self, kind: str, name: str, product: str | None, tank: str | None) -> Json:
        """The stock book of a "day" or "month" by its name, "" for the one that goes on.

        ``{kind, period, from, to, over, time, reference_degC, edition, rule: {name, words, source, base, standard} |
        None, head, products}``. A product: ``{product, name, whole, split, days, tanks: [{tank, name, whole, split,
        days}], owners, outside, papers, obstacles, remarks, closed: {entry, time, by, comment, head, period, name,
        rows} | None, seal}``; `days` are those of a month, `rows` of `closed` those that were signed. A row (`whole`,
        of `days`): ``{account, product, period, complete, missing, remarks, opening_from, physical_source,
        physical_time, physical_why, physical_u95_m3, variance_u95_m3, variance_gross_u95_m3, base_m3, percent,
        allowed_m3, verdict, verdict_why, telling, disputed_m3, disputed_u95_m3, since_days}`` and, each as `_gross_m3`
        and `_standard_m3`, opening, receipts, issues, transfers, draws, adjustments (signed: into the tank positive),
        book, physical, variance, cumulative, closing. A part of `split`: ``{part, amount_m3, u95_m3, why}``.
        `obstacles`: why it cannot be closed now. `seal`: changes with every figure that would be signed. Raises
        `ValueError` with what cannot be asked.
        """
        ...

    async def close_stock(
        self, kind: str, name: str, product: str, by: str, comment: str, seal: str | None
    ) -> ActAnswer:
        """Sign and lock a day or a month of a product, with the figures that `seal` stands for (None: as they are).

        Raises `ValueError` with what cannot be asked.
        """

    def leak_tanks(self) -> list[str]:
        """The tanks that the site names for leak tests, in the site file's order; may be none."""
        ...

    async def leak(self, tank: str, from_ms: int | None, to_ms: int | None) -> Json:
        """The leak test of a known tank over a time, None: over the newest quiet hours of two weeks.

        ``{tank, product, verdict, from, to, hours, loss_m3_per_h, u_m3_per_h, free, threshold_m3_per_h,
        detectable_m3_per_h, smallest_m3_per_h, claim_at_most_m3_per_h, averaging, terms, refusals, fit}``. verdict:
        "no_loss_seen", "loss", "gain", "cannot_tell" or "refused". `loss` is positive for a fall; `smallest` None where
        no test of this tank could ever claim anything. A term: ``{name, m3_per_h}``; a refusal: ``{why, has, needs}``;
        `fit`: ``{correlation, free, residual_m3, hours[], gsv_m3[], line_m3[], wave_m3[]}`` or None.
        """
        ...

    async def leak_tests(self, tank: str | None) -> list[Json]:
        """Signed leak tests, newest first: the keys of `leak` and `number`, `by`, `comment`, `signed`, `head`,
        `simulated`."""
        ...

    async def leak_paper(self, number: int, size: PaperSize) -> bytes | None:
        """A signed leak test as PDF; None where there is none of that number."""
        ...

    async def fault_trace(self, instrument: str, number: int) -> list[Json]:
        """The raw samples kept around a fault of a known loop, oldest first; empty where none is kept.

        Each ``{time, outcome, current_mA, values, raw, around}``; `values` and `raw` (registers) by signal, `around`
        the values of the site's points at that time by their ids.
        """
        ...

    async def fault_causes(self, instrument: str, number: int) -> Json:
        """Why a known fault of a known loop came: ``{verdict, causes, caution}``, best cause first.

        verdict: "told", "cannot tell apart" or "unknown". A cause: ``{cause, name, best, evidence_for,
        evidence_against, refuted_by}``; several with `best` stand level. No probability is told.
        """
        ...

    async def loop_figures(self, instrument: str) -> list[Json]:
        """A known loop over 30 and over 90 days: ``{instrument, days, faults, watched_h, lost_h, availability_percent,
        mean_time_between_h}``; the last is None from fewer than five faults."""
        ...

    async def alarm_rows(
        self, source: str | None, from_ms: int, to_ms: int, limit: int, before: int | None = None
    ) -> list[Json]:
        """Alarm transitions, newest first: alarms.csv columns and `entry` (its number in the record book), `id`,
        `name`, `occurrence`, `by`, `comment`. before: only those with a lower number."""
        ...

    def every_alarm(self) -> list[Json]:
        """Every alarm that the site can have, in the order of the site file: the keys of `live`'s alarms and `respond`.

        One that is normal has `state` "normal"; `raised` is None where it never came. `test`: how it was last proved,
        ``{method, last, due, overdue, newest, under_way}``: `last` and `due` are days (`due` None without a rule),
        `newest` ``{time, by, means, passed, raised_s, how, comment}`` or None, `under_way` ``{by, means, begun,
        until}`` or None.
        """
        ...

    async def record_head(self) -> str:
        """The record book's head, ``COUNT:HASH``."""
        ...

    def settings(self) -> Json:
        """The site file as it is run: ``{settings, fingerprint, files, warnings}``.

        `settings`: key path to value in SI, without secrets; `files`: names of what was read; `warnings`: texts.
        """
        ...

    async def record_rows(
        self, kind: str | None, from_ms: int, to_ms: int, limit: int, before: int | None = None
    ) -> list[Json]:
        """Entries of the record book, newest first: ``{n, time, kind, body, hash, corrected_by: [numbers]}``.

        before: only those with a lower number."""
        ...

    async def pointing_at(self, n: int) -> Json | str:
        """What a correction of entry n must carry, or why there can be none."""
        ...

    async def alarm_tests(self) -> list[Json]:
        """Every test of an alarm that has ended, newest first.

        ``{alarm, by, means, passed, raised_s, notified_s, how, comment, begun, ended}``; `notified_s` None where no
        channel told of it.
        """
        ...

    def tank_status(self) -> list[Json]:
        """What each tank is ready for, in the site file's order; empty where the site keeps no status.

        Each ``{tank, status, since, by, reason, flow_in, flow_out, may_issue, settling, release, rule, source}``.
        `flow_in` and `flow_out`: what tells of a flow, in words. `settling` (None without a countdown): ``{need_s,
        counted_s, left_s, until, since, held, restarts, depth_m, blind_s, blind_counts, down_s, down_counts, rule,
        source}``, `until` None while it is held or over. `release` or None: ``{by, time, appearance, water_test,
        density_kg_m3, conductivity_pS_m, certificate, early, comment, settling, not_done}``.
        """
        ...

    async def status_rows(self, tank: str | None, from_ms: int, to_ms: int) -> list[Json]:
        """What became of the status in from <= t < to, newest first: ``{tank, event, from, to, why, by, time, settling,
        release}``."""
        ...

    async def batches(self, tank: str | None) -> list[Json]:
        """Which receipts make up what is in each tank (or one); empty where the site keeps no status.

        Each ``{tank, mixing, model, content_m3, lack_m3, batches, release, recertify_due, recertify_overdue,
        recertify_source}``; a batch ``{batch, certificate, document, since, age_days, volume_m3, share_percent,
        origin}``, oldest first.
        """
        ...

    def channels(self) -> list[Json]:
        """The channels of notification, in the site file's order; empty where there are none.

        Each: ``{id, kind, who, failing, failures, next_try_s, waiting, sent, failed, alive, withheld, last_sent | None,
        last_answer, last_error}``, counted since the daemon started; `failures` are those in a row, `waiting` alarms
        that are still to be told, `alive` messages that show that the daemon lives and `withheld` how often they were
        not sent because it had nothing new.
        """
        ...

    def servers(self) -> list[Json]:
        """The time-series servers that hold the readings too, in the site file's order; empty where there are none.

        Each: ``{id, url, reads, rejects, seq, sent, rejected, dropped, waiting, lag_s, failure, held, next_try_s}``:
        `sent`, `rejected`, `dropped` count readings since the server was first named (`dropped`: let go by this machine
        before they were sent), `waiting` about how many it lacks and `lag_s` for how long it has, `failure` why nothing
        moves ("" when all is well), `held` whether a person must mend it, `rejects` the file of rejected lines or "".
        """
        ...

    async def performance(self, from_ms: int, to_ms: int) -> Json:
        """How the alarms of from <= t < to perform beside the aims of ISA-18.2 / IEC 62682.

        ``{from, to, operator_positions, convention, enough, enough_days, aims, now, whole, months, days}``. `from` is
        not before the record book began. `enough`: whether the stretch is long enough to judge by. `aims`: each
        ``{figure, words, unit, acceptable, manageable, below, kpi}`` (`below`: the bound itself misses it). `now`:
        ``{time, flood_since | None, chattering: [ids], stale: [ids]}``. `whole`, and each of `months` and `days`:
        ``{name, from, to, annunciations, average_10min, average_hour, average_day, peak_10min, peak_hour,
        over_10_percent, hours_over_30_percent, floods, flood_s, flood_percent, largest_flood, chattering, fleeting,
        top: [{id, times}], stale: [ids], top_percent | None, by_priority: [3], priority_percent: [3] | None, judged}``,
        `judged` being ``{figure, value | None, verdict}`` in the order of `aims`, verdict one of "met", "manageable",
        "missed", "nothing counted", "not judged" (too short a time). Averages are None for shorter periods than they.
        """
        ...

    async def acknowledge(self, alarm_id: str, occurrence: int, by: str, comment: str) -> AckAnswer:
        """Acknowledge one occurrence of an alarm; answered after it is in the record book."""
        ...

    async def check_records(self, instrument: str) -> list[Json]:
        """The loop check records of an instrument, newest first: ``{number, instrument, started, ended, by, how,
        as_found, as_left, passes}``, the last three true, false or None (no verdict)."""
        ...

    async def check_record(self, instrument: str, number: int) -> Json | None:
        """One loop check record, whole; None where the instrument has none of that number."""
        ...

    async def check_paper(self, instrument: str, number: int, size: PaperSize) -> bytes | None:
        """The same as PDF."""
        ...

    def document_facts(self) -> Json:
        """What papers of the stock book may say: ``{today, tanks, owners, places, meters, kinds, closed}``.

        `today`: the site's day, YYYY-MM-DD. `tanks`: ``{id, name, product}``. `places`: ``{id, name, kind, product}``.
        `meters`: ``{id, name, tank, direction, counts, factor}``. `kinds`: by kind ``{needs, may}``, names of fields;
        `closed`: by product the last day that is closed, "" for none.
        """
        ...

    async def documents(self, question: Json) -> list[Json]:
        """Documents of first <= day < before, by day and number.

        question: ``{first, before, tank, kind, undone}``, days or None, `undone`: with undone ones. Each: the fields of
        `inventory.documents.Document` (`time` ISO), `entry` (number in the record book), `undone` ``{by, time, comment,
        instead}`` or None, `said` (what the paper itself said, by field), `open` (it can be undone), `put_right_by`.
        """
        ...

    async def document_moves(self, first: str, before: str, tank: str | None) -> list[Json]:
        """Of first <= day < before, each tank's day with a paper or a movement, `way` "in" and "out" apart.

        Each: ``{day, tank, way, documents, others, movements, standard, paper_m3, moved_m3, u95_m3, difference_m3,
        verdict}``. `documents`: numbers of its papers, `others`: of transfer notes whose other end it is; `movements`:
        ``[{number, kind, start, end, gov_m3, gsv_m3, gsv_u95_m3, document}]`` with the one paper that each fits, or
        None; `standard`: volumes at the reference temperature, else as observed; `difference_m3`: gauge less papers, as
        sizes; `verdict`: "agree" (within the gauge's own ±), "apart", "no movement", "no paper", "not known".
        """
        ...

    async def documents_csv(self, question: Json) -> str:
        """The same as CSV that can be read in again; undone ones are left out."""
        ...

    async def document(self, number: int) -> Json | None:
        """One document that stands, as the record book has it; None where there is none."""
        ...

    async def receipts(self) -> list[Json]:
        """Receipts, each as `receipt` tells it: those that are open, then the newest 200 that are over."""
        ...

    async def receipt(self, number: int) -> Json | None:
        """One receipt as it is now, or as it was decided; None where there is none.

        ``{number, tank, tank_name, product, product_name, stage, phase, by, made, paper: {observed_m3, standard_m3,
        temperature_degC, density_15_kgpm3, note, batch, certificate, vehicle, owner}, rate_m3_per_h, sender, stops,
        checks: [{what, done, by, time, found}], sample, forecast, started, started_by, start_note, begun, opening,
        closing, progress, prompt: {state, due, done, missed}, line, reconciliation | None, why_not, notes, limits,
        reference_degC, edition, decision | None, caution}``. `stage`: "planned", "started", "accepted", "accepted with
        protest", "rejected", "called off"; `phase` of a started one: "awaits flow", "receiving", "settling", "calm",
        "not seen". One that is over has `decided_by`, `comment`, `time`, `head` and `simulated` beside that.
        """
        ...

    async def receipt_paper(self, number: int, size: PaperSize) -> bytes | None:
        """The receipt record of one that is over, as PDF; None where there is none."""
        ...

    async def water(self, tanks: Sequence[str]) -> list[Json]:
        """The water accounts of known tanks over the site's number of days, up to the last day that is over.

        Each ``{tank, from, to, days, unmeasured_days, flows_by, terms: [{term, low_m3, high_m3, note}],
        expected_low_m3, expected_high_m3, drained_*, lying_*, found_* (the same two; `lying` None where no water cut is
        known), verdict, why, trend: {slope_m_per_day, standard_error_m_per_day, rises, cuts, stretches, days, why},
        cuts: [{time, water_m, source}], drained: [{time, day, water_m3, by, how}]}``. `verdict`: "more than expected",
        "within", "cannot tell"; `source`: "signal" (one a day) or "dip"; `flows_by`: "papers", "gauge", both or "".
        """
        ...

    async def drain_checks(self, tank: str | None) -> list[Json]:
        """Drain checks, newest first: ``{number, tank, day, time, by, result, appearance, water_m3, fuel_m3, document,
        why, comment, withdrawn: {by, time, comment} | None}``, `result` one of "clear", "water", "not done"."""
        ...

    async def forecast(self) -> list[Json]:
        """Products first, then tanks: ``{of, id, tanks, time, usable_m3, held_m3, parts, above, missing, days_known,
        days_asked, days_by_papers, days_by_gauge, mean_m3_per_day, sd_m3, by_weekday_m3, cover_days,
        cover_earliest_days, cover_latest_days, lead_days, order_point_m3, order_in_days, order_earliest_in_days,
        order_by, order_now, why, notes}``. `of`: "product" or "tank"; `usable_m3`: what may be issued, `held_m3`: what
        would be usable and is not released; `parts`: of each tank ``{tank, usable_m3, held_m3, status, until,
        minimum_m3, above, notes, known, seen}``, `status` of what is held or None, `until`: when it has settled,
        `seen`: the last reading of a tank that is silent; `by_weekday_m3`: seven, Monday first; a cover of None where
        `usable_m3` and the mean are known: longer than two years; `why`: why nothing is told.
        """
        ...

    async def due(self) -> Json:
        """``{time, counts, dues}``: what somebody has to do, the most pressing first.

        A due: ``{state, kind, about, what, from, until, who, link, rule, last, note}``; `state` "overdue", "due",
        "coming" (within a week) or "later"; `from` and `until` None for what was never done; `about` the id of a tank,
        loop, alarm or product. `counts`: how many of each state.
        """
        ...

    async def act(self, name: str, fields: Json) -> ActAnswer:
        """Let a person's act happen, by its name and its fields; answered after it is in the record book."""
        ...
