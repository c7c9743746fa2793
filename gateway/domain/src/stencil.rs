//! The state of one stencil in its four dimensions, and how events change it.

mod late;
mod promise;

use std::collections::BTreeMap;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::event::{DecisionDoubted, Event, Position, Recorded, StencilSpec};
use crate::names::{MachineName, StencilCode};
use crate::past::Uses;
use crate::place::Place;
use crate::signal::WashOutcome;
use crate::time::Timestamp;
use crate::wear::{WearBand, WearLimits};

pub use promise::Promise;

/// How clean a stencil is. Unknown is a real value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub enum Cleanliness {
    /// Washed, and not printed with since.
    Clean,
    /// Printed with since its last wash.
    Printed,
    /// In a washer whose programme has not ended.
    Washing,
    /// Nobody knows.
    #[default]
    Unknown,
}

impl Cleanliness {
    /// All values.
    pub const ALL: [Self; 4] = [Self::Clean, Self::Printed, Self::Washing, Self::Unknown];

    /// The value's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Clean => "clean",
            Self::Printed => "printed",
            Self::Washing => "washing",
            Self::Unknown => "unknown",
        }
    }
}

/// Whether a stencil may be used at all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Standing {
    /// Free to use.
    Released,
    /// Somebody put it on hold.
    OnHold,
    /// A manager allows it some strokes beyond its life.
    Concession,
    /// Out of use for good.
    Retired,
}

impl Standing {
    /// The value's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Released => "released",
            Self::OnHold => "on-hold",
            Self::Concession => "concession",
            Self::Retired => "retired",
        }
    }
}

/// A value, since when it holds, and the event that made it so.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Sourced<T> {
    /// The value.
    pub value: T,
    /// Since when.
    pub since: Timestamp,
    /// The event that made it so.
    pub because: Position,
}

/// Why and by whom a stencil is on hold.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Hold {
    /// Why.
    pub why: String,
    /// Who.
    pub by: String,
}

/// A permission to use a worn stencil (ISO 9000: concession).
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Concession {
    /// Strokes allowed.
    pub strokes: u64,
    /// Strokes made under it.
    pub used: u64,
    /// When it ends, whatever was used.
    pub until: Option<Timestamp>,
    /// Who granted it.
    pub by: String,
    /// Why.
    pub why: String,
}

impl Concession {
    /// True while strokes are left and its time has not come.
    #[must_use]
    pub fn in_force(&self, now: Timestamp) -> bool {
        self.used < self.strokes && self.until.is_none_or(|until| now < until)
    }
}

/// One stencil.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Stencil {
    /// What it is.
    pub spec: StencilSpec,
    /// Where it is.
    pub place: Sourced<Place>,
    /// How clean it is.
    pub cleanliness: Sourced<Cleanliness>,
    /// Strokes booked, those before the gateway included.
    pub strokes: u64,
    /// Strokes since the last wash that passed.
    pub strokes_since_wash: u64,
    /// When the last stroke was booked.
    pub last_stroke: Option<Sourced<()>>,
    /// Understencil wipes.
    pub wipes: u64,
    /// Washes that passed.
    pub washes: u64,
    /// The last wash that passed.
    pub last_wash: Option<Sourced<()>>,
    /// The wear band it entered last.
    pub band: Sourced<WearBand>,
    /// On hold.
    pub hold: Option<Sourced<Hold>>,
    /// Under a concession, in force or used up.
    pub concession: Option<Sourced<Concession>>,
    /// Out of use for good.
    pub retired: Option<Position>,
    /// Taken with permission and not stored since.
    pub taken: Option<Position>,
    /// Somebody was permitted to take it, and nothing was seen of that yet.
    pub promised: Option<Sourced<Promise>>,
    /// The last tension, in hundredths of N/cm.
    pub tension: Option<Sourced<i64>>,
    /// True once its dry-out was noted, until it is washed.
    pub dried_out: bool,
    /// The last decision about it that is doubted, until it is washed.
    pub doubted: Option<Sourced<DecisionDoubted>>,
    /// When it was printed with, where late messages are told apart.
    pub uses: Option<Uses>,
    /// True once anything but its registration happened to it.
    pub has_history: bool,
}

/// A measured value in hundredths, held at the ends of the range.
#[allow(clippy::cast_possible_truncation)]
fn centi(value: f64) -> i64 {
    (value * 100.0).round() as i64
}

impl Stencil {
    /// A stencil as it was registered.
    #[must_use]
    pub fn registered(spec: StencilSpec, strokes: u64, clean: bool, at: &Recorded) -> Self {
        let (since, because) = (at.fact.at, at.position);
        let cleanliness = if clean { Cleanliness::Clean } else { Cleanliness::Unknown };
        Self {
            spec,
            place: Sourced { value: Place::InHand, since, because },
            cleanliness: Sourced { value: cleanliness, since, because },
            strokes,
            strokes_since_wash: 0,
            last_stroke: None,
            wipes: 0,
            washes: 0,
            last_wash: clean.then_some(Sourced { value: (), since, because }),
            band: Sourced { value: WearBand::InService, since, because },
            hold: None,
            concession: None,
            retired: None,
            taken: None,
            promised: None,
            tension: None,
            dried_out: false,
            doubted: None,
            uses: None,
            has_history: false,
        }
    }

    /// The wear band that its strokes and washes put it in: the worse of the two.
    #[must_use]
    pub fn wear_band(&self, limits: WearLimits) -> WearBand {
        let by_strokes = limits.band(self.strokes, self.spec.rated_strokes);
        let by_washes = self.spec.rated_washes.map(|rated| limits.band(self.washes, rated));
        by_strokes.max(by_washes.unwrap_or(WearBand::InService))
    }

    /// The used share of its life, 0 to 1 and beyond: the larger of strokes and washes.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn life_ratio(&self) -> f64 {
        let ratio = |used: u64, rated: u64| {
            if rated == 0 { 1.0 } else { used as f64 / rated as f64 }
        };
        let by_washes = self.spec.rated_washes.map_or(0.0, |rated| ratio(self.washes, rated));
        ratio(self.strokes, self.spec.rated_strokes).max(by_washes)
    }

    /// Whether it may be used at all.
    #[must_use]
    pub fn standing(&self, now: Timestamp) -> Standing {
        if self.retired.is_some() {
            Standing::Retired
        } else if self.hold.is_some() {
            Standing::OnHold
        } else if self.concession.as_ref().is_some_and(|c| c.value.in_force(now)) {
            Standing::Concession
        } else {
            Standing::Released
        }
    }

    /// How long it has waited for its wash since its last stroke; none while it need not.
    #[must_use]
    pub fn waiting_for_wash(&self, now: Timestamp) -> Option<Duration> {
        let printed = self.cleanliness.value == Cleanliness::Printed;
        self.last_stroke.as_ref().filter(|_| printed).map(|last| now.since(last.since))
    }

    /// Changes the state as the event says. Events about other stencils change nothing.
    pub fn apply(&mut self, recorded: &Recorded) {
        self.has_history |= !matches!(
            recorded.fact.event,
            Event::StencilRevised { .. } | Event::WearBandEntered { .. }
        );
        self.apply_movement(recorded);
        self.apply_promise(recorded);
        match recorded.fact.happened {
            Some(then) => self.apply_late(recorded, then),
            None => self.apply_use(recorded),
        }
        self.apply_second_thoughts(recorded);
        self.apply_standing(recorded);
    }

    fn apply_movement(&mut self, recorded: &Recorded) {
        match &recorded.fact.event {
            Event::Removed { machine, .. } if !self.seen_elsewhere(machine) => {
                self.move_to(Place::InHand, recorded);
            }
            Event::LostSight { .. } => self.move_to(Place::Unknown, recorded),
            Event::Stored { rack, slot, .. } => {
                self.taken = None;
                self.move_to(Place::Slot { rack: rack.clone(), slot: slot.clone() }, recorded);
            }
            Event::SlotFound { rack, slot, .. } | Event::StorageBreached { rack, slot, .. } => {
                self.taken = None;
                self.move_to(Place::Slot { rack: rack.clone(), slot: slot.clone() }, recorded);
            }
            Event::Taken { permitted, .. } => {
                self.taken = permitted.then_some(recorded.position);
                self.move_to(Place::InHand, recorded);
            }
            _ => {}
        }
    }

    fn apply_use(&mut self, recorded: &Recorded) {
        let at = recorded.fact.time();
        let mark = || Sourced { value: (), since: at, because: recorded.position };
        match &recorded.fact.event {
            Event::StrokesBooked { count, .. } => {
                self.strokes = self.strokes.saturating_add(*count);
                self.strokes_since_wash = self.strokes_since_wash.saturating_add(*count);
                self.last_stroke = Some(mark());
                self.may_have_printed(at, *count);
                self.become_clean(Cleanliness::Printed, recorded);
                self.use_concession(0, *count);
            }
            Event::WipesCounted { count, .. } => self.wipes = self.wipes.saturating_add(*count),
            Event::WashBegan { .. } => {
                self.dried_out = false;
                self.made_unclear(at);
                self.become_clean(Cleanliness::Washing, recorded);
            }
            Event::WashEnded { outcome: WashOutcome::Passed, .. } => {
                self.washes = self.washes.saturating_add(1);
                self.strokes_since_wash = 0;
                self.last_wash = Some(mark());
                self.dried_out = false;
                self.doubted = None;
                if let Some(uses) = &mut self.uses {
                    uses.washed_now(at);
                }
                self.become_clean(Cleanliness::Clean, recorded);
            }
            Event::WashEnded { .. } => {
                self.made_unclear(at);
                let printed = self.strokes_since_wash > 0;
                let left = if printed { Cleanliness::Printed } else { Cleanliness::Unknown };
                self.become_clean(left, recorded);
            }
            Event::StrokesUnattributed { .. } => {
                self.may_have_printed(at, 0);
                if self.cleanliness.value == Cleanliness::Clean {
                    self.last_stroke = Some(mark());
                    self.become_clean(Cleanliness::Printed, recorded);
                }
            }
            Event::Measured { measurement, .. } if measurement.quantity == "tension" => {
                let value = centi(measurement.value);
                self.tension = Some(Sourced { value, since: at, because: recorded.position });
            }
            Event::DriedOut { .. } => self.dried_out = true,
            _ => {}
        }
    }

    /// What people find out later about strokes and washes of the past.
    fn apply_second_thoughts(&mut self, recorded: &Recorded) {
        match &recorded.fact.event {
            Event::StrokesAssigned { of, until, count, .. } => {
                self.recount(0, *count, *of, Some(*until), recorded);
            }
            Event::StrokesCorrected { corrects, was, is, made, .. } => {
                self.recount(*was, *is, *corrects, *made, recorded);
            }
            Event::WashAnnulled { corrects, .. } => {
                self.washes = self.washes.saturating_sub(1);
                if self.last_wash.as_ref().is_some_and(|wash| wash.because == *corrects) {
                    self.last_wash = None;
                    if self.cleanliness.value == Cleanliness::Clean {
                        self.become_clean(Cleanliness::Unknown, recorded);
                    }
                }
            }
            _ => {}
        }
    }

    /// `is` strokes count instead of `was`, of the event `of`. A wash since then has washed them
    /// off.
    fn recount(
        &mut self,
        was: u64,
        is: u64,
        of: Position,
        made: Option<Timestamp>,
        recorded: &Recorded,
    ) {
        let instead = |count: u64| count.saturating_add(is).saturating_sub(was);
        self.strokes = instead(self.strokes);
        self.use_concession(was, is);
        if self.washed_off(of, made) {
            return;
        }
        let made = made.unwrap_or(recorded.fact.at);
        self.may_have_printed(made, is.saturating_sub(was));
        self.strokes_since_wash = instead(self.strokes_since_wash);
        if is > was && self.cleanliness.value == Cleanliness::Clean {
            self.last_stroke = Some(Sourced { value: (), since: made, because: recorded.position });
            self.become_clean(Cleanliness::Printed, recorded);
        }
    }

    /// True when a wash has washed off the strokes of an event: by the order of arrival, or by the
    /// time at which they were made where late messages are told apart.
    #[must_use]
    pub fn washed_off(&self, of: Position, made: Option<Timestamp>) -> bool {
        let made = made.filter(|_| self.uses.is_some());
        self.last_wash.as_ref().is_some_and(|wash| match made {
            Some(made) => (wash.since, wash.because) > (made, of),
            None => wash.because > of,
        })
    }

    fn made_unclear(&mut self, at: Timestamp) {
        if let Some(uses) = &mut self.uses {
            uses.made_unclear(at);
        }
    }

    fn may_have_printed(&mut self, at: Timestamp, strokes: u64) {
        if let Some(uses) = &mut self.uses {
            uses.printed(at, strokes);
        }
    }

    /// Strokes of a stopped stencil are those of its concession.
    fn use_concession(&mut self, was: u64, is: u64) {
        if let Some(concession) = &mut self.concession
            && self.band.value == WearBand::Stopped
        {
            let used = concession.value.used.saturating_add(is).saturating_sub(was);
            concession.value.used = used;
        }
    }

    fn apply_standing(&mut self, recorded: &Recorded) {
        let (since, because) = (recorded.fact.time(), recorded.position);
        match &recorded.fact.event {
            Event::StencilRevised { spec, .. } => self.spec = spec.clone(),
            Event::WearBandEntered { band, .. } => {
                self.band = Sourced { value: *band, since, because };
            }
            Event::HoldPlaced { by, why, .. } => {
                let value = Hold { why: why.clone(), by: by.clone() };
                self.hold = Some(Sourced { value, since, because });
            }
            Event::HoldReleased { .. } => self.hold = None,
            Event::ConcessionGranted { strokes, valid_until, by, why, .. } => {
                let value = Concession {
                    strokes: *strokes,
                    used: 0,
                    until: *valid_until,
                    by: by.clone(),
                    why: why.clone(),
                };
                self.concession = Some(Sourced { value, since, because });
            }
            Event::ConcessionWithdrawn { .. } => self.concession = None,
            Event::Retired { .. } => self.retired = Some(because),
            Event::DecisionDoubted(doubted) => {
                self.doubted = Some(Sourced { value: doubted.clone(), since, because });
            }
            _ => {}
        }
    }

    /// True when it turned up somewhere after it was in the machine: a late word from there
    /// does not move it.
    fn seen_elsewhere(&self, machine: &MachineName) -> bool {
        match &self.place.value {
            Place::Printer { machine: holder } | Place::Washer { machine: holder } => {
                holder != machine
            }
            Place::Slot { .. } => true,
            Place::InHand | Place::Unknown => false,
        }
    }

    /// Moves it, remembering which event did. What is told late moves nothing that was seen since.
    pub fn move_to(&mut self, place: Place, recorded: &Recorded) {
        if !recorded.fact.happened.is_some_and(|then| self.seen_since(then)) {
            let (since, because) = (recorded.fact.time(), recorded.position);
            self.place = Sourced { value: place, since, because };
        }
    }

    /// True when it came to where it is later than `then`.
    #[must_use]
    pub fn seen_since(&self, then: Timestamp) -> bool {
        self.place.since > then
    }

    fn become_clean(&mut self, value: Cleanliness, recorded: &Recorded) {
        if self.cleanliness.value != value {
            self.cleanliness =
                Sourced { value, since: recorded.fact.time(), because: recorded.position };
        }
    }
}

/// All stencils by code.
pub type Stencils = BTreeMap<StencilCode, Stencil>;
