//! AMQP messages as version 1.2 and later lay them out.
//!
//! Source: the SDK's `CFX/Transport/AmqpUtilities.cs` (`SetHeaders`). Properties and a data section
//! are always there: readers of the SDK look at both without asking.

use fe2o3_amqp::types::messaging::{
    ApplicationProperties, Data, Header, Message, MessageId, Properties,
};
use fe2o3_amqp::types::primitives::{Binary, SimpleValue, Symbol, Timestamp};

use super::envelope::Envelope;

/// An envelope in a message, not compressed.
pub(super) fn message(envelope: &Envelope) -> Message<Data> {
    let id = |text: &Option<String>| text.clone().map(MessageId::from);
    let words = |text: &str| SimpleValue::String(text.to_owned());
    let topic = envelope.name.rsplit_once('.').map_or("CFX", |(topic, _)| topic);
    let target = envelope.target.as_deref().map_or(SimpleValue::Null, words);
    let properties = Properties {
        message_id: id(&envelope.unique_id),
        to: envelope.target.clone(),
        reply_to: Some(envelope.source.clone()),
        correlation_id: id(&envelope.request_id),
        subject: Some(format!("{}.{}", envelope.source, envelope.name)),
        content_type: Some(Symbol::from("application/json; charset=\"utf-8\"")),
        creation_time: envelope.at.map(|at| Timestamp::from_milliseconds(at.0)),
        ..Properties::default()
    };
    let application = ApplicationProperties::builder()
        .insert("cfx-topic", words(topic))
        .insert("cfx-message", words(&envelope.name))
        .insert("cfx-handle", words(&envelope.source))
        .insert("cfx-target", target)
        .build();
    Message::builder()
        .header(Header { durable: true, ..Header::default() })
        .properties(properties)
        .application_properties(application)
        .data(Binary::from(envelope.to_json()))
        .build()
}
