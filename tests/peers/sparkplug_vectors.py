"""Payloads with every field and kind of value, as Google's protobuf library encodes them, and ours as
it decodes them. Commands, one JSON object a line on standard input:

    {"do": "next"}                  vector: the next one, its bytes and what it tells; name null at the end
    {"do": "decode", "hex": ".."}   decoded: what it tells
"""

import json
import math
import sys

from sparkplug_payload import (BOOLEAN, DOUBLE, INT32, INT64, STRING, UINT32, UINT64, Payload,
                               value_of)


def metric(payload, name, datatype, field, value, **more):
    added = payload.metrics.add(name=name, datatype=datatype, timestamp=1_700_000_000_000, **more)
    setattr(added, field, value)
    return added


def vectors():
    yield "empty", Payload()
    yield "death", one("bdSeq", INT64, "long_value", 255)
    every = Payload(timestamp=1_700_000_000_001, seq=255, uuid="u", body=b"\x00\xff")
    metric(every, "int", INT32, "int_value", 2**32 - 5, alias=1)
    metric(every, "uint", UINT32, "int_value", 2**32 - 1, alias=2)
    metric(every, "long", UINT64, "long_value", 2**64 - 1, alias=2**63)
    metric(every, "float", 9, "float_value", 1.5)
    metric(every, "double", DOUBLE, "double_value", math.pi)
    metric(every, "true", BOOLEAN, "boolean_value", True)
    metric(every, "false", BOOLEAN, "boolean_value", False, is_transient=True)
    metric(every, "text", STRING, "string_value", "Ω·cm", is_historical=True)
    metric(every, "empty text", STRING, "string_value", "")
    metric(every, "bytes", 17, "bytes_value", b"\x00\x01")
    every.metrics.add(name="null", datatype=STRING, is_null=True)
    yield "every", every
    rich = Payload(seq=1)
    described = metric(rich, "rich", UINT64, "long_value", 7)
    described.metadata.content_type, described.metadata.description = "text/plain", "a total"
    described.properties.keys.extend(["engUnit", "Quality"])
    described.properties.values.add(type=STRING, string_value="strokes")
    described.properties.values.add(type=INT32, int_value=500)
    table = rich.metrics.add(name="table", datatype=16).dataset_value
    table.num_of_columns = 1
    table.columns.append("n")
    table.types.append(UINT32)
    table.rows.add().elements.add(int_value=3)
    form = rich.metrics.add(name="form", datatype=19).template_value
    form.template_ref = "printer"
    form.metrics.add(name="inner", datatype=UINT64, long_value=1)
    yield "rich", rich


def one(name, datatype, field, value):
    payload = Payload(timestamp=1)
    metric(payload, name, datatype, field, value)
    return payload


def told(payload):
    return {
        "timestamp": payload.timestamp if payload.HasField("timestamp") else None,
        "seq": payload.seq if payload.HasField("seq") else None,
        "metrics": [{
            "name": metric.name if metric.HasField("name") else None,
            "alias": metric.alias if metric.HasField("alias") else None,
            "datatype": metric.datatype if metric.HasField("datatype") else None,
            "kind": metric.WhichOneof("value"),
            "value": plain(value_of(metric)),
            "null": metric.is_null,
            "historical": metric.is_historical,
        } for metric in payload.metrics],
    }


def plain(value):
    if isinstance(value, (bytes,)):
        return value.hex()
    if value is None or isinstance(value, (bool, int, float, str)):
        return value
    return value.SerializeToString().hex()


print(json.dumps({"said": "ready"}), flush=True)
waiting = vectors()
for line in sys.stdin:
    command = json.loads(line)
    if command["do"] == "next":
        name, payload = next(waiting, (None, Payload()))
        print(json.dumps({"said": "vector", "name": name, "hex": payload.SerializeToString().hex(),
                          "told": told(payload)}), flush=True)
    else:
        payload = Payload()
        payload.ParseFromString(bytes.fromhex(command["hex"]))
        print(json.dumps({"said": "decoded", "told": told(payload)}), flush=True)
