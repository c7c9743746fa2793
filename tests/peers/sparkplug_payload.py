"""Sparkplug B payloads by Google's own protobuf library, without a protoc: the message types are
described here at run time. Source: Sparkplug 3.0.0 (ISO/IEC 20237:2023), 6.4."""

from google.protobuf import descriptor_pb2, descriptor_pool, message_factory

F = descriptor_pb2.FieldDescriptorProto

INT32, INT64, UINT32, UINT64, DOUBLE, BOOLEAN, STRING = 3, 4, 7, 8, 10, 11, 12


def fields(message, listed, oneof=None):
    """Adds fields, each (name, number, type or message, repeated)."""
    if oneof is not None:
        message.oneof_decl.add(name=oneof)
    for name, number, kind, repeated in listed:
        field = message.field.add(name=name, number=number)
        field.label = F.LABEL_REPEATED if repeated else F.LABEL_OPTIONAL
        if isinstance(kind, str):
            field.type, field.type_name = F.TYPE_MESSAGE, kind
        else:
            field.type = kind
        if oneof is not None:
            field.oneof_index = len(message.oneof_decl) - 1


def described():
    file = descriptor_pb2.FileDescriptorProto(name="sparkplug.proto", package="s", syntax="proto2")
    cell = file.message_type.add(name="Cell")
    fields(cell, [("int_value", 1, F.TYPE_UINT32, False), ("string_value", 6, F.TYPE_STRING, False)],
           oneof="value")
    fields(file.message_type.add(name="Row"), [("elements", 1, ".s.Cell", True)])
    fields(file.message_type.add(name="DataSet"), [
        ("num_of_columns", 1, F.TYPE_UINT64, False), ("columns", 2, F.TYPE_STRING, True),
        ("types", 3, F.TYPE_UINT32, True), ("rows", 4, ".s.Row", True)])
    fields(file.message_type.add(name="Template"), [
        ("version", 1, F.TYPE_STRING, False), ("metrics", 2, ".s.Metric", True),
        ("template_ref", 4, F.TYPE_STRING, False), ("is_definition", 5, F.TYPE_BOOL, False)])
    value = file.message_type.add(name="PropertyValue")
    fields(value, [("type", 1, F.TYPE_UINT32, False), ("is_null", 2, F.TYPE_BOOL, False)])
    fields(value, [("int_value", 3, F.TYPE_UINT32, False), ("string_value", 8, F.TYPE_STRING, False)],
           oneof="value")
    fields(file.message_type.add(name="PropertySet"), [
        ("keys", 1, F.TYPE_STRING, True), ("values", 2, ".s.PropertyValue", True)])
    fields(file.message_type.add(name="MetaData"), [
        ("content_type", 2, F.TYPE_STRING, False), ("description", 8, F.TYPE_STRING, False)])
    metric = file.message_type.add(name="Metric")
    fields(metric, [
        ("name", 1, F.TYPE_STRING, False), ("alias", 2, F.TYPE_UINT64, False),
        ("timestamp", 3, F.TYPE_UINT64, False), ("datatype", 4, F.TYPE_UINT32, False),
        ("is_historical", 5, F.TYPE_BOOL, False), ("is_transient", 6, F.TYPE_BOOL, False),
        ("is_null", 7, F.TYPE_BOOL, False), ("metadata", 8, ".s.MetaData", False),
        ("properties", 9, ".s.PropertySet", False)])
    fields(metric, [
        ("int_value", 10, F.TYPE_UINT32, False), ("long_value", 11, F.TYPE_UINT64, False),
        ("float_value", 12, F.TYPE_FLOAT, False), ("double_value", 13, F.TYPE_DOUBLE, False),
        ("boolean_value", 14, F.TYPE_BOOL, False), ("string_value", 15, F.TYPE_STRING, False),
        ("bytes_value", 16, F.TYPE_BYTES, False), ("dataset_value", 17, ".s.DataSet", False),
        ("template_value", 18, ".s.Template", False)], oneof="value")
    fields(file.message_type.add(name="Payload"), [
        ("timestamp", 1, F.TYPE_UINT64, False), ("metrics", 2, ".s.Metric", True),
        ("seq", 3, F.TYPE_UINT64, False), ("uuid", 4, F.TYPE_STRING, False),
        ("body", 5, F.TYPE_BYTES, False)])
    pool = descriptor_pool.DescriptorPool()
    pool.Add(file)
    return message_factory.GetMessageClass(pool.FindMessageTypeByName("s.Payload"))


Payload = described()


def value_of(metric):
    """The value, or None for null."""
    kind = metric.WhichOneof("value")
    return None if kind is None or metric.is_null else getattr(metric, kind)
