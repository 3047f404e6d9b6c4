"""`[stock.documents]`: what a meter of the book takes from the site's own meter, and what it says itself."""

from pathlib import Path

from gaugehouse.site import changes, load_site
from inventory.documentrules import Counts, Direction, PlaceKind
from tests.gaugehouse.sites import LOOP_SITE

SIGNAL = """
[[meter]]
id = "m1"
name = "Load rack"
signal = "palm-top.volume"
kind = "volume"
factor = 1.002
compensated = true
rolls_over_at = "1000 m3"
draws_from = "palm"
"""
TOTALISER = """[[instrument.signal]]
name = "volume"
function = 3
address = 8
counted_from = 0
type = "uint32"
unit = "L"

[[product]]"""


def site(folder: Path, more: str):
    path = folder / "site.toml"
    text = LOOP_SITE.replace("[[product]]", TOTALISER) + SIGNAL + more
    path.write_text(text.format(port=1502, period="1 s"), encoding="utf-8")
    return load_site(path)


def test_a_meter_takes_from_the_sites_own_what_it_does_not_say(tmp_path):
    linked = site(tmp_path, '[[stock.documents.meter]]\nid = "rack"\nmeter = "m1"\n').documents.meter("rack")
    assert (linked.name, linked.tank, linked.direction) == ("Load rack", "palm", Direction.OUT)
    assert (linked.factor, linked.compensated, linked.rolls_over_at_m3) == (1.002, True, 1000.0)
    own = (
        '[[stock.documents.meter]]\nid = "rack"\nmeter = "m1"\nfactor = 0.999\ncompensated = false\ncounts = "check"\n'
    )
    meter = site(tmp_path, own).documents.meter("rack")
    assert (meter.factor, meter.compensated, meter.counts) == (0.999, False, Counts.CHECK)


def test_places_and_bounds_are_read_and_a_change_of_them_is_told(tmp_path):
    place = '[[stock.documents.place]]\nid = "cart"\nkind = "refueller"\nproduct = "jet"\ncapacity = "5000 L"\n'
    one = site(tmp_path, place)
    assert (one.documents.places[0].kind, one.documents.places[0].capacity_m3) == (PlaceKind.REFUELLER, 5.0)
    other = site(tmp_path, place.replace("5000", "6000") + '[stock.documents]\nlargest_ticket = "30 m3"\n')
    told = changes(one.settings, other.settings)
    assert any("largest_ticket_m3" in line for line in told)
    assert any("capacity_m3" in line for line in told)
