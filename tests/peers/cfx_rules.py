"""What a CFX message must be, looked at without any of our own code.

Sources: files of the standards body's SDK (Apache-2.0): CFX/CFXEnvelope.cs for the envelope,
CFX/Transport/AmqpUtilities.cs (SetHeaders) for what AMQP carries, and each message's own file.
Its JSON library writes members by their exact names, nulls too, and `$type` first.

Run by itself it looks at what it is given, one JSON string a line, and tells for each
{"said": "looked", "wrong": [...]}."""

import json
import re
import sys
import uuid
from datetime import datetime

ENVELOPE = ["MessageName", "Version", "TimeStamp", "UniqueID", "Source", "Target", "RequestID",
            "MessageBody"]
STAMP = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,7})?(Z|[+-]\d\d:\d\d)")
SPAN = re.compile(r"(\d+\.)?([01]\d|2[0-3]):[0-5]\d:[0-5]\d(\.\d{7})?")


def text(value):
    return isinstance(value, str)


def whole(value):
    return isinstance(value, int) and not isinstance(value, bool)


def number(value):
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def truth(value):
    return isinstance(value, bool)


def stamp(value):
    return text(value) and STAMP.fullmatch(value) is not None


def span(value):
    return text(value) and SPAN.fullmatch(value) is not None


def null(value):
    return value is None


def guid(value):
    try:
        return str(uuid.UUID(value)) == value
    except (AttributeError, TypeError, ValueError):
        return False


def english(value):
    return text(value) and 0 < len(value) <= 1024


def one_of(*names):
    return lambda value: value in names


def maybe(rule):
    return lambda value: value is None or (look(value, rule, "") == [])


RESULT = {"Result": one_of("Success", "PartialSuccess", "Failed", "Warning"), "ResultCode": whole,
          "Message": text}
PRESENCE = {"CFXHandle": text, "RequestNetworkUri": maybe(text),
            "RequestTargetAddress": maybe(text)}
STAGE = {"StageSequence": whole, "StageName": text, "StageType": one_of("Work", "Buffer")}
OPERATOR = {"OperatorIdentifier": text, "ActorType": one_of("Human", "Robot", "RemoteSystem"),
            "LastName": maybe(text), "FirstName": maybe(text), "LoginName": maybe(text)}
UNIT = {"UniqueIdentifier": maybe(text), "PositionNumber": whole,
        "Result": one_of("Passed", "Failed", "Skipped"), "FailureCode": whole, "Message": text}
COUNTER = {
    "Name": text, "CounterType": one_of("Unkwnown", "General", "NonStandard", "Odometer", "Timer",
                                        "ActivityCount"),
    "CustomCounterType": maybe(text), "MeasurementLocation": maybe(text),
    "CurrentCounterValue": maybe(number), "CurrentRatio": maybe(number),
    "CurrentRatioValid": maybe(truth), "CurrentTimeStamp": maybe(stamp),
    "LastMaintenanceCounterValue": maybe(number), "LastMaintenanceTimeStamp": maybe(stamp),
    "LastMaintenanceValid": maybe(truth),
}
COUNTED = {"UniqueIdentifier": text, "Name": text, "CalibrationDetails": null,
           "ErrorDetails": null, "MaintenanceDetails": [COUNTER], "SensorDetails": null,
           "VerificationDetails": null}

# CFX/Structures/Fault.cs, FaultCause.cs and FaultSeverity.cs. A fault says its type only where it
# is more than a fault.
FAULT = {
    "TransactionID": maybe(guid), "Cause": one_of(
        "LoadError", "UnloadError", "AutoSafetyStop", "SafetyStop", "QualityCheck", "RemoteStop",
        "MechanicalFailure", "SoftwareFailure", "PowerFailure", "MissingDocumentation", "Refill",
        "MsdExpired", "MaterialExpired", "MissingComponent", "ElectricalFailure",
        "ServicesFailure", "ProcessError", "RejectedComponent"),
    "Severity": one_of("Information", "Warning", "Error", "Alarm"), "FaultCode": text,
    "FaultOccurrenceId": guid, "Lane": maybe(whole), "Stage": maybe(STAGE),
    "SideLocation": one_of("Unknown", "Right", "Left", "Both"),
    "AccessType": one_of("Unknown", "Ignore", "Local", "Remote"), "Description": english,
    "DescriptionTranslations": null, "OccurredAt": stamp, "DueDateTime": maybe(stamp),
}


def untyped(fault):
    return isinstance(fault, dict) and "$type" not in fault and look(fault, FAULT, "") == []


BODIES = {
    "CFX.EndpointConnected": PRESENCE,
    "CFX.EndpointShuttingDown": {"CFXHandle": text},
    "CFX.Heartbeat": {"CFXHandle": text, "HeartbeatFrequency": span,
                      "ActiveFaults": maybe([untyped]),
                      "ActiveRecipes": lambda value: value is None or isinstance(value, list)},
    "CFX.Maintenance.ResourceMaintenanceAndServiceEvent": {
        "EventDateTime": maybe(stamp), "Machine": null,
        "MachineServiceAndMaintenanceData": [COUNTED]},
    "CFX.ResourcePerformance.FaultOccurred": {"Fault": FAULT},
    "CFX.ResourcePerformance.FaultCleared": {"FaultOccurrenceId": guid,
                                             "Operator": maybe(OPERATOR)},
    "CFX.Production.LockStationRequest": {
        "Lane": maybe(whole), "Stage": maybe(STAGE),
        "Reason": one_of("QualityIssue", "PreventativeMaintenance", "UnscheduledMaintenance",
                         "GeneralLock"),
        "Requestor": OPERATOR},
    "CFX.Production.UnlockStationRequest": {
        "Lane": maybe(whole), "Stage": maybe(STAGE), "Requestor": OPERATOR},
    "CFX.AreYouThereResponse": {"Result": RESULT, **PRESENCE},
    "CFX.WhoIsThereResponse": {"Result": RESULT, **PRESENCE},
    "CFX.NotSupportedResponse": {"RequestResult": RESULT},
    "CFX.GetEndpointInformationResponse": {
        "Result": RESULT,
        # A dynamic structure: that it says its type is looked at with all others.
        "EndpointInformation": lambda value: isinstance(value, dict) and "$type" in value},
    "CFX.InformationSystem.TopicValidation.ValidateTopicResponse": {
        "ValidationTopic": one_of("Tools", "Materials", "Recipe", "MaterialCarrier"),
        "Result": [RESULT]},
    "CFX.InformationSystem.UnitValidation.ValidateUnitsResponse": {
        "Result": RESULT, "PrimaryResult": UNIT, "ValidationResults": [UNIT]},
}


def look(value, rule, path):
    """What is wrong with a value, by its rule: a test, members with theirs, or a list of alike."""
    if isinstance(rule, list):
        if not isinstance(value, list):
            return [f"{path} is no list"]
        return [wrong for at, item in enumerate(value)
                for wrong in look(item, rule[0], f"{path}[{at}]")]
    if isinstance(rule, dict):
        if not isinstance(value, dict):
            return [f"{path} is no object"]
        names = set(value) - {"$type"}
        wrong = [f"{path}.{name} is left out" for name in sorted(set(rule) - names)]
        wrong += [f"{path}.{name} is no member" for name in sorted(names - set(rule))]
        return wrong + [fault for name in rule if name in value
                        for fault in look(value[name], rule[name], f"{path}.{name}")]
    return [] if rule(value) else [f"{path} must not be {value!r}"]


def members(pairs):
    names = [name for name, _ in pairs]
    if len(set(names)) != len(names):
        raise ValueError(f"a member twice: {names}")
    if "$type" in names[1:]:
        raise ValueError(f"$type is not first: {names}")
    return dict(pairs)


def milliseconds(text_of_time):
    return round(datetime.fromisoformat(text_of_time.replace("Z", "+00:00")).timestamp() * 1000)


def read(message):
    """The envelope of a message, and everything wrong with it."""
    body = message.body
    if not isinstance(body, (bytes, memoryview)) or not message.inferred:
        return None, ["the body is no data section"]
    envelope, wrong = parse(bytes(body))
    return envelope, wrong + (carried_faults(message, envelope) if envelope else [])


def parse(body):
    """The envelope in a body, and everything wrong with it."""
    try:
        envelope = json.loads(body.decode("utf-8"), object_pairs_hook=members)
    except ValueError as wrong:
        return None, [str(wrong)]
    if not isinstance(envelope, dict) or list(envelope) != ENVELOPE:
        return None, [f"the envelope's members are {list(envelope)}"]
    return envelope, envelope_faults(envelope)


def envelope_faults(envelope):
    wrong = []
    name, body = envelope["MessageName"], envelope["MessageBody"]
    if not re.fullmatch(r"\d\.\d", envelope["Version"] or ""):
        wrong.append(f"Version {envelope['Version']!r}")
    if not stamp(envelope["TimeStamp"]):
        wrong.append(f"TimeStamp {envelope['TimeStamp']!r}")
    if not guid(envelope["UniqueID"]):
        wrong.append(f"UniqueID {envelope['UniqueID']!r}: 32 small digits with hyphens are wanted")
    asks = name.endswith("Request") or name.endswith("Response")
    for field in ("Target", "RequestID"):
        if text(envelope[field]) != asks or envelope[field] == "":
            wrong.append(f"{field} {envelope[field]!r} of {name}")
    if not envelope["Source"]:
        wrong.append("no Source")
    if name not in BODIES:
        return wrong + [f"no rule knows {name}"]
    if list(body)[:1] != ["$type"] or body["$type"] != f"{name}, CFX":
        wrong.append(f"the body does not begin with its $type: {list(body)[:1]}")
    return wrong + look(body, BODIES[name], name)


def carried_faults(message, envelope):
    name = envelope["MessageName"]
    wanted = {
        "id": envelope["UniqueID"], "address": envelope["Target"],
        "subject": f"{envelope['Source']}.{name}",
        "content_type": 'application/json; charset="utf-8"', "content_encoding": None,
        "durable": True,
        "properties": {"cfx-topic": name.rpartition(".")[0], "cfx-message": name,
                       "cfx-handle": envelope["Source"], "cfx-target": envelope["Target"]},
    }
    # A question names a private link there, an answer has the question's id as correlation.
    if not name.endswith("Request"):
        wanted["reply_to"] = envelope["Source"]
    if not name.endswith("Response"):
        wanted["correlation_id"] = envelope["RequestID"]
    wrong = []
    for field, value in wanted.items():
        carried = getattr(message, field)
        carried = carried if isinstance(carried, (dict, bool, type(None))) else str(carried)
        # What is not there comes as no text, or as the word None where it is a symbol.
        if carried != value and not (value is None and carried in ("", "None")):
            wrong.append(f"{field} of AMQP is {carried!r}, not {value!r}")
    if stamp(envelope["TimeStamp"]):
        at = round(message.creation_time * 1000)
        if abs(at - milliseconds(envelope["TimeStamp"])) > 1:
            wrong.append(f"creation-time {at} is not TimeStamp {envelope['TimeStamp']}")
    return wrong


def main():
    print(json.dumps({"said": "ready"}), flush=True)
    for line in sys.stdin:
        _, wrong = parse(json.loads(line).encode("utf-8"))
        print(json.dumps({"said": "looked", "wrong": wrong}), flush=True)


if __name__ == "__main__":
    main()
