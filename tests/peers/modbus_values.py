"""A Modbus TCP server that holds values as somebody else's library lays them out (pymodbus 3.16).

Any unit is answered; each table has 300 places from address 0. Commands, one JSON object a line
on standard input, each answered by one line with a past participle under `said`:

    {"do": "value", "table": "input", "at": 3, "type": "FLOAT64", "value": 0.5,
     "words": "little", "bytes": "little"}
                    lays a value out: types are those of pymodbus, and BCD16, BCD32; `words` and
                    `bytes` say which word and which byte of a word comes first, `big` unless set
    {"do": "bits", "table": "coil", "at": 3, "values": [true, false]}
    {"do": "quit"}  the end of the input does the same

What cannot be done is answered by {"said": "fault", "why": "..."}.
"""

import asyncio
import json
import logging
import sys

from pymodbus.client.mixin import ModbusClientMixin
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

ANY_UNIT = 0
PLACES = 300
DATATYPE = ModbusClientMixin.DATATYPE

# The function code that names each table (Modbus Application Protocol Specification V1.1b3,
# section 6).
READS = {"coil": 1, "discrete": 2, "holding": 3, "input": 4}


def say(said, **fields):
    print(json.dumps({"said": said, **fields}), flush=True)


def digits(value, words):
    """Packed decimal digits, which pymodbus does not know: each digit is one hexadecimal."""
    return ModbusClientMixin.convert_to_registers(int(str(value), 16), words, "big")


def registers(command):
    kind, value = command["type"], command["value"]
    if kind in ("BCD16", "BCD32"):
        words = digits(value, DATATYPE.UINT16 if kind == "BCD16" else DATATYPE.UINT32)
        words = words if command.get("words", "big") == "big" else words[::-1]
    else:
        order = command.get("words", "big") if DATATYPE[kind].value[1] > 1 else "big"
        words = ModbusClientMixin.convert_to_registers(value, DATATYPE[kind], order)
    if command.get("bytes", "big") == "little":
        words = [int.from_bytes(word.to_bytes(2, "big"), "little") for word in words]
    return words


def blocks():
    bits = [[SimData(0, values=[False] * PLACES, datatype=DataType.BITS)] for _ in range(2)]
    words = [[SimData(0, values=[0] * PLACES, datatype=DataType.REGISTERS)] for _ in range(2)]
    return (*bits, *words)


async def obey(server, command):
    match command:
        case {"do": "value", "table": table, "at": int(at)}:
            await server.async_setValues(ANY_UNIT, READS[table], at, registers(command))
            return "laid out"
        case {"do": "bits", "table": table, "at": int(at), "values": list(values)}:
            await server.async_setValues(ANY_UNIT, READS[table], at, values)
            return "set"
    raise ValueError(f"no such command: {command}")


async def serve():
    device = SimDevice(ANY_UNIT, simdata=blocks())
    server = ModbusTcpServer(device, address=("127.0.0.1", 0))
    await server.serve_forever(background=True)
    say("ready", port=server.transport.sockets[0].getsockname()[1])
    reader = asyncio.StreamReader()
    loop = asyncio.get_running_loop()
    await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
    while line := await reader.readline():
        try:
            command = json.loads(line)
            if command.get("do") == "quit":
                break
            say(await obey(server, command))
        except Exception as why:  # whatever it is, the test shall read it
            say("fault", why=f"{type(why).__name__}: {why}")
    await server.shutdown()


if __name__ == "__main__":
    logging.getLogger("pymodbus").setLevel(logging.CRITICAL)
    asyncio.run(serve())
