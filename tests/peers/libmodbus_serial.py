"""A machine on a serial line that is libmodbus (Debian package libmodbus5), through Python's ctypes.

It is one unit at 19200 baud, with 300 places in each table, and lays values out by Python's
struct. Commands, one JSON object a line on standard input:

    {"do": "value", "table": "holding", "at": 3, "type": "f64", "value": 0.5,
     "words": "low-first", "bytes": "low-first"}
                    lays a value out, answered by "laid out"; types are u16 to u64, i16 to i64,
                    f32, f64, bcd16 and bcd32
    {"do": "bits", "table": "coil", "at": 3, "values": [true, false]}
                    sets bits, answered by "set"
    {"do": "serve"} opens the port and serves, which is answered by "serving"

From then on it takes no commands. What a master writes is told, when it differs from before:
{"said": "written", "coils": {"290": true}, "registers": {"291": 7}} for the last ten places.
"""

import argparse
import ctypes
import json
import struct
import sys

from libmodbus_server import library, say

# A frame of a serial line has at most 256 bytes (MODBUS over Serial Line V1.02, 2.5.1).
LONGEST_FRAME = 256
PLACES = 300
# Receives in a row that fail: one does for a damaged frame, all do once the line is gone.
PATIENCE = 100
WATCHED = range(PLACES - 10, PLACES)
CODES = {
    "u16": "H", "i16": "h", "u32": "I", "i32": "i", "u64": "Q", "i64": "q", "f32": "f", "f64": "d",
}


def packed(kind, value):
    """The value's bytes, the most worthy first."""
    if kind.startswith("bcd"):
        return bytes.fromhex(str(value).zfill(int(kind[3:]) // 4))
    return struct.pack(">" + CODES[kind], value)


def registers(command):
    whole = packed(command["type"], command["value"])
    words = [whole[at : at + 2] for at in range(0, len(whole), 2)]
    if command.get("words") == "low-first":
        words.reverse()
    order = "little" if command.get("bytes") == "low-first" else "big"
    return [int.from_bytes(word, order) for word in words]


def obey(command, mapping):
    """Does it and gives the word for that; none when serving shall begin."""
    words = {"holding": mapping.registers, "input": mapping.input_registers}
    bits = {"coil": mapping.bits, "discrete": mapping.input_bits}
    match command:
        case {"do": "value", "table": table, "at": int(at)}:
            table, values, done = words[table], registers(command), "laid out"
        case {"do": "bits", "table": table, "at": int(at), "values": list(values)}:
            table, done = bits[table], "set"
        case {"do": "serve"}:
            return None
        case _:
            sys.exit(f"no such command: {command}")
    for place, value in enumerate(values, at):
        table[place] = value
    return done


def serve(lib, context, mapping):
    frame = ctypes.create_string_buffer(LONGEST_FRAME)
    coils, words = mapping.contents.bits, mapping.contents.registers
    told, failed = {"coils": {}, "registers": {}}, 0
    while failed < PATIENCE:
        length = lib.modbus_receive(context, frame)
        failed = failed + 1 if length < 0 else 0
        if length > 0:
            lib.modbus_reply(context, frame, length, mapping)
        shown = {
            "coils": {str(at): bool(coils[at]) for at in WATCHED if coils[at]},
            "registers": {str(at): words[at] for at in WATCHED if words[at]},
        }
        if shown != told:
            told = shown
            say("written", **shown)
    sys.exit("the line carries no frames any more")


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--port", required=True, help="the serial port's device file")
    parser.add_argument("--unit", type=int, default=1)
    options = parser.parse_args()
    try:
        lib = library()
    except OSError as why:
        say("ready", missing=str(why))
        sys.exit()
    lib.modbus_new_rtu.restype = ctypes.c_void_p
    lib.modbus_new_rtu.argtypes = [
        ctypes.c_char_p, ctypes.c_int, ctypes.c_char, ctypes.c_int, ctypes.c_int,
    ]
    lib.modbus_set_slave.argtypes = [ctypes.c_void_p, ctypes.c_int]
    lib.modbus_connect.argtypes = [ctypes.c_void_p]
    mapping = lib.modbus_mapping_new(PLACES, PLACES, PLACES, PLACES)
    say("ready")
    for line in sys.stdin:
        done = obey(json.loads(line), mapping.contents)
        if done is None:
            break
        say(done)
    # A pseudo-terminal has no parity; the frames are the same without.
    context = lib.modbus_new_rtu(options.port.encode(), 19200, b"N", 8, 1)
    lib.modbus_set_slave(context, options.unit)
    if lib.modbus_connect(context) < 0:
        sys.exit(f"the port {options.port} cannot be opened")
    say("serving")
    serve(lib, context, mapping)


if __name__ == "__main__":
    main()
