//! What washers say: tools loaded, cleaned, unloaded (since 1.5).
//!
//! Only a tool that is told as `Cleaned` was washed; unknown is not clean. The messages of one wash
//! have its transaction in common.

use serde_json::{Map, Value};
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::{Measurement, Said, WashOutcome};

use super::{Heard, Reader, transaction};
use crate::cfx::json::{get, objects, shortened, text};
use crate::cfx::settings::Signal;
use crate::cfx::tool::{Cleaning, Tool};
use crate::link::Trouble;

/// Most values kept of one wash.
const MOST_MEASURED: usize = 64;

type Body = Map<String, Value>;

impl Reader {
    pub(super) fn tools_loaded(&mut self, body: &Body, heard: &mut Heard) {
        for (code, _) in self.washed(body, heard) {
            if let Some(id) = transaction(body) {
                self.transactions.of(id).washed.insert(code.clone(), false);
            }
            heard.said.push(Said::WashBegan { code: Some(code), programme: None });
        }
    }

    /// What was measured belongs to the wash, which may be told to have passed here or only when
    /// the tools are taken out.
    pub(super) fn tools_cleaned(&mut self, body: &Body, heard: &mut Heard) {
        let tools = self.washed(body, heard);
        if !self.reads(Signal::Washes) {
            return;
        }
        let measured = measured(body);
        if let Some(id) = transaction(body) {
            self.transactions.of(id).measured.clone_from(&measured);
        }
        for (code, cleaning) in tools {
            if cleaning == Cleaning::Cleaned && !self.told_clean(body, &code) {
                heard.said.push(ended(code, WashOutcome::Passed, measured.clone()));
            }
        }
    }

    pub(super) fn tools_unloaded(&mut self, body: &Body, heard: &mut Heard) {
        for (code, cleaning) in self.washed(body, heard) {
            let before = transaction(body).map(|id| self.transactions.of(id));
            let measured = before.map(|wash| wash.measured.clone()).unwrap_or_default();
            let outcome = match cleaning {
                Cleaning::Cleaned if self.told_clean(body, &code) => continue,
                Cleaning::Cleaned => WashOutcome::Passed,
                Cleaning::NotCleaned => {
                    self.not_clean(body, &code);
                    WashOutcome::Failed
                }
                // It was told as clean a moment ago, and this takes nothing back.
                Cleaning::Unknown if self.was_clean(body, &code) => continue,
                Cleaning::Unknown => {
                    let why = format!(
                        "ToolsUnloaded does not say whether {code} was cleaned, so it was not: see \
                         that the washer fills in CleaningState"
                    );
                    heard.trouble(Trouble::Missing, why);
                    WashOutcome::Aborted
                }
            };
            heard.said.push(ended(code, outcome, measured));
        }
    }

    /// The stencils of a message, with what it says of each.
    fn washed(&self, body: &Body, heard: &mut Heard) -> Vec<(StencilCode, Cleaning)> {
        let mut washed = Vec::new();
        if !self.reads(Signal::Washes) {
            return washed;
        }
        for tool in objects(body, "Tools") {
            let read = Tool::read(tool, &self.settings).and_then(Tool::stencil);
            if let Some(Some(code)) = heard.take(read) {
                washed.push((code, Cleaning::read(tool)));
            }
        }
        washed
    }

    /// Whether it was told before that this wash has passed; from now on it was.
    fn told_clean(&mut self, body: &Body, code: &StencilCode) -> bool {
        let id = transaction(body);
        id.is_some_and(|id| {
            let before = self.transactions.of(id).washed.insert(code.clone(), true);
            before == Some(true)
        })
    }

    fn not_clean(&mut self, body: &Body, code: &StencilCode) {
        if let Some(id) = transaction(body) {
            self.transactions.of(id).washed.insert(code.clone(), false);
        }
    }

    fn was_clean(&mut self, body: &Body, code: &StencilCode) -> bool {
        let id = transaction(body);
        id.is_some_and(|id| self.transactions.of(id).washed.get(code) == Some(&true))
    }
}

fn ended(code: StencilCode, outcome: WashOutcome, measured: Vec<Measurement>) -> Said {
    Said::WashEnded { code: Some(code), programme: None, outcome, measured }
}

/// The readings of all steps, each under its step's name.
fn measured(body: &Body) -> Vec<Measurement> {
    let steps = objects(body, "CleaningSteps");
    let readings = steps.flat_map(|step| {
        let step_name = text(step, "CleaningStepType").unwrap_or("Step");
        let lasted = get(step, "CleaningStepTime").and_then(Value::as_f64);
        let lasted = lasted.map(|value| measurement(step_name, "Time", value));
        let values = objects(step, "Readings").filter_map(move |reading| {
            let quantity = text(reading, "ReadingType")?;
            Some(measurement(step_name, quantity, get(reading, "ReadingValue")?.as_f64()?))
        });
        lasted.into_iter().chain(values)
    });
    readings.filter(|measured| measured.value.is_finite()).take(MOST_MEASURED).collect()
}

fn measurement(step: &str, quantity: &str, value: f64) -> Measurement {
    let plain = |text: &str| shortened(text).trim_matches('"').to_owned();
    let unit = unit(quantity).to_owned();
    Measurement { quantity: format!("{} {}", plain(step), plain(quantity)), value, unit }
}

/// The unit of a reading (`CFX/Structures/Cleaning/ReadingType.cs`); empty where it is not known.
fn unit(quantity: &str) -> &'static str {
    let about = |words: &[&str]| words.iter().any(|word| quantity.contains(word));
    match quantity {
        "Time" => "s",
        _ if about(&["Pressure", "Vacuum"]) => "Pa",
        _ if about(&["Volume", "RefreshWaterAmount"]) => "l",
        _ if about(&["Concentration", "Saturation"]) => "%",
        _ if about(&["Conductivity"]) => "µS/cm",
        _ if about(&["FlowRate"]) => "l/min",
        _ if about(&["Temperature"]) => "°C",
        _ if about(&["UltrasonicPower"]) => "W",
        _ if about(&["VFDFrequency"]) => "Hz",
        _ => "",
    }
}
