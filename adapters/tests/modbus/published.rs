//! Worked examples of the MODBUS Application Protocol Specification V1.1b3, sections 6.1 to
//! 6.21, on both sides: what the link asks and understands, and what the machine answers. The
//! link asks nothing of 6.11, 6.12, 6.16 and 6.17.
//!
//! The bytes are known from public transcriptions of the specification; those of 6.4 and 6.5 by
//! heart. Nothing in here was read from the specification's own pages.

use serde_json::{Value, json};
use stencilward_adapters::modbus::{BitTable, RegisterTable};
use stencilward_domain::signal::Said;

use crate::support::{Connection, Gateway, Peer, machine, settings, wanted};

fn bits(table: &str, from: u16, count: u16) -> Value {
    let fault = |at: u16| json!({ "signal": "fault", "table": table, "at": at, "code": at.to_string(), "text": "x" });
    (from..from + count).map(fault).collect()
}

fn counters(table: &str, from: u16, count: u16) -> Value {
    let counter = |at: u16| {
        json!({ "signal": "stroke-total", "table": table, "at": at, "type": "u16",
            "counter": at.to_string() })
    };
    (from..from + count).map(counter).collect()
}

/// What the link makes of one published answer, after asking exactly what is published.
async fn understood(points: &Value, request: &[u8], response: &[u8]) -> Vec<Said> {
    let peer = Peer::listen().await;
    let mut gateway = Gateway::start(settings(peer.address(), points, &json!([])));
    let mut connection = peer.accept().await;
    connection.expect(request, response).await;
    let said = gateway.next().await;
    assert_eq!(said[0], Said::LinkUp { resumed: false });
    gateway.stop().await;
    said[1..].to_vec()
}

fn raised(said: &[Said]) -> Vec<u16> {
    let raised = |said: &Said| match said {
        Said::FaultRaised { code, .. } => Some(code.parse().unwrap()),
        Said::FaultEnded { .. } => None,
        other => panic!("{other:?}"),
    };
    said.iter().filter_map(raised).collect()
}

fn counts(said: &[Said]) -> Vec<u64> {
    let count = |said: &Said| match said {
        Said::CounterRead { raw, .. } => *raw,
        other => panic!("{other:?}"),
    };
    said.iter().map(count).collect()
}

/// Section 6.1: outputs 20 to 38 are CD 6B 05.
const READ_COILS: (&[u8], &[u8]) =
    (&[0x01, 0x00, 0x13, 0x00, 0x13], &[0x01, 0x03, 0xCD, 0x6B, 0x05]);
const COILS_ON: [u16; 12] = [19, 21, 22, 25, 26, 27, 28, 30, 32, 33, 35, 37];

/// Section 6.2: inputs 197 to 218 are AC DB 35.
const READ_INPUTS: (&[u8], &[u8]) =
    (&[0x02, 0x00, 0xC4, 0x00, 0x16], &[0x02, 0x03, 0xAC, 0xDB, 0x35]);
const INPUTS_ON: [u16; 14] = [198, 199, 201, 203, 204, 205, 207, 208, 210, 211, 212, 214, 216, 217];

/// Section 6.3: registers 108 to 110 are 555, 0 and 100.
const READ_HOLDING: (&[u8], &[u8]) =
    (&[0x03, 0x00, 0x6B, 0x00, 0x03], &[0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64]);

/// Section 6.4: input register 9 is 10.
const READ_INPUT: (&[u8], &[u8]) = (&[0x04, 0x00, 0x08, 0x00, 0x01], &[0x04, 0x02, 0x00, 0x0A]);

/// Section 6.5: output 173 on. The answer repeats the request.
const WRITE_COIL: &[u8] = &[0x05, 0x00, 0xAC, 0xFF, 0x00];

/// Section 6.6: register 2 becomes 3. The answer repeats the request.
const WRITE_REGISTER: &[u8] = &[0x06, 0x00, 0x01, 0x00, 0x03];

/// Section 6.11: ten outputs from 20 become CD 01.
const WRITE_COILS: (&[u8], &[u8]) =
    (&[0x0F, 0x00, 0x13, 0x00, 0x0A, 0x02, 0xCD, 0x01], &[0x0F, 0x00, 0x13, 0x00, 0x0A]);

/// Section 6.12: two registers from 2 become 000A and 0102.
const WRITE_REGISTERS: (&[u8], &[u8]) = (
    &[0x10, 0x00, 0x01, 0x00, 0x02, 0x04, 0x00, 0x0A, 0x01, 0x02],
    &[0x10, 0x00, 0x01, 0x00, 0x02],
);

/// Section 6.16: register 5 becomes (12 AND F2) OR (25 AND NOT F2) = 17. The answer repeats the
/// request.
const MASK_REGISTER: &[u8] = &[0x16, 0x00, 0x04, 0x00, 0xF2, 0x00, 0x25];

/// Section 6.17: registers 15 to 17 become 00FF each, and then registers 4 to 9 are read.
const WRITE_AND_READ: (&[u8], &[u8]) = (
    &[
        0x17, 0x00, 0x03, 0x00, 0x06, 0x00, 0x0E, 0x00, 0x03, 0x06, 0x00, 0xFF, 0x00, 0xFF, 0x00,
        0xFF,
    ],
    &[0x17, 0x0C, 0x00, 0xFE, 0x0A, 0xCD, 0x00, 0x01, 0x00, 0x03, 0x00, 0x0D, 0x00, 0xFF],
);

/// Section 6.21: the basic identification, three objects. Copies differ in the lengths they print;
/// these are the texts' own.
const IDENTIFY: (&[u8], &[u8]) = (
    &[0x2B, 0x0E, 0x01, 0x00],
    b"\x2B\x0E\x01\x01\x00\x00\x03\x00\x16Company identification\x01\x0FProduct code XX\x02\x05V2.11",
);

#[tokio::test]
async fn the_link_reads_coils_as_published() {
    let (request, response) = READ_COILS;
    let said = understood(&bits("coil", 19, 19), request, response).await;
    assert_eq!(said.len(), 19);
    assert_eq!(raised(&said), COILS_ON);
}

#[tokio::test]
async fn the_link_reads_discrete_inputs_as_published() {
    let (request, response) = READ_INPUTS;
    let said = understood(&bits("discrete", 196, 22), request, response).await;
    assert_eq!(said.len(), 22);
    assert_eq!(raised(&said), INPUTS_ON);
}

#[tokio::test]
async fn the_link_reads_holding_registers_as_published() {
    let (request, response) = READ_HOLDING;
    let said = understood(&counters("holding", 107, 3), request, response).await;
    assert_eq!(counts(&said), [555, 0, 100]);
}

#[tokio::test]
async fn the_link_reads_input_registers_as_published() {
    let (request, response) = READ_INPUT;
    let said = understood(&counters("input", 8, 1), request, response).await;
    assert_eq!(counts(&said), [10]);
}

#[tokio::test]
async fn the_link_writes_a_coil_as_published() {
    let peer = Peer::listen().await;
    let lock = json!([{ "name": "lock", "drive": "print-permit", "table": "coil", "at": 172 }]);
    let settings = settings(peer.address(), &json!([]), &lock);
    let gateway = Gateway::wanting(settings, wanted(0, &["lock"]));
    let mut connection = peer.accept().await;
    let read = [0x01, 0x00, 0xAC, 0x00, 0x01];
    connection.expect(&read, &[0x01, 0x01, 0x00]).await;
    connection.expect(WRITE_COIL, WRITE_COIL).await;
    connection.expect(&read, &[0x01, 0x01, 0x01]).await;
    connection.expect(&read, &[0x01, 0x01, 0x01]).await;
    assert_eq!(gateway.notes.last("lock"), Some((true, Some(true))));
    gateway.stop.cancel();
    let off = [0x05, 0x00, 0xAC, 0x00, 0x00];
    while let Some((transaction, unit, pdu)) = connection.frame().await {
        let answer: &[u8] = if pdu == off { &off } else { &[0x01, 0x01, 0x01] };
        connection.send(transaction, unit, answer).await;
    }
    gateway.ended().await;
}

#[tokio::test]
async fn the_link_writes_a_register_as_published() {
    let peer = Peer::listen().await;
    let alive = json!([{ "name": "alive", "drive": "heartbeat", "table": "holding", "at": 1 }]);
    let settings = settings(peer.address(), &json!([]), &alive);
    let gateway = Gateway::wanting(settings, wanted(65_536 + 3, &[]));
    let mut connection = peer.accept().await;
    connection.expect(WRITE_REGISTER, WRITE_REGISTER).await;
    gateway.stop().await;
}

#[tokio::test]
async fn the_machine_answers_reads_as_published() {
    let mut points = Vec::new();
    for some in [bits("coil", 19, 19), bits("discrete", 196, 22)] {
        points.extend(some.as_array().unwrap().clone());
    }
    points.extend(counters("holding", 107, 3).as_array().unwrap().clone());
    points.extend(counters("input", 8, 1).as_array().unwrap().clone());
    let (machine, _) = machine(&json!(points), &json!([])).await;
    for at in COILS_ON {
        machine.set_bits(BitTable::Coil, at, &[true]);
    }
    for at in INPUTS_ON {
        machine.set_bits(BitTable::Discrete, at, &[true]);
    }
    machine.set_registers(RegisterTable::Holding, 107, &[555, 0, 100]);
    machine.set_registers(RegisterTable::Input, 8, &[10]);
    let mut connection = Connection::open(machine.local_addr()).await;
    for (request, response) in [READ_COILS, READ_INPUTS, READ_HOLDING, READ_INPUT] {
        assert_eq!(connection.ask(request).await, response);
    }
}

#[tokio::test]
async fn the_machine_answers_writes_as_published() {
    let mut outputs = vec![json!(
        { "name": "lock", "drive": "print-permit", "table": "coil", "at": 172 }
    )];
    for at in 19..29 {
        let name = format!("coil {at}");
        outputs.push(json!({ "name": name, "drive": "door-release", "table": "coil", "at": at }));
    }
    for at in 1..3 {
        let name = format!("register {at}");
        outputs.push(json!({ "name": name, "drive": "heartbeat", "table": "holding", "at": at }));
    }
    let (machine, _) = machine(&json!([]), &json!(outputs)).await;
    let mut connection = Connection::open(machine.local_addr()).await;
    let once = [(WRITE_COIL, WRITE_COIL), (WRITE_REGISTER, WRITE_REGISTER)];
    for (request, response) in once.into_iter().chain([WRITE_COILS, WRITE_REGISTERS]) {
        assert_eq!(connection.ask(request).await, response);
    }
    let ask = |at, count| [0x01, 0x00, at, 0x00, count];
    assert_eq!(connection.ask(&ask(172, 1)).await, [1, 1, 1]);
    assert_eq!(connection.ask(&ask(19, 10)).await, [1, 2, 0xCD, 0x01]);
    let registers = connection.ask(&[0x03, 0x00, 0x01, 0x00, 0x02]).await;
    assert_eq!(registers, [3, 4, 0x00, 0x0A, 0x01, 0x02]);
    // Section 7 and the state diagram of 6.5: any other value of a coil is exception 03.
    assert_eq!(connection.ask(&[0x05, 0x00, 0xAC, 0xFF, 0x01]).await, [0x85, 0x03]);
}

#[tokio::test]
async fn the_machine_masks_writes_and_reads_and_identifies_itself_as_published() {
    let outputs: Vec<Value> = [4, 14, 15, 16]
        .map(|at| json!({ "name": at.to_string(), "drive": "heartbeat", "table": "holding", "at": at }))
        .into();
    let (machine, _) = machine(&json!([]), &json!(outputs)).await;
    let mut connection = Connection::open(machine.local_addr()).await;
    machine.set_registers(RegisterTable::Holding, 4, &[0x12]);
    assert_eq!(connection.ask(MASK_REGISTER).await, MASK_REGISTER);
    assert_eq!(machine.register(RegisterTable::Holding, 4), Some(0x17));
    machine.set_registers(RegisterTable::Holding, 3, &[0xFE, 0x0ACD, 1, 3, 0x0D, 0xFF]);
    assert_eq!(connection.ask(WRITE_AND_READ.0).await, WRITE_AND_READ.1);
    assert_eq!(machine.register(RegisterTable::Holding, 16), Some(0xFF));
    machine.identify(&[(0, "Company identification"), (1, "Product code XX"), (2, "V2.11")]);
    assert_eq!(connection.ask(IDENTIFY.0).await, IDENTIFY.1);
}
