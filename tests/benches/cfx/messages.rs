//! The messages: what an invented printer says of each panel.

use std::fmt;
use std::io::Write as _;

use flate2::Compression;
use flate2::write::GzEncoder;
use serde_json::{Value, json};

pub(crate) const HANDLE: &str = "Invented.Printer.SN1";
pub(crate) const STENCIL: &str = "ST-1";
/// Bytes of a message's JSON.
const SIZE: usize = 600;

/// How a message is sent.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Packed {
    Plain,
    Gzip,
}

impl fmt::Display for Packed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Plain => "plain",
            Self::Gzip => "gzip",
        })
    }
}

impl Packed {
    pub(crate) fn pack(self, text: &[u8]) -> Vec<u8> {
        match self {
            Self::Plain => text.to_vec(),
            Self::Gzip => {
                let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
                encoder.write_all(text).unwrap();
                encoder.finish().unwrap()
            }
        }
    }
}

/// A panel printed with one stroke.
pub(crate) fn printed(number: u64) -> Vec<u8> {
    let body = json!({
        "$type": "CFX.Production.Processing.UnitsProcessed, CFX",
        "TransactionId": unique(number),
        "OverallResult": "Succeeded",
        "CommonProcessData": {
            "$type": "CFX.Structures.SolderPastePrinting.SolderPastePrintingPCBProcessData, CFX",
            "Strokes": [{ "PrintPressure": 6.5, "PrintSpeed": 40.0 }],
            "RecipeName": "",
        },
        "UnitProcessData": [],
    });
    let mut message = envelope("CFX.Production.Processing.UnitsProcessed", number, &body);
    let missing = SIZE.saturating_sub(message.to_string().len());
    message["MessageBody"]["CommonProcessData"]["RecipeName"] = "R".repeat(missing).into();
    message.to_string().into_bytes()
}

/// A stencil put into the printer.
pub(crate) fn seated(number: u64) -> Vec<u8> {
    let body = json!({
        "$type": "CFX.ResourcePerformance.ToolChanged, CFX",
        "NewTool": {
            "$type": "CFX.Structures.SolderPastePrinting.SMTStencil, CFX",
            "UniqueIdentifier": STENCIL,
            "Name": "invented",
        },
        "OldTool": null,
    });
    envelope("CFX.ResourcePerformance.ToolChanged", number, &body).to_string().into_bytes()
}

fn envelope(name: &str, number: u64, body: &Value) -> Value {
    json!({
        "MessageName": name,
        "Version": "1.7",
        "TimeStamp": "2026-03-02T07:00:00.0000000+01:00",
        "UniqueID": unique(number),
        "Source": HANDLE,
        "Target": null,
        "RequestID": null,
        "MessageBody": body,
    })
}

fn unique(number: u64) -> String {
    format!("9f0a1c2d-0000-4000-8000-{number:012x}")
}
