"""What the store works out anew is what the core worked out: over a whole example site, and by an earlier model."""

from pathlib import Path

import numpy as np
import pytest

from gaugehouse.core import Tick
from gaugehouse.deriving import ModelDeriver, SiteModels, deriver_of
from gaugehouse.site import Site, load_site
from gaugehouse.wiring import core_of
from history.block import Columns, columns_of, pack, rows_of, unpack
from history.scale import reading_of, rounded, row_of
from models.definition import made_of, written
from models.reading import OK, Instant, Reading, Sample

ROOT = Path(__file__).parents[2]
START_MS = 1_767_225_600_000


@pytest.fixture(scope="module")
def site() -> Site:
    return load_site(ROOT / "deploy/examples/jet-farm/site.toml")


def readings_of(site: Site, count: int = 900) -> dict[str, list[Reading]]:
    """The core's own readings of a level that falls and rises over the whole range, by converter steps."""
    core, out = core_of(site), {tank.id: [] for tank in site.tanks}
    rng = np.random.default_rng(4)
    for i in range(count):
        fraction = 0.5 + 0.52 * np.sin(i / 60) + rng.normal(0, 1e-4)
        samples = []
        for tank in site.tanks:
            ends = tank.range_m or (0.0, tank.table.top_m)
            level = ends[0] + fraction * (ends[1] - ends[0])
            current = float(np.float32(4 + round(16 * fraction * 4095) / 4095))
            values = {tank.level.signal: current if tank.level.signal == "current" else float(round(level * 1000))}
            values |= {"current": current}
            if tank.temperature is not None:
                values[tank.temperature.signal] = round(27 + 3 * np.sin(i / 200), 1)
            samples.append(Sample(tank.instrument, START_MS + i * 1000, OK, values))
        result = core.step(Tick(Instant(i + 1, START_MS + i * 1000, i * 1000), samples))
        for reading in result.readings:
            out[reading.tank].append(reading)
    return out


def block(readings: list[Reading]) -> Columns:
    rows = [row_of(one) for one in readings]
    return columns_of([(*row[:6], one.level_m, *row[6:]) for row, one in zip(rows, readings, strict=True)])


def test_the_array_form_leaves_next_to_nothing_over_and_nothing_changes(site: Site) -> None:
    for tank_id, readings in readings_of(site).items():
        deriver = deriver_of(site, site.tank(tank_id))
        columns = block(readings)
        packed = pack(columns, deriver)
        assert [reading_of(tank_id, row) for row in rows_of(unpack(packed, deriver))] == [rounded(r) for r in readings]
        bare = pack(columns, None)
        for name in ("tov_m3", "volume_percent", "level_percent", "ullage_m"):
            assert len(packed[name]) < 0.15 * len(bare[name]), f"{tank_id}: {name} is not worked out"


def test_a_model_comes_back_from_its_text_with_the_same_figures(site: Site) -> None:
    for tank in site.tanks:
        now = deriver_of(site, tank)
        text = now.definition()
        assert written(made_of(text)) == text
        again = SiteModels(site).earlier(tank.id, "of old", text)
        assert isinstance(again, ModelDeriver)
        assert again.version == "of old"
        columns = block(readings_of(site, 60)[tank.id])
        assert pack(columns, again) == pack(columns, now)


@pytest.mark.parametrize(
    "text",
    [
        "{}",
        "[]",
        "nonsense",
        '{"is":"os.path"}',
        '{"is":"models.definition.Gone"}',
        '{"is":"models.definition.Definition","odd":1}',
        '{"is":"models.quantity.Shell","expansion_per_degC":1e-5}',
    ],
)
def test_a_text_that_is_no_model_of_this_program_is_refused_and_nothing_else_is_made(site: Site, text: str) -> None:
    with pytest.raises(ValueError, match=r".+"):
        made_of(text)
    assert SiteModels(site).earlier("north", "of old", text) is None


def test_a_tank_that_the_site_no_longer_has_has_no_model(site: Site) -> None:
    models = SiteModels(site)
    assert models.current("gone") is None
    assert models.definition("gone") == ""


def test_a_model_that_cannot_be_written_down_is_done_without(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(value: object) -> str:
        raise TypeError("a new kind of part")

    monkeypatch.setattr("gaugehouse.deriving.written", refuse)
    assert SiteModels(site).current("north") is None
