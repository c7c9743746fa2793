//! What printers say: strokes, wipes, boards, and the stencil that is in them.

use serde_json::{Map, Value};
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::Said;

use super::{Heard, Reader, transaction};
use crate::cfx::json::{choice, count, get, object, objects, shortened, text};
use crate::cfx::settings::{Signal, StrokesFrom};
use crate::cfx::tool::{Tool, class};
use crate::link::Trouble;

/// `CFX/Structures/ProcessingResult.cs`; `Skipped` since 1.4.
const RESULTS: [&str; 5] = ["Succeeded", "Failed", "Error", "Aborted", "Skipped"];
/// `CFX/Structures/WorkResult.cs`; `Skipped` since 1.4.
const WORK_RESULTS: [&str; 4] = ["Completed", "Failed", "Aborted", "Skipped"];
/// What a printer's process data are called (`CFX/Structures/SolderPastePrinting`).
const PRINTED: &str = "SolderPastePrintingPCBProcessData";

type Body = Map<String, Value>;

impl Reader {
    /// Paste was pushed through, whatever became of the panel; a skipped one was not printed.
    pub(super) fn units_processed(&mut self, body: &Body, again: bool, heard: &mut Heard) {
        if !self.counts(StrokesFrom::UnitsProcessed) {
            return;
        }
        let Some(data) = object(body, "CommonProcessData") else {
            heard.trouble(Trouble::Missing, NO_STROKES);
            return;
        };
        if text(data, "$type").is_some_and(|name| !class(name).eq_ignore_ascii_case(PRINTED)) {
            return;
        }
        let skipped = match get(body, "OverallResult").map(|result| choice(result, &RESULTS)) {
            Some(None) => {
                let why = "OverallResult has a value that is not known; its strokes count";
                heard.trouble(Trouble::Senseless, why);
                false
            }
            Some(Some(result)) => result == 4,
            None => false,
        };
        if skipped {
            return;
        }
        let strokes = get(data, "Strokes").and_then(Value::as_array).map_or(0, Vec::len);
        if strokes == 0 {
            heard.trouble(Trouble::Missing, NO_STROKES);
            return;
        }
        self.look_for_second(body, again, heard);
        heard.said.push(Said::StrokesDone { count: whole(strokes) });
    }

    /// One stencil's strokes in a message of their own.
    pub(super) fn tools_used(&mut self, body: &Body, heard: &mut Heard) {
        if !self.counts(StrokesFrom::ToolsUsed) {
            return;
        }
        for used in objects(body, "UsedTools") {
            let Some(tool) = object(used, "Tool") else { continue };
            let read = Tool::read(tool, &self.settings).and_then(Tool::stencil);
            let Some(Some(code)) = heard.take(read) else { continue };
            self.seated(code, heard);
            match count(used, "UsageCycles") {
                Some(0) => {}
                Some(count) => heard.said.push(Said::StrokesDone { count }),
                None => heard.trouble(Trouble::Missing, "UsedTools has no UsageCycles to count"),
            }
        }
    }

    pub(super) fn work_started(&mut self, body: &Body, heard: &mut Heard) {
        if let (Some(id), Some(boards)) = (transaction(body), count(body, "UnitCount")) {
            self.transactions.of(id).boards = Some(boards);
        }
        self.order_of_work(body, heard);
    }

    pub(super) fn work_completed(&mut self, body: &Body, again: bool, heard: &mut Heard) {
        let result = get(body, "Result").and_then(|result| choice(result, &WORK_RESULTS));
        // Aborted work may have been printed; what was skipped was not.
        if result == Some(3) {
            return;
        }
        let started = transaction(body).and_then(|id| self.transactions.of(id).boards);
        if let (true, Some(count)) = (self.counts(StrokesFrom::WorkCompleted), self.per_panel()) {
            self.look_for_second(body, again, heard);
            heard.said.push(Said::StrokesDone { count });
        }
        if self.reads(Signal::BoardsCounted) && result != Some(2) {
            match count(body, "UnitCount").filter(|boards| *boards > 0).or(started) {
                Some(count) => heard.said.push(Said::BoardsCounted { count }),
                None => heard.trouble(
                    Trouble::Missing,
                    "neither WorkStarted nor WorkCompleted of this transaction has a UnitCount",
                ),
            }
        }
    }

    /// A change that puts no stencil in takes the one that was there out. A message about other
    /// tools says nothing of stencils.
    pub(super) fn tool_changed(&mut self, body: &Body, heard: &mut Heard) {
        if !self.reads(Signal::StencilSeated) {
            return;
        }
        let tool = |name| object(body, name).map(|tool| Tool::read(tool, &self.settings));
        let (new, old) = (tool("NewTool"), tool("OldTool"));
        if let Some(new) = new {
            if let Some(Some(code)) = heard.take(new.and_then(Tool::stencil)) {
                self.seated(code, heard);
            }
            return;
        }
        if let Some(old) = old
            && let Some(Some(_)) = heard.take(old.and_then(Tool::stencil))
        {
            heard.said.push(Said::Removed);
        }
    }

    /// A wipe, and which stencil was wiped: it must be in the printer. A repeat may come after that
    /// was changed, and mostly says nothing that the ledger would know again.
    pub(super) fn stencil_cleaned(&mut self, body: &Body, again: bool, heard: &mut Heard) {
        if self.reads(Signal::StencilSeated)
            && !again
            && let Some(stencil) = object(body, "Stencil")
        {
            // The field is a stencil's, so that its type may be left out.
            let mut typed = stencil.clone();
            typed.insert("$type".to_owned(), Value::from("SMTStencil"));
            let read = Tool::read(&typed, &self.settings).and_then(Tool::stencil);
            if let Some(Some(code)) = heard.take(read) {
                self.seated(code, heard);
            }
        }
        if self.reads(Signal::WipesDone) {
            heard.said.push(Said::WipesDone { count: 1 });
        }
    }

    fn seated(&self, code: StencilCode, heard: &mut Heard) {
        if self.reads(Signal::StencilSeated) {
            heard.said.push(Said::Seated { code });
        }
    }

    fn counts(&self, from: StrokesFrom) -> bool {
        self.reads(Signal::StrokesDone) && self.settings.strokes_from == from
    }

    fn per_panel(&self) -> Option<u64> {
        self.settings.strokes_per_panel.map(u64::from)
    }

    /// A unit of work that counts a second time, under another message id, is told of: either the
    /// sender repeats itself, or one unit of work makes several messages.
    fn look_for_second(&mut self, body: &Body, again: bool, heard: &mut Heard) {
        let Some(id) = transaction(body) else { return };
        if std::mem::replace(&mut self.transactions.of(id).counted, true) && !again {
            let id = shortened(id);
            let why = format!(
                "the transaction {id} counts strokes a second time, under another UniqueID; if the \
                 machine repeats itself, correct its strokes"
            );
            heard.trouble(Trouble::Senseless, why);
        }
    }
}

const NO_STROKES: &str = "UnitsProcessed lists no Strokes, so none count; where the machine never \
                          lists them, set strokes-from: work-completed and strokes-per-panel";

fn whole(number: usize) -> u64 {
    u64::try_from(number).unwrap_or(u64::MAX)
}
