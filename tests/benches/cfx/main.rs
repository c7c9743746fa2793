//! What a CFX link costs from a broker to the ledger, beside a bare loop that receives and accepts
//! and stores nothing; and what it costs to understand a message. `cargo bench -p stencilward-tests
//! --bench cfx`. Prints figures; asserts no time.
//!
//! Each run drains a durable queue of RabbitMQ, which has the messages before the clock starts:
//! `UnitsProcessed` of a printer, 600 bytes of JSON, as it is or compressed by gzip.
#![allow(clippy::unwrap_used, reason = "a bench that cannot go on has no figure")]

mod backlog;
mod bare;
mod decode;
mod messages;
mod ours;

use stencilward_tests::rabbitmq::RabbitMq;

use backlog::Backlog;
use messages::Packed;

/// Runs of each kind, in turn; the figure is their median.
const RUNS: usize = 3;
const MESSAGES: u64 = 50_000;

fn main() {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    for packed in [Packed::Plain, Packed::Gzip] {
        decode::bench(packed);
    }
    runtime.block_on(async {
        let Some(broker) = RabbitMq::start().await else { return };
        let mut backlog = Backlog::new(&broker);
        for packed in [Packed::Plain, Packed::Gzip] {
            rates(&mut backlog, packed).await;
        }
    });
}

async fn rates(backlog: &mut Backlog, packed: Packed) {
    let (mut bare, mut ours, mut beside) = (vec![], vec![], vec![]);
    for _ in 0..RUNS {
        backlog.fill(packed, MESSAGES).await;
        bare.push(bare::drain(backlog, MESSAGES).await);
        backlog.fill(packed, MESSAGES).await;
        ours.push(ours::drain(backlog, MESSAGES).await);
        beside.push(ours[ours.len() - 1] / bare[bare.len() - 1]);
    }
    let name = format!("cfx.backlog.{packed}");
    figure(&format!("{name}.bare_loop"), bare, "messages/s");
    figure(&format!("{name}.ours"), ours, "messages/s");
    figure(&format!("{name}.ours_beside_bare_loop"), beside, "times");
}

/// Prints the median.
fn figure(name: &str, mut values: Vec<f64>, unit: &str) {
    values.sort_by(f64::total_cmp);
    println!("figure {name} {:.3} {unit}", values[values.len() / 2]);
}
