//! Telling at the gateway's own listener, to everybody who receives there. Nothing is kept for who
//! is not there: who comes is told everything.

use std::sync::Arc;

use fe2o3_amqp::Sender;
use tokio::sync::mpsc;
use tokio::time::timeout;

use super::faults::Faults;
use super::{Outlet, Teller};
use crate::cfx::access::STEP;
use crate::cfx::announce;
use crate::cfx::desk::Desk;
use crate::cfx::envelope::Envelope;
use crate::cfx::json::Garbled;
use crate::cfx::message::message;
use crate::cfx::settings::Publish;
use crate::cfx::taker::Ended;
use crate::link::Trouble;

/// Messages that wait for one who receives.
const WAITING: usize = 256;
/// Those who may wait to be let in.
const COMING: usize = 16;

/// The way in for those who receive.
#[derive(Clone)]
pub(in crate::cfx) struct Entrance {
    /// The address from which they receive.
    pub(in crate::cfx) address: String,
    coming: mpsc::Sender<Seat>,
}

type Seat = mpsc::Sender<Envelope>;

/// Those who receive.
struct Hall {
    desk: Arc<Desk>,
    coming: mpsc::Receiver<Seat>,
    seats: Vec<Seat>,
}

/// A hall with its entrance, and what is told in it until the order to stop.
pub(in crate::cfx) fn open(
    desk: Arc<Desk>,
    publish: Publish,
) -> (Entrance, impl Future<Output = ()> + use<>) {
    let (coming, waiting) = mpsc::channel(COMING);
    let entrance = Entrance { address: publish.at.clone(), coming };
    let mut hall = Hall { desk: Arc::clone(&desk), coming: waiting, seats: Vec::new() };
    let debtor = desk.endpoint.debtor_at_listener();
    let mut faults = Faults::new(&desk, &publish);
    let telling = async move {
        // Its way in stays open as long as the listener does.
        let _ = Teller::new(desk, publish, debtor).tell(&mut faults, &mut hall).await;
    };
    (entrance, telling)
}

impl Entrance {
    /// Tells one who receives on this link, until it ends or hears nothing.
    pub(in crate::cfx) async fn serve(&self, mut sender: Sender) -> Ended {
        let (seat, mut said) = mpsc::channel(WAITING);
        if self.coming.send(seat).await.is_err() {
            return Ended::Over;
        }
        loop {
            let said = tokio::select! {
                _ = sender.on_detach() => return Ended::Left,
                said = said.recv() => match said {
                    Some(said) => said,
                    None => return Ended::Over,
                },
            };
            // Whatever becomes of it: who comes again is told everything.
            let sent = timeout(STEP, sender.send(message(&said))).await;
            if !matches!(sent, Ok(Ok(_))) {
                let why = "who receives from the gateway did not take a message in time: let it \
                           take them as they come, and attach again";
                return Ended::Lost((Trouble::TimedOut, why.to_owned()));
            }
        }
    }
}

impl Outlet for Hall {
    /// Who reads too slowly has no seat any more.
    async fn put(&mut self, said: &Envelope) -> Result<(), Garbled> {
        let mut seats = Vec::new();
        for seat in self.seats.drain(..) {
            if matches!(timeout(STEP, seat.send(said.clone())).await, Ok(Ok(()))) {
                seats.push(seat);
            }
        }
        self.seats = seats;
        Ok(())
    }

    async fn news(&mut self) -> Result<(), Garbled> {
        let Some(seat) = self.coming.recv().await else {
            return Err((Trouble::Broken, "the listener has ended".to_owned()));
        };
        // For those who come, the gateway comes.
        let _ = seat.try_send(announce::connected(&self.desk.endpoint));
        self.seats.push(seat);
        Ok(())
    }
}
