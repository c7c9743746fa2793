//! What people ask for, by whatever way it reaches the gateway.

use super::Site;
use crate::decision::Decision;
use crate::event::{Event, Position};
use crate::names::{MachineName, OrderName, SlotName, StencilCode};
use crate::place::Place;
use crate::plant::MachineKind;
use crate::signal::WashOutcome;
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
    },
    /// May this stencil be taken out?
    Take {
        /// Which.
        stencil: StencilCode,
        /// Out of which rack.
        rack: Option<MachineName>,
        /// For which order.
        order: Option<OrderName>,
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
}

type Done = Result<(), String>;

impl Site {
    /// Takes in what a person asks for.
    pub fn ask(&mut self, request: &Request, now: Timestamp) -> Reply {
        self.originate(now);
        let first = self.fresh.len();
        let done = match request {
            Request::Store { stencil, rack, slot } => {
                let decision = self.store_asked(stencil, rack.as_ref(), slot.as_ref());
                self.reconsider(first, None);
                return Reply::Decision(decision);
            }
            Request::Take { stencil, rack, order } => {
                let decision = self.take_asked(stencil, rack.as_ref(), order.as_ref());
                self.reconsider(first, None);
                return Reply::Decision(decision);
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
        };
        match done {
            Ok(()) => {
                self.reconsider(first, None);
                Reply::Done(self.state.head)
            }
            Err(why) => Reply::Refused(why),
        }
    }

    fn known(&self, code: &StencilCode) -> Result<&Stencil, String> {
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
