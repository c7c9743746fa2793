//! What names, texts, numbers and words look like in the document, where the domain says what they
//! are.

use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use stencilward_domain::alarm::{AlarmKind, AlarmState, Priority};
use stencilward_domain::decision::Rule;
use stencilward_domain::event::Role;
use stencilward_domain::names::LONGEST_NAME;
use stencilward_domain::stencil::Cleanliness;
use stencilward_domain::wear::WearBand;

use crate::said::{LAST_MOMENT, LONGEST_TEXT, MOST};

/// A character that is neither a space nor a control character, wherever it stands.
const SEEN: &str = r"^[^\u0000-\u001f\u007f-\u009f]*[^\s\u0000-\u001f\u007f-\u009f][^\u0000-\u001f\u007f-\u009f]*$";

macro_rules! shape {
    ($(#[doc = $doc:literal])+ $name:ident, $generator:ident, $schema:expr) => {
        $(#[doc = $doc])+
        pub(crate) struct $name;

        impl JsonSchema for $name {
            fn schema_name() -> Cow<'static, str> {
                stringify!($name).into()
            }

            fn json_schema($generator: &mut SchemaGenerator) -> Schema {
                let mut schema: Schema = $schema;
                let about = concat!($($doc),+).trim();
                schema.insert("description".to_owned(), about.into());
                schema
            }
        }
    };
}

macro_rules! words {
    ($(#[doc = $doc:literal])+ $name:ident, $words:expr) => {
        shape!($(#[doc = $doc])+ $name, _generator, {
            json_schema!({ "type": "string", "enum": $words })
        });
    };
}

shape!(
    /// A name: of a stencil, machine, slot, order or product. Spaces around it do not count.
    Name,
    _generator,
    json_schema!({ "type": "string", "minLength": 1, "maxLength": LONGEST_NAME, "pattern": SEEN })
);
shape!(
    /// A text that a person wrote.
    Text,
    _generator,
    json_schema!({ "type": "string", "minLength": 1, "maxLength": LONGEST_TEXT, "pattern": r"\S" })
);
shape!(
    /// A number of strokes, boards or minutes.
    Count,
    _generator,
    json_schema!({ "type": "integer", "minimum": 0, "maximum": MOST })
);
shape!(
    /// At least one of something.
    OneOrMore,
    _generator,
    json_schema!({ "type": "integer", "minimum": 1, "maximum": MOST })
);
shape!(
    /// A moment, in milliseconds since 1970-01-01T00:00:00Z.
    Moment,
    _generator,
    json_schema!({ "type": "integer", "minimum": 0, "maximum": LAST_MOMENT })
);
shape!(
    /// The number of an event in the ledger, from 1.
    EventNumber,
    _generator,
    json_schema!({ "type": "integer", "minimum": 0 })
);
shape!(
    /// Where a stencil is: `slot` with `rack` and `slot`, `printer` and `washer` with `machine`,
    /// `in-hand`, or `unknown`.
    PlaceShape,
    generator,
    {
        let name = generator.subschema_for::<Name>();
        json_schema!({
            "type": "object",
            "required": ["place"],
            "properties": {
                "place": { "enum": ["slot", "printer", "washer", "in-hand", "unknown"] },
                "rack": name, "slot": name, "machine": name,
            },
        })
    }
);
shape!(
    /// What an alarm is about: `of` says what kind of thing.
    SubjectShape,
    _generator,
    json_schema!({
        "type": "object",
        "required": ["of"],
        "properties": { "of": { "type": "string" } },
    })
);
shape!(
    /// A signal as it came from a machine: `signal` says which kind.
    SignalShape,
    _generator,
    json_schema!({
        "type": "object",
        "required": ["signal"],
        "properties": { "signal": { "type": "string" } },
    })
);
shape!(
    /// What happened to an alarm.
    HappenedShape,
    _generator,
    json_schema!({ "type": ["object", "string"] })
);

words!(
    /// What a person or program may do: each may what those before it may.
    RoleWord,
    Role::ALL.map(Role::as_str)
);
words!(
    /// Whether a stencil is clean.
    CleanlinessWord,
    Cleanliness::ALL.map(Cleanliness::as_str)
);
words!(
    /// How far a stencil is worn.
    WearBandWord,
    WearBand::ALL.map(WearBand::as_str)
);
words!(
    /// Whether a stencil may be used at all.
    StandingWord,
    ["released", "on-hold", "concession", "retired"]
);
words!(
    /// The side of the board.
    SideWord,
    ["top", "bottom"]
);
words!(
    /// What is asked of a stencil.
    RuleWord,
    Rule::ALL.map(Rule::as_str)
);
words!(
    /// How a wash ended.
    OutcomeWord,
    ["passed", "failed", "aborted"]
);
words!(
    /// What a machine is.
    MachineKindWord,
    ["printer", "washer", "rack", "other"]
);
words!(
    /// Whether the link to a machine works.
    LinkWord,
    ["never-up", "up", "down"]
);
words!(
    /// What a machine does.
    MachineStateWord,
    ["running", "idle", "set-up", "down", "unknown"]
);
words!(
    /// How urgent an alarm is.
    PriorityWord,
    Priority::ALL.map(Priority::as_str)
);
words!(
    /// The state of an alarm.
    AlarmStateWord,
    AlarmState::ALL.map(AlarmState::as_str)
);
words!(
    /// The kind of an alarm.
    AlarmKindWord,
    AlarmKind::ALL.map(AlarmKind::as_str)
);
words!(
    /// How a list is written.
    FormWord,
    ["csv", "jsonl"]
);
