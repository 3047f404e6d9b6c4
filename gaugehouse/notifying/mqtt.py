"""Sending through the site's MQTT broker: the letter as JSON, QoS 1, not retained, on a connection of its own.

Topics: `gaugehouse/SITE/notify/CHANNEL` for alarms and tests, `.../alive` below it for the message that must keep
coming. The publisher of readings has its own connection; neither can hold up the other.
"""

import json
from dataclasses import replace

from alerts.notify.letter import ALIVE, Letter
from collector.mqtt_broker import Broker, BrokerRefuses, BrokerTrouble
from collector.mqtt_link import MqttLink
from collector.mqtt_messages import ROOT, Message
from gaugehouse.notifying.sender import SendTrouble


class MqttSender:
    """One channel's way to the broker."""

    def __init__(self, broker: Broker, site: str, channel: str) -> None:
        self._broker = replace(broker, client_id=f"{broker.client_id}-notify-{channel}")
        self._topic = f"{ROOT}/{site}/notify/{channel}"

    async def send(self, letter: Letter) -> str:
        topic = f"{self._topic}/alive" if letter.kind == ALIVE else self._topic
        payload = json.dumps(letter.content, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
        try:
            link = await MqttLink.open(self._broker, None)
            try:
                await link.publish(Message(topic, payload, retain=False))
            except BaseException:
                await link.drop()
                raise
            await link.close()
        except BrokerRefuses as error:
            raise SendTrouble(str(error), refused=True) from None
        except BrokerTrouble as error:
            raise SendTrouble(str(error)) from None
        return f"{self._broker} acknowledged it on {topic}"
