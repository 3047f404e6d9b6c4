"""A Modbus TCP server that is uModbus: run apart, `python -m tests.service_wire.umodbus_server REGISTERS BITS`.

Same arguments and output as the libmodbus one; units 0 to 247.
"""

import json
import sys
from socketserver import TCPServer

from umodbus import conf
from umodbus.server.tcp import RequestHandler, get_server


def main(registers: list[int], bits: list[int]) -> None:
    conf.SIGNED_VALUES = False
    server = get_server(TCPServer, ("127.0.0.1", 0), RequestHandler)

    @server.route(slave_ids=range(248), function_codes=[1, 2], addresses=range(len(bits)))
    def bit(slave_id: int, function_code: int, address: int) -> int:
        return bits[address]

    @server.route(slave_ids=range(248), function_codes=[3, 4], addresses=range(len(registers)))
    def register(slave_id: int, function_code: int, address: int) -> int:
        return registers[address]

    print(server.server_address[1], flush=True)
    server.serve_forever()


if __name__ == "__main__":
    main(json.loads(sys.argv[1]), json.loads(sys.argv[2]))
