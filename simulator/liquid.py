"""What lies in a tank: a column of liquid in layers, each with its own temperature, warmed from all sides.

Layers hold equal standard volumes (at 15 degC); what is pumped in enters at the bottom and lifts the rest, what is
drawn leaves from there. The expansion formula is the simulator's own: a parabola, not the tables' exponential.
"""

from typing import Final, NamedTuple

from simulator.errors import SimulatorError
from simulator.geometry import Shape
from simulator.weather import Air

LAYERS: Final = 6
REFERENCE_DEGC: Final = 15.0

# Heat transfer in W/m2 per K, and what the sun adds to the temperature that a surface feels: sizes that give a tall
# tank a daily swing of some tenths of a degree (invented).
_WALL_W: Final = 6.0
_TOP_W: Final = 3.0
_GROUND_W: Final = 1.0
_SUN_ON_WALL_DEGC: Final = 9.0
_SUN_ON_TOP_DEGC: Final = 18.0
_BETWEEN_W_PER_M: Final = 1.2  # ten times still kerosene: slow currents carry heat too
_HEAT_J_PER_KG: Final = 2000.0


class Product(NamedTuple):
    """A liquid: density at 15 degC, and the volume of 1 m3 of it at T: 1 + first dT + second dT^2, dT from 15 degC."""

    id: str
    density15_kgpm3: float
    first_per_degC: float
    second_per_degC2: float

    def swelling(self, temperature_degC: float) -> float:
        """Volume at a temperature, for one unit of standard volume."""
        warmer = temperature_degC - REFERENCE_DEGC
        return 1 + self.first_per_degC * warmer + self.second_per_degC2 * warmer * warmer


class Column:
    """The liquid of one tank. Volumes moved are those at their own temperature, as a pump moves them."""

    __slots__ = ("_in_heat", "_in_std_m3", "_out_std_m3", "_product", "_standard_m3", "_swelling", "temperatures_degC")

    def __init__(self, product: Product, volume_m3: float, temperature_degC: float, top_warmer_degC: float) -> None:
        self._product = product
        middle = (LAYERS - 1) / 2
        self.temperatures_degC = [temperature_degC + top_warmer_degC * (k - middle) / LAYERS for k in range(LAYERS)]
        self._swelling = self._mean_swelling()
        self._standard_m3 = volume_m3 / self._swelling
        self._in_std_m3 = self._in_heat = self._out_std_m3 = 0.0

    @property
    def standard_m3(self) -> float:
        return self._standard_m3 + self._in_std_m3 - self._out_std_m3

    @property
    def volume_m3(self) -> float:
        """Volume at the temperatures that the layers have now, with what moved since they were last settled."""
        volume = self._standard_m3 * self._swelling
        if self._in_std_m3:
            volume += self._in_std_m3 * self._product.swelling(self._in_heat / self._in_std_m3)
        if self._out_std_m3:
            volume -= self._out_std_m3 * self._product.swelling(self.temperatures_degC[0])
        return volume

    @property
    def mean_degC(self) -> float:
        return sum(self.temperatures_degC) / LAYERS

    @property
    def bottom_degC(self) -> float:
        return self.temperatures_degC[0]

    def at_frac(self, fraction: float) -> float:
        """Temperature at a fraction of the column's height from the bottom: straight between the layers' middles."""
        place = min(max(fraction * LAYERS - 0.5, 0.0), LAYERS - 1.0)
        below = min(int(place), LAYERS - 2)
        low, high = self.temperatures_degC[below], self.temperatures_degC[below + 1]
        return low + (high - low) * (place - below)

    def pump_in(self, volume_m3: float, temperature_degC: float) -> None:
        standard = volume_m3 / self._product.swelling(temperature_degC)
        self._in_std_m3 += standard
        self._in_heat += standard * temperature_degC

    def pump_out(self, volume_m3: float) -> None:
        self._out_std_m3 += volume_m3 / self._product.swelling(self.bottom_degC)
        if self.standard_m3 <= 0:
            raise SimulatorError("a tank was pumped dry: give the issue a smaller volume or a lower limit")

    def settle(self, dt_s: float, level_m: float, shape: Shape, air: Air, ground_degC: float) -> None:
        """Take in what moved, let the layers change heat with the world for a while, and overturn what is unstable."""
        self._shift()
        self._exchange(dt_s, level_m, shape, air, ground_degC)
        self._overturn()
        self._swelling = self._mean_swelling()

    def _shift(self) -> None:
        if not self._in_std_m3 and not self._out_std_m3:
            return
        share = self._standard_m3 / LAYERS
        parcels = [(share, t) for t in self.temperatures_degC]
        if self._in_std_m3:
            parcels.insert(0, (self._in_std_m3, self._in_heat / self._in_std_m3))
        self._standard_m3 = self.standard_m3
        self.temperatures_degC = _cut(parcels, self._out_std_m3, self._standard_m3 / LAYERS)
        self._in_std_m3 = self._in_heat = self._out_std_m3 = 0.0

    def _exchange(self, dt_s: float, level_m: float, shape: Shape, air: Air, ground_degC: float) -> None:
        temperatures = self.temperatures_degC
        level_m = max(level_m, 0.05)
        wall = air.ambient_degC + _SUN_ON_WALL_DEGC * air.sun_frac - air.sky_K / 2
        wall_W = _WALL_W * shape.wall_m2_per_m * level_m / LAYERS
        between_W = _BETWEEN_W_PER_M * shape.top_m2 * LAYERS / level_m
        heats = [wall_W * (wall - t) for t in temperatures]
        heats[0] += _GROUND_W * shape.top_m2 * (ground_degC - temperatures[0])
        top = air.ambient_degC + _SUN_ON_TOP_DEGC * air.sun_frac - air.sky_K
        heats[-1] += _TOP_W * shape.top_m2 * (top - temperatures[-1])
        for k in range(LAYERS - 1):
            up = between_W * (temperatures[k] - temperatures[k + 1])
            heats[k] -= up
            heats[k + 1] += up
        holds = _HEAT_J_PER_KG * self._product.density15_kgpm3 * self._standard_m3 / LAYERS
        self.temperatures_degC = [t + heat * dt_s / holds for t, heat in zip(temperatures, heats, strict=True)]

    def _overturn(self) -> None:
        """Warm liquid under colder liquid mixes with it: pools of neighbours until no pool is warmer than the next."""
        pools: list[tuple[float, int]] = []
        for temperature in self.temperatures_degC:
            mean, count = temperature, 1
            while pools and pools[-1][0] > mean:
                below, how_many = pools.pop()
                mean = (below * how_many + mean * count) / (how_many + count)
                count += how_many
            pools.append((mean, count))
        self.temperatures_degC = [mean for mean, count in pools for _ in range(count)]

    def _mean_swelling(self) -> float:
        return sum(map(self._product.swelling, self.temperatures_degC)) / LAYERS


def _cut(parcels: list[tuple[float, float]], skip: float, share: float) -> list[float]:
    """Temperatures of equal shares of a stack of (standard volume, temperature), lowest first, once `skip` has left."""
    temperatures: list[float] = []
    heat, room = 0.0, share
    for size, temperature in parcels:
        gone = min(size, skip)
        skip -= gone
        left = size - gone
        while left > 0 and len(temperatures) < LAYERS:
            taken = min(left, room)
            heat += taken * temperature
            left -= taken
            room -= taken
            if room <= 1e-12 * share:
                temperatures.append(heat / share)
                heat, room = 0.0, share
    if len(temperatures) < LAYERS:  # the last crumbs of rounding
        temperatures.append(heat / (share - room))
    return temperatures
