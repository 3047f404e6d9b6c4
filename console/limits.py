"""Every bound of the console's server in one place: what one client may send, how long it may take, how many may come.

docs/hardening.md shows them beside those of the other doors.
"""

from typing import Final

LONGEST_HEADERS: Final = 16 * 1024
"""Bytes of request line and headers together."""
BODY_LIMIT: Final = 64 * 1024
"""Bytes of a body."""
LARGER_BODIES: Final = {"/api/documents/import": 1024 * 1024}
"""Where whole files come in."""
HEADERS_S: Final = 10.0
"""From a connection's beginning, or the first byte of a further request, until its headers are whole."""
BODY_S: Final = 20.0
"""Until a body is whole; 1 MiB, the most that is taken, needs 52 kB/s."""
BETWEEN_REQUESTS_S: Final = 30
"""How long a connection is kept open for a further request."""
MOST_CONNECTIONS: Final = 600
"""Connections and requests at a time; who comes beyond is answered 503."""
LONGEST_MESSAGE: Final = 4096
"""Bytes of a message that a page sends to a feed; nothing of it is listened to."""
MOST_MESSAGES: Final = 4
"""Messages of a page that may wait to be passed over."""
SEND_BUFFER: Final = 64 * 1024
"""Bytes that the kernel may hold for one client. Left to itself it held 2.6 MB, minutes of states for a page that reads
slowly, which then shows them as new."""
