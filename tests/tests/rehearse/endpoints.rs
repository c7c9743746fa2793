//! Machines that speak CFX are rehearsed: they send to a listener on loopback, whatever broker the
//! file names.

use std::net::TcpListener;

use stencilward_tests::child::Child;
use stencilward_tests::root;

use crate::{LIMIT, compared, hear, rehearse_text};

fn text(broker: u16) -> String {
    let file = root().join("config/examples/cfx.yaml");
    let text = std::fs::read_to_string(file).expect("the example");
    let changed = text.replace("127.0.0.1:5672", &format!("127.0.0.1:{broker}"));
    assert_ne!(changed, text);
    changed
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn endpoints_are_rehearsed_and_the_real_broker_is_left_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let real = TcpListener::bind(("127.0.0.1", 0)).expect("a port");
    real.set_nonblocking(true).expect("a socket");
    let text = text(real.local_addr().expect("an address").port());
    let mut child = rehearse_text(folder.path(), &text, &["--for", "40s", "--speed", "2"]);
    child.close_input();
    let status = child.exit(LIMIT).await;
    let told = child.transcript();
    assert!(status.success(), "{told}");
    assert!(told.contains("Differences: 0"), "{told}");
    for printer in ["printer-1 strokes", "printer-2 strokes"] {
        let (made, booked) = compared(&told, printer);
        assert!(made > 0 && made == booked, "{told}");
    }
    for part in [
        "CFX, Invented.Printer.SN1001",
        "CFX, Invented.Washer.SN2002",
        "next-panel (print-permit)",
        "station-lock (print-permit)",
        "washer-1   ST-",
        "is stored in A",
    ] {
        assert!(told.contains(part), "no {part:?} in:\n{told}");
    }
    assert!(!told.contains("cannot say"), "{told}");
    let nobody = real.accept().expect_err("the real broker was contacted");
    assert_eq!(nobody.kind(), std::io::ErrorKind::WouldBlock);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_goes_wrong_with_a_machine_is_told_and_counts_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = text(1).replace(
        "  permit: 30s\n",
        "  permit: 30s\n  printing: { needs-take: false }\n  counting: { seat-wait: 2s }\n",
    );
    let mut child = rehearse_text(folder.path(), &text, &["--by-hand"]);
    child.tell("printer-1 seats ST-101");
    hear(&mut child, &["printer-1", "was given ST-101"]).await;
    prints(&mut child, 3).await;
    for (line, answer) in [("printer-1 repeats 5", "5"), ("printer-1 floods 50", "50")] {
        child.tell(line);
        hear(&mut child, &["printer-1", answer]).await;
        prints(&mut child, 3).await;
    }
    child.tell("printer-1 off");
    hear(&mut child, &["printer-1", "link lost"]).await;
    child.tell("printer-1 on");
    hear(&mut child, &["printer-1", "link up"]).await;
    child.tell("printer-1 seats ST-101");
    prints(&mut child, 3).await;
    child.tell("printer-1 silent");
    hear(&mut child, &["printer-1", "link lost", "heartbeats"]).await;
    child.tell("end");
    let status = child.exit(LIMIT).await;
    let told = child.transcript();
    assert!(status.success(), "{told}");
    assert_eq!(compared(&told, "printer-1 strokes"), (12, 12), "{told}");
}

async fn prints(child: &mut Child, strokes: u64) {
    child.tell(&format!("printer-1 prints {strokes}"));
    let done = format!("is done: {strokes} of {strokes} strokes");
    hear(child, &["printer-1", &done]).await;
}
