//! Message bodies and the envelopes in them: pure.
//!
//! Source: the standards body's SDK, `CFX/CFXEnvelope.cs` and `CFX/Transport/AmqpUtilities.cs`. A
//! body is UTF-8 JSON, compressed with gzip by default since version 1.2, and holds one envelope
//! or a list of them.

use std::io::Read as _;

use serde::Serialize;
use serde_json::{Map, Value, json};
use stencilward_domain::time::Timestamp;

use super::json::{Garbled, get, instant, read, text, written};
use super::kinds::Kind;
use crate::link::Trouble;

/// Most envelopes of one message. Versions 1.0 and 1.1 send up to 30.
const MOST_ENVELOPES: usize = 1_000;
/// What gzip begins with (RFC 1952, 2.3.1).
const GZIP: &[u8] = b"\x1f\x8b";
/// The identity that means none.
const NOBODY: &str = "00000000-0000-0000-0000-000000000000";

/// One message as somebody sent it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Envelope {
    pub(super) name: String,
    /// When it happened; none where the sender gives no time with a zone.
    pub(super) at: Option<Timestamp>,
    /// By which a repeat is recognised.
    pub(super) unique_id: Option<String>,
    /// The sender's handle.
    pub(super) source: String,
    pub(super) target: Option<String>,
    pub(super) request_id: Option<String>,
    pub(super) body: Map<String, Value>,
}

/// Its members as they are sent, in the order of the SDK's `CFXEnvelope`.
#[derive(Serialize)]
#[serde(rename_all = "PascalCase")]
struct Wire<'a> {
    message_name: &'a str,
    version: &'a str,
    time_stamp: Option<String>,
    #[serde(rename = "UniqueID")]
    unique_id: Option<&'a str>,
    source: &'a str,
    target: Option<&'a str>,
    #[serde(rename = "RequestID")]
    request_id: Option<&'a str>,
    message_body: &'a Map<String, Value>,
}

/// The envelopes of a message's body. `largest`: bytes it may have once it is no longer compressed.
pub(super) fn envelopes(body: &[u8], largest: usize) -> Result<Vec<Envelope>, Garbled> {
    let expanded;
    let text = if body.starts_with(GZIP) {
        expanded = expand(body, largest)?;
        &expanded
    } else if body.len() > largest {
        return Err(too_large(largest));
    } else {
        body
    };
    let unreadable = |why: String| (Trouble::Unreadable, why);
    match read(text).map_err(unreadable)? {
        Value::Array(all) if all.len() > MOST_ENVELOPES => {
            let why = format!("it holds {} envelopes; {MOST_ENVELOPES} are read", all.len());
            Err((Trouble::TooLarge, why))
        }
        Value::Array(all) => all.into_iter().map(Envelope::of).collect(),
        one => Envelope::of(one).map(|one| vec![one]),
    }
}

fn expand(body: &[u8], largest: usize) -> Result<Vec<u8>, Garbled> {
    let mut expanded = Vec::new();
    let limit = u64::try_from(largest).unwrap_or(u64::MAX).saturating_add(1);
    let reading = flate2::read::MultiGzDecoder::new(body).take(limit).read_to_end(&mut expanded);
    if expanded.len() > largest {
        return Err(too_large(largest));
    }
    match reading {
        Ok(_) => Ok(expanded),
        Err(error) => Err((Trouble::Unreadable, format!("its gzip cannot be expanded: {error}"))),
    }
}

fn too_large(largest: usize) -> Garbled {
    let why = format!(
        "its text has more bytes than largest-text ({largest}): raise it, or let the machine send \
         less at once"
    );
    (Trouble::TooLarge, why)
}

impl Envelope {
    fn of(json: Value) -> Result<Self, Garbled> {
        let Value::Object(mut fields) = json else {
            return Err((Trouble::Unreadable, "an envelope is no JSON object".to_owned()));
        };
        let words = |name: &str| text(&fields, name).map(str::to_owned);
        let missing = |name: &str| {
            let why = format!("the envelope has no {name}: the sender must fill it in");
            (Trouble::Missing, why)
        };
        let mut envelope = Self {
            name: words("MessageName").ok_or_else(|| missing("MessageName"))?,
            at: text(&fields, "TimeStamp").and_then(instant),
            unique_id: words("UniqueID").filter(|id| id != NOBODY),
            source: words("Source").ok_or_else(|| missing("Source"))?,
            target: words("Target"),
            request_id: words("RequestID"),
            body: Map::new(),
        };
        let key = fields.keys().find(|key| key.eq_ignore_ascii_case("MessageBody")).cloned();
        if let Some(Value::Object(body)) = key.and_then(|key| fields.remove(&key)) {
            envelope.body = body;
        }
        Ok(envelope)
    }

    /// What an endpoint says now.
    pub(super) fn said(source: &str, name: &str, body: Map<String, Value>) -> Self {
        Self {
            name: name.to_owned(),
            at: Some(crate::link::now()),
            unique_id: Some(super::unique_id()),
            source: source.to_owned(),
            target: None,
            request_id: None,
            body,
        }
    }

    /// The same as a question.
    pub(super) fn asked_of(self, target: &str, request_id: String) -> Self {
        Self { target: Some(target.to_owned()), request_id: Some(request_id), ..self }
    }

    pub(super) fn kind(&self) -> Option<Kind> {
        Kind::of(&self.name)
    }

    /// As it is sent. Members of a body stand in the order of their names, and with them `$type`
    /// first, where readers of the SDK want it.
    pub(super) fn to_json(&self) -> Vec<u8> {
        let mut body = self.body.clone();
        body.entry("$type").or_insert_with(|| json!(format!("{}, CFX", self.name)));
        let wire = Wire {
            message_name: &self.name,
            version: super::VERSION,
            time_stamp: self.at.and_then(written),
            unique_id: self.unique_id.as_deref(),
            source: &self.source,
            target: self.target.as_deref(),
            request_id: self.request_id.as_deref(),
            message_body: &body,
        };
        // Of names that are texts, nothing can fail.
        serde_json::to_vec(&wire).unwrap_or_default()
    }

    /// The answer to a request: it goes back with the request's id.
    pub(super) fn answer(&self, name: &str, body: Map<String, Value>) -> Self {
        let answer = Self::said(self.target.as_deref().unwrap_or_default(), name, body);
        Self { target: Some(self.source.clone()), request_id: self.request_id.clone(), ..answer }
    }

    /// Something of the body; an envelope without one has an empty one.
    pub(super) fn get(&self, name: &str) -> Option<&Value> {
        get(&self.body, name)
    }
}
