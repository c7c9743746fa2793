//! A connection to a broker, as Sparkplug wants it: a clean session with a will (3.0.0, 5.3, 5.4).

use std::collections::VecDeque;

use rumqttc::mqttbytes::Error as PacketError;
use rumqttc::{
    AsyncClient, ConnectReturnCode, ConnectionError, Event, LastWill, MqttOptions, Packet, Publish,
    QoS, StateError, SubscribeFilter,
};
use tokio::sync::mpsc;
use tokio_util::task::AbortOnDropHandle;

use super::topic::Topic;
use crate::link::Trouble;
use crate::mqtt::Broker;

/// Packets that wait to be looked at. While there is no room nothing is read from the broker.
const PACKETS: usize = 64;
/// Messages that wait to be sent.
const REQUESTS: usize = 1_024;
/// Packets set aside while something is sent: nothing would be sent while they are not taken.
const MOST_ASIDE: usize = 4_096;
/// Largest message published, in bytes.
const LARGEST_OURS: usize = 8 << 20;

/// One connection, from its first packet to its last.
pub(super) struct Connection {
    client: AsyncClient,
    packets: mpsc::Receiver<Result<Packet, ConnectionError>>,
    aside: VecDeque<Result<Packet, ConnectionError>>,
    _polling: AbortOnDropHandle<()>,
    largest: usize,
}

impl Connection {
    /// Begins to connect as `way` of this broker's client.
    ///
    /// # Errors
    /// When the address or the password cannot be had; in words.
    pub(super) fn open(broker: &Broker, way: &str, will: LastWill) -> Result<Self, String> {
        let mut options = options(broker, way)?;
        options.set_clean_session(true).set_manual_acks(true).set_last_will(will);
        Ok(Self::with(options))
    }

    pub(super) fn with(options: MqttOptions) -> Self {
        let largest = options.max_packet_size();
        let (client, mut event_loop) = AsyncClient::new(options, REQUESTS);
        let (tell, packets) = mpsc::channel(PACKETS);
        let polling = tokio::spawn(async move {
            loop {
                let packet = match event_loop.poll().await {
                    Ok(Event::Incoming(packet)) if concerns_us(&packet) => Ok(packet),
                    Ok(_) => continue,
                    Err(error) => Err(error),
                };
                let over = packet.is_err();
                if tell.send(packet).await.is_err() || over {
                    return;
                }
            }
        });
        let polling = AbortOnDropHandle::new(polling);
        Self { client, packets, aside: VecDeque::new(), _polling: polling, largest }
    }

    /// The next answer to a connect or subscribe, or message.
    ///
    /// # Errors
    /// What ended the connection, in words.
    pub(super) async fn next(&mut self) -> Result<Packet, (Trouble, String)> {
        if self.aside.len() >= MOST_ASIDE {
            let why = format!("more than {MOST_ASIDE} messages came while one could not be sent");
            return Err((Trouble::Flooded, why));
        }
        let packet = match self.aside.pop_front() {
            Some(packet) => Some(packet),
            None => self.packets.recv().await,
        };
        match packet {
            Some(Ok(packet)) => Ok(packet),
            Some(Err(error)) => Err(explain(&error, self.largest)),
            None => Err((Trouble::Broken, "the connection is gone".to_owned())),
        }
    }

    /// Subscribes; what became of it the answer tells.
    pub(super) async fn subscribe(&self, filters: Vec<(String, QoS)>) {
        let filters = filters.into_iter().map(|(topic, qos)| SubscribeFilter::new(topic, qos));
        // Refused only when the connection is over, which `next` tells.
        let _ = self.client.subscribe_many(filters).await;
    }

    /// Publishes as all messages but wills and those of hosts are: once at most, and not kept
    /// (6.4.19 to 6.4.26).
    pub(super) async fn send(&mut self, topic: &Topic, payload: Vec<u8>) {
        self.publish(topic.to_string(), QoS::AtMostOnce, false, payload).await;
    }

    /// Publishes. What comes meanwhile is set aside. If the connection is over, `next` tells.
    pub(super) async fn publish(&mut self, topic: String, qos: QoS, kept: bool, payload: Vec<u8>) {
        let client = self.client.clone();
        let sending = client.publish(topic, qos, kept, payload);
        tokio::pin!(sending);
        while self.aside.len() < MOST_ASIDE {
            tokio::select! {
                biased;
                _ = &mut sending => return,
                packet = self.packets.recv() => match packet {
                    Some(packet) => self.aside.push_back(packet),
                    None => return,
                },
            }
        }
    }

    /// Confirms a message that is dealt with.
    pub(super) async fn confirm(&self, message: &Publish) {
        if message.qos != QoS::AtMostOnce {
            // Refused only when the connection is over.
            let _ = self.client.ack(message).await;
        }
    }

    /// Takes leave, so that the broker keeps the will to itself, and waits until that has left.
    pub(super) async fn leave(mut self) {
        if self.client.disconnect().await.is_ok() {
            while self.next().await.is_ok() {}
        }
    }
}

fn concerns_us(packet: &Packet) -> bool {
    matches!(packet, Packet::ConnAck(_) | Packet::SubAck(_) | Packet::Publish(_))
}

/// Host and port of the broker, keep-alive, limits, user.
fn options(broker: &Broker, way: &str) -> Result<MqttOptions, String> {
    let (host, port) = broker
        .address
        .rsplit_once(':')
        .and_then(|(host, port)| Some((host.trim_matches(['[', ']']), port.parse().ok()?)))
        .ok_or_else(|| format!("{} is no host with a port", broker.address))?;
    let mut options = MqttOptions::new(format!("{}-{way}", broker.client), host, port);
    let largest = broker.largest_message;
    options
        .set_keep_alive(broker.keep_alive.0)
        .set_max_packet_size(largest, largest.max(LARGEST_OURS));
    if let Some(user) = &broker.user {
        options.set_credentials(user, password(broker)?);
    }
    Ok(options)
}

fn password(broker: &Broker) -> Result<String, String> {
    match (&broker.password_file, &broker.password_env) {
        (Some(file), _) => std::fs::read_to_string(file)
            .map(|text| text.trim_end_matches(['\r', '\n']).to_owned())
            .map_err(|error| format!("the password file {file} cannot be read ({error})")),
        (None, Some(variable)) => std::env::var(variable)
            .map_err(|_| format!("the variable {variable} with the password is not set")),
        (None, None) => Ok(String::new()),
    }
}

/// What a lost connection means, with what to check.
fn explain(error: &ConnectionError, largest: usize) -> (Trouble, String) {
    let (kind, why) = match error {
        ConnectionError::ConnectionRefused(code) => (
            Trouble::Refused,
            match code {
                ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => {
                    "the broker does not let this client in: see its user, password and access list"
                }
                _ => "the broker refuses this client: see its client id and the broker's log",
            },
        ),
        ConnectionError::NetworkTimeout
        | ConnectionError::FlushTimeout
        | ConnectionError::MqttState(StateError::AwaitPingResp) => (
            Trouble::TimedOut,
            "the broker does not answer: see that it runs and that its address is right",
        ),
        ConnectionError::MqttState(StateError::Deserialization(
            PacketError::PayloadSizeLimitExceeded(size),
        )) => {
            let why = format!(
                "a message of {size} bytes is larger than largest-message ({largest}): raise it; a \
                 birth certificate tells every metric at once"
            );
            return (Trouble::Senseless, why);
        }
        ConnectionError::MqttState(StateError::Deserialization(_))
        | ConnectionError::NotConnAck(_) => (
            Trouble::Garbled,
            "what answers does not speak MQTT 3.1.1: see that the address is a broker's",
        ),
        ConnectionError::Io(error) if error.kind() == std::io::ErrorKind::ConnectionRefused => (
            Trouble::Refused,
            "nobody listens there: see that the broker runs and that its address is right",
        ),
        _ => (
            Trouble::Broken,
            "the connection broke: see that the broker runs, that the network is up, and that no \
             other client uses the same client id",
        ),
    };
    (kind, why.to_owned())
}
