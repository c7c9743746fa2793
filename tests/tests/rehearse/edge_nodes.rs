//! Machines that speak Sparkplug are rehearsed, those of one edge node as one.

use std::net::TcpListener;

use crate::{LIMIT, compared, hear, rehearse_text};

/// A printer and a washer of one edge node, and a rack that is one itself. Invented.
const CELL: &str = r#"
site: Invented Works
ledger: real.db
policy:
  wash: { valid-for: 1h, dry-out: 10min }
  permit: 30s
stencils:
  - { code: ST-1, product: Heron, rated-strokes: 50000, clean: true }
  - { code: ST-2, product: Heron, rated-strokes: 50000, clean: true }
brokers:
  - name: floor
    address: "127.0.0.1:$BROKER"
    version: "5.0"
    client: invented
    user: somebody
    password-file: nowhere
    tls: { ca: nowhere.pem }
sparkplug:
  - { broker: floor, publish-as: { group: Invented, edge-node: stencils } }
machines:
  - name: printer-1
    kind: printer
    fastest-cycle: 400ms
    sparkplug:
      broker: floor
      group: Invented
      edge-node: cell
      device: printer
      metrics:
        - { signal: stroke-total, name: Strokes, width: 32 }
        - { signal: stencil-seated, name: Stencil/Code }
        - { signal: machine-state, name: State, values: { RUN: running, WAIT: idle } }
      outputs:
        - { name: lock, drive: print-permit, metric: Stencil/Permit }
  - name: washer-1
    kind: washer
    sparkplug:
      broker: floor
      group: Invented
      edge-node: cell
      device: washer
      metrics:
        - { signal: wash-state, name: Programme/State, values: { RUN: running, OK: passed, BAD: failed, STOP: aborted } }
        - { signal: wash-stencil, name: Programme/Stencil }
        - { signal: measured, name: Water, quantity: resistivity, unit: "MΩ·cm" }
  - name: rack-1
    kind: rack
    sparkplug:
      broker: floor
      group: Invented
      edge-node: rack
      metrics:
        - { signal: slot, name: A1/Occupied, slot: A1 }
        - { signal: slot, name: A2/Occupied, slot: A2 }
        - { signal: slot, name: A3/Occupied, slot: A3 }
        - { signal: store-asked, name: Ask/Store }
        - { signal: take-asked, name: Ask/Take }
        - { signal: asked-stencil, name: Ask/Stencil }
      outputs:
        - { name: door, drive: door-release, metric: Door/Release, read-back: Door/Open }
"#;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn edge_nodes_are_rehearsed_and_the_real_broker_is_left_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let real = TcpListener::bind(("127.0.0.1", 0)).expect("a port");
    real.set_nonblocking(true).expect("a socket");
    let port = real.local_addr().expect("an address").port().to_string();
    let text = CELL.replace("$BROKER", &port);
    let mut child = rehearse_text(folder.path(), &text, &["--for", "40s", "--speed", "2"]);
    child.close_input();
    let status = child.exit(LIMIT).await;
    let told = child.transcript();
    assert!(status.success(), "{told}");
    assert!(told.contains("Differences: 0"), "{told}");
    let (made, booked) = compared(&told, "printer-1 strokes");
    assert!(made > 0 && made == booked, "{told}");
    for part in [
        "Sparkplug, Invented/cell/printer",
        "Sparkplug, Invented/cell/washer",
        "Sparkplug, Invented/rack ",
        "lock (print-permit)",
        "door (door-release)",
        "washer-1   ST-",
        "is stored in A",
    ] {
        assert!(told.contains(part), "no {part:?} in:\n{told}");
    }
    assert!(!told.contains("cannot say"), "{told}");
    let nobody = real.accept().expect_err("the real broker was contacted");
    assert_eq!(nobody.kind(), std::io::ErrorKind::WouldBlock);
    let names = std::fs::read_dir(folder.path()).expect("a folder");
    let names: Vec<_> = names.map(|entry| entry.expect("an entry").file_name()).collect();
    assert_eq!(names, ["plant.yaml"], "nothing new lies there");
}

/// A device dies alone; what cuts its edge node off takes its neighbour with it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_goes_wrong_with_an_edge_node_is_told_and_counts_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = CELL.replace("$BROKER", "1").replace(
        "  permit: 30s\n",
        "  permit: 30s\n  printing: { needs-take: false }\n  counting: { seat-wait: 2s }\n",
    );
    let mut child = rehearse_text(folder.path(), &text, &["--by-hand"]);
    child.tell("printer-1 seats ST-1");
    hear(&mut child, &["printer-1", "was given ST-1"]).await;
    let mut strokes = 0;
    for (line, answer) in [("printer-1 repeats 5", "5"), ("printer-1 floods 50", "50")] {
        prints(&mut child, 3).await;
        strokes += 3;
        child.tell(line);
        hear(&mut child, &["printer-1", answer]).await;
    }
    child.tell("printer-1 off");
    hear(&mut child, &["printer-1", "link lost", "says that printer is gone"]).await;
    child.tell("printer-1 on");
    hear(&mut child, &["printer-1", "link up"]).await;
    prints(&mut child, 3).await;
    child.tell("washer-1 cut");
    hear(&mut child, &["printer-1", "link lost", "Invented/cell has died"]).await;
    hear(&mut child, &["printer-1", "link up"]).await;
    prints(&mut child, 3).await;
    child.tell("rack-1 off");
    hear(&mut child, &["rack-1", "link lost", "Invented/rack has died"]).await;
    child.tell("rack-1 on");
    hear(&mut child, &["rack-1", "link up"]).await;
    child.tell("end");
    let status = child.exit(LIMIT).await;
    let told = child.transcript();
    assert!(status.success(), "{told}");
    assert_eq!(compared(&told, "printer-1 strokes"), (strokes + 6, strokes + 6), "{told}");
}

async fn prints(child: &mut stencilward_tests::child::Child, strokes: u64) {
    child.tell(&format!("printer-1 prints {strokes}"));
    let done = format!("is done: {strokes} of {strokes} strokes");
    hear(child, &["printer-1", &done]).await;
}
