//! What the connection that takes in listens to: its filters, and what the broker makes of them.

use std::collections::{BTreeMap, HashMap};
use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::{Instant, sleep_until};

use super::consume::{Arrival, Consumer};
use super::lost::Lost;
use super::packets::Grant;
use super::session::{Incident, Order, Session};
use super::topic::covers;
use crate::link::Trouble;

/// Longest wait for the answer to a subscription.
const SUBSCRIBING: Duration = Duration::from_secs(10);

/// Incidents heard at once at the most.
const TOLD: usize = 64;

/// How often a refused subscription is asked for again.
const ASKING_AGAIN: Duration = Duration::from_secs(60);

/// The subscriptions of one connection.
struct Asked {
    orders: mpsc::Sender<Order>,
    last: u16,
    /// Not answered yet: which filters, and by when.
    waiting: BTreeMap<u16, (Vec<(String, u8)>, Instant)>,
    /// Refused, and when they are asked for again.
    refused: Option<(Vec<(String, u8)>, Instant)>,
}

impl Asked {
    async fn ask(&mut self, filters: Vec<(String, u8)>) {
        if filters.is_empty() {
            return;
        }
        self.last += 1;
        self.waiting.insert(self.last, (filters.clone(), Instant::now() + SUBSCRIBING));
        // A connection that is gone is told elsewhere.
        let _ = self.orders.send(Order::Subscribe(self.last, filters)).await;
    }

    /// When an answer is overdue, or a question is.
    fn due(&self) -> Option<Instant> {
        let answers = self.waiting.values().map(|(_, by)| *by);
        answers.chain(self.refused.iter().map(|(_, at)| *at)).min()
    }
}

impl Consumer {
    /// Hears a connection until it ends. Told to stop, it takes in nothing more and goes on until
    /// the acknowledgements under way have left.
    pub(super) async fn listen(
        &self,
        session: Session,
        arrive: mpsc::UnboundedSender<Arrival>,
    ) -> Result<(), Lost> {
        let Session { welcome, orders, mut incidents, moving: _moving } = session;
        self.look_at_terms(&welcome);
        let mut arrive = Some(arrive);
        let mut up = welcome.resumed || self.filters.is_empty();
        if up {
            send(arrive.as_ref(), Arrival::Up(welcome.resumed));
        }
        let mut asked = Asked { orders, last: 0, waiting: BTreeMap::new(), refused: None };
        asked.ask(self.filters.clone()).await;
        let mut told = Vec::with_capacity(TOLD);
        loop {
            let due = asked.due();
            let taken = tokio::select! {
                biased;
                () = self.floor.stop.cancelled(), if arrive.is_some() => {
                    arrive = None;
                    // The connection ends once all its senders are gone or one has told it to.
                    asked.orders = mpsc::channel(1).0;
                    continue;
                }
                () = sleep_until(due.unwrap_or_else(Instant::now)), if due.is_some() && arrive.is_some() => {
                    if let Some((filters, _)) = asked.refused.take_if(|(_, at)| Some(*at) == due) {
                        asked.ask(filters).await;
                        continue;
                    }
                    return Err(Lost::Late("a subscription"));
                }
                taken = incidents.recv_many(&mut told, TOLD) => taken,
            };
            if taken == 0 {
                return if arrive.is_none() { Ok(()) } else { Err(Lost::Broken(None)) };
            }
            for incident in told.drain(..) {
                match incident {
                    Err(_) if arrive.is_none() => return Ok(()),
                    Err(lost) => return Err(lost),
                    Ok(Incident::Message(arrived, room)) => {
                        send(arrive.as_ref(), Arrival::Message(arrived, room));
                    }
                    Ok(Incident::Granted { id, grants }) => {
                        self.granted(id, &grants, &mut asked, &mut up, arrive.as_ref())?;
                    }
                    Ok(Incident::Confirmed { .. }) => {}
                }
            }
        }
    }

    fn granted(
        &self,
        id: u16,
        grants: &[Grant],
        asked: &mut Asked,
        up: &mut bool,
        arrive: Option<&mpsc::UnboundedSender<Arrival>>,
    ) -> Result<(), Lost> {
        let Some((filters, _)) = asked.waiting.remove(&id) else { return Ok(()) };
        if grants.len() != filters.len() {
            return Err(Lost::Garbled("an answer to other subscriptions".to_owned()));
        }
        if !std::mem::replace(up, true) {
            send(arrive, Arrival::Up(false));
        }
        let refused = self.look_at(filters, grants, id > 1, arrive);
        if !refused.is_empty() {
            asked.refused = Some((refused, Instant::now() + ASKING_AGAIN));
        }
        Ok(())
    }

    /// A broker may keep a session for less long than it was asked to (MQTT 5.0, 3.2.2.3.2).
    fn look_at_terms(&self, welcome: &super::packets::Welcome) {
        if let Some(seconds) = welcome.session_expiry
            && u64::from(seconds) < self.session_expiry.as_secs()
        {
            let why = format!(
                "the broker keeps messages for {seconds} s only while the gateway is away: raise \
                 its own limit, or shorten session-expiry"
            );
            self.trouble(Trouble::Weakened, &why);
        }
    }

    /// Tells what the broker does not grant. Gives the filters it refuses.
    fn look_at(
        &self,
        filters: Vec<(String, u8)>,
        grants: &[Grant],
        again: bool,
        arrive: Option<&mpsc::UnboundedSender<Arrival>>,
    ) -> Vec<(String, u8)> {
        let mut refused = Vec::new();
        for ((filter, wanted), grant) in filters.into_iter().zip(grants) {
            let owners = self.owners(&filter);
            let why = match grant {
                Grant::Qos(granted) if *granted >= wanted => {
                    if again {
                        send(arrive, Arrival::Heard(owners));
                    }
                    continue;
                }
                Grant::Qos(granted) => {
                    let why = format!(
                        "the broker grants QoS {granted} for {filter}, not {wanted}: messages may \
                         be lost; raise its own limit, or set qos: {granted} if that may be"
                    );
                    for owner in &owners {
                        self.floor.observer.trouble(owner, Trouble::Weakened, &why);
                    }
                    continue;
                }
                Grant::Refused(why) => {
                    format!("the broker refuses the subscription to {filter}: {why}")
                }
            };
            for owner in &owners {
                self.floor.observer.trouble(owner, Trouble::Refused, &why);
            }
            send(arrive, Arrival::Deaf(owners, why));
            refused.push((filter, wanted));
        }
        refused
    }
}

fn send(arrive: Option<&mpsc::UnboundedSender<Arrival>>, arrival: Arrival) {
    if let Some(arrive) = arrive {
        // The receiver is gone only when the gateway takes no more signals.
        let _ = arrive.send(arrival);
    }
}

/// The topics of all messages, each once, with the highest quality of service asked for. One
/// that another covers is left out: a broker may send a message once for each filter that it
/// matches (MQTT 3.1.1, 3.3.5), and it would be counted as often.
pub(super) fn filters(wanted: impl Iterator<Item = (String, u8)>) -> Vec<(String, u8)> {
    let mut highest: HashMap<String, u8> = HashMap::new();
    for (topic, qos) in wanted {
        let known = highest.entry(topic).or_default();
        *known = (*known).max(qos);
    }
    let narrow: Vec<(String, u8)> = highest.clone().into_iter().collect();
    for (topic, qos) in narrow {
        let wide = highest.iter_mut().find(|(wide, _)| **wide != topic && covers(wide, &topic));
        if let Some((_, known)) = wide {
            *known = (*known).max(qos);
            highest.remove(&topic);
        }
    }
    let mut filters: Vec<_> = highest.into_iter().collect();
    filters.sort();
    filters
}
