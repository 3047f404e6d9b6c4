"""A serial Modbus server that is modbus_tk, run apart: arguments and output as the libmodbus one's; units 3 and 17."""

import json
import sys
import time

import serial
from modbus_tk import defines, modbus_rtu


def main(registers: list[int], bits: list[int], device: str) -> None:
    server = modbus_rtu.RtuServer(serial.Serial(device, 9600, parity="N", stopbits=2))
    for unit in (3, 17):
        slave = server.add_slave(unit)
        for kind, values in (
            (defines.HOLDING_REGISTERS, registers),
            (defines.ANALOG_INPUTS, registers),
            (defines.COILS, bits),
            (defines.DISCRETE_INPUTS, bits),
        ):
            slave.add_block(str(kind), kind, 0, len(values))
            slave.set_values(str(kind), 0, values)
    server.start()
    print(0, flush=True)
    while True:
        time.sleep(60)


if __name__ == "__main__":
    main(json.loads(sys.argv[1]), json.loads(sys.argv[2]), sys.argv[3])
