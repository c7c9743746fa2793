//! From metrics to signals: pure. What a machine said before is remembered where a signal needs it.

use std::collections::BTreeMap;
use std::sync::Arc;

use stencilward_domain::names::{BadName, MachineName, OrderName, SlotName, StencilCode};
use stencilward_domain::signal::{
    MachineState, Measurement, OrderSpec, Reading, Said, Signal, WashOutcome, Width,
};
use stencilward_domain::time::Timestamp;

use super::settings::{Metric, Phase, Total, Wash};
use super::value::{Garbled, Plain};
use crate::link::Trouble;

/// Longest text kept of a machine, in characters.
const LONGEST_TEXT: usize = 200;

/// A value that holds now.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Present {
    pub(super) name: Arc<str>,
    pub(super) value: Plain,
    pub(super) at: Option<Timestamp>,
}

/// What one message gives.
#[derive(Debug, Default)]
pub(super) struct Heard {
    pub(super) signals: Vec<Signal>,
    pub(super) troubles: Vec<Garbled>,
}

/// The metrics of one machine that are read, and what was said of them.
pub(super) struct Reader {
    machine: MachineName,
    entries: Vec<Metric>,
    /// True when the washer tells what it does: its values belong to a wash.
    washes: bool,
    washing: bool,
    measured: BTreeMap<String, Measurement>,
    words: BTreeMap<Word, String>,
    asking: [bool; 2],
}

/// What is told by itself and belongs to what another metric tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Word {
    WashStencil,
    WashProgramme,
    AskedStencil,
    AskedSlot,
    AskedOrder,
    Order,
}

impl Reader {
    pub(super) fn new(machine: MachineName, entries: Vec<Metric>) -> Self {
        let washes = entries.iter().any(|entry| matches!(entry, Metric::WashState(_)));
        Self {
            machine,
            entries,
            washes,
            washing: false,
            measured: BTreeMap::new(),
            words: BTreeMap::new(),
            asking: [false; 2],
        }
    }

    /// The names that the settings give and the birth certificate does not.
    pub(super) fn missing(&self, born: impl Fn(&str) -> bool) -> Vec<Garbled> {
        let missing = self.entries.iter().map(Metric::name).filter(|name| !born(name));
        let told = missing.map(|name| {
            let why = format!("{name} is not in the birth certificate: compare the spelling");
            (Trouble::Missing, why)
        });
        told.collect()
    }

    /// A birth certificate: everything as it is now. Totals come first, because what is in the
    /// machine now need not be what made them.
    pub(super) fn born(&mut self, metrics: &[Present], received: Timestamp) -> Heard {
        self.asking = [false; 2];
        let mut heard = self.told(metrics, received);
        heard.signals.sort_by_key(|signal| !matches!(signal.said, Said::CounterRead { .. }));
        heard
    }

    /// Data, in the order in which they came to be so.
    pub(super) fn told(&mut self, metrics: &[Present], received: Timestamp) -> Heard {
        let mut heard = Heard::default();
        for metric in metrics {
            self.note(metric);
        }
        let entries = std::mem::take(&mut self.entries);
        for metric in metrics {
            for entry in entries.iter().filter(|entry| entry.name() == &*metric.name) {
                match self.said(entry, &metric.value) {
                    Ok(said) => heard.signals.extend(said.into_iter().map(|said| Signal {
                        machine: self.machine.clone(),
                        received,
                        machine_time: metric.at,
                        identity: None,
                        said,
                    })),
                    Err((kind, why)) => {
                        heard.troubles.push((kind, format!("{}: {why}", metric.name)));
                    }
                }
            }
        }
        self.entries = entries;
        heard
    }

    /// True when the settings name this metric.
    pub(super) fn reads(&self, name: &str) -> bool {
        self.entries.iter().any(|entry| entry.name() == name)
    }

    /// Remembers what belongs to another metric, wherever it stands in the message.
    fn note(&mut self, metric: &Present) {
        for entry in self.entries.iter().filter(|entry| entry.name() == &*metric.name) {
            let word = match entry {
                Metric::WashStencil(_) => Word::WashStencil,
                Metric::WashProgramme(_) => Word::WashProgramme,
                Metric::AskedStencil(_) => Word::AskedStencil,
                Metric::AskedSlot(_) => Word::AskedSlot,
                Metric::AskedOrder(_) => Word::AskedOrder,
                Metric::Measured(measured) if self.washes => {
                    if let Some(value) = metric.value.number() {
                        let measurement = Measurement {
                            quantity: measured.quantity.clone(),
                            value: value * measured.scale + measured.offset,
                            unit: measured.unit.clone(),
                        };
                        self.measured.insert(measured.name.clone(), measurement);
                    }
                    continue;
                }
                _ => continue,
            };
            match metric.value.word() {
                Some(text) => self.words.insert(word, text),
                None => self.words.remove(&word),
            };
        }
    }

    fn said(&mut self, entry: &Metric, value: &Plain) -> Result<Vec<Said>, Garbled> {
        match entry {
            Metric::StrokeTotal(total) | Metric::WipeTotal(total) => counter(entry, total, value),
            Metric::StencilSeated(_) => Ok(vec![match code(value)? {
                Some(code) => Said::Seated { code },
                None => Said::Removed,
            }]),
            Metric::Slot(slot) => {
                let slot = name(&slot.slot, SlotName::new)?;
                Ok(truth(value)?.map_or_else(Vec::new, |holds| {
                    vec![if holds {
                        Said::SlotOccupied { slot, code: None }
                    } else {
                        Said::SlotEmptied { slot, code: None }
                    }]
                }))
            }
            Metric::SlotCode(slot) => {
                let slot = name(&slot.slot, SlotName::new)?;
                Ok(vec![match code(value)? {
                    Some(code) => Said::SlotOccupied { slot, code: Some(code) },
                    None => Said::SlotEmptied { slot, code: None },
                }])
            }
            Metric::MachineState(state) => Ok(value.word().map_or_else(Vec::new, |word| {
                let listed = state.values.get(&word).copied();
                let state = listed.map_or(MachineState::Unknown, Into::into);
                vec![Said::State { state, word: clipped(&word) }]
            })),
            Metric::Fault(fault) => {
                let (code, text) = (clipped(&fault.code), clipped(&fault.text));
                Ok(truth(value)?.map_or_else(Vec::new, |present| {
                    vec![if present {
                        Said::FaultRaised { code, text }
                    } else {
                        Said::FaultEnded { code }
                    }]
                }))
            }
            Metric::Measured(_) if self.washes => number(value).map(|_| Vec::new()),
            Metric::Measured(measured) => Ok(number(value)?.map_or_else(Vec::new, |number| {
                let measurement = Measurement {
                    quantity: measured.quantity.clone(),
                    value: number * measured.scale + measured.offset,
                    unit: measured.unit.clone(),
                };
                vec![Said::Measured { code: None, measurement }]
            })),
            Metric::WashState(wash) => self.washed(wash, value),
            Metric::Order(_) => self.order(value),
            Metric::StoreAsked(_) | Metric::TakeAsked(_) => self.asked(entry, value),
            Metric::WashStencil(_)
            | Metric::WashProgramme(_)
            | Metric::AskedStencil(_)
            | Metric::AskedSlot(_)
            | Metric::AskedOrder(_) => Ok(Vec::new()),
        }
    }

    /// Only a wash that was seen to run can end: what a birth certificate shows may be the result
    /// of any wash before.
    fn washed(&mut self, wash: &Wash, value: &Plain) -> Result<Vec<Said>, Garbled> {
        let Some(word) = value.word() else {
            return Ok(Vec::new());
        };
        let Some(phase) = wash.values.get(&word).copied() else {
            let word = shortened(&word);
            return Err((Trouble::Senseless, format!("values does not say what {word} means")));
        };
        let outcome = match phase {
            Phase::Running => {
                self.washing = true;
                let (code, programme) = self.load()?;
                return Ok(vec![Said::WashBegan { code, programme }]);
            }
            Phase::Passed => WashOutcome::Passed,
            Phase::Failed => WashOutcome::Failed,
            Phase::Idle | Phase::Aborted => WashOutcome::Aborted,
        };
        if !std::mem::take(&mut self.washing) {
            return Ok(Vec::new());
        }
        let (code, programme) = self.load()?;
        let measured = self.measured.values().cloned().collect();
        Ok(vec![Said::WashEnded { code, programme, outcome, measured }])
    }

    fn load(&self) -> Result<(Option<StencilCode>, Option<String>), Garbled> {
        let code = self.word(Word::WashStencil, StencilCode::new)?;
        Ok((code, self.words.get(&Word::WashProgramme).map(|text| clipped(text))))
    }

    fn word<T>(
        &self,
        word: Word,
        new: impl Fn(&str) -> Result<T, BadName>,
    ) -> Result<Option<T>, Garbled> {
        self.words.get(&word).map(|text| name(text, new)).transpose()
    }

    fn order(&mut self, value: &Plain) -> Result<Vec<Said>, Garbled> {
        let now = value.word().map(|word| name(&word, OrderName::new)).transpose()?;
        let before = self.word(Word::Order, OrderName::new)?;
        match &now {
            Some(order) => self.words.insert(Word::Order, order.as_str().to_owned()),
            None => self.words.remove(&Word::Order),
        };
        if now == before {
            return Ok(Vec::new());
        }
        let ended = before.map(|order| Said::OrderFinished { order, made: None });
        let begun = now.map(|order| Said::OrderStarted(OrderSpec::named(order)));
        Ok(ended.into_iter().chain(begun).collect())
    }

    /// A question is asked when its metric becomes true.
    fn asked(&mut self, entry: &Metric, value: &Plain) -> Result<Vec<Said>, Garbled> {
        let takes = matches!(entry, Metric::TakeAsked(_));
        let asks = truth(value)?.unwrap_or(false);
        let [store, take] = &mut self.asking;
        let before = std::mem::replace(if takes { take } else { store }, asks);
        if !asks || before {
            return Ok(Vec::new());
        }
        let Some(code) = self.word(Word::AskedStencil, StencilCode::new)? else {
            let why = "it asks, and asked-stencil is empty: set that before";
            return Err((Trouble::Missing, why.to_owned()));
        };
        Ok(vec![if takes {
            let order = self.word(Word::AskedOrder, OrderName::new)?;
            Said::TakeAsked { code, order, destination: None }
        } else {
            Said::StoreAsked { code, slot: self.word(Word::AskedSlot, SlotName::new)? }
        }])
    }
}

fn counter(entry: &Metric, total: &Total, value: &Plain) -> Result<Vec<Said>, Garbled> {
    if *value == Plain::Nothing {
        return Ok(Vec::new());
    }
    let raw = value.count().ok_or_else(|| {
        (Trouble::Unreadable, format!("{} is no whole number from 0", shown(value)))
    })?;
    let width = match total.width {
        16 => Width::Bits16,
        64 => Width::Bits64,
        _ => Width::Bits32,
    };
    if raw > width.largest() {
        let why = format!("{raw} does not fit into width {}: see which it is", total.width);
        return Err((Trouble::Senseless, why));
    }
    let counter = entry.counter().map(|(counter, _)| counter);
    let reading = Reading::Reported;
    Ok(counter
        .map(|counter| Said::CounterRead { counter, raw, width, reading })
        .into_iter()
        .collect())
}

fn code(value: &Plain) -> Result<Option<StencilCode>, Garbled> {
    value.word().map(|word| name(&word, StencilCode::new)).transpose()
}

fn truth(value: &Plain) -> Result<Option<bool>, Garbled> {
    match (value, value.truth()) {
        (Plain::Nothing, _) => Ok(None),
        (_, Some(truth)) => Ok(Some(truth)),
        _ => Err((Trouble::Unreadable, format!("{} is neither true nor false", shown(value)))),
    }
}

fn number(value: &Plain) -> Result<Option<f64>, Garbled> {
    match (value, value.number()) {
        (Plain::Nothing, _) => Ok(None),
        (_, Some(number)) => Ok(Some(number)),
        _ => Err((Trouble::Unreadable, format!("{} is no number", shown(value)))),
    }
}

fn name<T>(text: &str, new: impl Fn(&str) -> Result<T, BadName>) -> Result<T, Garbled> {
    new(text).map_err(|error| (Trouble::Senseless, error.to_string()))
}

/// Free text of a machine, held to a length that a ledger and a page can bear.
fn clipped(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(LONGEST_TEXT).collect()
}

fn shortened(text: &str) -> String {
    format!("{:?}", text.chars().take(40).collect::<String>())
}

fn shown(value: &Plain) -> String {
    value.word().map_or_else(|| "an empty text".to_owned(), |word| shortened(&word))
}
