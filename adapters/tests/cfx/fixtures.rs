//! Messages of invented machines, each written field by field after the file of the standards
//! body's SDK (Apache-2.0) that stands beside it as its `source`; what they give is ours.

use std::io::Write as _;
use std::time::Duration;

use flate2::Compression;
use flate2::write::GzEncoder;
use serde_json::{Value, json};
use stencilward_adapters::cfx::{Decoded, Decoder, Settings};
use stencilward_domain::names::MachineName;
use stencilward_domain::time::Timestamp;

/// Bytes that a body may have once it is expanded, in these tests.
pub(crate) const LARGEST: usize = 64 << 10;
pub(crate) const PRINTER: &str = "Invented.Printer.SN1";
pub(crate) const WASHER: &str = "Invented.Washer.SN2";

pub(crate) fn fixtures() -> Vec<Value> {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/peers/cfx_messages.json");
    serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap()
}

pub(crate) fn settings(handle: &str, more: Value) -> Settings {
    let mut settings = json!({ "endpoint": "floor", "handle": handle });
    if let (Value::Object(all), Value::Object(more)) = (&mut settings, more) {
        all.extend(more);
    }
    let settings: Settings = serde_json::from_value(settings).unwrap();
    assert_eq!(settings.check(), Vec::new());
    settings
}

/// The machines that the messages are of.
pub(crate) fn machines() -> Vec<(MachineName, Settings)> {
    let printer = json!({ "signals": [
        "strokes-done", "wipes-done", "stencil-seated", "machine-state", "faults", "boards-counted",
        "order-started",
    ] });
    let by_tools = json!({
        "signals": ["strokes-done", "stencil-seated"], "strokes-from": "tools-used",
    });
    let machine = |name, handle, more| (MachineName::new(name).unwrap(), settings(handle, more));
    vec![
        machine("printer-1", PRINTER, printer),
        machine("printer-2", "Invented.Printer.SN3", by_tools),
        machine("washer-1", WASHER, json!({ "signals": ["washes"] })),
        machine("orders", "Invented.Lines.MES1", json!({ "signals": ["order-released"] })),
    ]
}

pub(crate) fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::fast());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

/// A printer's message with this body.
pub(crate) fn message(handle: &str, name: &str, body: &Value) -> Value {
    json!({
        "MessageName": name, "Version": "1.7", "TimeStamp": "2026-03-02T07:00:00Z",
        "UniqueID": "00000000-0000-4000-8000-00000000ffff", "Source": handle, "Target": null,
        "RequestID": null, "MessageBody": body,
    })
}

/// One printer with these settings, that was there before.
pub(crate) struct Heard(Decoder, u64);

impl Heard {
    pub(crate) fn new(more: Value) -> Self {
        let machine = MachineName::new("machine-1").unwrap();
        let mut decoder = Decoder::new(&[(machine, settings(PRINTER, more))], LARGEST);
        let hello = message(PRINTER, "CFX.EndpointConnected", &json!({}));
        assert_eq!(at(&mut decoder, hello.to_string().as_bytes(), 0).signals.len(), 1);
        Self(decoder, 0)
    }

    /// What a message of this name and body gives.
    pub(crate) fn says(&mut self, name: &str, body: &Value) -> Decoded {
        self.1 += 1;
        let mut message = message(PRINTER, name, body);
        message["UniqueID"] = json!(format!("00000000-0000-4000-8000-{:012}", self.1));
        self.bytes(message.to_string().as_bytes())
    }

    pub(crate) fn bytes(&mut self, body: &[u8]) -> Decoded {
        at(&mut self.0, body, 0)
    }
}

/// What a body gives so many seconds after the beginning.
pub(crate) fn at(decoder: &mut Decoder, body: &[u8], seconds: u64) -> Decoded {
    decoder.decode(body, Duration::from_secs(seconds), Timestamp(0))
}

/// What was said, and the kinds of what was not understood, as JSON.
pub(crate) fn told(decoded: &Decoded) -> (Value, Value) {
    let said: Vec<Value> = decoded.signals.iter().map(|signal| json!(signal.said)).collect();
    let troubles: Vec<&str> = decoded.troubles.iter().map(|(kind, _)| kind.as_str()).collect();
    (json!(said), json!(troubles))
}
