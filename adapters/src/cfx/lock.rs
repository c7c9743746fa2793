//! Locks: a station is asked to lock while it must not go on and to unlock while it may, again and
//! again until it says that it did. Each has a connection of its own, so that a silent machine
//! holds up nobody.
//!
//! Source: the SDK's `CFX/Production/LockStationRequest.cs`, `UnlockStationRequest.cs`,
//! `CFX/NotSupportedResponse.cs`. What is not supported is known by the name of its answer alone:
//! the result in it may say success.

use std::sync::Arc;
use std::time::Duration;

use serde_json::{Map, Value, json};
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::outputs::Wanted;
use tokio::sync::watch;
use tokio::time::{Instant, sleep, sleep_until, timeout};

use super::desk::Desk;
use super::envelope::Envelope;
use super::json::{Garbled, choice, clipped, object, shortened, text};
use super::requester::Requester;
use super::settings::{Output, Requests, Settings};
use crate::command::{Command, Failing, Turn, Verdict};
use crate::link::{BackOff, Trouble};
use crate::mqtt::STEADY;

/// Time to lock when the gateway stops: it must end soon after.
const LAST: Duration = Duration::from_secs(2);
/// Between two looks while nothing is due.
const PACE: Duration = Duration::from_secs(1);

/// What a result may be (`CFX/Structures/StatusResult.cs`).
const RESULTS: [&str; 4] = ["Success", "PartialSuccess", "Failed", "Warning"];

/// One output that locks a station.
pub(super) struct Lock {
    desk: Arc<Desk>,
    wanted: watch::Receiver<Arc<Wanted>>,
    machine: MachineName,
    name: OutputName,
    output: Output,
    /// The machine's handle, and where it takes requests.
    handle: String,
    requests: Requests,
    command: Command,
    asked: Asked,
}

/// The last request, and what became of it.
#[derive(Default)]
struct Asked {
    number: u64,
    id: String,
    verdict: Option<Verdict>,
}

/// All locks of a machine.
pub(super) fn of(desk: &Arc<Desk>, machine: &MachineName, settings: &Settings) -> Vec<Lock> {
    let Some(requests) = &settings.requests else { return Vec::new() };
    let lock = |(name, output): (OutputName, &Output)| Lock {
        desk: Arc::clone(desk),
        wanted: desk.floor.wanted.clone(),
        machine: machine.clone(),
        name,
        output: output.clone(),
        handle: settings.handle.clone(),
        requests: requests.clone(),
        command: Command::new(requests.within.0),
        asked: Asked::default(),
    };
    settings.locks().map(lock).collect()
}

impl Lock {
    /// Keeps the station as wanted until the order to stop, then locks it.
    pub(super) async fn run(mut self) {
        let mut back_off = BackOff::for_machines();
        loop {
            let begun = Instant::now();
            let (requests, desk) = (self.requests.clone(), Arc::clone(&self.desk));
            let target = requests.target.as_deref().unwrap_or(&self.handle).to_owned();
            let to = requests.whereto();
            let tying = Box::pin(Requester::tie(&to, &desk.endpoint, &target));
            let lost = match self.meanwhile(tying).await {
                None => return,
                Some(Err(garbled)) => Some(garbled),
                Some(Ok(mut requester)) => {
                    let lost = self.keep(&mut requester).await.err();
                    if lost.is_none() {
                        let _ = timeout(LAST, self.lock_last(&mut requester)).await;
                    }
                    requester.leave().await;
                    lost
                }
            };
            let Some((kind, why)) = lost else { return };
            // Nobody knows what it does now: it is asked again.
            self.command.doubt();
            self.asked.verdict = None;
            self.trouble(kind, &format!("{}: {why}", requests.address));
            if begun.elapsed() >= STEADY {
                back_off.reset();
            }
            if self.meanwhile(Box::pin(sleep(back_off.wait()))).await.is_none() {
                return;
            }
        }
    }

    /// Waits for something, and shows meanwhile what is wanted; none when the gateway stops.
    async fn meanwhile<T>(&mut self, mut event: impl Future<Output = T> + Unpin) -> Option<T> {
        let stop = self.desk.floor.stop.clone();
        loop {
            self.show();
            tokio::select! {
                biased;
                () = stop.cancelled() => return None,
                out = &mut event => return Some(out),
                changed = self.wanted.changed() => changed.ok()?,
            }
        }
    }

    /// Keeps the station as wanted over one connection; returns when the gateway stops.
    async fn keep(&mut self, requester: &mut Requester) -> Result<(), Garbled> {
        let stop = self.desk.floor.stop.clone();
        loop {
            let wanted = self.wants();
            if let Some(question) = self.turn(wanted) {
                match stop.run_until_cancelled(requester.send(&question)).await {
                    None => return Ok(()),
                    Some(sent) => sent?,
                }
            }
            let pace = Instant::now() + PACE;
            let due = self.command.due().map_or(pace, |due| due.min(pace));
            tokio::select! {
                () = stop.cancelled() => return Ok(()),
                changed = self.wanted.changed() => if changed.is_err() { return Ok(()) },
                answers = requester.answers() => self.hear(&answers?),
                () = sleep_until(due) => {}
            }
        }
    }

    /// The gateway stops: what is not known to be locked is asked to lock.
    async fn lock_last(&mut self, requester: &mut Requester) -> Result<(), Garbled> {
        loop {
            if let Some(question) = self.turn(false) {
                requester.send(&question).await?;
            }
            if self.command.known() == Some(false) {
                return Ok(());
            }
            let answers = requester.answers().await?;
            self.hear(&answers);
        }
    }

    /// Looks at what is wanted and answered; gives the request that is to be sent.
    fn turn(&mut self, permits: bool) -> Option<Envelope> {
        let last = self.asked.number;
        let Turn { tell, failing } = self.command.turn(
            permits,
            self.asked.verdict.as_ref(),
            None,
            || last + 1,
            Instant::now(),
        );
        if let Some(number) = tell.filter(|number| *number != last) {
            let id = format!("REQUEST-{}", super::unique_id());
            self.asked = Asked { number, id, verdict: None };
        }
        if let Some(failing) = failing {
            self.tell(permits, &failing);
        }
        self.show();
        tell.map(|_| self.question(permits))
    }

    fn question(&self, permits: bool) -> Envelope {
        let (name, body) = request(&self.output, &self.desk.endpoint.handle, permits);
        let asked = Envelope::said(&self.desk.endpoint.handle, &name, body);
        asked.asked_of(&self.handle, self.asked.id.clone())
    }

    fn hear(&mut self, answers: &[Envelope]) {
        let ours = answers.iter().find(|a| a.request_id.as_ref() == Some(&self.asked.id));
        if let Some(answer) = ours {
            self.asked.verdict = Some(verdict(answer));
        }
    }

    fn wants(&mut self) -> bool {
        self.wanted.borrow_and_update().permits(&self.machine, &self.name)
    }

    fn show(&mut self) {
        let wanted = self.wants();
        self.desk.floor.observer.output(&self.machine, &self.name, wanted, self.command.known());
    }

    fn tell(&self, permits: bool, failing: &Failing) {
        let asked = if permits { "unlock" } else { "lock" };
        match failing {
            Failing::Refused(words) => {
                let words = words.as_deref().unwrap_or("it does not say why");
                let why = format!(
                    "asked to {asked}, and it did not: {words}; see what hinders it there, and \
                     that it knows this request. It is asked again"
                );
                self.trouble(Trouble::Disobeyed, &why);
            }
            Failing::Unanswered(_) | Failing::NotShown => {
                let why = format!(
                    "asked to {asked}, and no answer came within {}: see that the machine runs, \
                     and raise requests: within where it takes longer to stop. It is asked again",
                    humantime::format_duration(self.requests.within.0)
                );
                self.trouble(Trouble::TimedOut, &why);
            }
        }
    }

    fn trouble(&self, kind: Trouble, why: &str) {
        let why = format!("output {}: {why}", self.name);
        self.desk.floor.observer.trouble(&self.machine, kind, &why);
    }
}

/// The name and the body of a request.
fn request(output: &Output, requestor: &str, permits: bool) -> (String, Map<String, Value>) {
    let stage = output.stage.as_ref().map(|stage| {
        json!({
            "StageSequence": stage.sequence, "StageName": stage.name, "StageType": "Work",
        })
    });
    let requestor = json!({
        "OperatorIdentifier": requestor, "ActorType": "RemoteSystem", "LastName": null,
        "FirstName": null, "LoginName": null,
    });
    let mut body = Map::new();
    body.insert("Lane".to_owned(), json!(output.lane));
    body.insert("Stage".to_owned(), json!(stage));
    body.insert("Requestor".to_owned(), requestor);
    if !permits {
        body.insert("Reason".to_owned(), json!("QualityIssue"));
    }
    let word = if permits { "Unlock" } else { "Lock" };
    (format!("CFX.Production.{word}StationRequest"), body)
}

/// What an answer says. Whatever is not plainly a success is none.
fn verdict(answer: &Envelope) -> Verdict {
    let named = |word: &str| answer.name.trim().eq_ignore_ascii_case(word);
    let refused = |why: String| Verdict::Refused(Some(why));
    if named("CFX.NotSupportedResponse") {
        return refused("it says that it does not support this request".to_owned());
    }
    if !named("CFX.Production.LockStationResponse")
        && !named("CFX.Production.UnlockStationResponse")
    {
        return refused(format!("it answers with {}", shortened(&answer.name)));
    }
    let Some(result) = object(&answer.body, "Result") else {
        return refused("its answer has no Result".to_owned());
    };
    match result.get("Result").and_then(|result| choice(result, &RESULTS)) {
        Some(0) => Verdict::Done,
        Some(at) => {
            let words = text(result, "Message").map(clipped).unwrap_or_default();
            refused(format!("it answers {} {words}", RESULTS[at]).trim_end().to_owned())
        }
        None => refused("its answer has no Result that is known".to_owned()),
    }
}

#[cfg(test)]
mod tests;
