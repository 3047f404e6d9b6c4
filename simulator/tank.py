"""One tank as it truly is: shell, liquid, free water, surface. The truth that no gauge of the farm sees whole.

Moves in small steps as it is told; refuses to know pumps' plans, gauges and time of day.
"""

from random import Random
from typing import Final, NamedTuple

from simulator.chance import stream
from simulator.errors import BadShell, SimulatorError
from simulator.geometry import Shell
from simulator.layout import TankLayout
from simulator.liquid import REFERENCE_DEGC, Column
from simulator.surface import Surface
from simulator.weather import Air

STEEL_PER_DEGC: Final = 1.2e-5
"""Linear expansion of carbon steel (handbook figure, from memory)."""

_SUN_ON_DRY_SHELL_DEGC: Final = 10.0
_SAG_PER_M: Final = 1.4e-5  # a bulging shell pulls its roof down: 2 mm at 12 m (invented; falls with the level squared)
_RECEIPT_WATER_FRAC: Final = (
    2.5e-5  # free water that settles out of a receipt (invented, below the 30 ppm of the trade)
)
_GROUND_DEGC: Final = 25.0


class Truth(NamedTuple):
    """What is really in a tank. `level_m` is the calm innage under the gauge, from the datum plate.

    Flows are those through the pumps at this moment; `received_m3` and `issued_m3` what went through them since the
    start, drain-back counted as received. `expanded_m3` is what warming and cooling added since then.
    """

    level_m: float
    volume_m3: float
    standard_m3: float
    mass_kg: float
    temperature_degC: float
    water_m: float
    water_m3: float
    inflow_m3_per_h: float
    outflow_m3_per_h: float
    received_m3: float
    issued_m3: float
    expanded_m3: float
    slosh_m: float


class SimTank:
    """A tank. `step` moves liquid, `settle` lets it and the shell follow the weather."""

    __slots__ = (
        "_column",
        "_inflow_m3ps",
        "_issued_m3",
        "_mount_rise_m",
        "_outflow_m3ps",
        "_received_m3",
        "_shell",
        "_shell_swelling",
        "_slosh_hz",
        "_start_m3",
        "_supply_chance",
        "_supply_degC",
        "_water_m3",
        "layout",
        "level_m",
        "surface",
    )

    def __init__(self, layout: TankLayout, seed: int) -> None:
        self.layout = layout
        self._shell = Shell(layout.shape.flawed(stream(seed, layout.id, "shell")))
        self._supply_chance: Random = stream(seed, layout.id, "supply")
        self._supply_degC = layout.supply_degC
        self.surface = Surface(
            stream(seed, layout.id, "surface"), ripple_m=layout.ripple_m, generator_hz=layout.generator_hz
        )
        self._shell_swelling = self._swelling(layout.temperature_degC)
        self._water_m3 = self._shell.volume_m3(layout.water_m) if layout.water_m else 0.0
        fuel_m3 = self._shell.volume_m3(layout.level_m) * self._shell_swelling - self._water_m3
        self._column = Column(layout.product, fuel_m3, layout.temperature_degC, layout.top_warmer_degC)
        self.level_m = layout.level_m
        self._inflow_m3ps = self._outflow_m3ps = 0.0
        self._received_m3 = self._issued_m3 = 0.0
        self._start_m3 = self.volume_m3
        self._mount_rise_m = 0.0
        self._slosh_hz = layout.shape.slosh_hz(layout.level_m)

    @property
    def volume_m3(self) -> float:
        """All that is in the shell, free water included."""
        return self._column.volume_m3 + self._water_m3

    @property
    def water_m(self) -> float:
        """Innage of free water; 0 where it does not reach the datum plate."""
        below_plate = self._shell.volume_m3(0.0)
        return self._shell.level_m(self._water_m3) if self._water_m3 > below_plate else 0.0

    @property
    def mount_rise_m(self) -> float:
        """How far the gauge has moved up since it was set; 0 for one that does not hang from the roof."""
        return self._mount_rise_m if self.layout.roof_mounted else 0.0

    @property
    def bottom_degC(self) -> float:
        return self._column.bottom_degC

    @property
    def supply_degC(self) -> float:
        return self._supply_degC

    def new_supply(self) -> None:
        """Another load comes with another temperature."""
        self._supply_degC = self.layout.supply_degC + self._supply_chance.gauss(0, 1.5)

    def temperature_at(self, height_m: float) -> float:
        """Temperature of the liquid at a height; a probe above the surface feels the uppermost layer."""
        return self._column.at_frac(height_m / max(self.level_m, 0.05))

    def step(
        self, dt_s: float, received_m3: float, supply_degC: float, issued_m3: float, inflow: float, outflow: float
    ) -> None:
        """Take in and give out these volumes; `inflow` and `outflow` are the flows at the step's end, in m3/s."""
        if received_m3 or issued_m3:
            if received_m3:
                water_m3 = received_m3 * _RECEIPT_WATER_FRAC
                self._water_m3 += water_m3
                self._column.pump_in(received_m3 - water_m3, supply_degC)
                self._received_m3 += received_m3
            if issued_m3:
                self._column.pump_out(issued_m3)
                self._issued_m3 += issued_m3
            self._find_level()
        self._inflow_m3ps, self._outflow_m3ps = inflow, outflow
        self.surface.step(dt_s, inflow + outflow, self._slosh_hz)

    def draw_water(self, volume_m3: float) -> None:
        """Drain from the bottom: water first, then fuel."""
        water_m3 = min(volume_m3, self._water_m3)
        self._water_m3 -= water_m3
        if volume_m3 > water_m3:
            self._column.pump_out(volume_m3 - water_m3)
        self._issued_m3 += volume_m3
        self._find_level()

    def settle(self, dt_s: float, air: Air) -> None:
        """Exchange heat with the world for a while, then see where the level and the gauge's mount stand."""
        if self.layout.evaporates_m3_per_h:
            self._column.pump_out(self.layout.evaporates_m3_per_h * dt_s / 3600)
        self._column.settle(dt_s, self.level_m, self.layout.shape, air, _GROUND_DEGC)
        mean_degC = self._column.mean_degC
        self._shell_swelling = self._swelling(mean_degC)
        self._find_level()
        level, height = self.level_m, self.layout.reference_height_m
        dry_degC = air.ambient_degC + _SUN_ON_DRY_SHELL_DEGC * air.sun_frac - air.sky_K / 2  # a wall sees half the sky
        stretch = level * (mean_degC - REFERENCE_DEGC) + (height - level) * (dry_degC - REFERENCE_DEGC)
        self._mount_rise_m = STEEL_PER_DEGC * stretch - _SAG_PER_M * level * level
        self._slosh_hz = self.layout.shape.slosh_hz(level)

    def truth(self) -> Truth:
        volume, standard = self.volume_m3, self._column.standard_m3
        moved = self._received_m3 - self._issued_m3
        return Truth(
            level_m=self.level_m,
            volume_m3=volume,
            standard_m3=standard,
            mass_kg=standard * self.layout.product.density15_kgpm3,
            temperature_degC=self._column.mean_degC,
            water_m=self.water_m,
            water_m3=self._water_m3,
            inflow_m3_per_h=self._inflow_m3ps * 3600,
            outflow_m3_per_h=self._outflow_m3ps * 3600,
            received_m3=self._received_m3,
            issued_m3=self._issued_m3,
            expanded_m3=volume - self._start_m3 - moved,
            slosh_m=self.surface.amplitude_m,
        )

    def _find_level(self) -> None:
        try:
            self.level_m = self._shell.level_m(self.volume_m3 / self._shell_swelling)
        except BadShell as outside:
            raise SimulatorError(f"tank {self.layout.id} ran over or dry: {outside}; mend the programme") from outside

    @staticmethod
    def _swelling(mean_degC: float) -> float:
        """How much larger the shell's cross-section is than at 15 degC."""
        return 1 + 2 * STEEL_PER_DEGC * (mean_degC - REFERENCE_DEGC)
