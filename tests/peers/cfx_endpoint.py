"""Machines that speak CFX over AMQP 1.0, as python-qpid-proton 0.40 does.

Started with --address, the URL of a broker or of the gateway's listener. Commands are JSON objects,
one a line:
  {"do": "send", "target": ..., "envelopes": [...], "gzip": true, "section": "data"}
      sends each envelope in a message of its own, waits until it is settled, and tells
      {"said": "sent", "outcomes": [...]}; with "together" all of them in one message
  {"do": "raw", "target": ..., "size": ...}
      sends so many bytes that mean nothing
  {"do": "ask", "target": ..., "envelope": ...}
      asks as the standards body's SDK does: the link for answers first, then the question with its
      name as reply-to. Tells {"said": "answer", "envelope": ..., "correlation": ...,
      "properties": ...}, and {"said": "fault", ...} where the answer breaks a rule of
      cfx_rules.py
  {"do": "burst", "target": ..., "source": ..., "from": ..., "count": ...}
      sends so many prints of one stroke, each with its number as UniqueID, all under way at once,
      again until each is accepted, also over new connections; tells {"said": "burst", ...}"""

import argparse
import gzip
import json
import sys
import time
import uuid

from proton import Message, symbol
from proton._exceptions import ProtonException
from proton.reactor import LinkOption
from proton.utils import BlockingConnection, LinkDetached, SendException

import cfx_rules

PATIENCE = 30


def say(said, **fields):
    print(json.dumps({"said": said, **fields}), flush=True)


class Named(LinkOption):
    """Gives a receiver its target, where an asker waits for answers."""

    def __init__(self, target):
        self.target = target

    def apply(self, link):
        link.target.address = self.target


def message(body, envelope, packed, section):
    data = json.dumps(body).encode("utf-8")
    content_encoding = None
    if packed:
        data, content_encoding = gzip.compress(data), symbol("gzip")
    name = envelope["MessageName"]
    made = Message(
        id=envelope["UniqueID"],
        reply_to=envelope["Source"],
        subject=f"{envelope['Source']}.{name}",
        content_type=symbol('application/json; charset="utf-8"'),
        creation_time=time.time(),
        durable=True,
        properties={
            "cfx-topic": name.rpartition(".")[0],
            "cfx-message": name,
            "cfx-handle": envelope["Source"],
            "cfx-target": envelope["Target"],
        },
    )
    if content_encoding:
        made.content_encoding = content_encoding
    made.body = data
    # inferred: a data section; else an amqp-value section that holds binary, as before 1.2.
    made.inferred = section == "data"
    return made


def outcome(sender, made):
    try:
        sender.send(made, timeout=PATIENCE)
        return "accepted"
    except SendException as failed:
        return {0x25: "rejected", 0x26: "released", 0x27: "modified"}.get(failed.state, "unknown")
    except LinkDetached as failed:
        return f"detached: {failed}"


class Endpoint:
    def __init__(self, address):
        self.address = address
        self.connection = None
        self.senders = {}

    def connected(self):
        if self.connection is None:
            self.connection = BlockingConnection(
                self.address, timeout=PATIENCE, heartbeat=5, allowed_mechs="PLAIN ANONYMOUS"
            )
        return self.connection

    def forget(self):
        try:
            if self.connection is not None:
                self.connection.close()
        except (ProtonException, OSError):
            pass
        self.connection, self.senders = None, {}

    def sender(self, target):
        if target not in self.senders:
            name = f"says-{uuid.uuid4()}"
            self.senders[target] = self.connected().create_sender(target, name=name)
        return self.senders[target]

    def send(self, command):
        section, packed = command.get("section", "data"), command.get("gzip", False)
        envelopes = command["envelopes"]
        sender = self.sender(command["target"])
        lots = [envelopes] if command.get("together") else envelopes
        outcomes = []
        for lot in lots:
            first = lot[0] if command.get("together") else lot
            outcomes.append(outcome(sender, message(lot, first, packed, section)))
        say("sent", outcomes=outcomes)

    def raw(self, command):
        made = Message(body=b" " * command["size"], inferred=True)
        target = command["target"]
        try:
            told = outcome(self.sender(target), made)
        except LinkDetached as failed:
            told = f"detached: {failed}"
        if told.startswith("detached"):
            self.senders.pop(target, None)
        say("sent", outcomes=[told])

    def ask(self, command):
        target, asked = command["target"], command["envelope"]
        reply_to = f"{asked['Source']}-{uuid.uuid4()}"
        receiver = self.connected().create_receiver(
            target, credit=10, name=f"{reply_to}-answers", options=Named(reply_to)
        )
        sender = self.connected().create_sender(target, name=f"{reply_to}-asks")
        # The SDK gives every question the same id, and these application properties only.
        made = Message(id="command-request", reply_to=reply_to, properties={"offset": 1})
        made.body, made.inferred = json.dumps(asked).encode("utf-8"), True
        told = outcome(sender, made)
        if told != "accepted":
            say("answer", envelope=None, outcome=told)
            return
        got = receiver.receive(timeout=PATIENCE)
        # Answers come settled: there is nothing to accept.
        envelope, wrong = cfx_rules.read(got)
        if wrong:
            say("fault", wrong=wrong, envelope=envelope)
        say("answer", envelope=envelope, outcome=told, correlation=str(got.correlation_id),
            content_type=str(got.content_type), properties=dict(got.properties or {}))
        receiver.close()
        sender.close()

    def burst(self, command):
        first, count, again = command["from"], command["count"], 0
        at = first
        while at < first + count:
            body = {
                "TransactionId": str(uuid.UUID(int=at)),
                "OverallResult": "Succeeded",
                "CommonProcessData": {
                    "$type": "CFX.Structures.SolderPastePrinting"
                             ".SolderPastePrintingPCBProcessData, CFX",
                    "Strokes": [{"PrintPressure": 1.0, "PrintSpeed": 12.0}],
                },
                "UnitProcessData": [],
            }
            envelope = {
                "MessageName": "CFX.Production.Processing.UnitsProcessed", "Version": "1.7",
                "TimeStamp": "2026-03-02T07:00:00Z", "UniqueID": str(uuid.UUID(int=at)),
                "Source": command["source"], "Target": None, "RequestID": None,
                "MessageBody": body,
            }
            try:
                told = outcome(self.sender(command["target"]),
                               message(envelope, envelope, True, "data"))
            except (ProtonException, OSError) as failed:
                told = str(failed)
            if told == "accepted":
                at += 1
            else:
                again += 1
                self.forget()
                time.sleep(0.2)
        say("burst", sent=count, again=again)


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--address", required=True)
    endpoint = Endpoint(arguments.parse_args().address)
    say("ready")
    for line in sys.stdin:
        command = json.loads(line)
        getattr(endpoint, command["do"])(command)


if __name__ == "__main__":
    main()
