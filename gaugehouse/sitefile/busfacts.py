"""Buses and the broker of the site file as those that use them take them."""

from collections.abc import Sequence
from pathlib import Path

from collector.spec import BusSpec, InstrumentSpec
from gaugehouse.sitefile import facts
from gaugehouse.sitefile.schema import BusTable, InstrumentTable, MqttTable
from gaugehouse.sitefile.signalfacts import register_of


def bus_of(bus: BusTable, instruments: Sequence[InstrumentTable]) -> BusSpec:
    parity = bus.parity or "E"
    return BusSpec(
        id=bus.id,
        kind=bus.kind,
        instruments=tuple(
            InstrumentSpec(i.id, i.unit, tuple(register_of(s) for s in i.signal), i.bridge, i.longest)
            for i in instruments
        ),
        host=bus.host or "",
        port=bus.port or 502,
        device=bus.device or "",
        baud=bus.baud or 9600,
        parity=parity,
        # Source: MODBUS over Serial Line V1.02 2.5.1: a character has 11 bits, so no parity goes with two stop bits.
        stop_bits=bus.stop_bits or (2 if parity == "N" else 1),
        period_ms=bus.period,
        timeout_ms=bus.timeout,
    )


def mqtt_of(mqtt: MqttTable, folder: Path) -> facts.MqttSpec:
    return facts.MqttSpec(
        host=mqtt.host,
        port=mqtt.port or (8883 if mqtt.tls else 1883),
        tls=mqtt.tls,
        ca=None if mqtt.ca is None else folder / mqtt.ca,
        certificate=None if mqtt.certificate is None else folder / mqtt.certificate,
        private_key=None if mqtt.private_key is None else folder / mqtt.private_key,
        username=mqtt.username,
        password_file=None if mqtt.password_file is None else folder / mqtt.password_file,
        password_env=mqtt.password_env,
        client_id=mqtt.client_id,
        protocol=mqtt.protocol,
        keepalive_ms=mqtt.keepalive,
        interval_ms=mqtt.interval,
    )
