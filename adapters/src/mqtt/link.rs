//! The link to a broker: both connections, made again for ever.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use async_trait::async_trait;
use futures::future::OptionFuture;
use rumqttc::mqttbytes::Error as PacketError;
use rumqttc::{ConnectReturnCode, ConnectionError, LastWill, MqttOptions, QoS, StateError};
use stencilward_domain::names::MachineName;
use stencilward_domain::signal::Said;

use super::check::host_and_port;
use super::consume::{Consumer, Ended};
use super::listen::filters;
use super::notices::{Notices, presence, presence_topic};
use super::outbox::{Keeping, Outbox};
use super::outputs::{Outputs, ReadBacks};
use super::own_links::OwnLinks;
use super::router::Router;
use super::settings::{Broker, Settings};
use crate::link::{BackOff, Floor, Trouble};

/// Largest message published, in bytes.
const LARGEST_OURS: usize = 1 << 20;

/// The link to one broker and the machines that speak through it.
pub struct Link {
    broker: Broker,
    machines: Vec<(MachineName, Settings)>,
}

impl Link {
    /// A link that is not running yet.
    #[must_use]
    pub fn new(broker: Broker, machines: Vec<(MachineName, Settings)>) -> Self {
        Self { broker, machines }
    }

    fn options(&self, way: &str) -> Result<MqttOptions, String> {
        let (host, port) = host_and_port(&self.broker.address)
            .ok_or_else(|| format!("{} is no host with a port", self.broker.address))?;
        let mut options = MqttOptions::new(format!("{}-{way}", self.broker.client), host, port);
        let largest = self.broker.largest_message;
        options
            .set_keep_alive(self.broker.keep_alive.0)
            // What we publish is our own: a long answer must not block the outbox for ever.
            .set_max_packet_size(largest, largest.max(LARGEST_OURS))
            .set_inflight(64);
        if let Some(user) = &self.broker.user {
            options.set_credentials(user, self.password()?);
        }
        Ok(options)
    }

    fn password(&self) -> Result<String, String> {
        match (&self.broker.password_file, &self.broker.password_env) {
            (Some(file), _) => std::fs::read_to_string(file)
                .map(|text| text.trim_end_matches(['\r', '\n']).to_owned())
                .map_err(|error| format!("the password file {file} cannot be read ({error})")),
            (None, Some(variable)) => std::env::var(variable)
                .map_err(|_| format!("the variable {variable} with the password is not set")),
            (None, None) => Ok(String::new()),
        }
    }

    fn consumer(&self, floor: Floor, outbox: Outbox, options: MqttOptions) -> Consumer {
        let read_backs = Arc::new(ReadBacks::new(&self.machines));
        let messages = self.machines.iter().flat_map(|(_, settings)| &settings.messages);
        let wanted = messages.map(|message| (message.topic.clone(), message.qos));
        let told = read_backs.topics().map(|topic| (topic.clone(), 1));
        let by_itself = |(machine, settings): &(MachineName, Settings)| {
            (machine.clone(), settings.tells_its_link())
        };
        Consumer {
            filters: filters(wanted.chain(told)),
            options,
            router: Router::new(&self.machines),
            machines: self.machines.iter().map(by_itself).collect(),
            read_backs,
            outbox,
            floor,
            lost: AtomicBool::new(false),
            own_links: OwnLinks::default(),
        }
    }

    fn outbox(&self, floor: &Floor, options: MqttOptions) -> (Outbox, tokio::task::JoinHandle<()>) {
        let observer = Arc::clone(&floor.observer);
        let machine = self.machines.first().map(|(machine, _)| machine.clone());
        let largest = options.max_packet_size();
        Outbox::start(Keeping {
            options,
            subscriptions: Vec::new(),
            arrivals: None,
            // The outbox outlives the order to stop: the last answers and refusals go through it.
            stop: tokio_util::sync::CancellationToken::new(),
            on_loss: Box::new(move |error| {
                let (kind, why) = explain(error, largest);
                if let Some(machine) = &machine {
                    observer.trouble(machine, kind, &format!("publishing: {why}"));
                }
            }),
        })
    }
}

#[async_trait]
impl crate::link::Link for Link {
    fn machines(&self) -> Vec<MachineName> {
        self.machines.iter().map(|(machine, _)| machine.clone()).collect()
    }

    async fn run(self: Box<Self>, floor: Floor) {
        if self.machines.is_empty() && self.broker.publish.is_none() {
            return;
        }
        let (mut incoming, mut outgoing) = loop {
            match (self.options("in"), self.options("out")) {
                (Ok(incoming), Ok(outgoing)) => break (incoming, outgoing),
                (Err(why), _) | (_, Err(why)) => {
                    if self.wait_for_secret(&floor, &why).await {
                        return;
                    }
                }
            }
        };
        incoming.set_clean_session(false).set_manual_acks(true);
        if let Some(publish) = &self.broker.publish {
            let topic = presence_topic(publish);
            let will = LastWill::new(topic, presence(false), QoS::AtLeastOnce, true);
            outgoing.set_last_will(will);
        }
        let (outbox, publishing) = self.outbox(&floor, outgoing);
        let consumer = self.consumer(floor.clone(), outbox.clone(), incoming);
        // Without an intake nobody can know what to permit: outputs refuse and end, too.
        let over = floor.stop.child_token();
        let telling = self.broker.publish.clone().zip(floor.owing.clone());
        let notices = telling.map(|(publish, owing)| Notices {
            broker: self.broker.name.clone(),
            publish,
            owing,
            outbox: outbox.clone(),
            stop: over.clone(),
        });
        let outputs = Outputs::new(
            &self.machines,
            Arc::clone(&consumer.read_backs),
            outbox,
            Floor { stop: over.clone(), ..floor },
        );
        let consuming = async {
            match self.machines.as_slice() {
                [] => over.cancelled().await,
                _ => consume(consumer).await,
            }
            over.cancel();
        };
        tokio::join!(consuming, outputs.run(), OptionFuture::from(notices.map(Notices::run)));
        // All handles on the outbox are gone: it ends once the broker has what it was given.
        let _ = publishing.await;
    }
}

impl Link {
    /// Tells what is missing and waits before looking again; true when told to stop.
    async fn wait_for_secret(&self, floor: &Floor, why: &str) -> bool {
        for (machine, _) in &self.machines {
            floor.observer.trouble(machine, Trouble::Refused, why);
            let lost = crate::link::heard(machine, Said::LinkLost { why: why.to_owned() });
            tokio::select! {
                () = floor.stop.cancelled() => return true,
                handed = floor.intake.deliver(vec![lost]) => if handed.is_err() { return true },
            }
        }
        tokio::select! {
            () = floor.stop.cancelled() => true,
            () = tokio::time::sleep(std::time::Duration::from_secs(15)) => false,
        }
    }
}

async fn consume(consumer: Consumer) {
    let mut back_off = BackOff::for_machines();
    loop {
        let ended = consumer.connection(|| back_off.reset()).await;
        let Ended::Lost(kind, why) = ended else {
            return;
        };
        consumer.trouble(kind, &why);
        if !consumer.tell_lost(why).await {
            return;
        }
        tokio::select! {
            () = consumer.floor.stop.cancelled() => return,
            () = tokio::time::sleep(back_off.wait()) => {}
        }
    }
}

/// What a lost connection means, with what to check.
pub(super) fn explain(error: &ConnectionError, largest: usize) -> (Trouble, String) {
    match error {
        ConnectionError::ConnectionRefused(code) => (Trouble::Refused, refused(*code).to_owned()),
        ConnectionError::NetworkTimeout | ConnectionError::FlushTimeout => (
            Trouble::TimedOut,
            "the broker does not answer: see that it runs and that its address is right".to_owned(),
        ),
        ConnectionError::MqttState(StateError::AwaitPingResp) => (
            Trouble::TimedOut,
            "the broker has gone silent: see that it runs and that the network is up".to_owned(),
        ),
        ConnectionError::MqttState(StateError::Deserialization(
            PacketError::PayloadSizeLimitExceeded(size),
        )) => (
            Trouble::Senseless,
            format!(
                "a message of {size} bytes is larger than largest-message ({largest}): raise it, \
                 or have the message cleared at the broker; until then it blocks the rest"
            ),
        ),
        ConnectionError::MqttState(StateError::Deserialization(_))
        | ConnectionError::NotConnAck(_) => (
            Trouble::Garbled,
            "what answers does not speak MQTT 3.1.1: see that the address is a broker's".to_owned(),
        ),
        ConnectionError::Io(error) if error.kind() == std::io::ErrorKind::ConnectionRefused => (
            Trouble::Refused,
            "nobody listens there: see that the broker runs and that its address is right"
                .to_owned(),
        ),
        _ => (
            Trouble::Broken,
            "the connection broke: see that the broker runs, that the network is up, and that no \
             other client uses the same client id"
                .to_owned(),
        ),
    }
}

fn refused(code: ConnectReturnCode) -> &'static str {
    match code {
        ConnectReturnCode::RefusedProtocolVersion => {
            "the broker does not speak MQTT 3.1.1: allow that version there"
        }
        ConnectReturnCode::BadClientId => "the broker refuses the client id: choose another one",
        ConnectReturnCode::ServiceUnavailable => "the broker is not available: see its own log",
        ConnectReturnCode::BadUserNamePassword => {
            "the broker refuses user or password: see that both are right"
        }
        ConnectReturnCode::NotAuthorized => {
            "the broker does not let this client in: set its user, and let its access list allow it"
        }
        ConnectReturnCode::Success => "the broker took the connection and ended it",
    }
}
