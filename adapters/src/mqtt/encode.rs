//! From signals and decisions to payloads: the inverse of `decode`, and our answers.

use serde_json::{Map, Value, json};
use stencilward_domain::decision::Decision;
use stencilward_domain::signal::{MachineState, OrderSpec, Said, WashOutcome};

use super::settings::{Message, Output, Signal};

/// The answer to a question, as JSON:
/// `{"request", "rule", "stencil", "slot", "permitted", "reasons": [{"code", "sentence", "because"}]}`.
pub(super) fn answer(request: Option<&str>, decision: &Decision) -> Vec<u8> {
    json!({
        "request": request,
        "rule": decision.rule,
        "stencil": decision.stencil,
        "slot": decision.slot,
        "permitted": decision.permitted(),
        "reasons": decision.told_reasons(),
    })
    .to_string()
    .into_bytes()
}

/// A command: the payload of the settings, with its number where they want one in it.
pub(super) fn command(output: &Output, permits: bool, number: u64) -> Vec<u8> {
    let word = output.word(permits);
    let numbered = output.number.as_deref().and_then(|pointer| {
        let mut json: Value = serde_json::from_str(word).ok()?;
        set(&mut json, pointer, number.into());
        Some(json.to_string())
    });
    numbered.unwrap_or_else(|| word.to_owned()).into_bytes()
}

/// True when a machine says this by messages of this entry.
pub(super) fn says(entry: &Message, said: &Said) -> bool {
    match said {
        Said::CounterRead { counter, .. } => {
            matches!(entry.signal, Signal::StrokeTotal | Signal::WipeTotal)
                && entry.counter_name() == counter.as_str()
        }
        Said::MessageNumbered { .. } => false,
        _ => entry.signal == signal_of(said),
    }
}

fn signal_of(said: &Said) -> Signal {
    match said {
        Said::LinkUp { .. } | Said::LinkLost { .. } => Signal::Link,
        Said::CounterRead { .. } => Signal::StrokeTotal,
        Said::StrokesDone { .. } => Signal::StrokesDone,
        Said::WipesDone { .. } => Signal::WipesDone,
        Said::Seated { .. } => Signal::StencilSeated,
        Said::Removed => Signal::StencilRemoved,
        Said::WashBegan { .. } => Signal::WashBegan,
        Said::WashEnded { .. } => Signal::WashEnded,
        Said::SlotOccupied { .. } => Signal::SlotOccupied,
        Said::SlotEmptied { .. } => Signal::SlotEmptied,
        Said::StoreAsked { .. } => Signal::StoreAsked,
        Said::TakeAsked { .. } => Signal::TakeAsked,
        Said::State { .. } => Signal::MachineState,
        Said::FaultRaised { .. } | Said::FaultEnded { .. } => Signal::Fault,
        Said::Measured { .. } | Said::MessageNumbered { .. } => Signal::Measured,
        Said::OrderReleased(_) => Signal::OrderReleased,
        Said::OrderStarted(_) => Signal::OrderStarted,
        Said::OrderFinished { .. } => Signal::OrderFinished,
        Said::BoardsCounted { .. } => Signal::BoardsCounted,
    }
}

/// As the machine writes it.
fn unscaled(value: f64, scale: Option<f64>, offset: Option<f64>) -> f64 {
    (value - offset.unwrap_or(0.0)) / scale.unwrap_or(1.0)
}

/// A payload in the making.
struct Draft {
    json: Value,
    whole: Option<String>,
    /// The levels of the topic that have a name.
    levels: Vec<(String, String)>,
}

impl Draft {
    /// Puts a value where the pointer points; without a pointer it is the whole payload.
    fn put(&mut self, pointer: Option<&String>, value: impl Into<Value>) {
        let value = value.into();
        match (pointer, value) {
            (Some(pointer), value) => self.set(pointer, value),
            (None, Value::String(text)) => self.whole = Some(text),
            (None, value) => self.whole = Some(value.to_string()),
        }
    }

    /// Puts a value only where a pointer says so.
    fn may_put(&mut self, pointer: Option<&String>, value: Option<impl Into<Value>>) {
        if let (Some(pointer), Some(value)) = (pointer, value) {
            self.set(pointer, value.into());
        }
    }

    fn set(&mut self, pointer: &str, value: Value) {
        match pointer.strip_prefix('{').and_then(|rest| rest.strip_suffix('}')) {
            Some(level) => {
                let value = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
                self.levels.push((level.to_owned(), value));
            }
            None => set(&mut self.json, pointer, value),
        }
    }

    /// The topic of the settings with every level filled in.
    fn topic(&self, settings: &str) -> String {
        let filled = settings.split('/').map(|level| {
            let named = self.levels.iter().find(|(name, _)| *level == format!("{{{name}}}"));
            match named {
                Some((_, value)) => value.replace(['/', '+', '#'], "-"),
                None if level.starts_with('{') || matches!(level, "+" | "#") => "any".to_owned(),
                None => level.to_owned(),
            }
        });
        filled.collect::<Vec<_>>().join("/")
    }
}

/// Sets the value at a JSON pointer (RFC 6901), making objects on the way.
fn set(json: &mut Value, pointer: &str, value: Value) {
    let mut place = json;
    for token in pointer.split('/').skip(1) {
        let token = token.replace("~1", "/").replace("~0", "~");
        if !place.is_object() {
            *place = Value::Object(Map::new());
        }
        let Value::Object(fields) = place else { return };
        place = fields.entry(token).or_insert(Value::Null);
    }
    *place = value;
}

/// A payload with one word where the pointer points.
pub(super) fn pointed(pointer: &str, word: &str) -> Vec<u8> {
    let mut json = Value::Null;
    set(&mut json, pointer, word.into());
    json.to_string().into_bytes()
}

/// An answer to the command of this number, with pointers to its word and to the number.
pub(super) fn answered(
    (value, number): (Option<&str>, Option<&str>),
    word: &str,
    given: u64,
) -> Vec<u8> {
    let Some(value) = value else { return word.as_bytes().to_vec() };
    let mut json = Value::Null;
    set(&mut json, value, word.into());
    if let Some(number) = number {
        set(&mut json, number, given.into());
    }
    json.to_string().into_bytes()
}

/// The topic and the payload by which a machine with these settings says this, of itself or of
/// another machine.
pub(super) fn message(
    entry: &Message,
    of: Option<&str>,
    said: &Said,
    identity: Option<&str>,
) -> (String, Vec<u8>) {
    let mut draft = Draft { json: Value::Object(Map::new()), whole: None, levels: Vec::new() };
    for (pointer, value) in &entry.when {
        draft.set(pointer, value.clone());
    }
    draft.may_put(entry.identity.as_ref(), identity);
    entry.write(&mut draft, said);
    draft.may_put(entry.machine.as_ref(), of);
    let topic = draft.topic(&entry.topic);
    (topic, draft.whole.unwrap_or_else(|| draft.json.to_string()).into_bytes())
}

impl Message {
    fn write(&self, draft: &mut Draft, said: &Said) {
        match said {
            Said::CounterRead { raw, .. } => draft.put(self.value.as_ref(), *raw),
            Said::StrokesDone { count }
            | Said::WipesDone { count }
            | Said::BoardsCounted { count } => draft.put(self.count.as_ref(), *count),
            Said::Seated { code } => draft.put(self.stencil.as_ref(), code.as_str()),
            Said::Removed => draft.may_put(self.stencil.as_ref(), Some(Value::Null)),
            Said::LinkUp { .. } => self.write_word(draft, self.up.first()),
            Said::LinkLost { .. } => self.write_word(draft, self.lost.first()),
            Said::SlotOccupied { slot, code } | Said::SlotEmptied { slot, code } => {
                draft.put(self.slot.as_ref(), slot.as_str());
                draft.may_put(self.stencil.as_ref(), code.as_ref().map(|code| code.as_str()));
            }
            Said::StoreAsked { code, slot } => {
                draft.put(self.stencil.as_ref(), code.as_str());
                draft.may_put(self.slot.as_ref(), slot.as_ref().map(|slot| slot.as_str()));
            }
            Said::TakeAsked { code, order, destination } => {
                draft.put(self.stencil.as_ref(), code.as_str());
                draft.may_put(self.order.as_ref(), order.as_ref().map(|order| order.as_str()));
                let destination = destination.as_ref().map(|machine| machine.as_str());
                draft.may_put(self.destination.as_ref(), destination);
            }
            Said::FaultRaised { code, text } => {
                draft.put(self.code.as_ref(), code.as_str());
                draft.may_put(self.text.as_ref(), Some(text.as_str()));
                draft.may_put(self.active.as_ref(), Some(true));
            }
            Said::FaultEnded { code } => {
                draft.put(self.code.as_ref(), code.as_str());
                draft.may_put(self.active.as_ref(), Some(false));
            }
            Said::State { state, word } => {
                let listed = self.state_word(*state).unwrap_or(word).clone();
                draft.put(self.value.as_ref(), listed);
            }
            Said::Measured { code, measurement } => {
                let value = unscaled(measurement.value, self.scale, self.offset);
                draft.put(self.value.as_ref(), value);
                draft.may_put(self.stencil.as_ref(), code.as_ref().map(|code| code.as_str()));
            }
            Said::OrderReleased(order) | Said::OrderStarted(order) => {
                self.write_order(draft, order)
            }
            Said::OrderFinished { order, made } => {
                draft.put(self.order.as_ref(), order.as_str());
                draft.may_put(self.made.as_ref(), *made);
            }
            Said::WashBegan { .. } | Said::WashEnded { .. } => self.write_wash(draft, said),
            Said::MessageNumbered { number, .. } => {
                draft.may_put(self.sequence.as_ref(), Some(*number))
            }
        }
    }

    fn write_wash(&self, draft: &mut Draft, said: &Said) {
        let (Said::WashBegan { code, programme } | Said::WashEnded { code, programme, .. }) = said
        else {
            return;
        };
        draft.may_put(self.stencil.as_ref(), code.as_ref().map(|code| code.as_str()));
        draft.may_put(self.programme.as_ref(), programme.as_deref());
        if let Said::WashEnded { outcome, measured, .. } = said {
            draft.put(self.outcome.as_ref(), self.outcome_word(*outcome));
            for value in measured {
                let place = self.measured.iter().find(|m| m.quantity == value.quantity);
                let (scale, offset) = place.map_or((None, None), |m| (m.scale, m.offset));
                let raw = unscaled(value.value, scale, offset);
                draft.may_put(place.map(|measures| &measures.at), Some(raw));
            }
        }
    }

    fn write_order(&self, draft: &mut Draft, order: &OrderSpec) {
        draft.put(self.order.as_ref(), order.order.as_str());
        draft.may_put(self.product.as_ref(), order.product.as_ref().map(|p| p.as_str()));
        draft.may_put(self.side.as_ref(), order.side.map(|side| side.as_str()));
        draft.may_put(self.revision.as_ref(), order.revision.as_deref());
        draft.may_put(self.boards.as_ref(), order.quantity);
        draft.may_put(self.panels_per_stroke.as_ref(), order.panels_per_stroke);
        draft.may_put(self.strokes_per_panel.as_ref(), order.strokes_per_panel);
        draft.may_put(self.setup_strokes.as_ref(), order.setup_strokes);
        let stencils: Vec<&str> = order.stencils.iter().map(|code| code.as_str()).collect();
        draft.may_put(self.stencils.as_ref(), (!stencils.is_empty()).then_some(stencils));
    }

    fn write_word(&self, draft: &mut Draft, word: Option<&String>) {
        draft.put(self.value.as_ref(), word.cloned().unwrap_or_default());
    }

    fn outcome_word(&self, outcome: WashOutcome) -> String {
        let listed =
            self.outcomes.iter().find(|(_, listed)| WashOutcome::from(**listed) == outcome);
        listed.map_or_else(|| outcome.as_str().to_owned(), |(word, _)| word.clone())
    }

    fn state_word(&self, state: MachineState) -> Option<&String> {
        let listed = self.states.iter().find(|(_, listed)| MachineState::from(**listed) == state);
        listed.map(|(word, _)| word)
    }
}
