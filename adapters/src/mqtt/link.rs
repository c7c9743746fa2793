//! The link to a broker: both connections, made again for ever.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use async_trait::async_trait;
use futures::future::OptionFuture;
use stencilward_domain::names::MachineName;

use super::STEADY;
use super::access::{Access, Memory};
use super::consume::{Consumer, Ended};
use super::listen::filters;
use super::lost::Lost;
use super::notices::{Notices, presence};
use super::outbox::{Keeping, Outbox, Woe};
use super::outputs::{Answers, Heard, Outputs, ReadBacks};
use super::own_links::OwnLinks;
use super::router::Router;
use super::settings::{Broker, Settings};
use super::topic;
use crate::link::{BackOff, Floor, Trouble};

/// Connections in a row that end soon after they began until another client is suspected.
const SUSPICIOUS: u32 = 3;

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

    fn consumer(&self, floor: Floor, outbox: Outbox) -> Consumer {
        let access = Access::new(self.broker.clone());
        let heard = Heard {
            read_backs: Arc::new(ReadBacks::new(&self.machines)),
            answers: Arc::new(Answers::new(&self.machines)),
        };
        let messages = self.machines.iter().flat_map(|(_, settings)| &settings.messages);
        let wanted = messages.map(|message| (topic::filter(&message.topic), message.qos));
        let told = heard.read_backs.topics().chain(heard.answers.topics());
        let told = told.map(|topic| (topic.clone(), 1));
        let by_itself = |(machine, settings): &(MachineName, Settings)| {
            (machine.clone(), settings.tells_its_link())
        };
        let topics = self.machines.iter().flat_map(|(machine, settings)| {
            settings.topics().map(move |topic| (machine.clone(), topic))
        });
        Consumer {
            client: access.client("in"),
            access,
            session_expiry: self.broker.session_expiry.0,
            filters: filters(wanted.chain(told)),
            router: Router::new(&self.machines),
            machines: self.machines.iter().map(by_itself).collect(),
            topics: topics.collect(),
            heard,
            outbox,
            floor,
            lost: AtomicBool::new(false),
            own_links: OwnLinks::default(),
        }
    }

    fn outbox(&self, floor: &Floor) -> (Outbox, tokio::task::JoinHandle<()>) {
        let access = Access::new(self.broker.clone());
        let observer = Arc::clone(&floor.observer);
        let machine = self.machines.first().map(|(machine, _)| machine.clone());
        Outbox::start(Keeping {
            client: access.client("out"),
            access,
            memory: Memory::None,
            will: self.broker.publish.as_ref().map(|publish| presence(publish, false)),
            subscriptions: Vec::new(),
            arrivals: None,
            // The outbox outlives the order to stop: the last answers and refusals go through it.
            stop: tokio_util::sync::CancellationToken::new(),
            on_trouble: Box::new(move |woe| {
                let (kind, why) = match woe {
                    Woe::Lost(lost) => lost.told(),
                    Woe::Unwanted(topic, why) => (
                        Trouble::Refused,
                        format!("the broker does not take messages on {topic}: {why}"),
                    ),
                };
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
        let (outbox, publishing) = self.outbox(&floor);
        let consumer = self.consumer(floor.clone(), outbox.clone());
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
            consumer.heard.clone(),
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

/// Connects again and again. The waits grow until a connection has held for a while: two clients
/// with one client id would else throw each other out at full speed.
async fn consume(consumer: Consumer) {
    let mut back_off = BackOff::for_machines();
    let mut soon_over = 0;
    loop {
        let Ended::Lost { why: lost, lasted } = consumer.connection().await else {
            return;
        };
        let held = lasted.is_some_and(|lasted| lasted >= STEADY);
        if held {
            back_off.reset();
        }
        soon_over =
            if lasted.is_some() && !held && lost.is_wordless_end() { soon_over + 1 } else { 0 };
        let (kind, why) = told(&consumer, &lost, soon_over);
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

fn told(consumer: &Consumer, lost: &Lost, soon_over: u32) -> (Trouble, String) {
    let client = &consumer.client;
    match lost {
        _ if soon_over >= SUSPICIOUS => (
            Trouble::TakenOver,
            format!(
                "{soon_over} connections in a row ended soon after they began: most likely another \
                 client has the client id {client}; give each its own. Else see the broker's log"
            ),
        ),
        Lost::TakenOver => {
            let (kind, why) = lost.told();
            (kind, format!("{why} (it is {client})"))
        }
        _ => lost.told(),
    }
}
