//! One machine at fault, and the others: on its own line, and on lines of their own.
//!
//! Under each fault the machine is shown as lost with the reason, nobody else is late by as much
//! as a poll, and it is found again when the fault has gone.

use std::os::unix::fs::symlink;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use futures::future::join_all;
use serde_json::{Value, json};
use stencilward_adapters::link::Trouble;
use stencilward_adapters::modbus::{Machine, Pty, Settings};
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::TcpListener;
use tokio::time::sleep;
use tokio_util::task::AbortOnDropHandle;

use crate::hall::Hall;
use crate::lines::framed;
use crate::support::{any_port, until};

const POLL: Duration = Duration::from_millis(400);
const TIME_OUT: Duration = Duration::from_millis(120);
/// The one at fault, between two others.
const SICK: u8 = 2;

/// What it does to a request.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Fault {
    Silent,
    Slow,
    CutMidFrame,
    OtherUnit,
    OtherLength,
    Exception(u8),
    Garbage,
}

impl Fault {
    const ALL: [Self; 9] = [
        Self::Silent,
        Self::Slow,
        Self::CutMidFrame,
        Self::OtherUnit,
        Self::OtherLength,
        Self::Exception(0x04),
        Self::Exception(0x0A),
        Self::Exception(0x0B),
        Self::Garbage,
    ];

    /// How that is told on a line without numbers, and with them.
    fn told(self, numbered: bool) -> &'static str {
        match self {
            Self::Silent | Self::Slow => "no answer",
            Self::CutMidFrame if numbered => "closed the connection",
            Self::CutMidFrame => "bytes of an answer",
            Self::OtherUnit if numbered => "another unit",
            Self::OtherUnit => "unit 9 answered",
            Self::OtherLength => "another length",
            Self::Exception(0x0A) => "exception 0A",
            Self::Exception(0x0B) => "exception 0B",
            Self::Exception(_) => "exception 04",
            Self::Garbage if numbered => "no Modbus answer",
            Self::Garbage => "no frame",
        }
    }
}

/// Three machines behind one place, and whom they were asked for.
#[derive(Clone, Default)]
struct Bus {
    fault: Arc<Mutex<Option<Fault>>>,
    asked: Arc<Mutex<Vec<u8>>>,
}

impl Bus {
    fn set(&self, fault: Option<Fault>) {
        *self.fault.lock().unwrap() = fault;
    }

    /// Serves a line until it is gone.
    async fn serve(&self, mut line: impl AsyncRead + AsyncWrite + Unpin, numbered: bool) {
        let header = if numbered { 6 } else { 0 };
        let mut request = vec![0; if numbered { 12 } else { 8 }];
        while line.read_exact(&mut request).await.is_ok() {
            let unit = request[header];
            self.asked.lock().unwrap().push(unit);
            let fault = self.fault.lock().unwrap().filter(|_| unit == SICK);
            let (answer, leave) = match fault {
                None => (vec![unit, 4, 2, 0, unit], false),
                Some(Fault::Silent) => continue,
                Some(Fault::Slow) => {
                    sleep(TIME_OUT * 3 / 2).await;
                    (vec![unit, 4, 2, 0, unit], false)
                }
                Some(Fault::CutMidFrame) => (vec![unit, 4, 2, 0, unit], true),
                Some(Fault::OtherUnit) => (vec![9, 4, 2, 0, unit], false),
                Some(Fault::OtherLength) => (vec![unit, 4, 4, 0, unit, 0, unit], false),
                Some(Fault::Exception(code)) => (vec![unit, 0x84, code], false),
                Some(Fault::Garbage) => (vec![0x55; 20], false),
            };
            let mut bytes = match (fault, numbered) {
                (Some(Fault::Garbage), _) => answer,
                (_, false) => framed(&answer),
                (_, true) => [&request[..2], &[0, 0, 0, answer.len() as u8], &answer].concat(),
            };
            if leave {
                bytes.truncate(bytes.len() / 2);
            }
            let written = line.write_all(&bytes).await.is_ok() && line.flush().await.is_ok();
            if !written || leave && numbered {
                return;
            }
        }
    }

    fn on_network(&self, listener: TcpListener, numbered: bool) -> AbortOnDropHandle<()> {
        let bus = self.clone();
        AbortOnDropHandle::new(tokio::spawn(async move {
            let mut lines = tokio::task::JoinSet::new();
            while let Ok((line, _)) = listener.accept().await {
                let bus = bus.clone();
                lines.spawn(async move { bus.serve(line, numbered).await });
            }
        }))
    }

    fn on_line(&self, line: Pty) -> AbortOnDropHandle<()> {
        let bus = self.clone();
        AbortOnDropHandle::new(tokio::spawn(async move { bus.serve(line, false).await }))
    }

    /// Most questions to the sick machine between two to the same other one.
    fn most_tries_between(&self, other: u8) -> usize {
        let asked = self.asked.lock().unwrap();
        let between = asked.split(|unit| *unit == other);
        between.map(|units| units.iter().filter(|unit| **unit == SICK).count()).max().unwrap_or(0)
    }
}

fn settings(place: &Value, unit: u8) -> Settings {
    let mut keys = place.clone();
    keys["unit"] = json!(unit);
    keys["poll"] = json!(format!("{}ms", POLL.as_millis()));
    keys["timeout"] = json!(format!("{}ms", TIME_OUT.as_millis()));
    keys["points"] =
        json!([{ "signal": "stroke-total", "table": "input", "at": 0, "type": "u16" }]);
    serde_json::from_value(keys).unwrap()
}

/// The machines of one place live through a fault of the second one.
async fn live_through(fault: Fault, place: Value, bus: &Bus, numbered: bool) {
    let hall = Hall::start(&[1, SICK, 3].map(|unit| settings(&place, unit)));
    for (machine, count) in [(0, 1), (1, 2), (2, 3)] {
        hall.hear_count(machine, count).await;
    }
    let since = Instant::now();
    bus.asked.lock().unwrap().clear();
    bus.set(Some(fault));
    let why = hall.hear_lost(1).await;
    assert!(why.contains(fault.told(numbered)) && why.contains("unit 2"), "{fault:?}: {why}");
    hall.are_on_time(&[0, 2], POLL, since).await;
    // One try, and where answers bear no number one more to tell late ones apart.
    for other in [1, 3] {
        let tries = bus.most_tries_between(other);
        assert!(tries <= 2, "{fault:?}: unit {other} waited for {tries} tries");
    }
    let before = hall.counts(1).len();
    bus.set(None);
    until("the machine again", || hall.counts(1).len() > before).await;
    hall.stop().await;
}

#[tokio::test]
async fn a_fault_at_one_address_makes_nobody_late() {
    let each = Fault::ALL.map(|fault| async move {
        let (bus, listener) = (Bus::default(), TcpListener::bind(any_port()).await.unwrap());
        let place = json!({ "address": listener.local_addr().unwrap().to_string() });
        let _serving = bus.on_network(listener, true);
        live_through(fault, place, &bus, true).await;
    });
    join_all(each).await;
}

#[tokio::test]
async fn a_fault_behind_a_converter_makes_nobody_late() {
    let each = Fault::ALL.map(|fault| async move {
        let (bus, listener) = (Bus::default(), TcpListener::bind(any_port()).await.unwrap());
        let address = listener.local_addr().unwrap().to_string();
        let _serving = bus.on_network(listener, false);
        live_through(fault, json!({ "address": address, "framing": "rtu" }), &bus, false).await;
    });
    join_all(each).await;
}

#[tokio::test]
async fn a_fault_on_a_serial_line_makes_nobody_late() {
    let each = Fault::ALL.map(|fault| async move {
        let (bus, line) = (Bus::default(), Pty::open().unwrap());
        let place = json!({ "serial": { "port": line.port(), "baud": 115_200 } });
        let _serving = bus.on_line(line);
        live_through(fault, place, &bus, false).await;
    });
    join_all(each).await;
}

fn on_port(port: &Path) -> Settings {
    settings(&json!({ "serial": { "port": port, "baud": 115_200 } }), 1)
}

#[tokio::test]
async fn lines_of_their_own_do_not_wait_for_each_other() {
    // In order, and then: refused, silent, in use, unplugged.
    let healthy = Bus::default();
    let listener = TcpListener::bind(any_port()).await.unwrap();
    let well = settings(&json!({ "address": listener.local_addr().unwrap().to_string() }), 1);
    let _serving = healthy.on_network(listener, true);
    let refusing = TcpListener::bind(any_port()).await.unwrap().local_addr().unwrap();
    let refused = settings(&json!({ "address": refusing.to_string() }), 1);
    let listening = TcpListener::bind(any_port()).await.unwrap();
    let silent = settings(&json!({ "address": listening.local_addr().unwrap().to_string() }), 1);
    let shared = Pty::open().unwrap();
    let in_use = on_port(shared.port());
    let holder_machine = Machine::on_line(&in_use, shared);
    let holder = Hall::start(std::slice::from_ref(&in_use));
    holder.hear_count(0, 0).await;
    // By a name of its own: the system gives the port's number to the next one that is opened.
    let folder = tempfile::tempdir().unwrap();
    let port = folder.path().join("printer");
    let plugged = Pty::open().unwrap();
    symlink(plugged.port(), &port).unwrap();
    let unplugged = on_port(&port);
    let plugged = Machine::on_line(&unplugged, plugged);

    let places = [well, refused, silent, in_use, unplugged];
    let places: Vec<&[Settings]> = places.iter().map(std::slice::from_ref).collect();
    let hall = Hall::of_places(&places);
    hall.hear_count(0, 1).await;
    hall.hear_count(4, 0).await;
    let since = Instant::now();
    std::fs::remove_file(&port).unwrap();
    drop(plugged);
    for (machine, kind, word) in [
        (1, Trouble::Refused, "switched on"),
        (2, Trouble::TimedOut, "no answer"),
        (3, Trouble::Refused, "another program has it open"),
        (4, Trouble::Broken, "is gone"),
    ] {
        let why = hall.hear_lost(machine).await;
        assert!(why.contains(word), "{why}");
        until("a second try", || hall.troubles(machine, kind).len() > 1).await;
    }
    hall.are_on_time(&[0], POLL, since).await;
    holder.stop().await;
    hall.hear_count(3, 0).await;
    hall.stop().await;
    drop(holder_machine);
}
