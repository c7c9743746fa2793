//! Telling at a broker, over a connection of its own that is made again for ever: what a broker
//! does not take must not end the reading of its queues.

use std::sync::Arc;

use fe2o3_amqp::Sender;
use fe2o3_amqp::link::SenderAttachError;
use fe2o3_amqp::types::messaging::Outcome;
use tokio::time::{Instant, sleep, timeout};

use super::faults::Faults;
use super::{Outlet, Teller};
use crate::cfx::access::{Open, STEP, open, within};
use crate::cfx::announce;
use crate::cfx::desk::Desk;
use crate::cfx::envelope::Envelope;
use crate::cfx::json::Garbled;
use crate::cfx::message::message;
use crate::cfx::settings::{AtBroker, Publish};
use crate::cfx::taker::in_words;
use crate::link::{BackOff, Trouble};
use crate::mqtt::STEADY;

/// Tells at this broker until the order to stop.
pub(in crate::cfx) async fn run(desk: Arc<Desk>, at: AtBroker, publish: Publish) {
    let stop = desk.floor.stop.clone();
    let mut back_off = BackOff::for_machines();
    let teller = Teller::new(Arc::clone(&desk), publish.clone(), desk.endpoint.debtor_at_broker());
    let mut faults = Faults::new(&desk, &publish);
    let mut greeted = false;
    loop {
        let begun = Instant::now();
        let connecting = stop.run_until_cancelled(Box::pin(connect(&desk, &at, &publish)));
        let lost = match connecting.await {
            None => return,
            Some(Err(garbled)) => garbled,
            Some(Ok(mut connection)) => {
                let ended = connection.tell(&desk, &teller, &mut faults, &mut greeted).await;
                connection.leave().await;
                match ended {
                    Ok(()) => return,
                    Err(garbled) => garbled,
                }
            }
        };
        let (kind, why) = lost;
        desk.trouble(kind, format!("telling at broker {}: {why}", at.address)).await;
        if begun.elapsed() >= STEADY {
            back_off.reset();
        }
        if stop.run_until_cancelled(sleep(back_off.wait())).await.is_none() {
            return;
        }
    }
}

struct Connection {
    open: Open,
    sender: Sender,
    address: String,
}

async fn connect(desk: &Desk, at: &AtBroker, publish: &Publish) -> Result<Connection, Garbled> {
    let mut open = open(&at.whereto(), &desk.endpoint).await?;
    let (name, address) = (format!("{}-tells", desk.endpoint.handle), publish.at.clone());
    let attaching = Sender::attach(&mut open.session, name, address.as_str());
    let sender = within("to a link for telling", attaching).await?;
    let sender = sender.map_err(|error| refused(&address, &error))?;
    Ok(Connection { open, sender, address })
}

fn refused(address: &str, error: &SenderAttachError) -> Garbled {
    let why = match error {
        SenderAttachError::RemoteClosedWithError(error) => in_words(error),
        error => error.to_string(),
    };
    let why = format!(
        "the broker does not let us send to {address} ({why}): see that this address is there, how \
         the broker wants it written, and that our user may write there"
    );
    (Trouble::Refused, why)
}

impl Connection {
    /// Tells over it until the gateway stops. The first time it says that the gateway is there,
    /// and owes all counters; what is owed later outlives a connection.
    async fn tell(
        &mut self,
        desk: &Desk,
        teller: &Teller,
        faults: &mut Faults,
        greeted: &mut bool,
    ) -> Result<(), Garbled> {
        if !*greeted {
            let greeting = announce::connected(&desk.endpoint);
            match desk.floor.stop.run_until_cancelled(self.put(&greeting)).await {
                None => return Ok(()),
                Some(told) => told?,
            }
            teller.owe_all().await;
            *greeted = true;
        }
        teller.tell(faults, self).await
    }

    async fn leave(self) {
        drop(self.sender);
        self.open.leave().await;
    }
}

impl Outlet for Connection {
    async fn put(&mut self, said: &Envelope) -> Result<(), Garbled> {
        let (name, address) = (&said.name, &self.address);
        let sent = timeout(STEP, self.sender.send(message(said))).await.map_err(|_| {
            let why = format!(
                "{name} was not taken within {} s: see that the queues behind {address} are not full",
                STEP.as_secs()
            );
            (Trouble::TimedOut, why)
        })?;
        let untaken = |why: String| {
            let again = "it does not count as told, and is told again";
            Err((Trouble::Refused, format!("{name} to {address} {why}; {again}")))
        };
        match sent {
            Ok(Outcome::Accepted(_)) => Ok(()),
            Ok(Outcome::Rejected(rejected)) => untaken(format!(
                "was rejected ({}): see whether its queues are full, and what may be sent there",
                rejected.error.as_ref().map(in_words).unwrap_or_default().trim_end()
            )),
            Ok(Outcome::Released(_) | Outcome::Modified(_)) => untaken(
                "was given back: most likely no queue takes it; bind a durable one there"
                    .to_owned(),
            ),
            Err(error) => {
                let why = format!("{name} could not be sent ({error}): see the broker's log");
                Err((Trouble::Broken, why))
            }
        }
    }

    /// Nobody comes anew to a broker.
    async fn news(&mut self) -> Result<(), Garbled> {
        let why = match self.open.connection.on_close().await {
            Ok(()) => "the broker closed the connection".to_owned(),
            Err(error) => format!("the connection broke ({error})"),
        };
        Err((Trouble::Broken, format!("{why}: see that the broker runs and its log")))
    }
}
