"""A machine that is commanded over MQTT and answers, as somebody else's library speaks it (paho 2.2).

With MQTT 3.1.1 a command is {"door": "open", "no": 17}, and its answer {"no": 17, "result": "ok"} or
{"no": 17, "result": "denied", "why": "a tray is out"} on --done. With 5.0 the payload is the word
alone; the answer goes to the command's Response Topic and gives its Correlation Data back (MQTT 5.0,
3.3.2.3.5, 3.3.2.3.6, 4.10). A command is carried out once; a repeat is known by its number, and
answered again.

Each command is told unasked: {"said": "told", "door": "open", "number": 17, "repeat": false,
"retained": false, "qos": 1, "expiry": null, "moves": 3}. `moves` counts what was carried out.

Commands, one JSON object a line on standard input:

    {"do": "behave", "how": "obey"}    behaves: from now on it obeys and answers; or
                                       "mute": obeys and does not answer
                                       "refuse": does nothing and says so
                                       "rubbish": answers the command before, nonsense, a word that
                                       means nothing, a number nobody gave; and then it obeys, and
                                       answers twice
    {"do": "quit"}                     the end of the input ends it too
"""

import argparse
import json
import sys
import threading

from paho.mqtt.client import CallbackAPIVersion, Client, MQTTv5, MQTTv311
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

SPEECH = threading.Lock()


def say(said, **fields):
    with SPEECH:
        print(json.dumps({"said": said, **fields}), flush=True)


class Machine:
    def __init__(self, options):
        self.options = options
        self.five = options.version == "5.0"
        self.how = "obey"
        self.last, self.before, self.moves = None, None, 0
        protocol = MQTTv5 if self.five else MQTTv311
        clean = {} if self.five else {"clean_session": True}
        self.client = Client(
            CallbackAPIVersion.VERSION2, client_id="commanded", protocol=protocol, **clean
        )
        self.client.reconnect_delay_set(0.05, 0.3)
        self.subscribed = threading.Event()
        self.client.on_connect = lambda client, *_: client.subscribe(options.do, qos=1)
        self.client.on_subscribe = lambda *_: self.subscribed.set()
        self.client.on_message = self.arrived
        self.client.connect(options.host, options.port, keepalive=10)
        self.client.loop_start()
        if not self.subscribed.wait(10):
            raise TimeoutError("the broker did not grant the subscription")

    def arrived(self, _client, _data, message):
        try:
            self.hear(message)
        except Exception as why:  # on paho's thread nobody else would say it
            say("fault", why=f"{message.topic}: {type(why).__name__}: {why}")

    def hear(self, message):
        expiry = None
        if self.five:
            door = message.payload.decode()
            number = int(message.properties.CorrelationData)
            if message.properties.ResponseTopic != self.options.done:
                raise ValueError(f"an answer to {message.properties.ResponseTopic} is wanted")
            expiry = message.properties.MessageExpiryInterval
        else:
            command = json.loads(message.payload)
            door, number = command.pop("door"), command.pop("no")
            if command:
                raise ValueError(f"what is {command}?")
        repeat = self.last == (number, door)
        obeys = self.how != "refuse"
        if obeys and not repeat:
            self.before, self.last = self.last, (number, door)
            self.moves += 1
        if self.how == "rubbish":
            self.rubbish(number)
        if self.how != "mute":
            self.answer(number, "ok" if obeys else "denied")
        if self.how == "rubbish":
            self.answer(number, "ok")
        say(
            "told",
            door=door,
            number=number,
            repeat=repeat,
            retained=bool(message.retain),
            qos=message.qos,
            expiry=expiry,
            moves=self.moves,
        )

    def rubbish(self, number):
        if self.before:
            self.answer(self.before[0], "ok")
        self.client.publish(self.options.done, b"\xff\x00{", qos=1)
        self.client.publish(self.options.done, "", qos=1)
        self.client.publish(self.options.done, "ok" if not self.five else '{"ok": 1}', qos=1)
        self.answer(number, "perhaps")
        self.answer(number + 7, "ok")

    def answer(self, number, result):
        if self.five:
            properties = Properties(PacketTypes.PUBLISH)
            properties.CorrelationData = str(number).encode()
            self.client.publish(self.options.done, result, qos=1, properties=properties)
            return
        body = {"no": number, "result": result}
        if result == "denied":
            body["why"] = "a tray is out"
        self.client.publish(self.options.done, json.dumps(body), qos=1)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--host", default="127.0.0.1")
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--version", choices=("3.1.1", "5.0"), required=True)
    parser.add_argument("--do", required=True)
    parser.add_argument("--done", required=True)
    machine = Machine(parser.parse_args())
    say("ready")
    for line in sys.stdin:
        command = json.loads(line)
        if command["do"] == "quit":
            break
        if command["do"] == "behave":
            machine.how = command["how"]
            say("behaves")
        else:
            say("fault", why=f"nobody knows how to {command['do']}")


main()
