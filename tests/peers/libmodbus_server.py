"""A Modbus TCP server that is libmodbus (Debian package libmodbus5), through Python's ctypes.

It serves one connection after the other and shows:

    holding 0, 2, 4, 6   the value of --float as 32 bits in the orders abcd, cdab, badc, dcba, laid
                         out by Python's struct: libmodbus names these orders differently from one
                         version to the next (issues 611 and 665 of its project)
    input 0 to 9         the squares of 0 to 9
    coil 0 to 9          on where the address is odd
    discrete 0 to 9      on where the address is divisible by 3

A coil that a client sets in 10 to 19 is told: {"said": "written", "coils": [10]}.
"""

import argparse
import ctypes
import json
import os
import socket
import struct
import sys

# A frame of Modbus TCP has at most 260 bytes (MODBUS Messaging on TCP/IP V1.0b, 3.1.3).
LONGEST_FRAME = 260
PLACES = 20


class Mapping(ctypes.Structure):
    """modbus_mapping_t of modbus.h, version 3.1."""

    _fields_ = [(f"number_{place}", ctypes.c_int) for place in range(8)] + [
        ("bits", ctypes.POINTER(ctypes.c_uint8)),
        ("input_bits", ctypes.POINTER(ctypes.c_uint8)),
        ("input_registers", ctypes.POINTER(ctypes.c_uint16)),
        ("registers", ctypes.POINTER(ctypes.c_uint16)),
    ]


def say(said, **fields):
    print(json.dumps({"said": said, **fields}), flush=True)


def library():
    lib = ctypes.CDLL("libmodbus.so.5")
    lib.modbus_new_tcp.restype = ctypes.c_void_p
    lib.modbus_mapping_new.restype = ctypes.POINTER(Mapping)
    for name in ("modbus_tcp_listen", "modbus_tcp_accept", "modbus_receive", "modbus_close"):
        getattr(lib, name).argtypes = [ctypes.c_void_p] + {
            "modbus_tcp_listen": [ctypes.c_int],
            "modbus_tcp_accept": [ctypes.POINTER(ctypes.c_int)],
            "modbus_receive": [ctypes.c_char_p],
            "modbus_close": [],
        }[name]
    lib.modbus_reply.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p]
    return lib


def fill(mapping, value):
    for index, order in enumerate(("abcd", "cdab", "badc", "dcba")):
        packed = struct.pack(">f", value)
        sent = bytes(packed["abcd".index(letter)] for letter in order)
        mapping.registers[2 * index], mapping.registers[2 * index + 1] = struct.unpack(">HH", sent)
    for at in range(10):
        mapping.input_registers[at] = at * at
        mapping.bits[at] = at % 2
        mapping.input_bits[at] = at % 3 == 0


def serve(lib, context, listening, mapping):
    frame = ctypes.create_string_buffer(LONGEST_FRAME)
    told = []
    while True:
        connection = ctypes.c_int(listening)
        lib.modbus_tcp_accept(context, ctypes.byref(connection))
        while (length := lib.modbus_receive(context, frame)) >= 0:
            if length:
                lib.modbus_reply(context, frame, length, mapping)
            on = [at for at in range(10, PLACES) if mapping.contents.bits[at]]
            if on != told:
                told = on
                say("written", coils=on)
        lib.modbus_close(context)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--port", type=int, default=0, help="0: a free one, told when ready")
    parser.add_argument("--float", type=float, default=0)
    options = parser.parse_args()
    try:
        lib = library()
    except OSError as why:
        say("ready", missing=str(why))
        sys.exit()
    context = lib.modbus_new_tcp(b"127.0.0.1", options.port)
    mapping = lib.modbus_mapping_new(PLACES, PLACES, PLACES, PLACES)
    fill(mapping.contents, options.float)
    listening = lib.modbus_tcp_listen(context, 1)
    if listening < 0:
        sys.exit(f"port {options.port} cannot be listened on")
    with socket.socket(fileno=os.dup(listening)) as same:
        say("ready", port=same.getsockname()[1])
    serve(lib, context, listening, mapping)


if __name__ == "__main__":
    main()
