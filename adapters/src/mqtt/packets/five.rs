//! MQTT 5.0.

use rumqttc::v5::mqttbytes::v5::{
    ConnAck, Connect, ConnectProperties, ConnectReturnCode, Disconnect, DisconnectReasonCode,
    Filter, LastWill, Login, Packet, PingReq, PubAck, PubAckReason, PubComp, PubRec, Publish,
    PublishProperties, Subscribe, SubscribeReasonCode,
};
use rumqttc::v5::mqttbytes::{QoS, qos};

use super::{
    Arrived, BAD_CLIENT, BAD_PASSWORD, Goodbye, Grant, Hello, Incoming, Malformed, NOT_AUTHORISED,
    NOT_AVAILABLE, Outgoing, Reply, Token, Welcome, malformed,
};

pub(super) fn incoming(packet: Packet) -> Result<Incoming, Malformed> {
    Ok(match packet {
        Packet::ConnAck(ack) => welcome(&ack),
        Packet::Publish(publish) => Incoming::Message(arrived(publish)?),
        Packet::PubAck(ack) => {
            Incoming::Confirmed { id: ack.pkid, refusal: unwanted(ack.reason).map(str::to_owned) }
        }
        Packet::SubAck(ack) => {
            let grants = ack.return_codes.into_iter().map(grant).collect();
            Incoming::Granted { id: ack.pkid, grants }
        }
        Packet::PubRel(release) => Incoming::Released(release.pkid),
        Packet::PingResp(_) => Incoming::Pong,
        Packet::Disconnect(disconnect) => Incoming::Goodbye(goodbye(&disconnect)),
        _ => Incoming::Other,
    })
}

fn arrived(publish: Publish) -> Result<Arrived, Malformed> {
    // We allow no aliases (3.1.2.11.5), so that each message bears its topic.
    if publish.topic.is_empty() {
        return Err(Malformed("a message without a topic".to_owned()));
    }
    Ok(Arrived {
        topic: std::str::from_utf8(&publish.topic).map_err(malformed)?.to_owned(),
        payload: publish.payload,
        correlation: publish.properties.and_then(|terms| terms.correlation_data),
        stored: publish.retain,
        again: publish.dup,
        token: Token { qos: publish.qos as u8, id: publish.pkid },
        too_large: None,
    })
}

/// MQTT 5.0, 3.2.2.2: the reason codes.
fn welcome(ack: &ConnAck) -> Incoming {
    let terms = ack.properties.as_ref();
    let refused = match ack.code {
        ConnectReturnCode::Success => {
            return Incoming::Welcome(Welcome {
                resumed: ack.session_present,
                receive_maximum: terms.and_then(|terms| terms.receive_max).unwrap_or(u16::MAX),
                largest: terms.and_then(|terms| terms.max_packet_size),
                keep_alive: terms.and_then(|terms| terms.server_keep_alive),
                session_expiry: terms.and_then(|terms| terms.session_expiry_interval),
            });
        }
        ConnectReturnCode::UnsupportedProtocolVersion
        | ConnectReturnCode::RefusedProtocolVersion => {
            "the broker does not speak MQTT 5.0: allow it there, or set `version: \"3.1.1\"`"
        }
        ConnectReturnCode::ClientIdentifierNotValid | ConnectReturnCode::BadClientId => BAD_CLIENT,
        ConnectReturnCode::BadUserNamePassword => BAD_PASSWORD,
        ConnectReturnCode::NotAuthorized => NOT_AUTHORISED,
        ConnectReturnCode::Banned => {
            "the broker has banned this client: see its own log, and have the ban lifted"
        }
        ConnectReturnCode::QuotaExceeded | ConnectReturnCode::ConnectionRateExceeded => {
            "the broker has too many connections, or too many at once: raise its limits"
        }
        ConnectReturnCode::UseAnotherServer | ConnectReturnCode::ServerMoved => {
            "the broker sends its clients elsewhere: ask its people for the address to use"
        }
        _ => NOT_AVAILABLE,
    };
    let said = terms.and_then(|terms| terms.reason_string.as_deref());
    Incoming::Refused(with_words(refused, said))
}

/// What the broker says itself, held to a length that a log can bear.
fn with_words(advice: &str, said: Option<&str>) -> String {
    match said {
        Some(said) => {
            let said: String = said.chars().filter(|c| !c.is_control()).take(120).collect();
            format!("{advice} (it says: {said})")
        }
        None => advice.to_owned(),
    }
}

/// MQTT 5.0, 3.4.2.1: from 0x80 on the message was not taken.
fn unwanted(reason: PubAckReason) -> Option<&'static str> {
    match reason {
        PubAckReason::Success | PubAckReason::NoMatchingSubscribers => None,
        PubAckReason::NotAuthorized => Some("let its access list allow this client to write it"),
        PubAckReason::QuotaExceeded => Some("it has no room for it: raise its limits"),
        PubAckReason::TopicNameInvalid => Some("it does not allow this topic"),
        _ => Some("see its own log"),
    }
}

/// MQTT 5.0, 3.9.3: the reason codes.
fn grant(code: SubscribeReasonCode) -> Grant {
    let refused = match code {
        SubscribeReasonCode::Success(qos) => return Grant::Qos(qos as u8),
        SubscribeReasonCode::NotAuthorized => "let its access list allow this client to read it",
        SubscribeReasonCode::TopicFilterInvalid => "it does not allow this filter",
        SubscribeReasonCode::QuotaExceeded => "it has too many subscriptions: raise its limits",
        SubscribeReasonCode::SharedSubscriptionsNotSupported => {
            "it knows no shared subscriptions: write the filter without $share"
        }
        SubscribeReasonCode::WildcardSubscriptionsNotSupported => {
            "it knows no wildcards: write an entry for each topic"
        }
        _ => "see its own log",
    };
    Grant::Refused(refused.to_owned())
}

/// MQTT 5.0, 3.14.2.1: the reason codes.
fn goodbye(disconnect: &Disconnect) -> Goodbye {
    let why = match disconnect.reason_code {
        DisconnectReasonCode::SessionTakenOver => return Goodbye::TakenOver,
        DisconnectReasonCode::ServerShuttingDown => "the broker is being shut down",
        DisconnectReasonCode::KeepAliveTimeout => {
            "the broker heard nothing for too long: see that the network is up"
        }
        DisconnectReasonCode::AdministrativeAction => {
            "somebody ended the connection at the broker: ask its people"
        }
        DisconnectReasonCode::NotAuthorized => NOT_AUTHORISED,
        DisconnectReasonCode::PacketTooLarge => {
            "the broker takes no packets of that size: raise its limit"
        }
        _ => "the broker ends the connection: see its own log",
    };
    let said = disconnect.properties.as_ref().and_then(|known| known.reason_string.as_deref());
    let code = disconnect.reason_code as u8;
    Goodbye::Other(format!("{} [0x{code:02X}]", with_words(why, said)))
}

pub(super) fn outgoing(packet: &Outgoing<'_>) -> Packet {
    match packet {
        Outgoing::Hello(hello) => connect(hello),
        Outgoing::Subscribe(id, filters) => {
            let filters = filters
                .iter()
                .map(|(path, wanted)| Filter::new(path, qos(*wanted).unwrap_or(QoS::ExactlyOnce)));
            let mut subscribe = Subscribe::new_many(filters, None);
            subscribe.pkid = *id;
            Packet::Subscribe(subscribe)
        }
        Outgoing::Publish(id, post) => {
            let qos = if *id == 0 { QoS::AtMostOnce } else { QoS::AtLeastOnce };
            let terms = post.reply.as_ref().map(terms);
            let mut publish = Publish::new(&post.topic, qos, post.payload.clone(), terms);
            (publish.pkid, publish.retain) = (*id, post.retain);
            Packet::Publish(publish)
        }
        Outgoing::Acknowledge(Token { qos: 2, id }) => Packet::PubRec(PubRec::new(*id, None)),
        Outgoing::Acknowledge(Token { id, .. }) => Packet::PubAck(PubAck::new(*id, None)),
        Outgoing::Complete(id) => Packet::PubComp(PubComp::new(*id, None)),
        Outgoing::Ping => Packet::PingReq(PingReq),
        Outgoing::Leave => {
            Packet::Disconnect(Disconnect::new(DisconnectReasonCode::NormalDisconnection))
        }
    }
}

/// MQTT 5.0, 3.3.2.3.3, 3.3.2.3.5, 3.3.2.3.6 and 4.10: by when it is to be delivered, where it is
/// to be answered, and what the answer gives back.
fn terms(reply: &Reply) -> PublishProperties {
    PublishProperties {
        message_expiry_interval: reply.expiry,
        response_topic: reply.topic.clone(),
        correlation_data: Some(reply.correlation.clone()),
        ..PublishProperties::default()
    }
}

/// MQTT 5.0, 3.1.2.11: a session without an expiry ends with the connection.
fn connect(hello: &Hello) -> Packet {
    let mut terms = ConnectProperties::new();
    terms.session_expiry_interval = Some(if hello.clean { 0 } else { hello.session_expiry });
    terms.receive_maximum = Some(hello.receive_maximum);
    terms.max_packet_size = Some(hello.largest);
    let connect = Connect {
        keep_alive: hello.keep_alive,
        client_id: hello.client.clone(),
        clean_start: hello.clean,
        properties: Some(terms),
    };
    let login = hello.login.as_ref().map(|login| Login::new(&login.user, &login.password));
    let will = hello.will.as_ref().map(|will| {
        LastWill::new(&will.topic, will.payload.clone(), QoS::AtLeastOnce, will.retain, None)
    });
    Packet::Connect(connect, will, login)
}
