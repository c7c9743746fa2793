"""A stencil washer and a storage rack on MQTT, as somebody else's library speaks it (paho 2.2).

The rack asks before it stores or hands out a stencil, and its door opens only while the gateway
releases it. Both keep a tally of their own, against which the gateway's is compared.

Topics below the prefixes --rack and --washer; all messages with QoS 1:

    rack/ask        {"request": "r-1", "want": "store", "stencil": "ST-1", "slot": "A1"}
                    {"request": "r-2", "want": "take", "stencil": "ST-1", "order": "WO-7",
                     "destination": "printer-1"}
    rack/answer     from the gateway: {"request": "r-1", "permitted": false, "reasons": ["..."]}
    rack/slots      {"id": "s-1", "event": "occupied" or "emptied", "slot": "A1",
                     "stencil": "ST-1"}
    rack/door/set   from the gateway: open or shut
    rack/door       open or shut, as it is; retained
    rack/heartbeat  from the gateway, watched with --watch
    washer/events   {"id": "w-1", "event": "began", "stencil": "ST-1", "programme": "standard"}
                    {"id": "w-2", "event": "ended", ..., "result": "ok" or "nok"}

Commands, one JSON object a line on standard input:

    {"do": "store", "stencil": "ST-1", "slot": "A1"}        stored, refused, unanswered, locked
    {"do": "take", "stencil": "ST-1", "order": "WO-7", "destination": "printer-1"}
                                                            taken, refused, unanswered, locked
    {"do": "force", "stencil": "ST-1", "slot": "A1"}        forced: stored without asking
    {"do": "wash", "stencil": "ST-1", "programme": "standard", "result": "ok", "seconds": 0.1}
                                                            washed; other fields are passed on
                                                            with the end, such as "resistivity"
    {"do": "repeat"}                                        repeated: the last event once more
    {"do": "send", "topic": "rack/ask", "text": "rubbish", "retain": false}
                                                            sent; "hex" instead of "text" for bytes
    {"do": "jam"}    {"do": "free"}                         jammed, freed: the door disobeys
    {"do": "tally"}  {"do": "quit"}                         the end of the input ends it too

Each is answered by one line with the word above under `said` and the tally; refusals carry
`reasons`. A move of the door is told unasked: {"said": "door", "door": "open"}. What cannot be
done is answered by {"said": "fault", "why": "..."}.
"""

import argparse
import json
import sys
import threading
import time

from paho.mqtt.client import CallbackAPIVersion, Client, MQTTv311

QOS = 1
SHUT, OPEN = "shut", "open"
SPEECH = threading.Lock()


def say(said, **fields):
    with SPEECH:
        print(json.dumps({"said": said, **fields}), flush=True)


class Line:
    """The connection to the broker, kept up by paho's own thread."""

    def __init__(self, options, heard):
        self.options = options
        self.heard = heard
        self.number = 0
        self.last = None
        self.client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=options.client,
            clean_session=False,
            protocol=MQTTv311,
        )
        self.client.reconnect_delay_set(0.05, 0.5)
        self.client.max_queued_messages_set(0)
        self.client.on_connect = self.connected
        self.client.on_message = self.arrived
        self.subscribed = threading.Event()
        self.client.on_subscribe = lambda *_: self.subscribed.set()

    def start(self):
        self.client.connect(self.options.host, self.options.port, keepalive=10)
        self.client.loop_start()
        if not self.subscribed.wait(10):
            raise TimeoutError("the broker did not grant the subscriptions")

    def connected(self, client, _data, _flags, reason, _properties):
        if not reason.is_failure:
            rack = self.options.rack
            topics = (f"{rack}/answer", f"{rack}/door/set", f"{rack}/heartbeat")
            client.subscribe([(topic, QOS) for topic in topics])

    def arrived(self, _client, _data, message):
        try:
            self.heard(message)
        except Exception as why:  # on paho's thread nobody else would say it
            say("fault", why=f"{message.topic}: {type(why).__name__}: {why}")

    def identity(self, letter):
        self.number += 1
        return f"{letter}-{self.options.client}-{self.number}"

    def event(self, topic, fields):
        """Publishes an event with an identity of its own."""
        self.last = topic, json.dumps({"id": self.identity("e"), **fields})
        self.publish(*self.last)

    def publish(self, topic, payload, retain=False):
        """Returns once the broker has the message."""
        sent = self.client.publish(topic, payload, QOS, retain)
        sent.wait_for_publish(self.options.patience)
        if not sent.is_published():
            raise TimeoutError(f"the broker did not confirm a message on {topic}")

    def stop(self):
        self.client.disconnect()
        self.client.loop_stop()


class Rack:
    """Slots behind one door."""

    def __init__(self, options):
        self.options = options
        self.topic = options.rack
        self.slots = {}
        self.counts = {"stored": 0, "taken": 0, "refused": 0, "forced": 0}
        self.changed = threading.Condition()
        self.answers = {}
        self.told, self.door, self.jammed = SHUT, SHUT, False
        self.beat_moved = time.monotonic()
        self.line = None

    def heard(self, message):
        """Called on paho's thread for each message of the gateway."""
        with self.changed:
            if message.topic == f"{self.topic}/answer":
                answer = json.loads(message.payload)
                self.answers[answer.get("request")] = answer
            elif message.topic == f"{self.topic}/door/set":
                self.told = message.payload.decode()
                self.move_door()
            else:
                self.beat_moved = time.monotonic()
            self.changed.notify_all()

    def move_door(self):
        """Moves the door as told, unless it is jammed or the gateway is silent."""
        watch = self.options.watch
        silent = watch is not None and time.monotonic() - self.beat_moved > watch
        door = SHUT if silent or self.told != OPEN else OPEN
        if not self.jammed and door != self.door:
            self.door = door
            say("door", door=door)
        self.line.client.publish(f"{self.topic}/door", self.door, QOS, retain=True)

    def wait(self, condition):
        """True once the condition holds; false when patience ends."""
        with self.changed:
            return self.changed.wait_for(condition, self.options.patience)

    def ask(self, want, **fields):
        """Asks, and waits for the permission and the open door: none, or what went wrong."""
        request = self.line.identity("r")
        question = {"request": request, "want": want, **fields}
        self.line.publish(f"{self.topic}/ask", json.dumps(question))
        if not self.wait(lambda: request in self.answers):
            return "unanswered", {}
        answer = self.answers.pop(request)
        if not answer.get("permitted"):
            self.counts["refused"] += 1
            return "refused", {"reasons": answer.get("reasons", [])}
        return None if self.wait(self.is_open) else ("locked", {})

    def is_open(self):
        if self.options.watch is not None and self.door == OPEN:
            self.move_door()
        return self.door == OPEN

    def store(self, stencil, slot):
        wrong = self.ask("store", stencil=stencil, slot=slot)
        if wrong:
            return wrong
        self.put(stencil, slot, "stored")
        return "stored", {}

    def put(self, stencil, slot, count):
        self.slots[slot] = stencil
        self.counts[count] += 1
        self.tell("occupied", slot, stencil)

    def take(self, stencil, **purpose):
        slot = next((slot for slot, held in self.slots.items() if held == stencil), None)
        if slot is None:
            raise KeyError(f"{stencil} is in no slot")
        wrong = self.ask("take", stencil=stencil, **purpose)
        if wrong:
            return wrong
        del self.slots[slot]
        self.counts["taken"] += 1
        self.tell("emptied", slot, stencil)
        return "taken", {}

    def tell(self, event, slot, stencil):
        fields = {"event": event, "slot": slot, "stencil": stencil}
        self.line.event(f"{self.topic}/slots", fields)


class Washer:
    """Washes one stencil at a time."""

    def __init__(self, options, line):
        self.topic = f"{options.washer}/events"
        self.line = line
        self.washes = {}

    def wash(self, stencil, programme="standard", result="ok", seconds=0.0, **measured):
        wash = {"stencil": stencil, "programme": programme}
        self.line.event(self.topic, {"event": "began", **wash})
        time.sleep(seconds)
        self.line.event(self.topic, {"event": "ended", **wash, "result": result, **measured})
        if result == "ok":
            self.washes[stencil] = self.washes.get(stencil, 0) + 1


class Floor:
    """Both machines and the commands they obey."""

    def __init__(self, options):
        self.rack = Rack(options)
        self.line = Line(options, self.rack.heard)
        self.rack.line = self.line
        self.washer = Washer(options, self.line)

    def start(self):
        self.line.start()
        with self.rack.changed:
            self.rack.move_door()

    def sums(self):
        rack = self.rack
        return {"slots": rack.slots, "washes": self.washer.washes, "door": rack.door, **rack.counts}

    def obey(self, do, **fields):
        """Does what one command says; the word and the fields that answer it."""
        match do:
            case "store":
                return self.rack.store(**fields)
            case "take":
                return self.rack.take(**fields)
            case "force":
                self.rack.put(**fields, count="forced")
                return "forced", {}
            case "wash":
                self.washer.wash(**fields)
                return "washed", {}
            case "repeat":
                self.line.publish(*self.line.last)
                return "repeated", {}
            case "send":
                self.send(**fields)
                return "sent", {}
            case "jam" | "free":
                self.jam(do == "jam")
                return ("jammed" if do == "jam" else "freed"), {}
            case "tally":
                return "tally", {}
        raise ValueError(f"no such command: {do}")

    def send(self, topic, text="", hex="", retain=False):
        payload = bytes.fromhex(hex) if hex else text
        self.line.publish(topic, payload, retain)

    def jam(self, jammed):
        with self.rack.changed:
            self.rack.jammed = jammed
            self.rack.move_door()


def serve(options):
    floor = Floor(options)
    floor.start()
    say("ready", **floor.sums())
    for line in sys.stdin:
        try:
            command = json.loads(line)
            if command.get("do") == "quit":
                break
            said, fields = floor.obey(**command)
            say(said, **fields, **floor.sums())
        except Exception as why:  # whatever it is, the test shall read it
            say("fault", why=f"{type(why).__name__}: {why}")
    floor.line.stop()


def options():
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--host", default="127.0.0.1")
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--client", default="floor", help="the MQTT client identifier")
    parser.add_argument("--rack", default="rack", help="prefix of the rack's topics")
    parser.add_argument("--washer", default="washer", help="prefix of the washer's topics")
    parser.add_argument("--patience", type=float, default=10, help="seconds to wait for anything")
    parser.add_argument("--watch", type=float, help="seconds the gateway may be silent")
    return parser.parse_args()


if __name__ == "__main__":
    serve(options())
