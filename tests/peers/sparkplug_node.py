"""An edge node with one device, a printer, as paho 2.2 and Google's protobuf library speak Sparkplug B.

Started with --host, --port. Commands, one JSON object a line on standard input:

    {"do": "connect"}                       born: the broker let it in, births are sent
    {"do": "print", "strokes": 3}           printed: one DDATA for each stroke
    {"do": "seat", "code": "ST-1"}          seated; null takes it out
    {"do": "lose"}                          lost: one stroke whose DDATA gets a number and no wire
    {"do": "swap"}                          swapped: two strokes whose messages change places
    {"do": "past"}                          told: a total of long ago, marked as historical
    {"do": "late-death"}                    told: the death certificate of the session before
    {"do": "cut"}                           cut: gone without a farewell, the broker tells its will
    {"do": "count", "strokes": 5}           counted: strokes while nobody hears it
    {"do": "tally"}                         tally

Unasked it tells {"said": "reborn"} when a host asked for that, {"said": "permit", "on": true} when
the gateway writes its permit, and {"said": "host", "online": true} of the gateway's state."""

import argparse
import json
import sys
import threading
import time

from paho.mqtt.client import CallbackAPIVersion, Client, MQTTv311

from sparkplug_payload import BOOLEAN, INT64, STRING, UINT64, Payload

SPEECH, LOCK = threading.Lock(), threading.RLock()
STROKES, SEATED, PERMIT = 11, 12, 13


def say(said, **fields):
    with SPEECH:
        print(json.dumps({"said": said, **fields}), flush=True)


def now():
    return int(time.time() * 1000)


class Node:
    def __init__(self, host, port, host_id):
        self.place, self.host_id = (host, port), host_id
        self.client, self.bd_seq, self.seq = None, -1, 0
        self.strokes, self.seated, self.permit = 0, None, False
        self.ready = threading.Event()

    def topic(self, kind):
        return f"spBv1.0/Hall/{kind}/Line 1" + ("/Printer" if kind[0] == "D" else "")

    def death(self, bd_seq):
        payload = Payload(timestamp=now())
        payload.metrics.add(name="bdSeq", datatype=INT64, long_value=bd_seq)
        return payload.SerializeToString()

    def connect(self):
        self.bd_seq = (self.bd_seq + 1) % 256
        self.ready.clear()
        client = Client(CallbackAPIVersion.VERSION2, "line-1", clean_session=True, protocol=MQTTv311)
        client.will_set(self.topic("NDEATH"), self.death(self.bd_seq), qos=1, retain=False)
        client.on_connect = lambda c, *_: c.subscribe([
            (self.topic("NCMD"), 1), (self.topic("DCMD"), 1),
            (f"spBv1.0/STATE/{self.host_id}", 1)])
        client.on_subscribe = lambda *_: self.ready.set()
        client.on_message = lambda _c, _u, message: self.hear(message)
        client.connect(*self.place, keepalive=10)
        client.loop_start()
        self.client = client
        if not self.ready.wait(10):
            say("fault", why="the broker does not let it in")
            return
        self.birth()

    def payload(self):
        payload = Payload(timestamp=now(), seq=self.seq)
        self.seq = (self.seq + 1) % 256
        return payload

    def send(self, kind, payload):
        self.client.publish(self.topic(kind), payload.SerializeToString(), qos=0, retain=False)

    def birth(self):
        with LOCK:
            self.seq = 0
            node = self.payload()
            node.metrics.add(name="bdSeq", datatype=INT64, timestamp=now(), long_value=self.bd_seq)
            node.metrics.add(name="Node Control/Rebirth", datatype=BOOLEAN, timestamp=now(),
                             boolean_value=False)
            self.send("NBIRTH", node)
            device = self.payload()
            seated = device.metrics.add(name="Stencil", alias=SEATED, datatype=STRING,
                                        timestamp=now())
            self.fill(seated)
            device.metrics.add(name="Strokes", alias=STROKES, datatype=UINT64, timestamp=now(),
                               long_value=self.strokes)
            device.metrics.add(name="Print Permit", alias=PERMIT, datatype=BOOLEAN, timestamp=now(),
                               boolean_value=self.permit)
            form = device.metrics.add(name="Recipe", alias=14, datatype=19, timestamp=now())
            form.template_value.template_ref = "recipe"
            self.send("DBIRTH", device)

    def fill(self, metric):
        if self.seated is None:
            metric.is_null = True
        else:
            metric.string_value = self.seated

    def stroke(self):
        self.strokes += 1
        data = self.payload()
        data.metrics.add(alias=STROKES, timestamp=now(), long_value=self.strokes)
        return data

    def hear(self, message):
        if message.topic.startswith("spBv1.0/STATE/"):
            say("host", **json.loads(message.payload), retained=bool(message.retain))
            return
        command = Payload()
        command.ParseFromString(message.payload)
        for metric in command.metrics:
            if metric.name == "Node Control/Rebirth" and metric.boolean_value:
                if command.HasField("seq") or message.topic != self.topic("NCMD"):
                    say("fault", why="a command has no number, and a rebirth goes to the node")
                self.birth()
                say("reborn")
            elif metric.alias == PERMIT and not metric.HasField("name"):
                with LOCK:
                    self.permit = metric.boolean_value
                    data = self.payload()
                    data.metrics.add(alias=PERMIT, timestamp=now(), boolean_value=self.permit)
                    self.send("DDATA", data)
                say("permit", on=self.permit)
            else:
                say("fault", why=f"nobody may write {metric}")

    def obey(self, command):
        do = command["do"]
        # The network's own thread may want the lock before it can end.
        if do == "connect":
            self.connect()
            say("born", bdSeq=self.bd_seq)
            return
        if do == "cut":
            self.client.loop_stop()
            self.client.socket().close()
            self.client = None
            say("cut")
            return
        with LOCK:
            if do == "print":
                for _ in range(command["strokes"]):
                    self.send("DDATA", self.stroke())
                    time.sleep(command.get("cycle", 0.02))
                say("printed", strokes=self.strokes)
            elif do == "seat":
                self.seated = command["code"]
                data = self.payload()
                self.fill(data.metrics.add(alias=SEATED, timestamp=now()))
                self.send("DDATA", data)
                say("seated")
            elif do == "lose":
                self.stroke()
                say("lost")
            elif do == "swap":
                first, second = self.stroke(), self.stroke()
                self.send("DDATA", second)
                self.send("DDATA", first)
                say("swapped")
            elif do == "past":
                data = self.payload()
                data.metrics.add(alias=STROKES, timestamp=1, long_value=1, is_historical=True)
                self.send("DDATA", data)
                say("told")
            elif do == "late-death":
                self.client.publish(self.topic("NDEATH"), self.death((self.bd_seq - 1) % 256), qos=1)
                say("told")
            elif do == "count":
                self.strokes += command["strokes"]
                say("counted")
            elif do == "tally":
                say("tally", strokes=self.strokes, permit=self.permit, bdSeq=self.bd_seq)
            else:
                say("fault", why=f"cannot {do}")


parser = argparse.ArgumentParser()
parser.add_argument("--host", default="127.0.0.1")
parser.add_argument("--port", type=int, required=True)
parser.add_argument("--host-id", required=True)
args = parser.parse_args()
node = Node(args.host, args.port, args.host_id)
say("ready")
for line in sys.stdin:
    node.obey(json.loads(line))
