"""A Modbus peer that misbehaves on command, on TCP and on a serial line. See docs/test-peers.md."""

from tests.peers.misdeeds import MISDEEDS, Misdeed
from tests.peers.peer import Peer
from tests.peers.serial import SerialPeer
from tests.peers.tcp import TcpPeer
from tests.peers.telling import tell, told

__all__ = ["MISDEEDS", "Misdeed", "Peer", "SerialPeer", "TcpPeer", "tell", "told"]
