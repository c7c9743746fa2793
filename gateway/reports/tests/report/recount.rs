//! Counts every kind of figure again, from the events it cites and nothing else.

use std::collections::BTreeMap;

use stencilward_domain::event::{Event, Recorded, StencilSpec};
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::WashOutcome;
use stencilward_reports::report::Value;

/// The events that a figure cites, and the row it is in.
pub(crate) struct Cited<'a> {
    pub(crate) events: Vec<&'a Recorded>,
    /// The words of the row, by column.
    pub(crate) row: BTreeMap<&'a str, &'a Value>,
}

fn of(count: u64) -> i128 {
    i128::from(count)
}

/// Strokes that one event adds to its stencil.
fn strokes(event: &Event) -> i128 {
    match event {
        Event::StencilRegistered { starting_strokes, .. } => of(*starting_strokes),
        Event::StrokesBooked { count, .. } | Event::StrokesAssigned { count, .. } => of(*count),
        Event::StrokesCorrected { was, is, .. } => of(*is) - of(*was),
        _ => 0,
    }
}

fn before(event: &Event) -> i128 {
    match event {
        Event::StencilRegistered { .. } | Event::StrokesCorrected { machine: None, .. } => {
            strokes(event)
        }
        _ => 0,
    }
}

/// Strokes that one event leaves to nobody, or takes from there.
fn open(event: &Event) -> i128 {
    match event {
        Event::StrokesUnattributed { count, .. } => of(*count),
        Event::StrokesAssigned { count, .. } | Event::StrokesWrittenOff { count, .. } => {
            -of(*count)
        }
        _ => 0,
    }
}

fn washes(event: &Event) -> i128 {
    match event {
        Event::WashEnded { outcome: WashOutcome::Passed, .. } => 1,
        Event::WashAnnulled { .. } => -1,
        _ => 0,
    }
}

fn wipes(event: &Event) -> i128 {
    if let Event::WipesCounted { count, .. } = event { of(*count) } else { 0 }
}

fn spec(event: &Event) -> Option<&StencilSpec> {
    match event {
        Event::StencilRegistered { spec, .. } | Event::StencilRevised { spec, .. } => Some(spec),
        _ => None,
    }
}

impl Cited<'_> {
    fn sum(&self, each: impl Fn(&Event) -> i128) -> Value {
        Value::Count(self.total(each))
    }

    fn total(&self, each: impl Fn(&Event) -> i128) -> i128 {
        self.events.iter().map(|recorded| each(&recorded.fact.event)).sum()
    }

    /// The sum in order, where nothing is less than none.
    fn since_wash(&self) -> Value {
        let sum = self.events.iter().fold(0, |sum, recorded| {
            let washed = washes(&recorded.fact.event) > 0;
            if washed { 0 } else { (sum + strokes(&recorded.fact.event)).max(0) }
        });
        Value::Count(sum)
    }

    fn last_spec(&self) -> &StencilSpec {
        let mut specs = self.events.iter().rev().filter_map(|r| spec(&r.fact.event));
        specs.next().expect("cites what the stencil is")
    }

    fn specs(&self) -> BTreeMap<&StencilCode, &StencilSpec> {
        let specs = self.events.iter().filter_map(|r| spec(&r.fact.event));
        specs.map(|spec| (&spec.stencil, spec)).collect()
    }

    fn only(&self) -> &Recorded {
        assert_eq!(self.events.len(), 1, "one event says it");
        self.events[0]
    }

    fn word(&self, column: &str) -> &str {
        match self.row[column] {
            Value::Text(word) => word,
            other => panic!("{column} is {other:?}"),
        }
    }

    /// Per cent of the rated strokes or washes, in hundredths, whichever is more.
    fn life(&self) -> Value {
        let spec = self.last_spec();
        let share =
            |used: i128, rated: u64| (used as f64 / rated as f64 * 10_000.0).round() as i128;
        let by_strokes = share(self.total(strokes), spec.rated_strokes);
        let by_washes = spec.rated_washes.map_or(0, |rated| share(self.total(washes), rated));
        Value::Centi(by_strokes.max(by_washes))
    }

    /// Currency for a thousand strokes at 3.50 for a wash: the price over `over` strokes, the
    /// washes over those counted. Each rounded for itself.
    fn cost(&self, over: impl Fn(&Self) -> i128) -> Value {
        let prices: Option<u64> = self.specs().values().map(|spec| spec.price_centi).sum();
        let counted = self.total(strokes) - self.total(before);
        let (washes, over) = (self.total(washes).max(0), over(self));
        let Some(price) = prices.filter(|_| over > 0 && (washes == 0 || counted > 0)) else {
            return Value::Nothing;
        };
        let bought = (price as f64 * 1_000.0 / over as f64).round();
        let washed = if washes == 0 { 0.0 } else { washes as f64 * 350_000.0 / counted as f64 };
        Value::Centi((bought + washed.round()) as i128)
    }

    fn left(&self) -> Value {
        let each = self.specs().into_iter().map(|(code, spec)| {
            let own = self.events.iter().filter(|recorded| {
                recorded.fact.event.stream().to_string() == format!("stencil/{code}")
            });
            let made: i128 = own.map(|recorded| strokes(&recorded.fact.event)).sum();
            (of(spec.rated_strokes) - made).max(0)
        });
        Value::Count(each.sum())
    }

    fn refusals(&self) -> Value {
        let (rule, reason) = (self.word("rule"), self.word("reason"));
        self.sum(|event| match event {
            Event::Decided { decision, .. } if decision.rule.as_str() == rule => {
                let codes = decision.reasons.iter().map(|cause| cause.reason.code());
                i128::from(codes.clone().any(|code| code == reason))
            }
            _ => 0,
        })
    }

    fn ended(&self, wanted: WashOutcome) -> Value {
        self.sum(|event| match event {
            Event::WashEnded { outcome, .. } => i128::from(*outcome == wanted),
            _ => 0,
        })
    }

    fn corrected(&self, is: bool) -> Value {
        match &self.only().fact.event {
            Event::StrokesAssigned { count, .. } => Value::Count(if is { of(*count) } else { 0 }),
            Event::StrokesWrittenOff { count, .. } => Value::Count(if is { 0 } else { of(*count) }),
            Event::StrokesCorrected { was, is: now, .. } => {
                Value::Count(of(if is { *now } else { *was }))
            }
            _ => Value::Nothing,
        }
    }

    fn granted(&self, column: &str) -> Value {
        let Event::ConcessionGranted { strokes, valid_until, .. } = &self.only().fact.event else {
            panic!("{column} is said by something else")
        };
        match column {
            "allowed" => Value::Count(of(*strokes)),
            _ => valid_until.map_or(Value::Nothing, Value::Time),
        }
    }

    /// The value of a figure of `table` and `column`; none where its value is a name or a word.
    pub(crate) fn again(&self, table: &str, column: &str) -> Option<Value> {
        Some(match (table, column) {
            (_, "event" | "concession" | "corrects" | "taken" | "print-decision") => {
                Value::Event(self.only().position)
            }
            ("lines" | "orders", "strokes")
                if self.row.get("stencil") == Some(&&Value::Nothing) =>
            {
                self.sum(open)
            }
            ("orders", "since-wash") | ("wear", "since-wash") => self.since_wash(),
            (_, "strokes" | "booked" | "assigned" | "corrected") => self.sum(strokes),
            ("wear" | "cost", "rated") => Value::Count(of(self.last_spec().rated_strokes)),
            (_, "rated-washes") => Value::Count(of(self.last_spec().rated_washes?)),
            (_, "life") => self.life(),
            (_, "wipes") => self.sum(wipes),
            (_, "washes") => self.sum(washes),
            (_, "price") => Value::Centi(of(self.last_spec().price_centi?)),
            ("wear" | "cost" | "products", "cost") => self.cost(|cited| cited.total(strokes)),
            (_, "cost-if-used-up") => self.cost(|cited| of(cited.last_spec().rated_strokes)),
            (_, "wash-cost") => Value::Centi(self.total(washes) * 350),
            (_, "before") => self.sum(before),
            (_, "counted") => self.sum(|event| strokes(event) - before(event)),
            (_, "unattributed" | "told-of") => self.sum(|event| open(event).max(0)),
            (_, "still-open" | "open") => self.sum(open),
            (_, "written-off") => self.sum(|event| -open(event)),
            (_, "checked") => self.sum(|event| match event {
                Event::StrokesChecked { count, .. } => of(*count),
                _ => 0,
            }),
            (_, "passed") => self.ended(WashOutcome::Passed),
            (_, "failed") => self.ended(WashOutcome::Failed),
            (_, "aborted") => self.ended(WashOutcome::Aborted),
            (_, "annulled") => self.sum(|event| -washes(event)),
            (_, "refusals") => self.refusals(),
            (_, "used" | "made") => self.since_wash(),
            ("concessions", "allowed" | "until") => self.granted(column),
            ("products" | "bands", "stencils" | "in-service" | "reorder" | "stopped") => {
                Value::Count(i128::try_from(self.events.len()).ok()?)
            }
            (_, "strokes-left") => self.left(),
            (_, "was") => self.corrected(false),
            (_, "is") => self.corrected(true),
            (_, "boards") => match &self.only().fact.event {
                Event::OrderStarted { spec, .. } | Event::OrderReleased { spec, .. } => {
                    Value::Count(of(spec.quantity?))
                }
                _ => panic!("boards are said by something else"),
            },
            (_, "tension") => match &self.only().fact.event {
                Event::Measured { measurement, .. } => {
                    Value::Centi((measurement.value * 100.0).round() as i128)
                }
                _ => panic!("a tension is measured"),
            },
            ("unattributed", "since") => match &self.only().fact.event {
                Event::StrokesUnattributed { since, .. } => Value::Time(*since),
                _ => panic!("open strokes are told of"),
            },
            (_, "at" | "until" | "granted" | "started" | "finished" | "last" | "recorded") => {
                Value::Time(self.only().fact.at)
            }
            _ => return None,
        })
    }
}
