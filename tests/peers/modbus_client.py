"""A Modbus TCP client that is somebody else's library (pymodbus 3.16): asks what it is told to.

Commands, one JSON object a line on standard input, each answered by one line with a past
participle under `said`:

    {"do": "bits", "table": "discrete", "at": 0, "count": 3}
    {"do": "registers", "table": "input", "at": 0, "count": 3}
    {"do": "value", "table": "input", "at": 0, "type": "FLOAT32", "words": "little"}
    {"do": "write-coil", "at": 0, "value": true}
    {"do": "write-register", "at": 0, "value": 3}
    {"do": "write-registers", "at": 0, "values": [3, 4]}
    {"do": "mask", "at": 0, "and": 242, "or": 37}
    {"do": "write-and-read", "at": 0, "values": [3], "from": 0, "count": 1}
    {"do": "identify", "code": 1}

An exception of the server is answered by {"said": "refused", "code": 2}, and what cannot be done
by {"said": "fault", "why": "..."}.
"""

import argparse
import json
import logging
import sys

from pymodbus.client import ModbusTcpClient

DATATYPE = ModbusTcpClient.DATATYPE


def say(said, **fields):
    print(json.dumps({"said": said, **fields}), flush=True)


def ask(client, command):
    """The answer to what a command asks, and what to tell of it."""
    at, count = command.get("at", 0), command.get("count", 1)
    read = {
        "coil": client.read_coils,
        "discrete": client.read_discrete_inputs,
        "holding": client.read_holding_registers,
        "input": client.read_input_registers,
    }.get(command.get("table"))
    match command["do"]:
        case "bits":
            return read(at, count=count), lambda answer: {"values": answer.bits[:count]}
        case "registers":
            return read(at, count=count), lambda answer: {"values": answer.registers}
        case "value":
            kind, words = DATATYPE[command["type"]], command.get("words", "big")
            count = command.get("count", kind.value[1])
            convert = client.convert_from_registers
            return read(at, count=count), lambda answer: {
                "value": convert(answer.registers, kind, words)
            }
        case "write-coil":
            return client.write_coil(at, command["value"]), lambda _: {}
        case "write-register":
            return client.write_register(at, command["value"]), lambda _: {}
        case "write-registers":
            return client.write_registers(at, command["values"]), lambda _: {}
        case "mask":
            masks = {"and_mask": command["and"], "or_mask": command["or"]}
            return client.mask_write_register(address=at, **masks), lambda _: {}
        case "write-and-read":
            answer = client.readwrite_registers(
                read_address=command["from"],
                read_count=count,
                write_address=at,
                values=command["values"],
            )
            return answer, lambda answer: {"values": answer.registers}
        case "identify":
            answer = client.read_device_information(read_code=command["code"])
            return answer, lambda answer: {
                "objects": {number: text.decode() for number, text in answer.information.items()}
            }
    raise ValueError(f"no such command: {command}")


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--port", type=int, required=True)
    options = parser.parse_args()
    logging.getLogger("pymodbus").setLevel(logging.CRITICAL)
    client = ModbusTcpClient("127.0.0.1", port=options.port)
    say("ready", connected=client.connect())
    for line in sys.stdin:
        try:
            answer, tell = ask(client, json.loads(line))
            if answer.isError():
                say("refused", code=answer.exception_code)
            else:
                say("answered", **tell(answer))
        except Exception as why:  # whatever it is, the test shall read it
            say("fault", why=f"{type(why).__name__}: {why}")


if __name__ == "__main__":
    main()
