"""A program that reads what the gateway tells everybody at a broker, as paho 2.2 does.

Started with --host, --port, --under and --schema, the file with the notices' JSON Schema. Of each
message below that topic it tells {"said": "notice", "about": ..., "body": ..., "retained": ...}, or
{"said": "fault", "why": ...} when it is not what the schema says. It connects again by itself."""

import argparse
import json
import os
import threading

from jsonschema import Draft202012Validator
from paho.mqtt.client import CallbackAPIVersion, Client, MQTTv311

SPEECH = threading.Lock()


def say(said, **fields):
    with SPEECH:
        print(json.dumps({"said": said, **fields}), flush=True)


def hear(message, under, schema):
    about = message.topic[len(under) + 1:]
    body = json.loads(message.payload)
    if about != "gateway":
        faults = [error.message for error in schema.iter_errors(body)]
        if faults:
            say("fault", why=f"{message.topic}: {faults}")
    say("notice", about=about, body=body, retained=bool(message.retain))


def main():
    arguments = argparse.ArgumentParser()
    for name in ("--host", "--under", "--schema"):
        arguments.add_argument(name, required=True)
    arguments.add_argument("--port", type=int, required=True)
    args = arguments.parse_args()
    with open(args.schema, encoding="utf-8") as file:
        schema = Draft202012Validator(json.load(file))
    client = Client(CallbackAPIVersion.VERSION2, f"notice-reader-{os.getpid()}", clean_session=True,
                    protocol=MQTTv311)
    client.reconnect_delay_set(min_delay=1, max_delay=1)
    client.on_connect = lambda c, *_: c.subscribe(f"{args.under}/#", qos=1)
    client.on_subscribe = lambda *_: say("ready")
    client.on_message = lambda _c, _u, message: hear(message, args.under, schema)
    client.connect(args.host, args.port, keepalive=10)
    client.loop_forever(retry_first_connection=True)


if __name__ == "__main__":
    main()
