import pytest

from modbus.timing import bytes_ms, pause_ms, read_ms, silence_ms
from tests.modbus.tables import rows

LIMITS = {row["item"]: float(row["value"]) for row in rows("modbus_limits")}


@pytest.mark.parametrize("row", rows("rtu_timing"), ids=lambda r: r["id"])
def test_serial_times_agree_with_the_table(row: dict[str, str]) -> None:
    baud, registers = int(row["baud"]), int(row["registers_n"])
    assert silence_ms(baud) == pytest.approx(float(row["t3.5_ms"]), abs=5e-7)
    assert bytes_ms(8, baud) == pytest.approx(float(row["request_ms"]), abs=5e-7)
    one = read_ms(baud, registers, float(row["t_proc_ms"]))
    assert one == pytest.approx(float(row["one_read_ms"]), abs=5e-7)
    assert one * int(row["reads_N"]) == pytest.approx(float(row["cycle_ms"]), abs=5e-6)


def test_fixed_times_above_19200_baud_are_the_published_ones() -> None:
    assert silence_ms(38400) * 1000 == LIMITS["t3.5 fixed above 19200 (us)"]
    assert pause_ms(38400) * 1000 == LIMITS["t1.5 fixed above 19200 (us)"]
    assert pause_ms(9600) == pytest.approx(silence_ms(9600) * 1.5 / 3.5)
