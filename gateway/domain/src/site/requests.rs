//! What people ask for, by whatever way it reaches the gateway.

use super::second_thoughts::Share;
use super::{AlarmAct, Site};
use crate::alarm::AlarmId;
use crate::asked::RequestKey;
use crate::decision::Decision;
use crate::event::{Event, PeopleEvent, Position};
use crate::names::{MachineName, OrderName, SlotName, StencilCode};
use crate::place::Place;
use crate::plant::{Listed, MachineKind};
use crate::reason::Reason;
use crate::signal::{OrderSpec, WashOutcome};
use crate::stencil::Stencil;
use crate::time::Timestamp;

/// One thing a person asks for. `by` says who, `why` for what reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Request {
    /// May this stencil be stored?
    Store {
        /// Which.
        stencil: StencilCode,
        /// Into which rack.
        rack: Option<MachineName>,
        /// Into which slot.
        slot: Option<SlotName>,
        /// Who asks.
        by: Option<String>,
    },
    /// May this stencil be taken out?
    Take {
        /// Which.
        stencil: StencilCode,
        /// Out of which rack.
        rack: Option<MachineName>,
        /// For which order.
        order: Option<OrderName>,
        /// Who asks.
        by: Option<String>,
    },
    /// This stencil is in this printer or washer now.
    Seat {
        /// Which.
        stencil: StencilCode,
        /// Where.
        machine: MachineName,
        /// Who says so.
        by: String,
    },
    /// Nothing is in this printer or washer now.
    Remove {
        /// Where.
        machine: MachineName,
        /// Who says so.
        by: String,
    },
    /// A person washed it, or saw it washed.
    ReportWash {
        /// Which.
        stencil: StencilCode,
        /// How it ended.
        outcome: WashOutcome,
        /// Who.
        by: String,
    },
    /// Put on hold.
    Hold {
        /// Which.
        stencil: StencilCode,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// Release the hold.
    Release {
        /// Which.
        stencil: StencilCode,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// Allow a worn stencil some more strokes.
    Grant {
        /// Which.
        stencil: StencilCode,
        /// How many strokes.
        strokes: u64,
        /// Until when.
        until: Option<Timestamp>,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// Withdraw a concession.
    Withdraw {
        /// Which.
        stencil: StencilCode,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// Take out of use for good.
    Retire {
        /// Which.
        stencil: StencilCode,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// Book strokes that only a person knows of.
    Enter {
        /// Made by which stencil.
        stencil: StencilCode,
        /// In which printer.
        machine: MachineName,
        /// How many.
        strokes: u64,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// Say whose strokes are that nobody could attribute, and how many are nobody's.
    Assign {
        /// The event that told of them.
        of: Position,
        /// Made by which stencils.
        shares: Vec<Share>,
        /// Made by none.
        write_off: u64,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// Take in stencils; known ones are revised, their strokes stay as they are.
    TakeIn {
        /// Which.
        entries: Vec<Listed>,
    },
    /// An order may be worked on.
    ReleaseOrder {
        /// What it asks for.
        spec: OrderSpec,
        /// Who.
        by: String,
    },
    /// An order begins at a printer.
    StartOrder {
        /// Where.
        machine: MachineName,
        /// Which.
        order: OrderName,
        /// Who.
        by: String,
    },
    /// An order is done at a printer.
    FinishOrder {
        /// Where.
        machine: MachineName,
        /// Which.
        order: OrderName,
        /// Boards made, where that is known.
        made: Option<u64>,
        /// Who.
        by: String,
    },
    /// See to alarms.
    Alarms {
        /// Which.
        alarms: Vec<AlarmId>,
        /// What is done.
        act: AlarmAct,
        /// Who.
        by: String,
    },
    /// People begin to work on a machine: alarms that follow from it are suppressed.
    BeginMaintenance {
        /// Which.
        machine: MachineName,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// They are done.
    EndMaintenance {
        /// Which.
        machine: MachineName,
        /// Who.
        by: String,
    },
    /// Note what became of people who may act.
    Note(PeopleEvent),
}

impl Request {
    /// True when it asks whether something may be done, and is answered by a decision.
    #[must_use]
    pub fn is_question(&self) -> bool {
        matches!(self, Self::Store { .. } | Self::Take { .. })
    }

    /// The machine at which it is to be done.
    fn machine(&self) -> Option<&MachineName> {
        match self {
            Self::Store { rack, .. } | Self::Take { rack, .. } => rack.as_ref(),
            Self::Seat { machine, .. }
            | Self::Remove { machine, .. }
            | Self::Enter { machine, .. }
            | Self::StartOrder { machine, .. }
            | Self::FinishOrder { machine, .. } => Some(machine),
            _ => None,
        }
    }
}

/// The answer to a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reply {
    /// The decision asked for.
    Decision(Decision),
    /// Done; the place of the last event that says so.
    Done(Position),
    /// Not done: why, and what to do instead.
    Refused(String),
    /// Done with the alarms, all but these.
    Alarms {
        /// The place of the last event that says so.
        event: Position,
        /// Which not, and why.
        refused: Vec<(AlarmId, String)>,
    },
}

pub(super) type Done = Result<(), String>;

impl Site {
    /// Takes in what a person asks for.
    pub fn ask(&mut self, request: &Request, now: Timestamp) -> Reply {
        self.ask_with(request, None, now)
    }

    /// The same; what follows from it bears this key.
    pub fn ask_with(
        &mut self,
        request: &Request,
        key: Option<RequestKey>,
        now: Timestamp,
    ) -> Reply {
        if let Some(machine) = request.machine().filter(|machine| self.plant.on_trial(machine)) {
            return Reply::Refused(Reason::OnTrial { machine: machine.clone() }.to_string());
        }
        self.originate(now);
        self.origin.asked_with = key;
        let first = self.fresh.len();
        let done = match request {
            Request::Store { stencil, rack, slot, by } => {
                let (rack, slot) = (rack.as_ref(), slot.as_ref());
                let decision = self.store_asked(stencil, rack, slot, by.as_deref());
                self.reconsider(first, None);
                return Reply::Decision(decision);
            }
            Request::Take { stencil, rack, order, by } => {
                let (rack, order) = (rack.as_ref(), order.as_ref());
                let decision = self.take_asked(stencil, rack, order, by.as_deref());
                self.reconsider(first, None);
                return Reply::Decision(decision);
            }
            Request::Alarms { alarms, act, by } => return self.see_to(alarms, act, by),
            Request::BeginMaintenance { machine, by, why } => {
                self.begin_maintenance(machine, by, why)
            }
            Request::EndMaintenance { machine, by } => self.end_maintenance(machine, by),
            Request::Note(event) => {
                self.record(Event::People(event.clone()));
                return Reply::Done(self.state.head);
            }
            Request::Seat { stencil, machine, by } => self.seat_by_hand(stencil, machine, by),
            Request::Remove { machine, by } => self.remove_by_hand(machine, by),
            Request::ReportWash { stencil, outcome, by } => {
                self.wash_by_hand(stencil, *outcome, by)
            }
            Request::Hold { .. } | Request::Release { .. } | Request::Retire { .. } => {
                self.change_standing(request)
            }
            Request::Grant { .. } | Request::Withdraw { .. } => {
                self.change_concession(request, now)
            }
            Request::Enter { stencil, machine, strokes, by, why } => {
                self.enter((stencil, *strokes), machine, by, why)
            }
            Request::Assign { of, shares, write_off, by, why } => {
                self.assign(*of, shares, *write_off, by, why)
            }
            Request::TakeIn { entries } => {
                self.take_in(entries.clone());
                Ok(())
            }
            Request::ReleaseOrder { spec, by } => {
                self.order_released(spec, Some(by));
                Ok(())
            }
            Request::StartOrder { machine, order, by } => self.start_by_hand(machine, order, by),
            Request::FinishOrder { machine, order, made, by } => {
                self.finish_by_hand(machine, order, *made, by)
            }
        };
        self.replied(done, first)
    }

    /// Lets decisions follow from what was done, or tells why it was not.
    pub(super) fn replied(&mut self, done: Done, first: usize) -> Reply {
        match done {
            Ok(()) => {
                self.reconsider(first, None);
                Reply::Done(self.state.head)
            }
            Err(why) => Reply::Refused(why),
        }
    }

    pub(super) fn known(&self, code: &StencilCode) -> Result<&Stencil, String> {
        let unknown = || format!("no stencil {code} is in the list: check the code");
        self.state.stencils.get(code).ok_or_else(unknown)
    }

    fn holds_stencils(&self, machine: &MachineName) -> Done {
        match self.plant.kind(machine) {
            MachineKind::Printer | MachineKind::Washer => Ok(()),
            _ => Err(format!("{machine} is neither a printer nor a washer of the configuration")),
        }
    }

    fn seat_by_hand(&mut self, code: &StencilCode, machine: &MachineName, by: &str) -> Done {
        self.known(code)?;
        self.holds_stencils(machine)?;
        self.seated(machine, code, Some(by));
        self.reconsider_printer(machine);
        Ok(())
    }

    fn remove_by_hand(&mut self, machine: &MachineName, by: &str) -> Done {
        self.holds_stencils(machine)?;
        self.removed(machine, Some(by));
        self.reconsider_printer(machine);
        Ok(())
    }

    fn wash_by_hand(&mut self, code: &StencilCode, outcome: WashOutcome, by: &str) -> Done {
        let place = self.known(code)?.place.value.clone();
        if !self.plant.policy.hand_reported_wash {
            return Err("this plant takes a wash only from a washer: wash it in one, or have \
                        the policy changed (wash.by-hand)"
                .to_owned());
        }
        if let Place::Printer { machine } = &place
            && self.says_now(machine, code)
        {
            return Err(format!("{machine} says that {code} is seated in it: take it out first"));
        }
        self.vacate(code);
        self.record(Event::WashEnded {
            stencil: code.clone(),
            machine: None,
            by: Some(by.to_owned()),
            programme: None,
            outcome,
            measured: Vec::new(),
        });
        self.note_band(code);
        Ok(())
    }

    pub(super) fn is_printer(&self, machine: &MachineName) -> Done {
        if self.plant.kind(machine) == MachineKind::Printer {
            return Ok(());
        }
        Err(format!("{machine} is no printer of the configuration: name one that is"))
    }

    fn start_by_hand(&mut self, machine: &MachineName, order: &OrderName, by: &str) -> Done {
        self.is_printer(machine)?;
        if !self.state.orders.contains_key(order) {
            return Err(format!("no order {order} is released: release it first"));
        }
        self.order_started(machine, &OrderSpec::named(order.clone()), Some(by));
        Ok(())
    }

    fn finish_by_hand(
        &mut self,
        machine: &MachineName,
        order: &OrderName,
        made: Option<u64>,
        by: &str,
    ) -> Done {
        self.is_printer(machine)?;
        let running = self.state.machines.get(machine);
        if !running.is_some_and(|machine| machine.works_on(order)) {
            return Err(format!("order {order} does not run at {machine}"));
        }
        self.order_finished(machine, order, made, Some(by));
        Ok(())
    }

    fn change_standing(&mut self, request: &Request) -> Done {
        let (Request::Hold { stencil, by, why }
        | Request::Release { stencil, by, why }
        | Request::Retire { stencil, by, why }) = request
        else {
            return Ok(());
        };
        let known = self.known(stencil)?;
        let (held, retired) = (known.hold.is_some(), known.retired.is_some());
        let (stencil, by, why) = (stencil.clone(), by.clone(), why.clone());
        let event = match request {
            Request::Hold { .. } if held => return Err(format!("{stencil} is on hold already")),
            Request::Hold { .. } => Event::HoldPlaced { stencil, by, why },
            Request::Release { .. } if !held => return Err(format!("{stencil} is not on hold")),
            Request::Release { .. } => Event::HoldReleased { stencil, by, why },
            _ if retired => return Err(format!("{stencil} is retired already")),
            _ => Event::Retired { stencil, by, why },
        };
        self.record(event);
        Ok(())
    }

    fn change_concession(&mut self, request: &Request, now: Timestamp) -> Done {
        let event = match request.clone() {
            Request::Grant { stencil, strokes, until, by, why } => {
                if strokes == 0 {
                    return Err("a concession allows at least one stroke".to_owned());
                }
                if until.is_some_and(|until| until <= now) {
                    return Err("the concession would end in the past".to_owned());
                }
                if self.known(&stencil)?.retired.is_some() {
                    return Err(format!("{stencil} is retired: use its successor"));
                }
                Event::ConcessionGranted { stencil, strokes, valid_until: until, by, why }
            }
            Request::Withdraw { stencil, by, why } => {
                if self.known(&stencil)?.concession.is_none() {
                    return Err(format!("{stencil} has no concession"));
                }
                Event::ConcessionWithdrawn { stencil, by, why }
            }
            _ => return Ok(()),
        };
        self.record(event);
        Ok(())
    }
}
