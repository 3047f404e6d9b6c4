"""A Modbus server that is libmodbus, run apart: `python -m tests.service_wire.libmodbus_server REGISTERS BITS [DEVICE]`

The first two arguments are JSON lists, kept from address 0 on as holding and input registers, and as coils and discrete
inputs. Without a device it prints its TCP port and serves one client after the other; with one it answers as unit 17 on
that serial port (9600 baud, no parity) and prints 0. Until it is killed. Source of calls and layout: modbus.h 3.1.6.
"""

import ctypes
import json
import socket
import sys

ADU = 260
UNIT = 17


class Mapping(ctypes.Structure):
    """modbus_mapping_t."""

    _fields_ = (
        ("nb_bits", ctypes.c_int),
        ("start_bits", ctypes.c_int),
        ("nb_input_bits", ctypes.c_int),
        ("start_input_bits", ctypes.c_int),
        ("nb_input_registers", ctypes.c_int),
        ("start_input_registers", ctypes.c_int),
        ("nb_registers", ctypes.c_int),
        ("start_registers", ctypes.c_int),
        ("tab_bits", ctypes.POINTER(ctypes.c_uint8)),
        ("tab_input_bits", ctypes.POINTER(ctypes.c_uint8)),
        ("tab_input_registers", ctypes.POINTER(ctypes.c_uint16)),
        ("tab_registers", ctypes.POINTER(ctypes.c_uint16)),
    )


def library() -> ctypes.CDLL:
    lib = ctypes.CDLL("libmodbus.so.5")
    lib.modbus_new_tcp.restype = lib.modbus_new_rtu.restype = ctypes.c_void_p
    lib.modbus_new_tcp.argtypes = [ctypes.c_char_p, ctypes.c_int]
    lib.modbus_new_rtu.argtypes = [ctypes.c_char_p, ctypes.c_int, ctypes.c_char, ctypes.c_int, ctypes.c_int]
    lib.modbus_set_slave.argtypes = [ctypes.c_void_p, ctypes.c_int]
    lib.modbus_connect.argtypes = [ctypes.c_void_p]
    lib.modbus_mapping_new.restype = ctypes.POINTER(Mapping)
    lib.modbus_tcp_listen.argtypes = [ctypes.c_void_p, ctypes.c_int]
    lib.modbus_tcp_accept.argtypes = [ctypes.c_void_p, ctypes.POINTER(ctypes.c_int)]
    lib.modbus_receive.argtypes = [ctypes.c_void_p, ctypes.c_char_p]
    lib.modbus_reply.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_int, ctypes.POINTER(Mapping)]
    lib.modbus_close.argtypes = [ctypes.c_void_p]
    return lib


def mapping(lib: ctypes.CDLL, registers: list[int], bits: list[int]) -> object:
    made = lib.modbus_mapping_new(len(bits), len(bits), len(registers), len(registers))
    for place, value in enumerate(registers):
        made.contents.tab_registers[place] = made.contents.tab_input_registers[place] = value
    for place, bit in enumerate(bits):
        made.contents.tab_bits[place] = made.contents.tab_input_bits[place] = bit
    return made


def serve_tcp(lib: ctypes.CDLL, kept: object) -> None:
    context = lib.modbus_new_tcp(b"127.0.0.1", 0)
    listening = lib.modbus_tcp_listen(context, 1)
    if listening < 0:
        raise OSError("libmodbus cannot listen on 127.0.0.1")
    seen = socket.socket(fileno=listening)
    print(seen.getsockname()[1], flush=True)
    seen.detach()  # libmodbus keeps it
    listener = ctypes.c_int(listening)
    request = ctypes.create_string_buffer(ADU)
    while lib.modbus_tcp_accept(context, ctypes.byref(listener)) >= 0:
        while (size := lib.modbus_receive(context, request)) >= 0:
            if size > 0:
                lib.modbus_reply(context, request, size, kept)
        lib.modbus_close(context)


def serve_serial(lib: ctypes.CDLL, kept: object, device: str) -> None:
    context = lib.modbus_new_rtu(device.encode(), 9600, b"N", 8, 1)
    lib.modbus_set_slave(context, UNIT)
    if lib.modbus_connect(context) < 0:
        raise OSError(f"libmodbus cannot open {device}")
    print(0, flush=True)
    request = ctypes.create_string_buffer(ADU)
    while True:
        size = lib.modbus_receive(context, request)  # 0 for a request to another unit, -1 for a broken one
        if size > 0:
            lib.modbus_reply(context, request, size, kept)


def main(registers: list[int], bits: list[int], device: str = "") -> None:
    lib = library()
    kept = mapping(lib, registers, bits)
    if device:
        serve_serial(lib, kept, device)
    else:
        serve_tcp(lib, kept)


if __name__ == "__main__":
    main(json.loads(sys.argv[1]), json.loads(sys.argv[2]), *sys.argv[3:])
