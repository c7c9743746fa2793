//! The MQTT part of the configuration: brokers, and what a machine's messages mean.

use std::collections::BTreeMap;
use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::names::{CounterName, OutputName};
use stencilward_domain::plant::Counted;

use crate::settings::{Drive, Span, Tally};

/// An MQTT broker that machines speak through.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Broker {
    /// The name that machines refer to it by.
    pub name: String,
    /// Where it listens: host name or IP address, and port, such as `127.0.0.1:1883`.
    pub address: String,
    /// The client id; `-in` and `-out` are added for the two connections. No other client of
    /// this broker may have it, and it must stay the same: the broker keeps the messages that
    /// came while the gateway was away under it.
    pub client: String,
    /// Longest silence on a connection before a sign of life is asked for.
    #[serde(default = "ten_seconds")]
    pub keep_alive: Span,
    /// Largest message taken, in bytes.
    #[serde(default = "quarter_mebibyte")]
    #[schemars(range(min = 1024, max = 67_108_864))]
    pub largest_message: usize,
    /// The user name, where the broker asks for one.
    #[serde(default)]
    pub user: Option<String>,
    /// The file that holds the password. The password itself never stands in the configuration.
    #[serde(default)]
    pub password_file: Option<String>,
    /// The environment variable that holds the password.
    #[serde(default)]
    pub password_env: Option<String>,
}

fn ten_seconds() -> Span {
    Span(Duration::from_secs(10))
}

fn quarter_mebibyte() -> usize {
    256 * 1024
}

/// What a machine says over MQTT, and what the gateway publishes for it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Settings {
    /// The broker, by its name.
    pub broker: String,
    /// Its messages, and the signal each gives. Several entries may share a topic.
    #[serde(default)]
    pub messages: Vec<Message>,
    /// What the gateway publishes for it.
    #[serde(default)]
    pub outputs: Vec<Output>,
}

/// The signals a message can give.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Signal {
    /// A cumulative counter's value. Needs `width`; the total is at `value`.
    StrokeTotal,
    /// Strokes done since the last message. Needs `count`.
    StrokesDone,
    /// A cumulative counter of understencil wipes. Needs `width`; the total is at `value`.
    WipeTotal,
    /// Understencil wipes done since the last message. Needs `count`.
    WipesDone,
    /// The stencil in the machine. Needs `stencil`; null or empty means none.
    StencilSeated,
    /// No stencil is in the machine.
    StencilRemoved,
    /// A wash began.
    WashBegan,
    /// A wash ended. Needs `outcome` and `outcomes`.
    WashEnded,
    /// A slot holds a stencil. Needs `slot`.
    SlotOccupied,
    /// A slot is empty. Needs `slot`.
    SlotEmptied,
    /// May this stencil be stored? Needs `stencil`; the answer goes to `answer`.
    StoreAsked,
    /// May this stencil be taken? Needs `stencil`; the answer goes to `answer`.
    TakeAsked,
    /// What the machine is doing. Needs `states`; its own word is at `value`.
    MachineState,
    /// A fault. Needs `code` and `active`.
    Fault,
    /// The machine's own birth and death messages. Needs `up` and `lost`; the word is at `value`.
    Link,
    /// Something was measured. Needs `quantity` and `unit`; the number is at `value`.
    Measured,
    /// An order may be worked on. Needs `order`.
    OrderReleased,
    /// An order began at the machine. Needs `order`.
    OrderStarted,
    /// An order is done at the machine. Needs `order`.
    OrderFinished,
    /// Boards passed the machine. Needs `count`.
    BoardsCounted,
}

impl Signal {
    /// True when it is told as a number that is added up: a repeat would count twice.
    #[must_use]
    pub fn adds_up(self) -> bool {
        matches!(self, Self::StrokesDone | Self::WipesDone | Self::BoardsCounted)
    }
}

/// One kind of message. A field that begins with `/` is a JSON pointer (RFC 6901) into the
/// payload; without a pointer the whole payload is the text or number.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Message {
    /// The topic filter; `+` stands for one level, `#` for the rest.
    pub topic: String,
    /// The signal it gives.
    pub signal: Signal,
    /// The quality of service to subscribe with: 1 unless set. With 0 a message may be lost.
    #[serde(default = "once_at_least")]
    #[schemars(range(max = 2))]
    pub qos: u8,
    /// Only messages in which each of these pointers has this value.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub when: BTreeMap<String, serde_json::Value>,
    /// Pointer to the message's own identity, by which a repeat is recognised.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub identity: Option<String>,
    /// Pointer to the machine's time: RFC 3339 text, or seconds or milliseconds since 1970.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time: Option<String>,
    /// Pointer to the name of the machine it is about, when another one says it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine: Option<String>,
    /// Pointer to the total, word or number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    /// The counter's name: `strokes`, or `wipes` for a total of wipes, unless set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counter: Option<String>,
    /// Where the counter wraps: 16, 32 or 64 bits.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width: Option<u8>,
    /// Pointer to the number of strokes, wipes or boards.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub count: Option<String>,
    /// Pointer to the stencil's code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stencil: Option<String>,
    /// Pointer to the slot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub slot: Option<String>,
    /// Pointer to the order.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<String>,
    /// Pointer to the printer a stencil is taken for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub destination: Option<String>,
    /// Pointer to the wash programme.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub programme: Option<String>,
    /// Pointer to the word for how the wash ended.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outcome: Option<String>,
    /// The machine's word for each outcome: `passed`, `failed`, `aborted`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub outcomes: BTreeMap<String, Outcome>,
    /// Values the washer measured.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub measured: Vec<Measures>,
    /// The machine's word for each state: `running`, `idle`, `set-up`, `down`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub states: BTreeMap<String, State>,
    /// Pointer to the fault's code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub code: Option<String>,
    /// Pointer to the fault in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
    /// Pointer to true while the fault is present.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub active: Option<String>,
    /// Words that say the machine is there.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub up: Vec<String>,
    /// Words that say it is gone.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lost: Vec<String>,
    /// What is measured, such as `tension`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quantity: Option<String>,
    /// Its unit, such as `N/cm`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Pointer to the order's product.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub product: Option<String>,
    /// Pointer to the order's board side, `top` or `bottom`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub side: Option<String>,
    /// Pointer to the order's product revision.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revision: Option<String>,
    /// Pointer to the number of boards the order makes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub boards: Option<String>,
    /// Pointer to the number of boards that one print covers: those of a panel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub panels_per_stroke: Option<String>,
    /// Pointer to the squeegee strokes for one panel: 2 where it is printed twice.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub strokes_per_panel: Option<String>,
    /// Pointer to the strokes before the first board, such as kneading the paste.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub setup_strokes: Option<String>,
    /// Pointer to the stencils the order may be printed with: a list, or one text with spaces or
    /// commas between the codes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stencils: Option<String>,
    /// Pointer to the number of boards that were made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made: Option<String>,
    /// The topic that answers to a question are published on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub answer: Option<String>,
}

fn once_at_least() -> u8 {
    1
}

impl Message {
    /// The name of the counter whose total it tells.
    #[must_use]
    pub fn counter_name(&self) -> &str {
        let usual = if self.signal == Signal::WipeTotal { "wipes" } else { "strokes" };
        self.counter.as_deref().unwrap_or(usual)
    }

    fn counter(&self) -> Option<(CounterName, Counted)> {
        let counted = match self.signal {
            Signal::StrokeTotal => Counted::Strokes,
            Signal::WipeTotal => Counted::Wipes,
            _ => return None,
        };
        Some((CounterName::new(self.counter_name()).ok()?, counted))
    }
}

/// How a wash ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// The programme ran to its end and its own checks passed.
    Passed,
    /// The programme ran, and a check failed.
    Failed,
    /// The programme was stopped before its end.
    Aborted,
}

/// What a machine is doing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// Producing.
    Running,
    /// Ready and waiting.
    Idle,
    /// Being set up.
    SetUp,
    /// Stopped by a fault or by hand.
    Down,
}

/// One measured value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Measures {
    /// Pointer to the number.
    pub at: String,
    /// What it is, such as `resistivity`.
    pub quantity: String,
    /// Its unit, such as `MΩ·cm`.
    pub unit: String,
}

/// Something the gateway publishes so that a machine may go on, or knows the gateway is alive.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Output {
    /// Its name, as logs and metrics show it.
    pub name: String,
    /// What it follows.
    pub drive: Drive,
    /// The topic it is published on.
    pub topic: String,
    /// The payload that lets the machine go on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub permit: Option<String>,
    /// The payload that does not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refuse: Option<String>,
    /// The topic on which the machine tells its real state, with the same two words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read_back: Option<String>,
    /// Pointer to that word in the read-back's payload; without it, the whole payload.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    /// Whether the broker keeps the last value for a machine that comes later: true unless set.
    #[serde(default = "yes")]
    pub retain: bool,
}

fn yes() -> bool {
    true
}

impl Settings {
    /// The outputs by name, with what each follows.
    #[must_use]
    pub fn outputs(&self) -> Vec<(OutputName, Drive)> {
        let named = |output: &Output| Some((OutputName::new(&output.name).ok()?, output.drive));
        self.outputs.iter().filter_map(named).collect()
    }

    /// True when the machine says by itself which stencil is in it.
    #[must_use]
    pub fn names_stencil(&self) -> bool {
        self.gives(Signal::StencilSeated)
    }

    /// What it tells of its own strokes, wipes and orders, or of those it counts.
    #[must_use]
    pub fn tally(&self) -> Tally {
        tally(self.messages.iter().filter(|message| message.machine.is_none()))
    }

    /// What it tells of machines that its messages name.
    #[must_use]
    pub fn tally_of_others(&self) -> Tally {
        tally(self.messages.iter().filter(|message| message.machine.is_some()))
    }

    /// True when its own birth and death messages say whether it is there.
    #[must_use]
    pub fn tells_its_link(&self) -> bool {
        self.gives(Signal::Link)
    }

    fn gives(&self, signal: Signal) -> bool {
        self.messages.iter().any(|message| message.signal == signal && message.machine.is_none())
    }
}

fn tally<'m>(messages: impl Iterator<Item = &'m Message>) -> Tally {
    let mut tally = Tally::default();
    for message in messages {
        match message.signal {
            Signal::StrokeTotal | Signal::WipeTotal => tally.counters.extend(message.counter()),
            Signal::StrokesDone => tally.strokes = true,
            Signal::WipesDone => tally.wipes = true,
            Signal::OrderStarted | Signal::OrderFinished | Signal::BoardsCounted => {
                tally.orders = true;
            }
            _ => {}
        }
    }
    tally
}
