//! A gateway that only listens, and a peer that says exactly what a test wants.

use std::net::SocketAddr;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_adapters::link::{Delivery, Floor, Intake, Link as _, Observer, Trouble};
use stencilward_adapters::modbus::{Link, Machine, Settings};
use stencilward_domain::names::{MachineName, OutputName, StencilCode};
use stencilward_domain::outputs::Wanted;
use stencilward_domain::signal::Said;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

pub(crate) use crate::patience::{until, within};

pub(crate) fn any_port() -> SocketAddr {
    SocketAddr::from(([127, 0, 0, 1], 0))
}

/// Settings of a machine at an address, read fast and given up on fast.
pub(crate) fn settings(address: SocketAddr, points: &Value, outputs: &Value) -> Settings {
    polled("10ms", address, points, outputs)
}

/// The same, read at another pace.
pub(crate) fn polled(poll: &str, address: SocketAddr, points: &Value, outputs: &Value) -> Settings {
    let settings = json!({
        "address": address.to_string(),
        "poll": poll,
        "timeout": "200ms",
        "points": points,
        "outputs": outputs,
    });
    let settings: Settings = serde_json::from_value(settings).unwrap();
    assert_eq!(settings.check(), Vec::new());
    settings
}

/// A machine and the settings of a link to it.
pub(crate) async fn machine(points: &Value, outputs: &Value) -> (Machine, Settings) {
    let made_of = settings(SocketAddr::from(([127, 0, 0, 1], 1)), points, outputs);
    let machine = Machine::start(made_of, any_port()).await.unwrap();
    let settings = settings(machine.local_addr(), points, outputs);
    (machine, settings)
}

pub(crate) fn name() -> MachineName {
    MachineName::new("printer-1").unwrap()
}

pub(crate) fn code(text: &str) -> StencilCode {
    StencilCode::new(text).unwrap()
}

pub(crate) fn output(name: &str) -> OutputName {
    OutputName::new(name).unwrap()
}

/// What is wanted at this beat, with these outputs permitted.
pub(crate) fn wanted(beat: u64, permitted: &[&str]) -> Arc<Wanted> {
    let mut wanted = Wanted::default();
    wanted.beat = beat;
    for name_of in permitted {
        wanted.permit(name(), output(name_of));
    }
    Arc::new(wanted)
}

/// What the link told its observer.
#[derive(Default)]
pub(crate) struct Notes {
    troubles: Mutex<Vec<(Trouble, String)>>,
    outputs: Mutex<Vec<(OutputName, bool, Option<bool>)>>,
}

impl Observer for Notes {
    fn trouble(&self, _: &MachineName, kind: Trouble, detail: &str) {
        self.troubles.lock().unwrap().push((kind, detail.to_owned()));
    }

    fn round(&self, _: &MachineName, _: Duration) {}

    fn output(&self, _: &MachineName, output: &OutputName, wanted: bool, shown: Option<bool>) {
        self.outputs.lock().unwrap().push((output.clone(), wanted, shown));
    }
}

impl Notes {
    pub(crate) fn troubles(&self, kind: Trouble) -> Vec<String> {
        let troubles = self.troubles.lock().unwrap();
        let of_kind = troubles.iter().filter(|(known, _)| *known == kind);
        of_kind.map(|(_, detail)| detail.clone()).collect()
    }

    /// What was last told of an output: what is wanted, and what is shown.
    pub(crate) fn last(&self, name: &str) -> Option<(bool, Option<bool>)> {
        let outputs = self.outputs.lock().unwrap();
        let mut of_name = outputs.iter().rev().filter(|(known, _, _)| known.as_str() == name);
        of_name.next().map(|(_, wanted, shown)| (*wanted, *shown))
    }
}

/// A link at work, and everything it was given.
pub(crate) struct Gateway {
    pub(crate) notes: Arc<Notes>,
    pub(crate) wanted: watch::Sender<Arc<Wanted>>,
    pub(crate) stop: CancellationToken,
    deliveries: mpsc::Receiver<Delivery>,
    task: JoinHandle<()>,
}

impl Gateway {
    pub(crate) fn start(settings: Settings) -> Self {
        Self::wanting(settings, Arc::default())
    }

    pub(crate) fn wanting(settings: Settings, at_first: Arc<Wanted>) -> Self {
        let (intake, deliveries) = Intake::bounded(1);
        let (wanted, receiver) = watch::channel(at_first);
        let notes = Arc::new(Notes::default());
        let stop = CancellationToken::new();
        let floor = Floor::bare(intake, receiver, Arc::clone(&notes) as _, stop.clone());
        let link = Box::new(Link::new(name(), settings));
        let task = tokio::spawn(link.run(floor));
        Self { notes, wanted, stop, deliveries, task }
    }

    /// What the next delivery says. It is durable at once.
    pub(crate) async fn next(&mut self) -> Vec<Said> {
        let delivery = within("a delivery", self.deliveries.recv()).await.unwrap();
        let signals = delivery.signals.into_iter();
        let said = signals.map(|signal| {
            assert_eq!(signal.machine, name());
            signal.said
        });
        let said = said.collect();
        let _ = delivery.receipt.send(Vec::new());
        said
    }

    /// The first delivery that says this, and whatever else it says.
    pub(crate) async fn hear(&mut self, what: &str, is_it: impl Fn(&Said) -> bool) -> Vec<Said> {
        within(what, async {
            loop {
                let said = self.next().await;
                if said.iter().any(&is_it) {
                    return said;
                }
            }
        })
        .await
    }

    pub(crate) async fn hear_up(&mut self) -> Vec<Said> {
        self.hear("link-up", |said| matches!(said, Said::LinkUp { .. })).await
    }

    /// Why the link is lost, when it is.
    pub(crate) async fn hear_lost(&mut self) -> String {
        let is_lost = |said: &Said| matches!(said, Said::LinkLost { .. });
        match self.hear("link-lost", is_lost).await.as_slice() {
            [Said::LinkLost { why }] => why.clone(),
            other => panic!("{other:?}"),
        }
    }

    /// Takes no more deliveries.
    pub(crate) fn close_intake(&mut self) {
        self.deliveries.close();
        while self.deliveries.try_recv().is_ok() {}
    }

    /// Waits for the end of the link.
    pub(crate) async fn ended(self) {
        within("the link's end", self.task).await.unwrap();
    }

    pub(crate) async fn stop(self) {
        self.stop.cancel();
        self.ended().await;
    }
}

/// A peer that reads requests and answers as the test says.
pub(crate) struct Peer(TcpListener);

impl Peer {
    pub(crate) async fn listen() -> Self {
        Self(TcpListener::bind(any_port()).await.unwrap())
    }

    pub(crate) fn address(&self) -> SocketAddr {
        self.0.local_addr().unwrap()
    }

    pub(crate) async fn accept(&self) -> Connection {
        let (stream, _) = within("a connection", self.0.accept()).await.unwrap();
        Connection(stream)
    }
}

/// One connection, from either side.
pub(crate) struct Connection(pub(crate) TcpStream);

impl Connection {
    pub(crate) async fn open(address: SocketAddr) -> Self {
        Self(TcpStream::connect(address).await.unwrap())
    }

    /// The next frame: transaction, unit, and what is inside.
    pub(crate) async fn frame(&mut self) -> Option<(u16, u8, Vec<u8>)> {
        let mut header = [0; 7];
        within("a frame", self.0.read_exact(&mut header)).await.ok()?;
        let [high, low, 0, 0, long, length, unit] = header else {
            panic!("{header:?} is no header of the protocol")
        };
        let length = u16::from_be_bytes([long, length]) - 1;
        let mut pdu = vec![0; usize::from(length)];
        within("a whole frame", self.0.read_exact(&mut pdu)).await.unwrap();
        Some((u16::from_be_bytes([high, low]), unit, pdu))
    }

    pub(crate) async fn send(&mut self, transaction: u16, unit: u8, pdu: &[u8]) {
        let [high, low] = transaction.to_be_bytes();
        let mut frame = vec![high, low, 0, 0, 0, pdu.len() as u8 + 1, unit];
        frame.extend(pdu);
        self.0.write_all(&frame).await.unwrap();
    }

    /// Takes one request, which must be this one, and gives this answer.
    pub(crate) async fn expect(&mut self, request: &[u8], response: &[u8]) {
        let (transaction, unit, pdu) = self.frame().await.expect("a request");
        assert_eq!(pdu, request);
        self.send(transaction, unit, response).await;
    }

    /// Makes a request and gives the answer.
    pub(crate) async fn ask(&mut self, request: &[u8]) -> Vec<u8> {
        self.send(7, 1, request).await;
        let (transaction, unit, pdu) = self.frame().await.expect("an answer");
        assert_eq!((transaction, unit), (7, 1));
        pdu
    }
}
