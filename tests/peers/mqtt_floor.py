"""Machines and people on an MQTT floor, as somebody else's library speaks it (paho 2.2).

A counter publishes numbered messages with QoS 1, {"n": 17, "id": "17", "count": 1}, and holds on to
each until the broker has confirmed it, also across a broker that goes away. Scanners ask.

Commands, one JSON object a line on standard input, each answered by one line with the word under
`said`:

    {"do": "count", "topic": "a/strokes", "times": 20}    counted: the broker has all of them
    {"do": "begin", "topic": "a/strokes", "times": 20}    begun: they are on their way
    {"do": "wait"}                                        confirmed: the broker has all that begun
    {"do": "steal", "client": "x-in", "seconds": 0.3}     stolen: `heard` messages went elsewhere
    {"do": "ask", "topics": ["s/1", "s/2"], "texts": ["...", "..."], "answers": "s/answer"}
                                                          answered: what came, one each
    {"do": "send", "topic": "s/1", "text": "..."}         sent: the broker has it
    {"do": "hear", "topic": "s/answer"}                   hears: from now on each message there is
                                                          told unasked, {"said": "came", "body": ..}
    {"do": "quit"}                                        the end of the input ends it too

What cannot be done is answered by {"said": "fault", "why": "..."}.
"""

import argparse
import json
import queue
import sys
import threading
import time

from paho.mqtt.client import CallbackAPIVersion, Client, MQTTv311

PATIENCE = 60
SPEECH = threading.Lock()


def say(said, **fields):
    with SPEECH:
        print(json.dumps({"said": said, **fields}), flush=True)


class Floor:
    def __init__(self, options):
        self.options = options
        self.number = 0
        self.begun = []
        self.confirmed = set()
        self.client = self.line("counter", clean=False)
        self.client.on_publish = lambda _client, _data, mid, *_: self.confirmed.add(mid)

    def line(self, name, clean):
        client = Client(
            CallbackAPIVersion.VERSION2, client_id=name, clean_session=clean, protocol=MQTTv311
        )
        client.reconnect_delay_set(0.05, 0.3)
        client.max_queued_messages_set(0)
        client.connect(self.options.host, self.options.port, keepalive=10)
        client.loop_start()
        return client

    def begin(self, topic, times):
        for _ in range(times):
            self.number += 1
            message = {"n": self.number, "id": str(self.number), "count": 1}
            # Without a connection it is kept, and sent over the next one.
            self.begun.append(self.client.publish(topic, json.dumps(message), qos=1).mid)
        say("begun", number=self.number)

    def wait(self):
        until = time.monotonic() + PATIENCE
        for mid in self.begun:
            while mid not in self.confirmed:
                if time.monotonic() > until:
                    raise RuntimeError("the broker did not confirm in time")
                time.sleep(0.005)
        self.begun, self.confirmed = [], set()
        say("confirmed", number=self.number)

    def steal(self, client, seconds):
        heard = []
        thief = Client(
            CallbackAPIVersion.VERSION2, client_id=client, clean_session=False, protocol=MQTTv311
        )
        thief.on_message = lambda *message: heard.append(message)
        thief.connect(self.options.host, self.options.port, keepalive=10)
        thief.loop_start()
        time.sleep(seconds)
        thief.disconnect()
        thief.loop_stop()
        say("stolen", heard=len(heard))

    def ask(self, topics, texts, answers):
        came = queue.Queue()
        subscribed = threading.Event()
        listener = self.line("listener", clean=True)
        listener.on_message = lambda _client, _data, message: came.put(json.loads(message.payload))
        listener.on_subscribe = lambda *_: subscribed.set()
        listener.subscribe(answers, qos=1)
        if not subscribed.wait(PATIENCE):
            raise RuntimeError("the broker granted no subscription")
        scanners = [self.line(f"scanner-{at}", clean=True) for at in range(len(topics))]
        at_once = threading.Barrier(len(topics))

        def scan(scanner, topic, text):
            at_once.wait()
            scanner.publish(topic, text, qos=1).wait_for_publish(PATIENCE)

        people = [threading.Thread(target=scan, args=one) for one in zip(scanners, topics, texts)]
        for person in people:
            person.start()
        for person in people:
            person.join()
        say("answered", answers=[came.get(timeout=PATIENCE) for _ in topics])
        for scanner in [listener, *scanners]:
            scanner.disconnect()
            scanner.loop_stop()

    def send(self, topic, text):
        self.client.publish(topic, text, qos=1).wait_for_publish(PATIENCE)
        say("sent")

    def hear(self, topic):
        subscribed = threading.Event()
        # The broker keeps what comes while it is away, as it may after the broker's own restart.
        listener = self.line("ear", clean=False)
        listener.on_message = lambda *heard: say("came", body=json.loads(heard[2].payload))
        listener.on_subscribe = lambda *_: subscribed.set()
        # Also over the next connection, to a broker that has forgotten.
        listener.on_connect = lambda *_: listener.subscribe(topic, qos=1)
        listener.subscribe(topic, qos=1)
        if not subscribed.wait(PATIENCE):
            raise RuntimeError("the broker granted no subscription")
        say("hears")


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--host", default="127.0.0.1")
    parser.add_argument("--port", type=int, required=True)
    floor = Floor(parser.parse_args())
    say("ready")
    for line in sys.stdin:
        try:
            command = json.loads(line)
            do = command.pop("do")
            if do == "quit":
                break
            if do == "count":
                floor.begin(**command)
                floor.wait()
                say("counted", number=floor.number)
            elif do in ("begin", "wait", "steal", "ask", "send", "hear"):
                getattr(floor, do)(**command)
            else:
                say("fault", why=f"nobody knows how to {do}")
        except Exception as why:  # whatever it is, the test must hear of it
            say("fault", why=repr(why))


main()
