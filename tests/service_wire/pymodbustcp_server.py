"""A Modbus TCP server that is pyModbusTCP: run apart, `python -m tests.service_wire.pymodbustcp_server REGISTERS BITS`.

Same arguments and output as the libmodbus one.
"""

import json
import sys
import threading

from pyModbusTCP.server import DataBank, ModbusServer

from tests.ports import free_port


def main(registers: list[int], bits: list[int]) -> None:
    size = {"coils_size": len(bits), "d_inputs_size": len(bits), "h_regs_size": len(registers)}
    bank = DataBank(**size, i_regs_size=len(registers))
    bank.set_holding_registers(0, registers)
    bank.set_input_registers(0, registers)
    bank.set_coils(0, [bool(b) for b in bits])
    bank.set_discrete_inputs(0, [bool(b) for b in bits])
    port = free_port()
    server = ModbusServer("127.0.0.1", port, no_block=True, data_bank=bank)
    server.start()
    print(port, flush=True)
    threading.Event().wait()


if __name__ == "__main__":
    main(json.loads(sys.argv[1]), json.loads(sys.argv[2]))
