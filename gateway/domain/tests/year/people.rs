//! People who find out later: they assign, split and write off, correct, and enter by hand.

use stencilward_domain::event::Position;
use stencilward_domain::site::{Correction, Reply, Request, Wrong as What};

use super::faults::Fault;
use super::floor::{STENCILS, Stencil};
use super::line::{Makers, of};
use super::makes::Source;
use super::world::{Outcome, World};

/// Strokes that the site keeps open, and who truly made them.
#[derive(Debug, Clone)]
pub(crate) struct Open {
    pub(crate) line: usize,
    pub(crate) makers: Makers,
    /// Made by nobody.
    pub(crate) fake: u64,
}

/// A booking to a stencil that anybody had to think made the strokes.
#[derive(Debug, Clone)]
pub(crate) struct Wrong {
    pub(crate) index: usize,
    pub(crate) stencil: Stencil,
    pub(crate) makers: Makers,
}

impl Open {
    pub(crate) fn left(&self) -> u64 {
        self.makers.iter().map(|(_, count)| count).sum::<u64>() + self.fake
    }
}

const fn is_listed(stencil: Stencil) -> bool {
    (stencil as usize) < STENCILS
}

impl World<'_> {
    fn shares(&self, makers: &Makers) -> Vec<(stencilward_domain::names::StencilCode, u64)> {
        let code = |stencil: Stencil| self.floor.codes[usize::from(stencil)].clone();
        makers.iter().map(|(stencil, count)| (code(*stencil), *count)).collect()
    }

    /// Somebody works off a part of the list.
    pub(crate) fn people_look_into_it(&mut self) -> Outcome {
        if !self.running {
            return Ok(());
        }
        let positions: Vec<Position> = self.open.keys().copied().collect();
        for of in positions {
            match self.luck.between(0, 10) {
                0..=3 => self.assigned(of, true)?,
                4 | 5 => self.assigned(of, false)?,
                _ => {}
            }
        }
        for wrong in std::mem::take(&mut self.wrong) {
            if self.luck.percent(50) {
                self.corrected(&wrong)?;
            }
        }
        Ok(())
    }

    /// All of the strokes, or a first part.
    fn assigned(&mut self, position: Position, whole: bool) -> Outcome {
        let Some(mut open) = self.open.remove(&position) else { return Ok(()) };
        let (mut makers, mut write_off) = (Makers::new(), 0);
        for (stencil, count) in &mut open.makers {
            let taken = if whole { *count } else { self.luck.between(0, *count + 1) };
            *count -= taken;
            if is_listed(*stencil) {
                makers.push((*stencil, taken));
            } else {
                write_off += taken;
            }
        }
        if whole {
            write_off += std::mem::take(&mut open.fake);
        }
        let assigned: u64 = makers.iter().map(|(_, count)| count).sum();
        if assigned + write_off > 0 {
            self.ask(&Request::Assign {
                of: position,
                shares: self.shares(&makers),
                write_off,
                by: "M. Example".to_owned(),
                why: "the line's own record".to_owned(),
            })?;
        }
        for (fault, count) in [(Fault::Assigned, assigned), (Fault::WrittenOff, write_off)] {
            if count > 0 {
                self.faults.happened(fault);
            }
        }
        if open.left() > 0 {
            self.open.insert(position, open);
        }
        Ok(())
    }

    fn corrected(&mut self, wrong: &Wrong) -> Outcome {
        if wrong.makers.iter().any(|(stencil, _)| !is_listed(*stencil)) {
            return Ok(());
        }
        let original = self.ledger[wrong.index].clone();
        let correction = Correction {
            what: What::Strokes(self.shares(&wrong.makers)),
            by: "M. Example".to_owned(),
            why: "another stencil was in it".to_owned(),
        };
        let reply = self.site.correct(&original, &correction, self.clock());
        self.follow()?;
        self.commit();
        if let Reply::Refused(why) = reply {
            return Err(format!("the correction is refused: {why}"));
        }
        self.faults.happened(Fault::Corrected);
        let total: u64 = wrong.makers.iter().map(|(_, count)| count).sum();
        self.taken_for[usize::from(wrong.stencil)] -= total - of(&wrong.makers, wrong.stencil);
        Ok(())
    }

    /// A person enters what the line's stencils have printed since the last entry.
    pub(crate) fn enter_all(&mut self, number: usize) -> Outcome {
        let line = &self.lines[number];
        if !self.running || line.make.source != Source::Hand {
            return Ok(());
        }
        let (makers, _) = line.made(line.now.heard, line.tally);
        for (stencil, count) in makers {
            self.enter(number, stencil, count)?;
        }
        let line = &mut self.lines[number];
        line.now.heard = line.tally;
        self.dirty.push(number);
        self.commit();
        Ok(())
    }

    pub(crate) fn enter(&mut self, number: usize, stencil: Stencil, strokes: u64) -> Outcome {
        self.faults.happened(Fault::EnteredByHand);
        self.ask(&Request::Enter {
            stencil: self.floor.codes[usize::from(stencil)].clone(),
            machine: self.lines[number].printer.clone(),
            strokes,
            by: "M. Example".to_owned(),
            why: "from the line's book".to_owned(),
        })
    }
}
