//! Prometheus and its people: the rules, the dashboards, and what the running demo plant gives them.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper that cannot go on fails the test")]

mod expressions;

use std::io::Write as _;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use expressions::Asked;
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::prometheus::Prometheus;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, missing, promtool, python, root};

/// How long the demo is scraped at least.
const LENGTH: Duration = Duration::from_secs(120);

fn deploy(path: &str) -> PathBuf {
    root().join("deploy").join(path)
}

fn succeeds(command: &mut Command, input: &str) -> String {
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout) + String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{command:?}: {said}");
    said.into_owned()
}

/// Each alert fires where it must and is quiet where it must, by promtool.
#[test]
fn the_rules_do_what_they_say() {
    promtool::check_rules(&deploy("prometheus/rules.yml"));
    let Some(tool) = missing::program("promtool", "Debian package prometheus") else { return };
    succeeds(
        Command::new(&tool).arg("test").arg("rules").arg(deploy("prometheus/rules.test.yml")),
        "",
    );
    let config = deploy("prometheus/prometheus.yml");
    succeeds(Command::new(&tool).args(["check", "config", "--syntax-only"]).arg(config), "");
    let tested = std::fs::read_to_string(deploy("prometheus/rules.test.yml")).unwrap();
    for alert in expressions::of_rules(&deploy("prometheus/rules.yml")) {
        let Asked { name, alert: true, .. } = alert else { continue };
        let times = tested.matches(&format!("alertname: {name}")).count();
        assert!(times > 1 || name == "AlertsArrive", "{name} is tested {times} times");
        let quiet = format!("alertname: {name}, exp_alerts: []");
        assert!(tested.contains(&quiet) || name == "AlertsArrive", "{name} never stays quiet");
    }
}

#[test]
fn each_alert_goes_to_somebody() {
    let Some(tool) = missing::program("amtool", "Debian package prometheus-alertmanager") else {
        return;
    };
    let file = deploy("alertmanager/alertmanager.yml");
    succeeds(Command::new(&tool).arg("check-config").arg(&file), "");
    for (labels, receiver) in [
        ("who=maintenance severity=page", "maintenance"),
        ("who=maintenance severity=ticket", "maintenance"),
        ("who=engineer severity=ticket", "engineer"),
        ("who=manager severity=ticket", "manager"),
        ("who=nobody severity=none", "watchdog"),
    ] {
        let mut route = Command::new(&tool);
        route.args(["config", "routes", "test", "--config.file"]).arg(&file);
        let said = succeeds(route.args(labels.split(' ')), "");
        assert_eq!(said.lines().next(), Some(receiver), "{labels}");
    }
}

/// The dashboards are what their script makes with the typed model of Grafana's own library.
#[test]
fn the_dashboards_are_as_made() {
    let Some(python) = python::for_peers() else { return };
    let folder = tempfile::tempdir().unwrap();
    succeeds(Command::new(python).arg(deploy("grafana/make.py")).arg(folder.path()), "");
    for name in ["wear", "floor", "machine"] {
        let file = format!("{name}.json");
        let made = std::fs::read_to_string(folder.path().join(&file)).unwrap();
        let kept = std::fs::read_to_string(deploy("grafana/dashboards").join(&file)).unwrap();
        assert!(made == kept, "{file} is old: run deploy/grafana/make.py");
    }
}

async fn demo(length: Duration) -> (Child, SocketAddr) {
    let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    let length = format!("{}s", length.as_secs());
    command.args(["demo", "--for", &length, "--listen", &address.to_string()]);
    let demo = Child::start(&command);
    let limit = Duration::from_secs(30);
    eventually("metrics", limit, async || {
        http::get(address, "/metrics").await.ok_or("nobody answers")
    })
    .await;
    (demo, address)
}

/// Prometheus scrapes the demo plant for two minutes; then every expression of every dashboard and
/// every series that an alert looks at has data.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_expression_has_data_from_the_demo() {
    let (mut demo, address) = demo(2 * LENGTH).await;
    let rules = deploy("prometheus/rules.yml");
    let Some(prometheus) = Prometheus::start(address, &rules).await else { return };
    let begun = std::time::Instant::now();
    let mut asked = expressions::of_rules(&rules);
    for name in ["wear", "floor", "machine"] {
        asked
            .extend(expressions::of_dashboard(&deploy(&format!("grafana/dashboards/{name}.json"))));
    }
    assert!(asked.len() > 60, "{} expressions", asked.len());
    while begun.elapsed() < LENGTH {
        tokio::time::sleep(Duration::from_secs(1)).await;
    }
    for Asked { name, expression, .. } in &asked {
        // The demo's gateway is started anew at times, and has no series meanwhile.
        let has_data = async || match prometheus.query(expression).await {
            Ok(0) => Err(format!("{name} has no data: {expression}")),
            Ok(_) => Ok(()),
            Err(why) => panic!("{name}: {expression}: {why}"),
        };
        eventually(name, Duration::from_secs(20), has_data).await;
    }
    check_exposition(address).await;
    demo.stop();
}

/// Prometheus' own tool and Python's client read what is exposed.
async fn check_exposition(address: SocketAddr) {
    let served = async || http::get(address, "/metrics").await.ok_or("nobody answers");
    let text = eventually("metrics", Duration::from_secs(20), served).await.body;
    promtool::check_metrics(&text);
    let Some(python) = python::for_peers() else { return };
    let peer: &Path = &root().join("tests/peers/exposition.py");
    let said = succeeds(Command::new(python).arg(peer), &text);
    let counts: Vec<usize> = said.split_whitespace().map(|count| count.parse().unwrap()).collect();
    assert!(counts[0] > 40 && counts[1] > 200, "{said}");
}
