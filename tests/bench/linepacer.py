"""A serial line with a speed: units on a pseudo-terminal that hold every byte back to the baud rate.

`python -m tests.bench.linepacer BAUD` prints the device and answers function 3 of every unit until its input ends; then
it prints, as JSON, how long it was asked and what a perfect master would have needed for the same. A request counts as
complete when its last character would have crossed the wire; then come 3.5 characters of silence, then the answer, one
character after the other. The next request could begin 3.5 characters later. Nothing of ours or of the client library
is in it. Source: MODBUS over Serial Line V1.02, 2.5.1 and 2.5.1.1 (11 bits a character, t3.5); 6.2.2 (the CRC).
"""

import contextlib
import json
import os
import pty
import select
import statistics
import struct
import sys
import time
import tty

REQUEST = 8
SILENCE = 3.5


def crc(frame: bytes) -> bytes:
    """CRC-16 of a frame, low byte first."""
    value = 0xFFFF
    for byte in frame:
        value ^= byte
        for _ in range(8):
            value = (value >> 1) ^ 0xA001 if value & 1 else value >> 1
    return struct.pack("<H", value)


def answer(request: bytes) -> bytes:
    """What a healthy unit says: each register holds its own address."""
    unit, function, start, count = struct.unpack(">BBHH", request[:6])
    if crc(request[:6]) != request[6:] or function != 3:
        raise SystemExit(f"a request that this line does not know: {request.hex()}")
    body = struct.pack(f">BBB{count}H", unit, 3, 2 * count, *range(start, start + count))
    return body + crc(body)


def until(due_s: float) -> None:
    """Sleep to a moment of the monotonic clock; the last part is waited out awake, as a UART is not late."""
    while (left_s := due_s - time.perf_counter()) > 0:
        if left_s > 0.0005:
            time.sleep(left_s - 0.0003)


def main(baud: int) -> None:
    with contextlib.suppress(PermissionError):  # a wire does not wait for a processor
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(1))
    character_s = 11 / baud
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    print(os.ttyname(theirs), flush=True)
    begun_s = last_s = before_s = None
    exchanges, characters = 0, 0.0
    taken_s: list[float] = []
    kept = b""
    while True:
        ready, _, _ = select.select([ours, sys.stdin], [], [])
        if ours not in ready:
            break
        kept += os.read(ours, 4096)
        if len(kept) < REQUEST:
            continue
        came_s = time.perf_counter()
        begun_s = begun_s or came_s
        if before_s is not None:
            taken_s.append(came_s - before_s)
        before_s = came_s
        frame, kept = kept[:REQUEST], kept[REQUEST:]
        reply = answer(frame)
        start_s = came_s + (REQUEST + SILENCE) * character_s
        for place in range(len(reply)):
            until(start_s + (place + 1) * character_s)
            with contextlib.suppress(BlockingIOError):
                os.write(ours, reply[place : place + 1])
        last_s = time.perf_counter() + SILENCE * character_s
        exchanges += 1
        characters += REQUEST + len(reply) + 2 * SILENCE
    asked_s = (last_s - begun_s) if begun_s is not None and last_s is not None else 0.0
    told = {"exchanges": exchanges, "asked_s": asked_s, "least_s": characters * character_s}
    told["median_s"] = statistics.median(taken_s or [0.0])
    print(json.dumps(told), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]))
