"""A solder-paste printer behind Modbus TCP, as somebody else's library speaks it (pymodbus 3.16).

It prints only while its print permit is on and, where it watches a heartbeat, only while that
moves. It keeps a tally of its own, against which the gateway's is compared.

Register map, addresses from 0 as in the messages; any unit is answered:

    coil 0              print permit, written by the gateway
    discrete input 0    a stencil is seated
    holding 0           state: 0 idle, 1 running, 2 set-up, 3 down
    holding 1, 2        stroke total; 32 bits, high word first (--low-first: low word first);
                        with --width 16 in register 1 alone
    holding 4           heartbeat, written by the gateway
    holding 10 to 25    code of the seated stencil, two characters a register, filled with NUL

Commands, one JSON object a line on standard input:

    {"do": "seat", "code": "ST-1"}           {"do": "remove"}
    {"do": "print", "strokes": 25, "cycle": 0.02, "patience": 0}
                    one stroke each `cycle` seconds; a stroke that is not permitted within
                    `patience` seconds is refused and not made; commands that come meanwhile are
                    carried out
    {"do": "restart-counter"}                {"do": "set-counter", "total": 65530}
    {"do": "state", "value": 2}              {"do": "tally"}
    {"do": "need-release", "value": false}
                    its own setting: whether it asks for the print permit at all
    {"do": "vanish"}    closes the port and every connection
    {"do": "return"}    opens the same port again, with the same registers
    {"do": "quit"}      the end of the input does the same

Each is answered by one line with a past participle under `said` and the tally, `print` once its
last stroke is made or refused. A change of the permit is told unasked: {"said": "permit", "on":
true}. What cannot be done is answered by {"said": "fault", "why": "..."}.
"""

import argparse
import asyncio
import json
import logging
import sys
import time

from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

PERMIT, SEATED = 0, 0
STATE, TOTAL, HEARTBEAT, CODE = 0, 1, 4, 10
CODE_REGISTERS = 16
REGISTERS = CODE + CODE_REGISTERS
IDLE, RUNNING = 0, 1

# Function codes of the Modbus Application Protocol Specification V1.1b3, section 6.
READ_INPUTS, WRITE_COIL, WRITE_REGISTER, WRITE_COILS, WRITE_REGISTERS = 2, 5, 6, 15, 16
ANY_UNIT = 0


def say(said, **fields):
    print(json.dumps({"said": said, **fields}), flush=True)


class Registers:
    """What the gateway reads and writes, served over TCP while the port is open."""

    def __init__(self, port, written):
        self.port = port
        self.written = written
        self.server = None
        self.words = [0] * REGISTERS
        self.inputs = [False] * 16
        self.coils = [False] * 16

    async def open(self):
        blocks = (
            [SimData(0, values=self.coils, datatype=DataType.BITS)],
            [SimData(0, values=self.inputs, datatype=DataType.BITS)],
            [SimData(0, values=self.words, datatype=DataType.REGISTERS)],
            [SimData(0, values=self.words, datatype=DataType.REGISTERS)],
        )
        device = SimDevice(ANY_UNIT, simdata=blocks, action=self.touched)
        self.server = ModbusTcpServer(device, address=("127.0.0.1", self.port))
        await self.server.serve_forever(background=True)
        self.port = self.server.transport.sockets[0].getsockname()[1]

    async def close(self):
        if self.server:
            await self.server.shutdown()
        self.server = None

    async def touched(self, function, _start, address, _count, _registers, values):
        """Called by the server before each access; `values` are those about to be written."""
        kept = {WRITE_COIL: self.coils, WRITE_COILS: self.coils}.get(function)
        if function in (WRITE_REGISTER, WRITE_REGISTERS):
            kept = self.words
        if values is not None and kept is not None:
            kept[address : address + len(values)] = values
            self.written()

    async def set_words(self, address, values):
        self.words[address : address + len(values)] = values
        if self.server:
            await self.server.async_setValues(ANY_UNIT, WRITE_REGISTERS, address, values)

    async def set_input(self, address, value):
        self.inputs[address] = value
        if self.server:
            await self.server.async_setValues(ANY_UNIT, READ_INPUTS, address, [value])


class Printer:
    """The machine: what is in it, what it made and what it refused."""

    def __init__(self, options):
        self.options = options
        self.total = options.total
        self.seated = None
        self.tally = {}
        self.refused = 0
        self.permit = False
        self.needs_release = True
        self.beat = 0
        self.beat_moved = float("-inf")
        self.registers = Registers(options.port, self.look_at_outputs)

    def look_at_outputs(self):
        beat = self.registers.words[HEARTBEAT]
        if beat != self.beat:
            self.beat, self.beat_moved = beat, time.monotonic()
        permit = self.registers.coils[PERMIT]
        if permit != self.permit:
            self.permit = permit
            say("permit", on=permit)

    def may_print(self):
        watch = self.options.watch
        alive = watch is None or time.monotonic() - self.beat_moved <= watch
        released = not self.needs_release or (self.permit and alive)
        return released and self.seated is not None

    def sums(self):
        return {
            "seated": self.seated,
            "total": self.total,
            "tally": self.tally,
            "refused": self.refused,
            "permit": self.permit,
        }

    async def show_total(self):
        high, low = self.total >> 16, self.total & 0xFFFF
        if self.options.width == 16:
            words = [low]
        else:
            words = [low, high] if self.options.low_first else [high, low]
        await self.registers.set_words(TOTAL, words)

    async def show_state(self, state):
        await self.registers.set_words(STATE, [state])

    async def show_seat(self):
        code = (self.seated or "").encode("ascii").ljust(2 * CODE_REGISTERS, b"\0")
        words = [int.from_bytes(code[at : at + 2], "big") for at in range(0, len(code), 2)]
        await self.registers.set_words(CODE, words)
        await self.registers.set_input(SEATED, self.seated is not None)

    async def open(self):
        await self.registers.open()
        await self.show_total()
        await self.show_seat()

    async def print_lot(self, strokes, cycle, patience):
        made = 0
        await self.show_state(RUNNING)
        for _ in range(strokes):
            await asyncio.sleep(cycle)
            made += await self.stroke(patience)
        await self.show_state(IDLE)
        say("printed", made=made, asked=strokes, **self.sums())

    async def stroke(self, patience):
        """Makes one stroke, if that becomes permitted in time: 1, else 0."""
        latest = time.monotonic() + patience
        while not self.may_print():
            if time.monotonic() >= latest:
                self.refused += 1
                return 0
            await asyncio.sleep(0.005)
        self.total = (self.total + 1) % (1 << self.options.width)
        self.tally[self.seated] = self.tally.get(self.seated, 0) + 1
        await self.show_total()
        return 1


async def obey(printer, command):
    """Does what one command says; the word that answers it, none when it is answered later."""
    match command:
        case {"do": "seat", "code": str(code)} if len(code) <= 2 * CODE_REGISTERS:
            printer.seated = code
            await printer.show_seat()
            return "seated"
        case {"do": "remove"}:
            printer.seated = None
            await printer.show_seat()
            return "removed"
        case {"do": "restart-counter"}:
            printer.total = 0
            await printer.show_total()
            return "restarted"
        case {"do": "set-counter", "total": int(total)}:
            printer.total = total % (1 << printer.options.width)
            await printer.show_total()
            return "set"
        case {"do": "state", "value": int(value)}:
            await printer.show_state(value)
            return "changed"
        case {"do": "need-release", "value": bool(value)}:
            printer.needs_release = value
            return "set"
        case {"do": "vanish"}:
            await printer.registers.close()
            return "vanished"
        case {"do": "return"}:
            await printer.registers.open()
            return "returned"
        case {"do": "tally"}:
            return "tally"
    raise ValueError(f"no such command: {command}")


def lot(command):
    """The strokes, cycle and patience of a `print` command; none of any other."""
    if command.get("do") != "print":
        return None
    return int(command["strokes"]), float(command.get("cycle", 0)), float(command.get("patience", 0))


async def serve(options):
    printer = Printer(options)
    await printer.open()
    say("ready", port=printer.registers.port, **printer.sums())
    lots = set()
    async for line in lines():
        try:
            command = json.loads(line)
            if command.get("do") == "quit":
                break
            if asked := lot(command):
                task = asyncio.create_task(printer.print_lot(*asked))
                lots.add(task)
                task.add_done_callback(lots.discard)
            else:
                said = await obey(printer, command)
                say(said, **printer.sums())
        except Exception as why:  # whatever it is, the test shall read it
            say("fault", why=f"{type(why).__name__}: {why}")
    await printer.registers.close()


async def lines():
    reader = asyncio.StreamReader()
    loop = asyncio.get_running_loop()
    await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
    while line := await reader.readline():
        yield line


def options():
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--port", type=int, default=0, help="0: a free one, told when ready")
    parser.add_argument("--width", type=int, choices=(16, 32), default=32)
    parser.add_argument("--low-first", action="store_true", help="low word of the total first")
    parser.add_argument("--total", type=int, default=0, help="strokes already on the counter")
    parser.add_argument("--watch", type=float, help="seconds a heartbeat may stand still")
    return parser.parse_args()


if __name__ == "__main__":
    logging.getLogger("pymodbus").setLevel(logging.CRITICAL)
    asyncio.run(serve(options()))
