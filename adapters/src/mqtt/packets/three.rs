//! MQTT 3.1.1.

use rumqttc::mqttbytes::v4::{
    ConnAck, Connect, ConnectReturnCode, LastWill, Packet, PubAck, PubComp, PubRec, Publish,
    Subscribe, SubscribeFilter, SubscribeReasonCode,
};
use rumqttc::mqttbytes::{QoS, qos};

use super::{
    Arrived, BAD_CLIENT, BAD_PASSWORD, Grant, Incoming, NOT_AUTHORISED, NOT_AVAILABLE, Outgoing,
    Token, Welcome,
};

pub(super) fn incoming(packet: Packet) -> Incoming {
    match packet {
        Packet::ConnAck(ack) => welcome(&ack),
        Packet::Publish(publish) => Incoming::Message(Arrived {
            topic: publish.topic,
            payload: publish.payload,
            stored: publish.retain,
            again: publish.dup,
            token: Token { qos: publish.qos as u8, id: publish.pkid },
            correlation: None,
            too_large: None,
        }),
        Packet::PubAck(ack) => Incoming::Confirmed { id: ack.pkid, refusal: None },
        Packet::SubAck(ack) => {
            let grants = ack.return_codes.into_iter().map(grant).collect();
            Incoming::Granted { id: ack.pkid, grants }
        }
        Packet::PubRel(release) => Incoming::Released(release.pkid),
        Packet::PingResp => Incoming::Pong,
        _ => Incoming::Other,
    }
}

/// MQTT 3.1.1, 3.2.2.3: the return codes.
fn welcome(ack: &ConnAck) -> Incoming {
    let refused = match ack.code {
        ConnectReturnCode::Success => {
            return Incoming::Welcome(Welcome {
                resumed: ack.session_present,
                receive_maximum: u16::MAX,
                largest: None,
                keep_alive: None,
                session_expiry: None,
            });
        }
        ConnectReturnCode::RefusedProtocolVersion => {
            "the broker does not speak this version of MQTT: allow it there, or set `version` to \
             the other one, \"3.1.1\" or \"5.0\""
        }
        ConnectReturnCode::BadClientId => BAD_CLIENT,
        ConnectReturnCode::ServiceUnavailable => NOT_AVAILABLE,
        ConnectReturnCode::BadUserNamePassword => BAD_PASSWORD,
        ConnectReturnCode::NotAuthorized => NOT_AUTHORISED,
    };
    Incoming::Refused(refused.to_owned())
}

fn grant(code: SubscribeReasonCode) -> Grant {
    match code {
        SubscribeReasonCode::Success(qos) => Grant::Qos(qos as u8),
        SubscribeReasonCode::Failure => {
            Grant::Refused("let its access list allow this client to read it".to_owned())
        }
    }
}

pub(super) fn outgoing(packet: &Outgoing<'_>) -> Packet {
    match packet {
        Outgoing::Hello(hello) => {
            let mut connect = Connect::new(&hello.client);
            connect.keep_alive = hello.keep_alive;
            connect.clean_session = hello.clean;
            if let Some(login) = &hello.login {
                connect.set_login(&login.user, &login.password);
            }
            connect.last_will = hello.will.as_ref().map(|will| {
                LastWill::new(&will.topic, will.payload.clone(), QoS::AtLeastOnce, will.retain)
            });
            Packet::Connect(connect)
        }
        Outgoing::Subscribe(id, filters) => {
            let filters = filters.iter().map(|(path, wanted)| SubscribeFilter {
                path: path.clone(),
                qos: quality(*wanted),
            });
            let mut subscribe = Subscribe::new_many(filters);
            subscribe.pkid = *id;
            Packet::Subscribe(subscribe)
        }
        Outgoing::Publish(id, post) => {
            let qos = if *id == 0 { QoS::AtMostOnce } else { QoS::AtLeastOnce };
            let mut publish = Publish::new(&post.topic, qos, post.payload.clone());
            (publish.pkid, publish.retain) = (*id, post.retain);
            Packet::Publish(publish)
        }
        Outgoing::Acknowledge(Token { qos: 2, id }) => Packet::PubRec(PubRec::new(*id)),
        Outgoing::Acknowledge(Token { id, .. }) => Packet::PubAck(PubAck::new(*id)),
        Outgoing::Complete(id) => Packet::PubComp(PubComp::new(*id)),
        Outgoing::Ping => Packet::PingReq,
        Outgoing::Leave => Packet::Disconnect,
    }
}

fn quality(wanted: u8) -> QoS {
    qos(wanted).unwrap_or(QoS::ExactlyOnce)
}
