"""Small sites that the tests of this folder share, written as site files so that nothing is set past the loader."""

from pathlib import Path

from gaugehouse.site import Site, load_site

LOOP_SITE = """
[site]
id = "test"
name = "Test farm"
zone = "Etc/UTC"
reference_temperature = "15 degC"

[[bus]]
id = "gateway"
kind = "tcp"
host = "127.0.0.1"
port = {port}
period = "{period}"

[[instrument]]
id = "palm-top"
bus = "gateway"
unit = 1

[[instrument.signal]]
name = "current"
function = 3
address = 0
counted_from = 0
type = "float32"
unit = "mA"

[[instrument.signal]]
name = "temperature"
function = 3
address = 2
counted_from = 0
type = "int16"
scale = 0.1
unit = "degC"

[[product]]
id = "jet"
name = "Jet A-1"
group = "jet"
base_density = "800 kg/m3"

[[tank]]
id = "palm"
name = "Palm"
product = "jet"
level = "palm-top.current"
temperature = "palm-top.temperature"
water = "none"
measures = "innage"
at_4mA = "0 m"
at_20mA = "12 m"
reference_height = "13.5 m"
shape = {{ kind = "upright", diameter = "10 m", height = "13 m" }}

[tank.limits]
critical_high = "11.8 m"
high_high = "11.5 m"
high = "11 m"
low = "1 m"
low_low = "0.5 m"
"""


def write_site(folder: Path, text: str = LOOP_SITE, *, port: int = 1502, period: str = "1 s") -> Path:
    path = folder / "site.toml"
    path.write_text(text.format(port=port, period=period), encoding="utf-8")
    return path


def loop_site(folder: Path, **changes: object) -> Site:
    """One 10 m upright tank on one 4-20 mA loop over 0 to 12 m, with a temperature."""
    return load_site(write_site(folder, **changes))  # type: ignore[arg-type]
