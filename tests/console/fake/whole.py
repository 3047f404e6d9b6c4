"""All parts of the fake farm together."""

from tests.console.fake.acts import FakeActs
from tests.console.fake.alarms import FakeAlarms
from tests.console.fake.house import FakeHouse
from tests.console.fake.loops import FakeLoops
from tests.console.fake.records import FakeRecords
from tests.console.fake.stock import FakeStock
from tests.console.fake.tanks import FakeTanks


class FakeFacts(FakeHouse, FakeTanks, FakeLoops, FakeAlarms, FakeRecords, FakeStock, FakeActs):
    """Implements `console.facts.Facts`. `advance` moves the clock and wakes who waits."""
