//! How well the alarms serve those who see to them.

use std::collections::BTreeMap;

use stencilward_domain::alarm::{AlarmId, AlarmState};
use stencilward_domain::event::{AlarmEvent, AlarmMoved, Event, Position};
use stencilward_domain::time::Timestamp;

use super::figure::Value;
use super::heard::Heard;
use super::table::{Column, Table, Unit};
use super::{Asked, Figure, Positions, Review};
use crate::alarms::{Counted, Measures, Spell, measures, ratio};

const COLUMNS: &[Column] = &[
    ("measure", Unit::None),
    ("of", Unit::None),
    ("value", Unit::None),
    ("unit", Unit::None),
    ("guide", Unit::None),
];

/// What was told, and until when it stood.
#[derive(Debug, Default)]
pub(super) struct Alarms {
    spells: Vec<Spell>,
    standing: BTreeMap<AlarmId, usize>,
    begun: Option<Timestamp>,
}

impl Alarms {
    pub(super) fn hear(&mut self, heard: &Heard<'_>) {
        self.begun.get_or_insert(heard.time);
        let Event::Alarm(AlarmEvent::Moved(moved)) = heard.event() else {
            return;
        };
        if moved.change.by().is_some()
            && let Some(spell) = self.standing(&moved.id)
        {
            spell.acted = true;
        }
        if !moved.to.is_active() {
            if let Some(spell) = self.standing(&moved.id) {
                spell.gone = Some(heard.time);
            }
            self.standing.remove(&moved.id);
        }
        if moved.to == AlarmState::Unacknowledged {
            self.tell(moved, heard.recorded.position, heard.time);
        }
    }

    fn standing(&mut self, id: &AlarmId) -> Option<&mut Spell> {
        let index = *self.standing.get(id)?;
        self.spells.get_mut(index)
    }

    /// Told again while it stands, it goes on standing: the new spell begins with the old one's
    /// end.
    fn tell(&mut self, moved: &AlarmMoved, told: Position, at: Timestamp) {
        let Some(raised) = &moved.raised else {
            return;
        };
        let mut since = at;
        if let Some(before) = self.standing(&moved.id) {
            (before.gone, before.again, since) = (Some(at), true, before.since);
        }
        self.standing.insert(moved.id.clone(), self.spells.len());
        let (id, priority) = (moved.id.clone(), raised.priority);
        self.spells.push(Spell {
            id,
            told,
            at,
            since,
            priority,
            gone: None,
            again: false,
            acted: false,
        });
    }

    /// Measures of what was told since then, or since the first event if that is later.
    pub(super) fn since(&self, from: Timestamp, now: Timestamp, operators: u32) -> Measures {
        let from = self.begun.map_or(from, |begun| begun.max(from)).min(now);
        measures(&self.spells, (from, Timestamp(now.0.saturating_add(1))), operators)
    }

    pub(super) fn table(&self, review: &Review, asked: &Asked) -> Table {
        let period = review.period();
        let from = period.from.or(self.begun).unwrap_or(asked.now);
        let last = period.to.map_or(asked.now, |to| to.min(asked.now));
        let to = Timestamp(last.0.saturating_add(1));
        let operators = review.setup().plant.policy.alarms.operators;
        let measured = measures(&self.spells, (from, to), operators);
        let mut notes = vec![format!(
            "Rates are for each of {operators} operators (policy.alarms.operators). Periods of \
                 ten minutes and hours are counted from the beginning. Guides: ISA-18.2 and IEC \
                 62682, from memory; peak and mix of three: EEMUA 191, second hand."
        )];
        if measured.days < 30.0 {
            notes.push(format!(
                "Measured over {:.1} days; the standards ask for at least 30.",
                measured.days
            ));
        }
        Table {
            name: "alarms",
            about: "How well the alarms serve those who see to them.",
            columns: COLUMNS,
            rows: if self.spells.is_empty() { Vec::new() } else { rows(&measured, review) },
            notes,
            nothing: "No alarm was told.",
        }
    }
}

fn rows(measured: &Measures, review: &Review) -> Vec<Vec<Figure>> {
    let row = |measure: &str, of: Option<String>, value: String, unit: &str, guide: &str| {
        let guide = (!guide.is_empty()).then_some(guide);
        vec![
            Figure::text(measure),
            Figure::maybe(of),
            Figure::text(&value),
            Figure::text(unit),
            Figure::maybe(guide),
        ]
    };
    let plain = |measure: &str, value: f64, guide: &str| {
        row(measure, None, format!("{value:.2}"), "alarms", guide)
    };
    let share =
        |measure: &str, value: f64, guide: &str| row(measure, None, percent(value), "%", guide);
    let counted = |measure: &str, counted: &Counted, guide: &str| {
        citing(row(measure, None, counted.count.to_string(), "alarms", guide), counted, review)
    };
    let mut rows = vec![
        counted("told", &measured.told, ""),
        plain("average in 10 minutes", measured.per_ten_minutes, "1, at most 2"),
        plain("average in an hour", measured.per_hour, "6, at most 12"),
        plain("average in a day", measured.per_day, "150, at most 300"),
        plain("most in 10 minutes", measured.peak, "at most 10"),
        share("10 minutes with more than 10", measured.full_periods, "below 1"),
        share("hours with more than 30", measured.full_hours, "below 1"),
        row("floods", None, measured.floods.to_string(), "floods", ""),
        share("time in flood", measured.in_flood, "below 1"),
        counted("chattering", &measured.chattering, "0"),
        counted("fleeting", &measured.fleeting, "0"),
        counted("stale: longer than a day", &measured.stale, "fewer than 5 on any day"),
        share("share of the ten told most", measured.top_share, "below 5"),
    ];
    let guides = ["about 80", "about 15", "about 5", "below 1"];
    for ((priority, told), guide) in measured.mix.iter().zip(guides) {
        let value = percent(ratio(told.count, measured.told.count));
        let of = Some(priority.as_str().to_owned());
        rows.push(citing(row("priority", of, value, "%", guide), told, review));
    }
    for (id, told) in &measured.top {
        let (of, value) = (Some(id.to_string()), told.count.to_string());
        rows.push(citing(row("told most", of, value, "alarms", ""), told, review));
    }
    rows
}

fn percent(share: f64) -> String {
    format!("{:.2}", share * 100.0)
}

/// The row, its value coming from these events.
fn citing(mut row: Vec<Figure>, counted: &Counted, review: &Review) -> Vec<Figure> {
    if let Some(value) = row.get_mut(2).filter(|_| review.traced) {
        let events: Positions = counted.events.iter().copied().collect();
        let told = Figure::of(Value::clone(&value.value)).citing_all(&events);
        *value = told;
    }
    row
}
