//! Everything that can go wrong, in an order by chance. `STENCILWARD_SEEDS` runs so many schedules
//! instead of two, `STENCILWARD_SEED` begins elsewhere.

use std::time::Duration;

use serde_json::json;
use stencilward_tests::mosquitto::Persistence;
use stencilward_tests::seed::Chance;
use tokio::time::sleep;

use crate::works::Works;

const STEPS: u64 = 8;

/// The broker is killed: one that writes on a stop only begins again from an older memory.
const KILLED: u64 = 4;

fn variable(name: &str) -> Option<u64> {
    std::env::var(name).ok()?.parse().ok()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn by_chance() {
    let first = variable("STENCILWARD_SEED").unwrap_or(1);
    for seed in first..first + variable("STENCILWARD_SEEDS").unwrap_or(2) {
        println!("STENCILWARD_SEED={seed}");
        if schedule(Chance::from(seed)).await.is_none() {
            return;
        }
    }
}

async fn schedule(mut chance: Chance) -> Option<()> {
    let kept = [Persistence::Off, Persistence::OnStop, Persistence::EachChange];
    let persistence = kept[usize::try_from(chance.below(3)).unwrap()];
    let queue = [0, 30][usize::try_from(chance.below(2)).unwrap()];
    let version = ["3.1.1", "5.0"][usize::try_from(chance.below(2)).unwrap()];
    println!("{persistence:?}, queue {queue}, MQTT {version}");
    let mut works = Works::start(persistence, queue, version).await?;
    // The first number is heard: what is missing before it nobody could know.
    works.tell(json!({ "do": "count", "topic": "a/strokes", "times": 1 }), "counted").await;
    let mut exact = true;
    for _ in 0..STEPS {
        let burst = json!({ "do": "begin", "topic": "a/strokes", "times": chance.below(60) });
        works.tell(burst, "begun").await;
        sleep(Duration::from_millis(chance.below(60))).await;
        exact &=
            trouble(&mut works, &mut chance).await != KILLED || persistence != Persistence::OnStop;
        works.tell(json!({ "do": "wait" }), "confirmed").await;
    }
    let missed = works.add_up(exact).await;
    println!("{missed} missed");
    Some(())
}

/// Gives its kind.
async fn trouble(works: &mut Works, chance: &mut Chance) -> u64 {
    let pause = Duration::from_millis(chance.below(400));
    let kind = chance.below(7);
    println!("trouble {kind} for {pause:?}");
    match kind {
        0 => works.cut(),
        1 => {
            works.gateway.kill();
            sleep(pause).await;
            works.start_gateway();
        }
        2 => {
            works.gateway.stop();
            sleep(pause).await;
            works.start_gateway();
        }
        3 => {
            works.broker.stop().await;
            sleep(pause).await;
            works.broker.again().await;
        }
        KILLED => {
            works.broker.kill().await;
            sleep(pause).await;
            works.broker.again().await;
        }
        5 => {
            let seconds = pause.as_secs_f64();
            let steal = json!({ "do": "steal", "client": "mqtt-test-in", "seconds": seconds });
            works.tell(steal, "stolen").await;
        }
        _ => sleep(pause).await,
    }
    kind
}
