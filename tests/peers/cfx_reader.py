"""Somebody who receives what the gateway says over CFX, with python-qpid-proton 0.40, and checks
each message by the rules of cfx_rules.py.

Started with --address, the URL of a broker or of the gateway's listener, and --at, where it
receives there. Tells each message as {"said": "message", "name": ..., "envelope": ...}, and
{"said": "fault", ...} for one that breaks a rule. When the other side goes it ends."""

import argparse
import json

from proton import ConnectionException
from proton.utils import BlockingConnection, LinkDetached

import cfx_rules


def say(said, **fields):
    print(json.dumps({"said": said, **fields}), flush=True)


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--address", required=True)
    arguments.add_argument("--at", required=True)
    given = arguments.parse_args()
    connection = BlockingConnection(
        given.address, timeout=30, heartbeat=5, allowed_mechs="PLAIN ANONYMOUS"
    )
    receiver = connection.create_receiver(given.at, credit=50)
    say("ready")
    try:
        while True:
            message = receiver.receive(timeout=600)
            envelope, wrong = cfx_rules.read(message)
            receiver.accept()
            if wrong:
                say("fault", wrong=wrong, envelope=envelope)
            else:
                say("message", name=envelope["MessageName"], envelope=envelope)
    except (ConnectionException, LinkDetached) as gone:
        say("gone", why=str(gone))


if __name__ == "__main__":
    main()
