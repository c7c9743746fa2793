//! What the people of the invented plant do.

use std::time::Duration;

use anyhow::Context as _;
use stencilward_domain::names::{CounterName, OutputName, SlotName, StencilCode};
use stencilward_domain::signal::{WashOutcome, Width};
use stencilward_domain::site::{Reply, Request};
use tokio::time::sleep;
use tokio_util::sync::CancellationToken;

use super::Desk;
use super::printer::{Counting, Printer};
use super::rack::{Rack, Visit};
use super::washer::Washer;
use crate::narrator::Narrator;
use crate::plant::Plant;

const CYCLE: Duration = Duration::from_millis(150);
const WASH: Duration = Duration::from_secs(2);

/// A printer whose lock stays shut this long is left alone.
const PATIENCE: Duration = Duration::from_millis(2_500);

/// Walking from one machine to the next.
const WALK: Duration = Duration::from_millis(600);

/// Where the 16-bit counter of printer-1 stands at first, so that it wraps in the story.
const TOTAL_AT_FIRST: u64 = 65_500;

/// Strokes the manager allows the worn stencil.
const CONCESSION: u64 = 25;

/// The people of all lines, and the machines they work with.
pub(super) struct People {
    printer_1: Printer,
    printer_2: Printer,
    printer_3: Printer,
    washer_1: Washer,
    washer_2: Washer,
    rack: Rack,
    desk: Desk,
    narrator: Narrator,
    closing: CancellationToken,
}

/// A stencil and the slot it lives in.
struct Kept {
    code: StencilCode,
    slot: SlotName,
}

impl People {
    /// People who work until `closing`.
    pub(super) fn at(
        plant: &Plant,
        desk: Desk,
        narrator: Narrator,
        closing: CancellationToken,
    ) -> anyhow::Result<Self> {
        let lock = OutputName::new("print-lock")?;
        let tally = || plant.tally.clone();
        let printer = |name, counting, total| {
            Printer::new(plant.machine(name)?, &lock, counting, CYCLE, total, tally())
                .with_context(|| format!("{name} of the demo"))
        };
        let total = Counting::Total { counter: CounterName::new("strokes")?, width: Width::Bits16 };
        Ok(Self {
            printer_1: printer("printer-1", total, TOTAL_AT_FIRST)?,
            printer_2: printer("printer-2", Counting::Each, 0)?,
            printer_3: printer("printer-3", Counting::Each, 0)?,
            washer_1: Washer::new(plant.machine("washer-1")?, WASH, tally()),
            washer_2: Washer::new(plant.machine("washer-2")?, WASH, tally()),
            rack: Rack::new(plant.machine("rack-1")?, &OutputName::new("door")?, tally())?,
            desk,
            narrator,
            closing,
        })
    }

    /// Before the gateway comes: a counter that leaps under its eyes would be a finding.
    pub(super) async fn switch_machines_on(&self) -> anyhow::Result<()> {
        self.printer_1.switch_on().await?;
        Ok(())
    }

    /// Plays all lines.
    pub(super) async fn play(&self) -> anyhow::Result<()> {
        tokio::try_join!(self.first_line(), self.second_line(), self.third_line())?;
        Ok(())
    }

    fn open_for_work(&self) -> bool {
        !self.closing.is_cancelled()
    }

    /// Two stencils in turn; the first time one comes back, somebody tries to store it unwashed.
    async fn first_line(&self) -> anyhow::Result<()> {
        let kept = [kept("ST-101", "A1")?, kept("ST-102", "A2")?];
        for stencil in &kept {
            self.store(stencil).await?;
        }
        let mut hurried = true;
        while self.open_for_work() {
            for stencil in &kept {
                if !self.print_once(&self.printer_1, stencil, 40).await? {
                    break;
                }
                if std::mem::take(&mut hurried) {
                    self.say("line-1", &format!("somebody puts {} back unwashed", stencil.code));
                    self.rack.store(&stencil.code, &stencil.slot).await?;
                }
                self.wash_and_store(&self.washer_1, stencil).await?;
            }
        }
        Ok(())
    }

    /// A stencil near its end is used until it stops, then under a concession, then its
    /// successor takes over.
    async fn second_line(&self) -> anyhow::Result<()> {
        let (worn, successor) = (kept("ST-201", "B1")?, kept("ST-202", "B2")?);
        self.store(&worn).await?;
        self.store(&successor).await?;
        let mut granted = false;
        while self.open_for_work() {
            if self.print_once(&self.printer_2, &worn, 50).await? {
                self.wash_and_store(&self.washer_1, &worn).await?;
            } else if granted || !self.open_for_work() {
                break;
            } else {
                granted = self.grant(&worn).await?;
            }
        }
        self.say("line-2", &format!("goes on with {}", successor.code));
        while self.open_for_work() && self.print_once(&self.printer_2, &successor, 30).await? {
            self.wash_and_store(&self.washer_1, &successor).await?;
        }
        Ok(())
    }

    /// The quiet line: both sides of one product in turn.
    async fn third_line(&self) -> anyhow::Result<()> {
        let kept = [kept("ST-301", "C1")?, kept("ST-302", "C2")?];
        for stencil in &kept {
            self.store(stencil).await?;
        }
        while self.open_for_work() {
            for stencil in &kept {
                if !self.print_once(&self.printer_3, stencil, 30).await? {
                    return Ok(());
                }
                self.wash_and_store(&self.washer_2, stencil).await?;
            }
        }
        Ok(())
    }

    /// Takes a stencil to the printer and prints; false when it was not let go.
    async fn print_once(
        &self,
        printer: &Printer,
        stencil: &Kept,
        boards: u64,
    ) -> anyhow::Result<bool> {
        if !self.open_for_work() {
            return Ok(false);
        }
        match self.rack.take(&stencil.code, &stencil.slot).await? {
            Visit::Done => {}
            Visit::Refused(_) => return Ok(false),
            Visit::Stuck(why) => anyhow::bail!("taking {}: {why}", stencil.code),
        }
        sleep(WALK).await;
        printer.seat(&stencil.code).await?;
        printer.print(&stencil.code, boards, PATIENCE, || self.open_for_work()).await?;
        sleep(WALK).await;
        printer.remove().await?;
        sleep(WALK).await;
        Ok(true)
    }

    async fn wash_and_store(&self, washer: &Washer, stencil: &Kept) -> anyhow::Result<()> {
        washer.wash(&stencil.code, WashOutcome::Passed).await?;
        sleep(WALK).await;
        self.store(stencil).await
    }

    async fn store(&self, stencil: &Kept) -> anyhow::Result<()> {
        match self.rack.store(&stencil.code, &stencil.slot).await? {
            Visit::Done => Ok(()),
            Visit::Refused(why) => anyhow::bail!("{} was not stored: {why:?}", stencil.code),
            Visit::Stuck(why) => anyhow::bail!("storing {}: {why}", stencil.code),
        }
    }

    /// The manager grants a concession at the desk, once a gateway is there.
    async fn grant(&self, stencil: &Kept) -> anyhow::Result<bool> {
        let request = Request::Grant {
            stencil: stencil.code.clone(),
            strokes: CONCESSION,
            until: None,
            by: "the manager".to_owned(),
            why: "its successor is not qualified yet".to_owned(),
        };
        let mut desk = self.desk.clone();
        loop {
            let site = desk.wait_for(Option::is_some).await.context("the demo ends")?.clone();
            let Some(site) = site else { continue };
            match site.ask(request.clone()).await {
                Ok(Reply::Refused(why)) => anyhow::bail!("the concession was refused: {why}"),
                Ok(_) => return Ok(true),
                Err(_) if !self.open_for_work() => return Ok(false),
                Err(_) => sleep(WALK).await,
            }
        }
    }

    fn say(&self, who: &str, what: &str) {
        self.narrator.say(who, what);
    }
}

fn kept(code: &str, slot: &str) -> anyhow::Result<Kept> {
    Ok(Kept { code: StencilCode::new(code)?, slot: SlotName::new(slot)? })
}
