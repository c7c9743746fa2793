//! The other side: edge nodes with devices, or without, that speak the way their settings say.

mod node;
mod wired;

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Duration;

use async_trait::async_trait;
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::signal::Said;
use tokio::sync::{mpsc, watch};
use tokio_util::sync::{CancellationToken, DropGuard};

use super::encode;
use super::settings::Settings;
use crate::mqtt::{Access, Broker};
use crate::settings::Drive;
use crate::simulated::{Answered, CannotFail, CannotSay, Fault, Simulated, Wired};
use node::{Member, Node, Order};

/// Things said that wait to be told.
const WAITING: usize = 1_024;

/// A simulated edge node, or one device of it. What it says while the broker is away, or while it
/// has no power, is in its next birth. An edge node ends with the last of its machines, without a
/// farewell.
pub struct Machine {
    name: MachineName,
    settings: Settings,
    orders: mpsc::Sender<Order>,
    outputs: BTreeMap<OutputName, watch::Receiver<bool>>,
    controls: Arc<Controls>,
    power: Arc<DropGuard>,
}

/// What a test makes it do, and sees of it.
#[derive(Default)]
struct Controls {
    disobeys: AtomicBool,
    /// Messages that get a number and are not sent.
    lose: AtomicU64,
    births: AtomicU64,
    /// It says everything so many milliseconds later.
    late: AtomicU64,
    off: AtomicBool,
    has_spoken: AtomicBool,
}

impl Machine {
    /// An edge node at the broker there, with a machine of this name.
    #[must_use]
    pub fn start(broker: SocketAddr, name: &MachineName, settings: Settings) -> Self {
        Self::at(Broker::plain(broker), name, settings)
    }

    /// One at a broker that is reached the way the gateway reaches it.
    #[must_use]
    pub fn at(broker: Broker, name: &MachineName, settings: Settings) -> Self {
        let access = Access::new(Broker { client: format!("simulated-{name}"), ..broker });
        let (orders, given) = mpsc::channel(WAITING);
        let stop = CancellationToken::new();
        let power = Arc::new(stop.clone().drop_guard());
        let (machine, member) = Self::new(name, settings, orders, power);
        let node = Node::new(access, machine.settings.node(), member);
        tokio::spawn(async move { stop.run_until_cancelled(node.run(given)).await });
        machine
    }

    /// Another machine of the same edge node: another device, or the edge node itself.
    #[must_use]
    pub async fn beside(&self, name: &MachineName, settings: Settings) -> Self {
        let (orders, power) = (self.orders.clone(), Arc::clone(&self.power));
        let (machine, member) = Self::new(name, settings, orders, power);
        // The edge node is there for as long as one of its machines is.
        let _ = machine.orders.send(Order::Join(Box::new(member))).await;
        machine
    }

    fn new(
        name: &MachineName,
        settings: Settings,
        orders: mpsc::Sender<Order>,
        power: Arc<DropGuard>,
    ) -> (Self, Member) {
        let controls = Arc::new(Controls::default());
        let (mut outputs, mut levers) = (BTreeMap::new(), BTreeMap::new());
        for output in settings.outputs.iter().filter(|output| output.drive != Drive::Heartbeat) {
            if let Ok(name) = OutputName::new(&output.name) {
                let (lever, shown) = watch::channel(false);
                outputs.insert(name, shown);
                levers.insert(output.metric.clone(), lever);
            }
        }
        let member = Member::new(name.clone(), &settings, levers, Arc::clone(&controls));
        (Self { name: name.clone(), settings, orders, outputs, controls, power }, member)
    }

    /// From now on it ignores, or follows again, what it is commanded.
    pub fn disobey(&self, disobeys: bool) {
        self.controls.disobeys.store(disobeys, Ordering::SeqCst);
    }

    /// Its next messages of data get lost on the way.
    pub fn lose(&self, messages: u64) {
        self.controls.lose.store(messages, Ordering::SeqCst);
    }

    /// How often it was born.
    #[must_use]
    pub fn births(&self) -> u64 {
        self.controls.births.load(Ordering::SeqCst)
    }

    async fn order(&self, order: Order) -> Result<(), CannotFail> {
        let gone = |_| CannotFail("its edge node was switched off");
        self.orders.send(order).await.map_err(gone)
    }

    fn powered(&self) -> Result<(), CannotFail> {
        match self.controls.off.load(Ordering::SeqCst) {
            true => Err(CannotFail("it has no power, and so no connection")),
            false => Ok(()),
        }
    }
}

#[async_trait]
impl Simulated for Machine {
    /// The identity is left out: totals and states need none.
    async fn say(&self, said: &Said, _identity: Option<&str>) -> Result<(), CannotSay> {
        let messages = encode::metrics(&self.settings, said)?;
        let late = Duration::from_millis(self.controls.late.load(Ordering::SeqCst));
        tokio::time::sleep(late).await;
        for metrics in messages {
            let gone = |_| CannotSay::NoConnection("it was switched off".to_owned());
            self.orders.send(Order::Say(self.name.clone(), metrics)).await.map_err(gone)?;
        }
        self.controls.has_spoken.store(true, Ordering::SeqCst);
        Ok(())
    }

    fn output(&self, name: &OutputName) -> Result<watch::Receiver<bool>, CannotSay> {
        self.outputs.get(name).cloned().ok_or(CannotSay::NotMapped("output"))
    }

    async fn answered(&self) -> Option<Answered> {
        None
    }

    fn wired(&self) -> Wired {
        wired::wired(&self.settings)
    }

    /// Without power a device dies by a certificate, and an edge node, or a device that is the
    /// only machine of one, by the broker's word. What it says while it is silent it tells in the
    /// end.
    async fn suffer(&self, fault: Fault) -> Result<(), CannotFail> {
        let name = self.name.clone();
        match fault {
            Fault::Off(off) => {
                self.controls.off.store(off, Ordering::SeqCst);
                self.order(Order::Power(name, !off)).await
            }
            Fault::Silent(silent) => self.order(Order::Silence(name, silent)).await,
            Fault::Late(by) => {
                let millis = u64::try_from(by.as_millis()).unwrap_or(u64::MAX);
                self.controls.late.store(millis, Ordering::SeqCst);
                Ok(())
            }
            Fault::Refusing(_) => {
                Err(CannotFail("it is never asked, so it cannot answer with an error"))
            }
            Fault::Cut => {
                self.powered()?;
                self.order(Order::Cut).await
            }
            Fault::Disobeying(disobeying) => {
                self.disobey(disobeying);
                Ok(())
            }
            Fault::Repeating(times) => {
                self.powered()?;
                if !self.controls.has_spoken.load(Ordering::SeqCst) {
                    return Err(CannotFail("it has said nothing yet"));
                }
                self.order(Order::Repeat(name, times)).await
            }
            Fault::Flooding(times) => {
                self.powered()?;
                self.order(Order::Flood(name, times)).await
            }
        }
    }
}
