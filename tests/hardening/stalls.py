"""How long the machine gave this process no turn: by so much may a bound on times of the wall be stretched."""

import threading
import time

LOOK_S = 0.05
USUAL_S = 0.1
"""By which a thread among busy others is late anyway."""


class Stalls:
    """ms: all of them together so far. Taken by a thread, so that work which holds up the loop alone does not count."""

    def __init__(self) -> None:
        self.ms = 0.0

    def watch(self, over: threading.Event) -> None:
        last_s = time.monotonic()
        while not over.wait(LOOK_S):
            now_s = time.monotonic()
            late_s = now_s - last_s - LOOK_S
            if late_s > USUAL_S:
                self.ms += 1000 * late_s
            last_s = now_s
