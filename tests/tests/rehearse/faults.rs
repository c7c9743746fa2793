//! What goes wrong on demand is told, ends, and loses nothing that need not be lost.

use stencilward_tests::child::Child;

use crate::files::TWO_PRINTERS;
use crate::{LIMIT, compared, hear, rehearse_text};

/// A rehearsal by hand with a stencil in each printer.
async fn seated(folder: &tempfile::TempDir) -> Child {
    let mut child = rehearse_text(folder.path(), TWO_PRINTERS, &["--by-hand"]);
    child.tell("printer-1 seats ST-1");
    hear(&mut child, &["printer-1", "was given ST-1"]).await;
    child.tell("printer-2 seats ST-2");
    hear(&mut child, &["printer-2", "was given ST-2"]).await;
    child
}

async fn prints(child: &mut Child, printer: &str, strokes: u64) {
    child.tell(&format!("{printer} prints {strokes}"));
    hear(child, &[printer, &format!("is done: {strokes} of {strokes} strokes")]).await;
}

/// Ends it; gives what it told, and whether machines and ledger agreed.
async fn ended(mut child: Child) -> (String, bool) {
    child.tell("end");
    let status = child.exit(LIMIT).await;
    assert!(matches!(status.code(), Some(0 | 1)), "{}", child.transcript());
    (child.transcript(), status.success())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_machine_that_fails_is_told_with_the_reason_and_comes_back() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut child = seated(&folder).await;
    let mut strokes = 0;
    for (fault, answer, why) in [
        ("printer-1 silent", "says nothing from now on", "no answer from unit 1"),
        ("printer-1 answers 06", "answers everything with exception 06", "exception 06"),
        ("printer-1 late 3s", "says everything 3s later", "no answer from unit 1"),
    ] {
        child.tell(fault);
        hear(&mut child, &["printer-1", answer]).await;
        hear(&mut child, &["printer-1", "link lost", why]).await;
        // Nobody hears of these until it is well again.
        prints(&mut child, "printer-1", 4).await;
        strokes += 4;
        child.tell("printer-1 well");
        hear(&mut child, &["printer-1", "is well again"]).await;
        hear(&mut child, &["printer-1", "link up"]).await;
    }
    for printer in ["printer-1", "printer-2"] {
        for (fault, mended) in [("off", Some("on")), ("cut", None)] {
            child.tell(&format!("{printer} {fault}"));
            hear(&mut child, &[printer, "link lost"]).await;
            if let Some(mended) = mended {
                child.tell(&format!("{printer} {mended}"));
            }
            hear(&mut child, &[printer, "link up"]).await;
        }
        prints(&mut child, printer, 3).await;
    }
    let (told, agreed) = ended(child).await;
    assert!(agreed, "{told}");
    assert_eq!(compared(&told, "printer-1 strokes"), (strokes + 3, strokes + 3), "{told}");
    assert_eq!(compared(&told, "printer-2 strokes"), (3, 3), "{told}");
    assert!(told.contains("printer-1: fault E-9"), "nobody said it: {told}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_said_while_a_broker_is_gone_comes_later_and_repeats_count_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut child = seated(&folder).await;
    prints(&mut child, "printer-2", 2).await;
    child.tell("broker floor off");
    hear(&mut child, &["broker", "floor is gone"]).await;
    hear(&mut child, &["printer-2", "link lost"]).await;
    prints(&mut child, "printer-2", 5).await;
    child.tell("broker floor on");
    hear(&mut child, &["printer-2", "link up"]).await;
    for (line, answer) in [
        ("printer-2 repeats 5", "says the last thing again, 5 times"),
        ("printer-2 floods 200", "sends 200 messages that mean nothing"),
    ] {
        child.tell(line);
        hear(&mut child, &["printer-2", answer]).await;
    }
    prints(&mut child, "printer-2", 2).await;
    let (told, agreed) = ended(child).await;
    assert!(agreed, "{told}");
    assert_eq!(compared(&told, "printer-2 strokes"), (9, 9), "{told}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_machine_that_has_no_such_fault_says_so_and_a_line_that_means_nothing_is_answered() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut child = rehearse_text(folder.path(), TWO_PRINTERS, &[]);
    for (line, answer) in [
        ("printer-1 repeats", "cannot: its registers are read"),
        ("printer-2 answers 06", "cannot: it is never asked"),
        ("printer-1 prints 5", "--by-hand"),
        ("printer-1 dance", "try off, on, silent"),
        ("dance", "begin with a machine (printer-1, printer-2)"),
        ("broker attic off", "the file has: floor"),
        ("help", "ends the rehearsal"),
    ] {
        child.tell(line);
        hear(&mut child, &[answer]).await;
    }
    ended(child).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_count_that_nobody_made_is_seen_and_the_status_says_so() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut child = seated(&folder).await;
    prints(&mut child, "printer-1", 4).await;
    child.tell("printer-1 jumps 5000");
    hear(&mut child, &["printer-1", "not believed yet"]).await;
    prints(&mut child, "printer-1", 8).await;
    let (told, agreed) = ended(child).await;
    assert!(!agreed, "{told}");
    assert!(told.contains("What the gateway could not make sense of"), "{told}");
    let (made, booked) = compared(&told, "printer-1 strokes");
    let (_, nobodys) = compared(&told, "strokes nobody can attribute");
    assert_eq!(made, 12, "{told}");
    assert!(nobodys >= 5_000 && booked == made + 5_000, "{told}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_counter_that_begins_again_loses_nothing_that_was_read() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut child = seated(&folder).await;
    prints(&mut child, "printer-1", 4).await;
    child.tell("printer-1 empties");
    hear(&mut child, &["printer-1", "was emptied"]).await;
    child.tell("printer-1 restarts-counting");
    hear(&mut child, &["printer-1", "begins to count at zero"]).await;
    child.tell("printer-1 seats ST-1");
    hear(&mut child, &["printer-1", "was given ST-1"]).await;
    prints(&mut child, "printer-1", 4).await;
    let (told, agreed) = ended(child).await;
    assert!(agreed, "{told}");
    assert_eq!(compared(&told, "ST-1 strokes"), (8, 8), "{told}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_misread_stencil_stops_the_printer_until_it_is_read_right() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut child = seated(&folder).await;
    for (printer, code) in [("printer-1", "ST-1"), ("printer-2", "ST-2")] {
        child.tell(&format!("{printer} misreads"));
        hear(&mut child, &[printer, "refused print ST-7"]).await;
        child.tell(&format!("{printer} well"));
        hear(&mut child, &[printer, &format!("{code} is seated")]).await;
        prints(&mut child, printer, 3).await;
    }
    let (told, agreed) = ended(child).await;
    assert!(agreed, "{told}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_faulty_file_is_not_rehearsed() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = TWO_PRINTERS.replace("kind: printer", "kind: painter");
    let mut child = rehearse_text(folder.path(), &text, &[]);
    assert_eq!(child.exit(LIMIT).await.code(), Some(2));
    assert!(child.transcript().contains("painter"), "{}", child.transcript());
}
