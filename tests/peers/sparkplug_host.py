"""A host application that reads one edge node, as paho 2.2 and Google's protobuf library do.

Started with --host, --port, --group, --node. It judges what it hears by Sparkplug 3.0.0 and tells
{"said": "fault", "why": ...} of what breaks it. Commands, one JSON object a line on standard input:

    {"do": "rebirth"}     asked
    {"do": "online"}      told: its STATE, as {"online": true}; "offline" likewise
    {"do": "picture"}     picture: node and devices as they are known, and how often it was born

Unasked it tells {"said": "birth"}, {"said": "death"}, {"said": "data", "of": ...} as they come."""

import argparse
import json
import sys
import threading
import time

from paho.mqtt.client import CallbackAPIVersion, Client, MQTTv311

from sparkplug_payload import BOOLEAN, Payload, value_of

SPEECH = threading.Lock()


def say(said, **fields):
    with SPEECH:
        print(json.dumps({"said": said, **fields}), flush=True)


class Host:
    def __init__(self, args):
        self.group, self.node = args.group, args.node
        self.births, self.bd_seq, self.next, self.online = 0, None, None, False
        self.metrics, self.devices = {}, {}
        self.client = Client(CallbackAPIVersion.VERSION2, "reader", clean_session=True,
                             protocol=MQTTv311)
        self.client.on_connect = lambda c, *_: c.subscribe(f"spBv1.0/{self.group}/#", qos=1)
        self.client.on_subscribe = lambda *_: say("ready")
        self.client.on_message = lambda _c, _u, message: self.hear(message)
        self.client.connect(args.host, args.port, keepalive=10)
        self.client.loop_start()

    def must(self, so, why):
        if not so:
            say("fault", why=why)

    def hear(self, message):
        parts = message.topic.split("/")
        kind, device = parts[2], parts[4] if len(parts) > 4 else None
        if kind.endswith("CMD"):
            return
        payload = Payload()
        payload.ParseFromString(message.payload)
        self.must(not message.retain, f"{kind} is retained")
        self.must(payload.HasField("timestamp"), f"{kind} has no timestamp")
        if kind == "NDEATH":
            names = [metric.name for metric in payload.metrics]
            self.must(names == ["bdSeq"] and not payload.HasField("seq"), "NDEATH holds more")
            if payload.metrics[0].long_value == self.bd_seq:
                self.online, self.devices = False, {}
                say("death", bdSeq=self.bd_seq)
            return
        self.must(message.qos == 0, f"{kind} comes with QoS {message.qos}")
        if kind == "NBIRTH":
            self.must(payload.seq == 0, "NBIRTH does not begin at 0")
            self.births, self.online, self.devices = self.births + 1, True, {}
        elif payload.seq != self.next:
            say("fault", why=f"{kind} has number {payload.seq} instead of {self.next}")
        self.next = (payload.seq + 1) % 256
        born = kind.endswith("BIRTH")
        for metric in payload.metrics:
            self.must(metric.HasField("timestamp"), f"{metric.name} has no timestamp")
            self.must(metric.HasField("datatype") == born, f"datatype of {metric.name} in {kind}")
        values = {metric.name: value_of(metric) for metric in payload.metrics}
        if kind == "NBIRTH":
            self.must(values.get("Node Control/Rebirth") is False, "no Node Control/Rebirth")
            self.bd_seq, self.metrics = values.get("bdSeq"), values
            say("birth", bdSeq=self.bd_seq)
        elif kind == "DBIRTH":
            self.devices[device] = values
            say("device", of=device)
        elif kind == "DDEATH":
            self.must(self.devices.pop(device, None) is not None, f"{device} was not alive")
            say("gone", of=device)
        else:
            known = self.metrics if device is None else self.devices.get(device, {})
            for name, value in values.items():
                self.must(name in known, f"{name} was not born")
                self.must(known.get(name) != value, f"{name} has not changed")
            known.update(values)
            say("data", of=device)

    def obey(self, command):
        do = command["do"]
        if do == "rebirth":
            payload = Payload(timestamp=int(time.time() * 1000))
            payload.metrics.add(name="Node Control/Rebirth", datatype=BOOLEAN, boolean_value=True)
            topic = f"spBv1.0/{self.group}/NCMD/{self.node}"
            self.client.publish(topic, payload.SerializeToString(), qos=0)
            say("asked")
        elif do in ("online", "offline"):
            state = {"online": do == "online", "timestamp": int(time.time() * 1000)}
            self.client.publish("spBv1.0/STATE/reader", json.dumps(state), qos=1, retain=True)
            say("told")
        elif do == "picture":
            say("picture", births=self.births, bdSeq=self.bd_seq, online=self.online,
                node=self.metrics, devices=self.devices)


parser = argparse.ArgumentParser()
parser.add_argument("--host", default="127.0.0.1")
parser.add_argument("--port", type=int, required=True)
parser.add_argument("--group", required=True)
parser.add_argument("--node", required=True)
host = Host(parser.parse_args())
for line in sys.stdin:
    host.obey(json.loads(line))
