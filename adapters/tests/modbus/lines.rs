//! Serial lines and converters: pseudo-terminals, and peers that say exactly what a test wants.

use std::os::unix::fs::symlink;
use std::path::Path;
use std::time::{Duration, Instant};

use futures::future::join_all;
use serde_json::{Value, json};
use stencilward_adapters::link::Trouble;
use stencilward_adapters::modbus::{Machine, Pty, RegisterTable, Settings};
use stencilward_domain::signal::Said;
use tokio::io::{AsyncReadExt, AsyncWriteExt};

use crate::hall::Hall;
use crate::support::{any_port, until, within};

fn counter(at: u16) -> Value {
    json!([{ "signal": "stroke-total", "table": "input", "at": at, "type": "u16" }])
}

fn settings(mut keys: Value, points: Value) -> Settings {
    keys["points"] = points;
    for (key, value) in [("poll", "20ms"), ("timeout", "100ms")] {
        if keys.get(key).is_none() {
            keys[key] = json!(value);
        }
    }
    serde_json::from_value(keys).unwrap()
}

fn on_port(port: &Path, unit: u8, points: Value) -> Settings {
    let serial = json!({ "port": port, "baud": 115_200, "frame": "8N1" });
    settings(json!({ "serial": serial, "unit": unit, "poll": "250ms" }), points)
}

pub(crate) fn framed(bytes: &[u8]) -> Vec<u8> {
    let mut sum = 0xFFFF_u16;
    for byte in bytes {
        sum ^= u16::from(*byte);
        for _ in 0..8 {
            sum = if sum & 1 == 1 { sum >> 1 ^ 0xA001 } else { sum >> 1 };
        }
    }
    [bytes, &sum.to_le_bytes()].concat()
}

/// The next request on a line, which must be whole.
async fn request(line: &mut (impl AsyncReadExt + Unpin)) -> Vec<u8> {
    let mut bytes = vec![0; 8];
    within("a request", line.read_exact(&mut bytes)).await.unwrap();
    assert_eq!(framed(&bytes[..6]), bytes);
    bytes[..6].to_vec()
}

async fn say(line: &mut (impl AsyncWriteExt + Unpin), bytes: &[u8]) {
    line.write_all(&framed(bytes)).await.unwrap();
    line.flush().await.unwrap();
}

#[tokio::test]
async fn two_machines_on_a_serial_line_keep_its_pace() {
    let line = Pty::open().unwrap();
    let serial = json!({ "port": line.port() });
    let of =
        |unit: u8| settings(json!({ "serial": serial, "unit": unit, "poll": "250ms" }), counter(5));
    let all = [of(17), of(18)];
    let first = Machine::on_line(&all[0], line);
    let second = first.beside(&all[1]);
    first.set_registers(RegisterTable::Input, 5, &[170]);
    second.set_registers(RegisterTable::Input, 5, &[180]);
    let hall = Hall::start(&all);
    hall.hear_count(0, 170).await;
    hall.hear_count(1, 180).await;
    for count in 181..190 {
        second.set_registers(RegisterTable::Input, 5, &[count]);
        hall.hear_count(1, u64::from(count)).await;
    }
    assert_eq!(first.hasty_requests(), 0);
    for machine in [0, 1] {
        assert_eq!(hall.losses(machine), Vec::<String>::new());
    }
    hall.stop().await;
}

#[tokio::test]
async fn a_port_in_use_is_told_and_taken_when_it_is_free() {
    let line = Pty::open().unwrap();
    let settings = on_port(line.port(), 1, counter(0));
    let machine = Machine::on_line(&settings, line);
    let first = Hall::start(std::slice::from_ref(&settings));
    first.hear_count(0, 0).await;
    let second = Hall::start(&[settings]);
    let why = second.hear_lost(0).await;
    assert!(why.contains("another program has it open"), "{why}");
    first.stop().await;
    second.hear_count(0, 0).await;
    second.stop().await;
    drop(machine);
}

#[tokio::test]
async fn a_port_that_is_unplugged_is_lost_and_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let port = folder.path().join("printer");
    let line = Pty::open().unwrap();
    symlink(line.port(), &port).unwrap();
    let settings = on_port(&port, 1, counter(0));
    let machine = Machine::on_line(&settings, line);
    let hall = Hall::start(std::slice::from_ref(&settings));
    hall.hear_count(0, 0).await;
    std::fs::remove_file(&port).unwrap();
    drop(machine);
    let why = hall.hear_lost(0).await;
    assert!(why.contains("is gone") && why.contains("plugged in"), "{why}");
    until("a try at a port that is not there", || {
        hall.troubles(0, Trouble::Broken).iter().any(|why| why.contains("none of this name"))
    })
    .await;
    let line = Pty::open().unwrap();
    symlink(line.port(), &port).unwrap();
    let machine = Machine::on_line(&settings, line);
    machine.set_registers(RegisterTable::Input, 0, &[7]);
    hall.hear_count(0, 7).await;
    assert_eq!(hall.losses(0).len(), 1);
    hall.stop().await;
}

/// Two blocks of the same length: nothing but the order tells their answers apart.
fn two_counters() -> Value {
    json!([
        { "signal": "stroke-total", "table": "input", "at": 0, "type": "u32", "words": "low-first" },
        { "signal": "stroke-total", "table": "input", "at": 9, "type": "u32", "words": "low-first",
          "counter": "other" },
    ])
}

/// A machine so slow that its answer comes while the next question waits for one.
async fn late_answers(mut line: impl AsyncReadExt + AsyncWriteExt + Unpin, hall: &Hall) {
    // The second question is answered after its time-out: when the next one has been asked.
    assert_eq!(request(&mut line).await, [1, 4, 0, 0, 0, 2]);
    say(&mut line, &[1, 4, 4, 0, 10, 0, 0]).await;
    assert_eq!(request(&mut line).await, [1, 4, 0, 9, 0, 2]);
    let why = hall.hear_lost(0).await;
    assert!(why.contains("no answer from unit 1"), "{why}");
    // Half of the first block: its answer has another length than the one that is owed.
    assert_eq!(request(&mut line).await, [1, 4, 0, 0, 0, 1]);
    say(&mut line, &[1, 4, 4, 0, 99, 0, 0]).await;
    until("the late answer", || !hall.troubles(0, Trouble::Garbled).is_empty()).await;
    // That question is owed an answer too, and gets it at last; then all is in order.
    let mut asked = request(&mut line).await;
    while asked[5] == 1 {
        say(&mut line, &[1, 4, 2, 0, 10]).await;
        asked = request(&mut line).await;
    }
    for (at, low) in [(0, 10), (9, 20)] {
        assert_eq!(asked, [1, 4, 0, at, 0, 2]);
        say(&mut line, &[1, 4, 4, 0, low, 0, 0]).await;
        asked = request(&mut line).await;
    }
    hall.hear_count(0, 20).await;
    assert_eq!(hall.counts(0), [10, 20]);
}

#[tokio::test]
async fn a_late_answer_on_a_serial_line_is_not_taken_for_another() {
    let line = Pty::open().unwrap();
    let hall = Hall::start(&[on_port(line.port(), 1, two_counters())]);
    late_answers(line, &hall).await;
    hall.stop().await;
}

#[tokio::test]
async fn a_late_answer_through_a_converter_is_not_taken_for_another() {
    let listener = tokio::net::TcpListener::bind(any_port()).await.unwrap();
    let address = listener.local_addr().unwrap().to_string();
    let keys = json!({ "address": address, "framing": "rtu", "poll": "250ms" });
    let hall = Hall::start(&[settings(keys, two_counters())]);
    let (line, _) = within("a connection", listener.accept()).await.unwrap();
    late_answers(line, &hall).await;
    hall.stop().await;
}

#[tokio::test]
async fn answers_that_are_none_cost_a_round_and_no_more() {
    let mut wrong_sum = framed(&[1, 4, 2, 0, 9]);
    wrong_sum[6] ^= 1;
    let all: [(Vec<u8>, Trouble, &str); 7] = [
        (framed(&[1, 4, 2, 0, 9])[..4].to_vec(), Trouble::Garbled, "4 bytes of an answer"),
        (framed(&[2, 4, 2, 0, 9]), Trouble::TimedOut, "unit 2 answered"),
        (framed(&[1, 4, 4, 0, 9, 0, 9]), Trouble::Garbled, "another length"),
        (framed(&[1, 3, 2, 0, 9]), Trouble::Garbled, "another function"),
        (wrong_sum, Trouble::Garbled, "check sum"),
        (b"HTTP/1.1 400 Bad Request\r\n\r\n".to_vec(), Trouble::Garbled, "no frame"),
        (framed(&[1, 0x84, 2]), Trouble::Exception, "does not exist"),
    ];
    let at_once = all.map(|(bytes, kind, word)| async move {
        let mut line = Pty::open().unwrap();
        let hall = Hall::start(&[on_port(line.port(), 1, counter(0))]);
        assert_eq!(request(&mut line).await, [1, 4, 0, 0, 0, 1]);
        line.write_all(&bytes).await.unwrap();
        let why = hall.hear_lost(0).await;
        assert!(why.contains(word), "{why}");
        assert!(!hall.troubles(0, kind).is_empty(), "{why}");
        assert_eq!(request(&mut line).await, [1, 4, 0, 0, 0, 1]);
        say(&mut line, &[1, 4, 2, 0, 7]).await;
        hall.hear_count(0, 7).await;
        assert_eq!(hall.counts(0), [7]);
        hall.stop().await;
    });
    join_all(at_once).await;
}

#[tokio::test]
async fn a_write_that_is_not_answered_is_not_repeated_before_a_read() {
    let mut line = Pty::open().unwrap();
    let mut settings = on_port(line.port(), 1, json!([]));
    settings.outputs = serde_json::from_value(json!([
        { "name": "lock", "drive": "print-permit", "table": "coil", "at": 3 },
    ]))
    .unwrap();
    let hall = Hall::start(&[settings]);
    assert_eq!(request(&mut line).await, [1, 1, 0, 3, 0, 1]);
    say(&mut line, &[1, 1, 1, 1]).await;
    // It permits what nobody wants: it is told to refuse, and does so without a word.
    assert_eq!(request(&mut line).await, [1, 5, 0, 3, 0, 0]);
    assert_eq!(request(&mut line).await, [1, 1, 0, 3, 0, 1]);
    say(&mut line, &[1, 1, 1, 0]).await;
    // All is as it should be, and nothing is written again.
    assert_eq!(request(&mut line).await, [1, 1, 0, 3, 0, 1]);
    hall.stop().await;
}

/// The machines of one line: units 1, 2 and 3, each polled five times in two seconds.
fn three(place: &Value) -> [Settings; 3] {
    [1, 2, 3].map(|unit| {
        let mut keys = place.clone();
        keys["unit"] = json!(unit);
        keys["poll"] = json!("400ms");
        keys["timeout"] = json!("120ms");
        settings(keys, counter(0))
    })
}

/// While one of three machines is in this state the others are late by less than their poll, and
/// it comes back.
async fn keep_time(all: &[Settings; 3], machines: &[Machine; 3], word: &str, fail: impl Fn(bool)) {
    let hall = Hall::start(all);
    for machine in 0..3 {
        hall.hear_count(machine, 0).await;
    }
    let since = Instant::now();
    fail(true);
    let why = hall.hear_lost(1).await;
    assert!(why.contains(word) && why.contains("unit 2"), "{why}");
    hall.are_on_time(&[0, 2], Duration::from_millis(400), since).await;
    fail(false);
    machines[1].set_registers(RegisterTable::Input, 0, &[9]);
    hall.hear_count(1, 9).await;
    hall.stop().await;
}

#[tokio::test]
async fn a_dead_unit_on_a_serial_line_makes_nobody_late() {
    let line = Pty::open().unwrap();
    let all = three(&json!({ "serial": { "port": line.port(), "baud": 115_200 } }));
    let first = Machine::on_line(&all[0], line);
    let machines = [first.beside(&all[1]), first.beside(&all[2])];
    let [second, third] = machines;
    let machines = [first, second, third];
    keep_time(&all, &machines, "no answer", |silent| machines[1].be_silent(silent)).await;
}

#[tokio::test]
async fn a_unit_that_a_bridge_does_not_reach_makes_nobody_late() {
    let at_once = [0x0A, 0x0B].map(|code| async move {
        let place = |address: String| three(&json!({ "address": address }));
        let alone = place("127.0.0.1:1".to_owned());
        let first = Machine::start(alone[0].clone(), any_port()).await.unwrap();
        let all = place(first.local_addr().to_string());
        let (second, third) = (first.beside(&alone[1]), first.beside(&alone[2]));
        let machines = [first, second, third];
        let fail = |fails: bool| machines[1].answer_exception(fails.then_some(code));
        keep_time(&all, &machines, &format!("exception {code:02X}"), fail).await;
    });
    join_all(at_once).await;
}

#[tokio::test]
async fn a_unit_that_is_slower_than_its_time_out_makes_nobody_late() {
    let alone = three(&json!({ "address": "127.0.0.1:1", "framing": "rtu" }));
    let first = Machine::start(alone[0].clone(), any_port()).await.unwrap();
    let address = first.local_addr().to_string();
    let all = three(&json!({ "address": address, "framing": "rtu" }));
    let (second, third) = (first.beside(&alone[1]), first.beside(&alone[2]));
    let machines = [first, second, third];
    let slow = |slow: bool| {
        machines[1].be_late(Duration::from_millis(if slow { 200 } else { 0 }));
    };
    keep_time(&all, &machines, "no answer", slow).await;
}

#[tokio::test]
async fn machines_at_one_address_share_one_connection() {
    let listener = tokio::net::TcpListener::bind(any_port()).await.unwrap();
    let address = listener.local_addr().unwrap().to_string();
    let of = |unit: u8| {
        settings(json!({ "address": address, "unit": unit, "poll": "100ms" }), counter(0))
    };
    let hall = Hall::start(&[of(4), of(5)]);
    let (mut line, _) = within("a connection", listener.accept()).await.unwrap();
    let mut asked = [0; 2];
    while asked.iter().any(|rounds| *rounds < 5) {
        let mut request = [0; 12];
        within("a request", line.read_exact(&mut request)).await.unwrap();
        let unit = request[6];
        asked[usize::from(unit - 4)] += 1;
        let answer = [request[0], request[1], 0, 0, 0, 5, unit, 4, 2, 0, unit];
        line.write_all(&answer).await.unwrap();
    }
    hall.hear_count(0, 4).await;
    hall.hear_count(1, 5).await;
    let other = tokio::time::timeout(Duration::from_millis(50), listener.accept()).await;
    assert!(other.is_err(), "a second connection");
    hall.stop().await;
}

#[tokio::test]
async fn a_lost_address_is_told_of_every_machine_at_it() {
    let alone = settings(json!({ "address": "127.0.0.1:1", "unit": 4 }), counter(0));
    let first = Machine::start(alone.clone(), any_port()).await.unwrap();
    let address = first.local_addr().to_string();
    let of = |unit: u8| {
        settings(json!({ "address": address, "unit": unit, "poll": "100ms" }), counter(0))
    };
    let second = first.beside(&of(5));
    let hall = Hall::start(&[of(4), of(5)]);
    for machine in [0, 1] {
        hall.hear_count(machine, 0).await;
    }
    first.close().await;
    for machine in [0, 1] {
        hall.hear_lost(machine).await;
    }
    first.open().await.unwrap();
    first.set_registers(RegisterTable::Input, 0, &[8]);
    second.set_registers(RegisterTable::Input, 0, &[9]);
    hall.hear_count(0, 8).await;
    hall.hear_count(1, 9).await;
    let up = |said: &Said| matches!(said, Said::LinkUp { .. });
    assert_eq!(hall.said(1).iter().filter(|said| up(said)).count(), 2);
    hall.stop().await;
}
