//! The queues of a broker: read over one connection, which is made again for ever from the bottom
//! up. The library recovers nothing by itself.

use std::sync::Arc;

use fe2o3_amqp::Receiver;
use fe2o3_amqp::link::ReceiverAttachError;
use fe2o3_amqp::link::receiver::CreditMode;
use fe2o3_amqp::types::messaging::Source;
use futures::StreamExt as _;
use futures::stream::FuturesUnordered;
use tokio::time::Instant;

use super::access::{Open, open, within};
use super::desk::Desk;
use super::hearing::Way;
use super::json::Garbled;
use super::settings::AtBroker;
use super::taker::{Ended, in_words, take};
use crate::link::{BackOff, Trouble};
use crate::mqtt::STEADY;

/// Larger than any message that a broker keeps, in bytes (RabbitMQ's own limit is 128 MiB unless it
/// is raised). A message that is too large for us must come all the same: only then can it be
/// rejected, and it would hold up all others for ever.
const LARGEST: u64 = 128 << 20;

/// Reads the broker's queues until the order to stop.
pub(super) async fn run(desk: Arc<Desk>, at: AtBroker) {
    let mut back_off = BackOff::for_machines();
    let mut first_time = true;
    loop {
        let begun = Instant::now();
        let connecting = desk.floor.stop.run_until_cancelled(connect(&desk, &at));
        let ended = match Box::pin(connecting).await {
            None => return,
            Some(Err(garbled)) => Ended::Lost(garbled),
            Some(Ok((open, receivers))) => {
                first_time = false;
                listen(&desk, &at, open, receivers).await
            }
        };
        let (kind, why) = match ended {
            Ended::Over => return,
            Ended::Left => (Trouble::Broken, "the broker took leave: see its log".to_owned()),
            Ended::Lost(garbled) => garbled,
        };
        desk.trouble(kind, format!("broker {}: {why}", at.address)).await;
        if desk.broker_lost(&why, std::mem::take(&mut first_time)).await.is_err() {
            return;
        }
        if begun.elapsed() >= STEADY {
            back_off.reset();
        }
        tokio::select! {
            () = desk.floor.stop.cancelled() => return,
            () = tokio::time::sleep(back_off.wait()) => {}
        }
    }
}

async fn connect(desk: &Desk, at: &AtBroker) -> Result<(Open, Vec<Receiver>), Garbled> {
    let mut open = open(&at.whereto(), &desk.endpoint).await?;
    let mut receivers = Vec::new();
    for (index, address) in at.sources.iter().enumerate() {
        let attaching = Receiver::builder()
            .name(format!("{}-{index}", desk.endpoint.handle))
            .source(Source::builder().address(address.as_str()).build())
            .max_message_size(LARGEST)
            .credit_mode(CreditMode::Manual)
            .attach(&mut open.session);
        let attached = within("to the reading of a queue", attaching).await?;
        receivers.push(attached.map_err(|error| refused(address, &error))?);
    }
    Ok((open, receivers))
}

fn refused(address: &str, error: &ReceiverAttachError) -> Garbled {
    let why = match error {
        ReceiverAttachError::RemoteClosedWithError(error) => in_words(error),
        error => error.to_string(),
    };
    let why = format!(
        "the broker does not let us read {address} ({why}): see that this durable queue is there, \
         how the broker wants its address written, and that our user may read it"
    );
    (Trouble::Refused, why)
}

async fn listen(
    desk: &Arc<Desk>,
    at: &AtBroker,
    mut open: Open,
    receivers: Vec<Receiver>,
) -> Ended {
    let way = Way::Broker { keeps: at.keeps_messages };
    let takers = receivers.into_iter().map(|receiver| take(receiver, desk, way, None));
    let mut takers: FuturesUnordered<_> = takers.collect();
    let ended = loop {
        tokio::select! {
            closed = open.connection.on_close() => {
                let why = match closed {
                    Ok(()) => "the broker closed the connection".to_owned(),
                    Err(error) => format!("the connection broke ({error})"),
                };
                let why = format!("{why}: see that the broker runs, its log, and the network");
                break Ended::Lost((Trouble::Broken, why));
            }
            ended = takers.next() => match ended {
                Some(Ended::Over) if !takers.is_empty() => {}
                Some(ended) => break ended,
                None => break Ended::Over,
            },
        }
    };
    drop(takers);
    open.leave().await;
    ended
}
