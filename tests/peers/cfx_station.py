"""A station that listens for requests itself, and a broker that takes nothing, with
python-qpid-proton 0.40. Each message that comes is checked by the rules of cfx_rules.py.

Started with --port and --handle. What is sent to the handle are requests, told as
{"said": "asked", "name": ..., "envelope": ...} and answered in the manner it was told:
  {"do": "be", "manner": "obeying"}         Success; with "locked" in what it tells next
  ... "not-supported"                       NotSupportedResponse with Success in it, as the SDK's
  ... "warning", "partial", "failed"        that result
  ... "silent"                              accepts, and answers nothing
  ... "rejecting"                           rejects, as where no link waits for the answer
What is sent anywhere else is told as {"said": "took", ...} and accepted, or {"do": "be",
"manner": "rejecting"}, "releasing": told as {"said": "refused", ...} and rejected or released."""

import argparse
import json
import sys
import threading
import uuid
from datetime import datetime, timezone

from proton import Condition, Delivery, Message, symbol
from proton.handlers import MessagingHandler
from proton.reactor import ApplicationEvent, Container, EventInjector

import cfx_rules

RESULTS = {"obeying": "Success", "warning": "Warning", "partial": "PartialSuccess",
           "failed": "Failed"}


def say(said, **fields):
    print(json.dumps({"said": said, **fields}), flush=True)


def settle(delivery, state, why=None):
    if why:
        delivery.local.condition = Condition("amqp:not-found", why)
    delivery.update(state)
    delivery.settle()


class Station(MessagingHandler):
    def __init__(self, port, handle):
        super().__init__(prefetch=100, auto_accept=False, auto_settle=True)
        self.port, self.handle, self.manner = port, handle, "obeying"
        self.replies = {}

    def on_start(self, event):
        self.listener = event.container.listen(f"127.0.0.1:{self.port}")
        say("ready")

    def on_link_opening(self, event):
        link = event.link
        link.source.address = link.remote_source.address
        link.target.address = link.remote_target.address
        if link.is_sender:
            # The link for answers: from the handle to a name that only the asker knows.
            if link.remote_source.address != self.handle:
                say("fault", wrong=f"answers from {link.remote_source.address}")
            self.replies[link.remote_target.address] = link

    def on_message(self, event):
        envelope, wrong = cfx_rules.read(event.message)
        if wrong:
            say("fault", wrong=wrong, envelope=envelope)
        if event.link.target.address == self.handle:
            self.request(event, envelope)
        elif self.manner in ("rejecting", "releasing"):
            state = Delivery.REJECTED if self.manner == "rejecting" else Delivery.RELEASED
            say("refused", name=envelope["MessageName"], envelope=envelope)
            settle(event.delivery, state, "queue full" if self.manner == "rejecting" else None)
        else:
            settle(event.delivery, Delivery.ACCEPTED)
            say("took", name=envelope["MessageName"], envelope=envelope)

    def request(self, event, envelope):
        message = event.message
        name, link = envelope["MessageName"], self.replies.get(message.reply_to)
        if link is None:
            say("fault", wrong=f"no link waits for the answer at {message.reply_to}")
        if message.reply_to == envelope["Source"]:
            say("fault", wrong="the link for answers has no private name")
        if self.manner == "rejecting":
            settle(event.delivery, Delivery.REJECTED, "no link for the answer")
        else:
            settle(event.delivery, Delivery.ACCEPTED)
        if self.manner not in ("silent", "rejecting"):
            self.answer(link, message, envelope)
        say("asked", name=name, manner=self.manner, envelope=envelope)

    def answer(self, link, message, envelope):
        name = envelope["MessageName"].replace("Request", "Response")
        result = {"Result": RESULTS.get(self.manner, "Success"), "ResultCode": 0, "Message": ""}
        body = {"$type": f"{name}, CFX", "Result": result}
        if self.manner == "not-supported":
            name = "CFX.NotSupportedResponse"
            body = {"$type": f"{name}, CFX", "RequestResult": result}
        answer = {
            "MessageName": name, "Version": "1.7",
            "TimeStamp": datetime.now(timezone.utc).isoformat(), "UniqueID": str(uuid.uuid4()),
            "Source": self.handle, "Target": envelope["Source"],
            "RequestID": envelope["RequestID"], "MessageBody": body,
        }
        made = Message(id=answer["UniqueID"], correlation_id=message.id,
                       content_type=symbol('application/json; charset="utf-8"'))
        made.body, made.inferred = json.dumps(answer).encode("utf-8"), True
        # Answers go settled.
        link.send(made).settle()

    def on_command(self, event):
        self.manner = event.subject["manner"]
        say("is", manner=self.manner)


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--port", type=int, required=True)
    arguments.add_argument("--handle", required=True)
    given = arguments.parse_args()
    container, injector = Container(Station(given.port, given.handle)), EventInjector()
    container.selectable(injector)

    def commands():
        for line in sys.stdin:
            injector.trigger(ApplicationEvent("command", subject=json.loads(line)))

    threading.Thread(target=commands, daemon=True).start()
    container.run()


if __name__ == "__main__":
    main()
