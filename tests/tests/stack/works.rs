//! A floor of two printers with a tally of their own, one over Modbus and one over MQTT, and the
//! gateway in a container beside a broker in another.
//!
//! Both printers are in this process. A container in the floor's network is the wire to the Modbus
//! printer: this computer's own addresses can be reached from every network. The gateway is in the
//! floor's network and in that of people, from which nothing else can be reached.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use serde_json::Value;
use stencilward_adapters::{modbus, mqtt, simulated::Simulated};
use stencilward_config::Configuration;
use stencilward_domain::names::{CounterName, MachineName, OutputName, StencilCode};
use stencilward_domain::signal::Width;
use stencilward_service::demo::printer::{Counting, Printer};
use stencilward_service::plant::tally::Tally;
use stencilward_tests::certificates::{Authority, Shown};
use stencilward_tests::curl::Client;
use stencilward_tests::said::after;
use stencilward_tests::wait::eventually;
use tempfile::TempDir;
use testcontainers::core::{AccessMode, ExecCommand, Mount, WaitFor};
use testcontainers::runners::AsyncRunner as _;
use testcontainers::{ContainerAsync, GenericImage, Healthcheck, ImageExt as _};
use tokio::io::AsyncReadExt as _;
use tokio::task::JoinHandle;

use crate::engine::{Apart, Engine};
use crate::{LIMIT, image};

const CONFIGURATION: &str = r#"
site: Invented Works
listen: 0.0.0.0:9464
ledger: /var/lib/stencilward/plant.db
tls: { certificate: /run/secrets/gateway.pem, key: /run/secrets/gateway.key }
policy: { printing: { needs-take: false }, wash: { dry-out: 1h } }
stencils:
  - { code: ST-1, rated-strokes: 1000000, clean: true }
  - { code: ST-2, rated-strokes: 1000000, clean: true }
brokers:
  - { name: floor, address: "broker:1883", client: stack-test, keep-alive: 2s }
machines:
  - name: over-modbus
    kind: printer
    fastest-cycle: 10ms
    modbus:
      address: 127.0.0.1:1
      poll: 100ms
      points:
        - { signal: stroke-total, table: input, at: 0, type: u32, words: high-first }
        - { signal: stencil-seated, table: holding, at: 10, type: text, registers: 4 }
      outputs:
        - { name: print-lock, drive: print-permit, table: coil, at: 0 }
  - name: over-mqtt
    kind: printer
    fastest-cycle: 10ms
    mqtt:
      broker: floor
      messages:
        - { topic: a/stroke, signal: strokes-done, count: /count, identity: /id }
        - { topic: a/stencil, signal: stencil-seated, stencil: /code }
      outputs:
        - { name: print-lock, drive: print-permit, topic: a/lock, permit: open, refuse: shut }
"#;

const BROKER: &str = "listener 1883\nallow_anonymous true\nuser root\nset_tcp_nodelay true\n\
                      max_queued_messages 0\nlog_dest stderr\n";

/// Where the gateway's container keeps its ledger.
const HOME: &str = "/var/lib/stencilward";

/// What the gateway keeps its ledger on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Disk {
    /// A volume of the engine.
    Volume,
    /// So many mebibytes of memory, gone when the container stops.
    Small(u32),
}

/// The floor, the gateway, and what was printed.
pub(crate) struct Works {
    pub(crate) engine: Engine,
    pub(crate) gateway: ContainerAsync<GenericImage>,
    pub(crate) floor: String,
    pub(crate) client: Client,
    pub(crate) tally: Arc<Tally>,
    printing: Arc<AtomicBool>,
    at_work: Vec<JoinHandle<()>>,
    machines: [(MachineName, Arc<dyn Simulated>); 2],
    folder: TempDir,
    _beside: [ContainerAsync<GenericImage>; 2],
    _people: Apart,
    _authority: Authority,
}

impl Works {
    /// Starts all of it, and has both printers print; none, said aloud, where that cannot be.
    pub(crate) async fn start(disk: Disk) -> Option<Self> {
        if !image::present().await {
            return None;
        }
        let (engine, folder) = (Engine::new().await, tempfile::tempdir().unwrap());
        let own = folder.path().file_name().unwrap().to_string_lossy().replace('.', "");
        let (floor, name) = (format!("stack-floor{own}"), format!("stack-broker{own}"));
        let printer = format!("stack-printer{own}");
        let people = engine.network_apart(format!("stack-people{own}")).await;
        let broker = broker(folder.path(), &floor, &name).await;
        let at_broker = (engine.address_in(&floor, broker.id()).await, 1883).into();
        let host = (engine.host_in(&floor).await, 0).into();

        let mut configuration =
            stencilward_config::parse("stack.yaml", CONFIGURATION).expect("a good configuration");
        configuration.brokers[0].address = format!("{name}:1883");
        let machines = machines(&mut configuration, host, at_broker).await;
        let modbus = configuration.machines[0].modbus.as_mut().unwrap();
        let to = modbus.address.replace(format!("{printer}:502")).unwrap();
        let wire = wire(&to, &floor, &printer).await;
        let plant = folder.path().join("plant.yaml");
        std::fs::write(&plant, serde_yaml::to_string(&configuration).unwrap()).unwrap();

        let authority = Authority::new("Invented CA");
        let gateway = gateway(&plant, &authority.issue("gateway"), &people.name, disk).await;
        engine.connect(&floor, gateway.id()).await;
        let mut client = Client::of("https://gateway:9464", Some(&authority.ca()))?;
        let address = engine.address_in(&people.name, gateway.id()).await;
        let resolve = format!("gateway:9464:{address}");
        let token = admitted(&gateway).await;
        let bearer = format!("Authorization: Bearer {token}");
        client.always(&["--max-time", "4", "--resolve", &resolve, "-H", &bearer]);

        let (tally, printing) = (Arc::default(), Arc::new(AtomicBool::new(true)));
        let mut works = Self {
            engine,
            gateway,
            floor,
            client,
            tally,
            printing,
            at_work: Vec::new(),
            machines,
            folder,
            _beside: [broker, wire],
            _people: people,
            _authority: authority,
        };
        // A broker keeps nothing for a gateway it has never seen: nobody may speak before it has.
        works.until_up().await;
        works.print();
        works.until_printed(50).await;
        Some(works)
    }

    fn print(&mut self) {
        let counter = CounterName::new("strokes").unwrap();
        let total = Counting::Total { counter, width: Width::Bits32 };
        let lock = OutputName::new("print-lock").unwrap();
        for ((machine, counting), code) in
            self.machines.iter().cloned().zip([total, Counting::Each]).zip(["ST-1", "ST-2"])
        {
            let (cycle, tally) = (Duration::from_millis(50), Arc::clone(&self.tally));
            let printer = Printer::new(machine, &lock, counting, cycle, 0, tally).unwrap();
            let printing = Arc::clone(&self.printing);
            self.at_work.push(tokio::spawn(async move {
                let code = StencilCode::new(code).unwrap();
                printer.switch_on().await.expect("it can say its total");
                printer.seat(&code).await.expect("it can say its stencil");
                let patience = Duration::from_secs(120);
                let go_on = || printing.load(Ordering::SeqCst);
                printer.print(&code, 1_000_000, patience, go_on).await.expect("it prints");
            }));
        }
    }

    /// Strokes made until now, by machine.
    pub(crate) fn made(&self) -> BTreeMap<MachineName, u64> {
        self.tally.count().machines
    }

    /// Waits until each printer has made so many more strokes.
    pub(crate) async fn until_printed(&self, more: u64) {
        let before = self.made();
        let enough = |name: &MachineName, now: u64| now >= before.get(name).unwrap_or(&0) + more;
        eventually("both printers print", LIMIT, async || {
            let made = self.made();
            let all = made.len() == 2 && made.iter().all(|(name, now)| enough(name, *now));
            if all { Ok(()) } else { Err(format!("{made:?}, before {before:?}")) }
        })
        .await;
    }

    /// Has both printers end their work.
    pub(crate) async fn stop_printing(&mut self) {
        self.printing.store(false, Ordering::SeqCst);
        for printer in self.at_work.drain(..) {
            printer.await.expect("the printer ends");
        }
    }

    /// What `/metrics` says of each machine: is it up.
    async fn up(&self) -> Vec<bool> {
        let (_, metrics) = self.client.get("/metrics");
        let of_machines =
            metrics.lines().filter(|line| line.starts_with("stencilward_machine_up{"));
        of_machines.map(|line| line.ends_with(" 1")).collect()
    }

    pub(crate) async fn until_up(&self) {
        self.until_machines_are(true).await;
    }

    pub(crate) async fn until_down(&self) {
        self.until_machines_are(false).await;
    }

    async fn until_machines_are(&self, wanted: bool) {
        eventually(&format!("machines up: {wanted}"), LIMIT, async || {
            let up = self.up().await;
            if up == [wanted, wanted] { Ok(()) } else { Err(format!("{up:?}")) }
        })
        .await;
    }

    pub(crate) fn ready(&self) -> u16 {
        self.client.get("/readyz").0
    }

    pub(crate) async fn until_ready(&self, wanted: u16) {
        eventually(&format!("/readyz answers {wanted}"), LIMIT, async || match self.ready() {
            status if status == wanted => Ok(()),
            other => Err(other),
        })
        .await;
    }

    /// Waits until the gateway knows every stroke that was made, and no other.
    pub(crate) async fn until_all_known(&self) {
        eventually("the gateway knows all strokes", LIMIT, async || {
            let (known, made) = (self.known(), self.made());
            let seen = || format!("{made:?} made: {}", self.client.get("/api/v1/machines").1);
            if known.as_ref() == Some(&made) { Ok(()) } else { Err(seen()) }
        })
        .await;
    }

    fn known(&self) -> Option<BTreeMap<MachineName, u64>> {
        let machines: Value = serde_json::from_str(&self.client.get("/api/v1/machines").1).ok()?;
        let strokes = |machine: &Value| {
            let open = machine["unattributed_strokes"].as_u64()?;
            assert_eq!(open, 0, "no stencil ever changed: {machine}");
            let name = MachineName::new(machine["machine"].as_str()?).ok()?;
            Some((name, machine["booked_strokes"].as_u64()?))
        };
        machines["machines"].as_array()?.iter().map(strokes).collect()
    }

    /// Carries out a command in the gateway's container: its exit status and what it wrote.
    pub(crate) async fn inside(&self, command: &[&str]) -> (i64, String) {
        inside(&self.gateway, command).await
    }

    /// Ends the gateway in order, and gives its ledger.
    pub(crate) async fn ledger(&self) -> PathBuf {
        self.gateway.stop_with_timeout(Some(30)).await.unwrap();
        assert_eq!(self.gateway.exit_code().await.unwrap(), Some(0));
        let file = self.folder.path().join("plant.db");
        let inside = format!("{HOME}/plant.db");
        self.gateway.copy_file_from(inside, file.as_path()).await.unwrap();
        file
    }
}

async fn inside(container: &ContainerAsync<GenericImage>, command: &[&str]) -> (i64, String) {
    let mut run = container.exec(ExecCommand::new(command.iter().copied())).await.unwrap();
    let mut said = String::new();
    run.stdout().read_to_string(&mut said).await.unwrap();
    run.stderr().read_to_string(&mut said).await.unwrap();
    (run.exit_code().await.unwrap().unwrap_or(-1), said)
}

/// Lets the test in, as a program, and gives its token.
async fn admitted(gateway: &ContainerAsync<GenericImage>) -> String {
    let command = "stencilward people /etc/stencilward/plant.yaml admit test --program \
                   --role operator --by test --why test";
    let words: Vec<&str> = command.split_whitespace().collect();
    let (status, said) = inside(gateway, &words).await;
    assert_eq!(status, 0, "{said}");
    after(&said, "token, not shown again: ")
}

fn read_only(file: &Path, inside: &str) -> Mount {
    let file = file.display().to_string();
    Mount::bind_mount(file, inside).with_access_mode(AccessMode::ReadOnly)
}

async fn broker(folder: &Path, network: &str, name: &str) -> ContainerAsync<GenericImage> {
    let file = folder.join("mosquitto.conf");
    std::fs::write(&file, BROKER).unwrap();
    let image = GenericImage::new(image::SERVICES, image::TAG).with_entrypoint("mosquitto");
    let image = image.with_wait_for(WaitFor::message_on_stderr("running"));
    let container = image
        .with_cmd(["-c", "/mosquitto/config/mosquitto.conf"])
        .with_mount(read_only(&file, "/mosquitto/config/mosquitto.conf"))
        .with_network(network)
        .with_container_name(name);
    container.start().await.unwrap()
}

/// A Modbus port in this network that is really that one.
async fn wire(to: &str, network: &str, name: &str) -> ContainerAsync<GenericImage> {
    let image = GenericImage::new(image::SERVICES, image::TAG).with_entrypoint("socat");
    let image = image.with_wait_for(WaitFor::message_on_stderr("listening on"));
    let (from, to) = ("TCP-LISTEN:502,fork,reuseaddr,nodelay", format!("TCP:{to},nodelay"));
    let container =
        image.with_cmd(["-d", "-d", from, &to]).with_network(network).with_container_name(name);
    container.start().await.unwrap()
}

/// As `compose.yaml` runs it, but asked more often whether it is well.
async fn gateway(
    plant: &Path,
    shown: &Shown,
    network: &str,
    disk: Disk,
) -> ContainerAsync<GenericImage> {
    let ready = ["stencilward", "ready", "https://127.0.0.1:9464"];
    let health = Healthcheck::cmd(ready)
        .with_interval(Duration::from_secs(1))
        .with_timeout(Duration::from_secs(8))
        .with_retries(2);
    let image = GenericImage::new(image::GATEWAY, image::TAG);
    let container = image
        .with_wait_for(WaitFor::message_on_stderr("running"))
        .with_mount(read_only(plant, "/etc/stencilward/plant.yaml"))
        .with_mount(read_only(&shown.certificate, "/run/secrets/gateway.pem"))
        .with_mount(read_only(&shown.key, "/run/secrets/gateway.key"))
        .with_network(network)
        .with_readonly_rootfs(true)
        .with_cap_drop("ALL")
        .with_security_opt("no-new-privileges:true")
        .with_health_check(health)
        .with_startup_timeout(LIMIT);
    let container = match disk {
        Disk::Volume => container,
        Disk::Small(mebibytes) => container.with_host_config_modifier(move |host| {
            let options = format!("size={mebibytes}m,uid=10001,gid=10001,mode=0700");
            host.tmpfs = Some([(HOME.to_owned(), options)].into());
        }),
    };
    container.start().await.unwrap()
}

async fn machines(
    configuration: &mut Configuration,
    host: SocketAddr,
    broker: SocketAddr,
) -> [(MachineName, Arc<dyn Simulated>); 2] {
    let name = |at: usize| MachineName::new(&configuration.machines[at].name).unwrap();
    let names = [name(0), name(1)];
    let mqtt = configuration.machines[1].mqtt.clone().unwrap();
    let mqtt = mqtt::Machine::start_announcing(broker, &names[1], mqtt);
    let settings = configuration.machines[0].modbus.as_mut().unwrap();
    let modbus = modbus::Machine::start(settings.clone(), host).await;
    let modbus = modbus.unwrap_or_else(|why| panic!("is the engine on this computer? {why}"));
    settings.address = Some(modbus.local_addr().to_string());
    let [first, second] = names;
    [(first, Arc::new(modbus)), (second, Arc::new(mqtt))]
}
