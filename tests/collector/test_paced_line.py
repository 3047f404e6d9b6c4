"""A serial line that keeps to its speed: the collector asks it at no more than the wire can carry, and is answered."""

import pytest

from collector.rtu_line import nap_s
from modbus.timing import exchange_ms, silence_ms
from models.reading import OK
from tests.bench.bench_serial import UNITS, ours, paced_line

REGISTERS, EXCHANGES = 10, 2 * UNITS


async def test_healthy_units_back_to_back_never_take_less_than_the_wire_and_always_answer() -> None:
    for _ in range(5):  # the line is a process of its own: a machine that holds it up for a time-out costs one try
        with paced_line() as line:
            found = await ours(line.device, REGISTERS, EXCHANGES)
        assert 0 < line.use <= 1  # the limit is one of physics: no silence was cut short
        if all(sample.outcome == OK for sample in found):
            break
    assert [sample.outcome for sample in found] == [OK] * len(found)
    assert all(sample.values == {f"r{n}": n for n in range(REGISTERS)} for sample in found)
    assert {sample.instrument for sample in found} == {f"u{unit}" for unit in range(1, UNITS + 1)}
    least_s = line.told["exchanges"] * exchange_ms(False, REGISTERS, 9600) / 1000
    assert line.told["least_s"] == pytest.approx(least_s)  # the pacer counts for itself


def test_the_end_of_a_silence_is_waited_out_awake_only_where_little_is_left_of_it() -> None:
    # t3.5 by MODBUS over Serial Line V1.02, 2.5.1.1: 4.01 ms at 9600 baud, 1.75 ms above 19200.
    assert nap_s(silence_ms(9600) / 1000) == pytest.approx(0.004)
    assert nap_s(silence_ms(19200) / 1000) == pytest.approx(0.002)
    assert nap_s(0.00175) == 0.00175
