//! Every operation of the API. What may be sent and what is answered are the very types that its
//! handler reads and writes.

use super::operation::{Operation, get, post};
use crate::actions::{Done, on_machine, on_stencil};
use crate::alarms::{Alarms, Told, Wanted as WantedAlarms, see_to};
use crate::door::api as door;
use crate::events::{EventView, Events, Wanted as WantedEvents};
use crate::lists::{Export, Import, PlanView};
use crate::orders::{Order, Orders, Release, Released, WholeOrder};
use crate::paging::Paging;
use crate::past::{AlarmReport, History, Part, WearView};
use crate::reload::{Asked, Difference, How};
use crate::second_thoughts::{Assignment, Corrected, Open};
use crate::trials::{ByHand, Comparison, TrialView};
use crate::views::{DecisionView, MachineView, Machines, Stencils, Whole};

/// All of them.
pub(super) fn all() -> Vec<Operation> {
    [people(), stencils(), machines(), alarms(), later(), lists()].into_iter().flatten().collect()
}

fn people() -> Vec<Operation> {
    vec![
        post("/api/v1/sign-in", "signIn", "Sign in; sets the session's cookie")
            .takes::<door::Shown>()
            .gives::<door::Welcome>(),
        post("/api/v1/sign-out", "signOut", "End the session").gives::<door::Simply>(),
        get("/api/v1/me", "me", "Who sends this").gives::<door::Me>(),
        post("/api/v1/me/confirm", "confirm", "Show again who one is, before what needs it")
            .takes::<door::Confirmed>()
            .gives::<door::Simply>(),
        post("/api/v1/me/secret", "changeSecret", "Change one's own password or PIN")
            .takes::<door::Changed>()
            .gives::<door::SignedOut>()
            .also(&[422]),
        get("/api/v1/people", "people", "Who may act, without secrets").gives::<door::Everybody>(),
    ]
}

fn stencils() -> Vec<Operation> {
    vec![
        get("/api/v1/stencils", "stencils", "Every stencil in short")
            .query::<Paging>()
            .gives::<Stencils>(),
        get(
            "/api/v1/stencils/{code}",
            "stencil",
            "One stencil: what it may be used for, and why not",
        )
        .gives::<Whole>()
        .tagged(),
        get("/api/v1/stencils/{code}/history", "history", "The last events of a stencil")
            .query::<Part>()
            .gives::<History>(),
        post("/api/v1/stencils/{code}/store", "store", "May it be put into storage?")
            .takes::<on_stencil::Store>()
            .gives::<DecisionView>()
            .bound(),
        post("/api/v1/stencils/{code}/take", "take", "May it be taken out of storage?")
            .takes::<on_stencil::Take>()
            .gives::<DecisionView>()
            .bound(),
        post("/api/v1/stencils/{code}/wash", "wash", "Report a wash, where policy lets people")
            .takes::<on_stencil::Wash>()
            .gives::<Done>()
            .bound(),
        post("/api/v1/stencils/{code}/hold", "hold", "Not to be used until somebody releases it")
            .takes::<on_stencil::Hold>()
            .gives::<Done>()
            .bound(),
        post("/api/v1/stencils/{code}/release", "release", "To be used again after a hold")
            .takes::<on_stencil::Release>()
            .gives::<Done>()
            .bound(),
        post("/api/v1/stencils/{code}/strokes", "strokes", "Enter strokes by hand")
            .takes::<on_stencil::Strokes>()
            .gives::<Done>()
            .bound(),
        post(
            "/api/v1/stencils/{code}/concession",
            "concession",
            "Allow a worn stencil more strokes",
        )
        .takes::<on_stencil::Concession>()
        .gives::<Done>()
        .bound(),
        post("/api/v1/stencils/{code}/withdraw", "withdraw", "End a concession")
            .takes::<on_stencil::Withdraw>()
            .gives::<Done>()
            .bound(),
        post("/api/v1/stencils/{code}/retire", "retire", "Out of use for good")
            .takes::<on_stencil::Retire>()
            .gives::<Done>()
            .bound(),
        get("/api/v1/wear", "wear", "What is to come of the wear of each stencil")
            .query::<Paging>()
            .gives::<WearView>(),
    ]
}

fn machines() -> Vec<Operation> {
    vec![
        get("/api/v1/machines", "machines", "Every machine").query::<Paging>().gives::<Machines>(),
        get("/api/v1/machines/{name}", "machine", "One machine").gives::<MachineView>().tagged(),
        post("/api/v1/machines/{name}/seat", "seat", "A scan: this stencil is in it")
            .takes::<on_machine::Seat>()
            .gives::<Done>()
            .bound(),
        post("/api/v1/machines/{name}/remove", "remove", "The stencil in it was taken out")
            .takes::<on_machine::Remove>()
            .gives::<Done>()
            .bound(),
        post("/api/v1/machines/{name}/start", "startOrder", "An order begins at a printer")
            .takes::<on_machine::Start>()
            .gives::<Done>()
            .bound(),
        post("/api/v1/machines/{name}/finish", "finishOrder", "An order ends at a printer")
            .takes::<on_machine::Finish>()
            .gives::<Done>()
            .bound(),
        post("/api/v1/machines/{name}/begin-maintenance", "beginMaintenance", "Begin to mend it")
            .takes::<on_machine::BeginMaintenance>()
            .gives::<Done>()
            .bound(),
        post("/api/v1/machines/{name}/end-maintenance", "endMaintenance", "It is mended")
            .takes::<on_machine::EndMaintenance>()
            .gives::<Done>()
            .bound(),
        get("/api/v1/machines/{name}/trial", "trial", "What a machine on trial has said")
            .gives::<TrialView>()
            .also(&[409]),
        post("/api/v1/machines/{name}/trial/compare", "compare", "A count by hand beside its own")
            .takes::<ByHand>()
            .gives::<Comparison>(),
    ]
}

fn alarms() -> Vec<Operation> {
    fn seen(path: &'static str, id: &'static str, summary: &'static str) -> Operation {
        post(path, id, summary).gives::<see_to::Seen>().also(&[404])
    }
    vec![
        get("/api/v1/alarms", "alarms", "The alarms that stand")
            .query::<WantedAlarms>()
            .gives::<Alarms>(),
        get("/api/v1/alarms/report", "alarmReport", "The standards' measures of the alarms")
            .gives::<AlarmReport>(),
        get("/api/v1/alarms/{id}", "alarm", "One alarm with its history").gives::<Told>().tagged(),
        seen("/api/v1/alarms/acknowledge", "acknowledge", "Somebody has seen them")
            .takes::<see_to::Acknowledge>(),
        seen("/api/v1/alarms/comment", "comment", "Say something of them")
            .takes::<see_to::Comment>(),
        seen("/api/v1/alarms/reset", "reset", "What latched is over").takes::<see_to::Reset>(),
        seen("/api/v1/alarms/shelve", "shelve", "Silent for a while").takes::<see_to::Shelve>(),
        seen("/api/v1/alarms/unshelve", "unshelve", "No longer silent").takes::<see_to::Unshelve>(),
        seen("/api/v1/alarms/take-out", "takeOut", "Out of service").takes::<see_to::TakeOut>(),
        seen("/api/v1/alarms/return", "returnToService", "Back in service")
            .takes::<see_to::Return>(),
    ]
}

fn later() -> Vec<Operation> {
    vec![
        get("/api/v1/unattributed", "unattributed", "Strokes that nobody could attribute")
            .query::<Paging>()
            .gives::<Open>(),
        post("/api/v1/unattributed/{event}/assign", "assign", "Say whose strokes they are")
            .takes::<Assignment>()
            .gives::<Done>(),
        get("/api/v1/events", "events", "The ledger's events, the oldest first")
            .query::<WantedEvents>()
            .gives::<Events>(),
        get("/api/v1/events/live", "live", "Events as they come, each with its number as its id")
            .gives_as("text/event-stream", None)
            .resumed(),
        get("/api/v1/events/{event}", "event", "One event").gives::<EventView>(),
        post("/api/v1/events/{event}/correct", "correct", "Say what was wrong with an event")
            .takes::<Corrected>()
            .gives::<Done>(),
    ]
}

fn lists() -> Vec<Operation> {
    vec![
        get("/api/v1/orders", "orders", "Orders that are not finished")
            .query::<Paging>()
            .gives::<Orders>(),
        get("/api/v1/orders/{order}", "order", "One order with the stencils right for it")
            .gives::<WholeOrder>()
            .tagged(),
        post("/api/v1/orders", "releaseOrders", "Release one order, or a list of them")
            .query::<Release>()
            .takes::<Order>()
            .takes_list()
            .gives::<Released>()
            .also(&[422]),
        get("/api/v1/export/stencils", "exportStencils", "The stencils in use, as a list")
            .query::<Export>()
            .gives_as("text/csv", None)
            .gives_as("application/jsonl", None),
        post("/api/v1/import/stencils", "importStencils", "Take a list of stencils in")
            .query::<Import>()
            .takes_list()
            .gives::<PlanView>()
            .also(&[422]),
        get("/api/v1/reload", "previewReload", "What reading the configuration anew would change")
            .gives::<Difference>()
            .also(&[409, 422]),
        post("/api/v1/reload", "reload", "Read the configuration anew")
            .query::<How>()
            .takes::<Asked>()
            .gives::<Difference>()
            .also(&[422]),
    ]
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::door::TABLE;

    #[test]
    fn each_route_of_the_api_is_an_operation_and_each_operation_a_route() {
        let rows = TABLE.iter().filter(|row| row.path.starts_with("/api/"));
        let rows: BTreeSet<(&str, &str)> = rows.map(|row| (row.method, row.path)).collect();
        let mut described = BTreeSet::new();
        for operation in all() {
            let row = operation.row();
            let row =
                row.unwrap_or_else(|| panic!("no route {} {}", operation.method, operation.path));
            assert!(described.insert((row.method, row.path)), "twice: {}", operation.path);
            assert!(!operation.answers.is_empty(), "{}", operation.path);
        }
        assert_eq!(described, rows);
    }

    #[test]
    fn no_two_operations_have_one_name() {
        let mut names = BTreeSet::new();
        for operation in all() {
            assert!(names.insert(operation.id), "{}", operation.id);
        }
    }
}
