//! One look at a machine: who it is, how long it takes to answer, and what each point holds, read
//! in every way that is plausible. Nothing is written.

mod readings;

use std::fmt::Write as _;
use std::sync::Arc;
use std::time::{Duration, Instant};

use tokio_util::sync::CancellationToken;

use super::bank::Bank;
use super::check::spot;
use super::client::{Client, Failure};
use super::line::Line;
use super::plan::{Limits, Plan, Reach, Want, length, wants};
use super::settings::{BitTable, Layout, RegisterTable, Settings, Table};
use crate::link::Trouble;
use readings::{configured, others};

/// Registers that the widest number takes.
const WIDEST: u16 = 4;

/// Names of the basic objects (MODBUS Application Protocol V1.1b3, 6.21).
const OBJECTS: [&str; 3] = ["maker", "product code", "revision"];

impl Settings {
    /// Connects once, asks who the machine is, and reads each point by itself. Tells each line as
    /// it is known. Addresses shown are those of the protocol, from 0.
    ///
    /// # Errors
    /// Why the machine cannot be asked, with what to check.
    pub async fn probe(&self, timeout: Duration, mut tell: impl FnMut(&str)) -> Result<(), String> {
        let endpoint = self.endpoint().ok_or("the settings name no address and no serial port")?;
        let line = Arc::new(Line::new(endpoint, false));
        let mut client = Client::new(line, self.unit, timeout, CancellationToken::new());
        tell(&who(&mut client).await?);
        let limits = Limits::of(self);
        for want in wants(self) {
            let point = &self.points[want.point()];
            let layout = point.place().layout;
            let look = Self::look(&mut client, &limits, &want).await;
            let place = spot(self, want.table, want.at);
            match look {
                Ok((held, took)) => {
                    let shown = configured(&layout, &held, length(&point.place()));
                    let took = took.as_secs_f64() * 1_000.0;
                    tell(&format!("{}: {place} = {shown} ({took:.1} ms)", point.title()));
                    if !matches!(layout, Layout::Bit { bit: None, .. }) {
                        others(&layout, &held).iter().for_each(|line| tell(&format!("    {line}")));
                    }
                }
                Err(Failure::Exception { why, .. }) => {
                    tell(&format!("{}: {place}: {why}", point.title()));
                }
                Err(failure) => return Err(in_words(failure)),
            }
        }
        Ok(())
    }

    /// A point with the registers behind it, as far as the widest number goes; by itself where the
    /// machine will not give those.
    async fn look(
        client: &mut Client,
        limits: &Limits,
        want: &Want,
    ) -> Result<(Vec<u16>, Duration), Failure> {
        let wide = want.table.registers().is_some()
            && want.count < WIDEST
            && !limits.forbids(want.table, want.at, WIDEST);
        if wide && let Ok(seen) = read(client, want.table, want.at, WIDEST).await {
            return Ok(seen);
        }
        client.begin();
        read(client, want.table, want.at, want.count).await
    }
}

async fn who(client: &mut Client) -> Result<String, String> {
    match client.identify().await {
        Ok(objects) => {
            let told = objects.iter().filter(|(_, value)| !value.is_empty());
            if told.clone().next().is_none() {
                return Ok("it answers, but does not say what it is".to_owned());
            }
            let mut text = "it says it is".to_owned();
            for (id, value) in told {
                let name = OBJECTS.get(usize::from(*id)).copied().unwrap_or("object");
                let _ = write!(text, " {name} {value:?}");
            }
            Ok(text)
        }
        Err(Failure::Exception { .. }) => Ok("it does not say what it is (2B/0E)".to_owned()),
        // Many a machine is silent, or hangs up, at a function that it does not know.
        Err(Failure::Gone {
            kind: Trouble::TimedOut | Trouble::Broken | Trouble::Garbled, ..
        }) => {
            client.begin();
            Ok("it does not answer when asked what it is (2B/0E)".to_owned())
        }
        Err(failure) => Err(in_words(failure)),
    }
}

/// What a machine holds from an address on: bits as 0 and 1.
async fn read(
    client: &mut Client,
    table: Table,
    at: u16,
    count: u16,
) -> Result<(Vec<u16>, Duration), Failure> {
    let mut plan = Plan::default();
    if let Some(table) = table.bits() {
        plan.bits.push(Reach { table, at, count });
    } else if let Some(table) = table.registers() {
        plan.words.push(Reach { table, at, count });
    }
    let begun = Instant::now();
    let bank = client.read(&plan).await?;
    let took = begun.elapsed();
    let places = (0..count).filter_map(|place| at.checked_add(place));
    Ok((places.filter_map(|at| held(&bank, table, at)).collect(), took))
}

fn held(bank: &Bank, table: Table, at: u16) -> Option<u16> {
    let bit = |table: BitTable| bank.bit(table, at).map(u16::from);
    let word = |table: RegisterTable| bank.word(table, at);
    table.bits().map_or_else(|| table.registers().and_then(word), bit)
}

fn in_words(failure: Failure) -> String {
    match failure {
        Failure::Gone { why, .. } | Failure::Exception { why, .. } => why,
        Failure::Stopped => "stopped".to_owned(),
    }
}
