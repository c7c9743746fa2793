//! Faulty files, folders that are not there, and ends with work in flight.

use std::fs::{self, File};

use stencilward_adapters::files::LARGEST_FILE;
use stencilward_adapters::link::Trouble;
use stencilward_domain::signal::Said;

use crate::support::{Drop, Gateway, until};

const UP: Said = Said::LinkUp { resumed: true };

/// The report beside the only faulty file.
async fn report(drop: &Drop) -> String {
    until("the move", || drop.files("").is_empty()).await;
    let files = drop.files("faulty");
    let [file, report] = files.as_slice() else { panic!("{files:?}") };
    assert_eq!(*report, format!("{file}.faults.txt"));
    fs::read_to_string(drop.path().join("faulty").join(report)).unwrap()
}

#[tokio::test]
async fn a_file_with_a_faulty_row_is_not_taken_in_at_all() {
    let drop = Drop::made();
    let mut gateway = Gateway::up(&drop).await;
    drop.write("orders.csv", "order,side,quantity\nWO-1,top,1\nWO-2,left,1\nWO-3,top,some\n");
    let report = report(&drop).await;
    assert!(report.starts_with("orders.csv: nothing of this file was taken in"), "{report}");
    for part in ["because of 2 faults", "line 3, side: ", "line 4, quantity: "] {
        assert!(report.contains(part), "{part} is not in {report}");
    }
    assert!(gateway.notes.has(Trouble::Senseless, "orders.csv"));
    drop.write("good.csv", "order\nWO-9\n");
    assert_eq!(gateway.next_orders().await, ["WO-9"], "the others go on");
    gateway.stop().await;
}

#[tokio::test]
async fn a_huge_file_is_not_even_read() {
    let drop = Drop::made();
    let gateway = Gateway::up(&drop).await;
    let unfinished = drop.path().join("huge");
    File::create(&unfinished).unwrap().set_len(LARGEST_FILE + 1).unwrap();
    fs::rename(unfinished, drop.path().join("huge.csv")).unwrap();
    let report = report(&drop).await;
    assert!(report.contains("larger than 8 MiB: split it"), "{report}");
    gateway.stop().await;
}

#[tokio::test]
async fn what_is_no_list_stays_where_it_is() {
    let drop = Drop::made();
    drop.write("notes.txt", "order\nWO-1\n");
    drop.write(".hidden.csv", "order\nWO-2\n");
    fs::create_dir(drop.path().join("folder.csv")).unwrap();
    let elsewhere = drop.path().join("done").join("elsewhere.csv");
    fs::create_dir(drop.path().join("done")).unwrap();
    fs::write(&elsewhere, "order\nWO-3\n").unwrap();
    std::os::unix::fs::symlink(&elsewhere, drop.path().join("link.csv")).unwrap();
    let mut gateway = Gateway::up(&drop).await;
    drop.write("list.csv", "order\nWO-4\n");
    assert_eq!(gateway.next_orders().await, ["WO-4"]);
    until("the move", || drop.files("done").len() == 2).await;
    assert_eq!(drop.files(""), [".hidden.csv", "link.csv", "notes.txt"]);
    gateway.stop().await;
}

#[tokio::test]
async fn a_name_that_is_no_utf_8_is_told() {
    use std::os::unix::ffi::OsStrExt as _;
    let drop = Drop::made();
    let odd = std::ffi::OsStr::from_bytes(b"\xff.csv");
    fs::write(drop.path().join(odd), "order\nWO-1\n").unwrap();
    let gateway = Gateway::up(&drop).await;
    until("the trouble", || gateway.notes.has(Trouble::Unreadable, "rename the file")).await;
    gateway.stop().await;
}

#[tokio::test]
async fn a_folder_that_is_not_there_is_waited_for() {
    let drop = Drop::empty();
    let mut gateway = Gateway::start(&drop);
    let why = gateway.next_lost().await;
    assert!(why.contains("orders cannot be worked with"), "{why}");
    assert!(why.contains("see that it is there"), "{why}");
    until("more attempts", || gateway.notes.count(Trouble::Refused) > 2).await;
    fs::create_dir(drop.path()).unwrap();
    assert_eq!(gateway.next_said().await, [UP], "it was told to be lost once");
    fs::rename(drop.path(), drop.path().with_extension("away")).unwrap();
    gateway.next_lost().await;
    gateway.stop().await;
}

/// The user that runs the tests may write anywhere, so a file stands where `done` should be.
#[tokio::test]
async fn what_cannot_be_moved_is_not_taken_again() {
    let drop = Drop::made();
    let mut gateway = Gateway::up(&drop).await;
    drop.write("orders.csv", "order\nWO-1\n");
    let delivery = gateway.next().await;
    let done = drop.path().join("done");
    fs::remove_dir(&done).unwrap();
    fs::write(&done, "").unwrap();
    delivery.receipt.send(Vec::new()).unwrap();
    let why = gateway.next_lost().await;
    assert!(why.contains("may read and write in it"), "{why}");
    until("more attempts", || gateway.notes.count(Trouble::Broken) > 2).await;
    fs::remove_file(&done).unwrap();
    assert_eq!(gateway.next_said().await, [UP]);
    assert_eq!(drop.files(""), [""; 0], "it was moved before the link is up again");
    assert_eq!(drop.files("done").len(), 1);
    assert!(gateway.is_silent());
    gateway.stop().await;
}

/// Another file of the same name, put there while the first one's orders become durable, is not
/// taken for it.
#[tokio::test]
async fn a_file_that_is_replaced_meanwhile_is_taken_too() {
    let drop = Drop::made();
    let mut gateway = Gateway::up(&drop).await;
    drop.write("orders.csv", "order\nWO-1\n");
    let delivery = gateway.next().await;
    drop.write("orders.csv", "order\nWO-1\nWO-2\n");
    delivery.receipt.send(Vec::new()).unwrap();
    assert_eq!(gateway.next_orders().await, ["WO-1", "WO-2"]);
    until("the move", || drop.files("").is_empty()).await;
    gateway.stop().await;
}

#[tokio::test]
async fn it_ends_with_work_in_flight() {
    let drop = Drop::made();
    drop.write("orders.csv", "order\nWO-1\n");
    let mut gateway = Gateway::up(&drop).await;
    let delivery = gateway.next().await;
    gateway.stop().await;
    std::mem::drop(delivery);
    assert_eq!(drop.files(""), ["orders.csv"]);

    let mut gateway = Gateway::up(&drop).await;
    std::mem::drop(gateway.next().await);
    gateway.close_intake();
    gateway.ended().await;
    assert_eq!(drop.files(""), ["orders.csv"], "what is not durable stays");
}

#[tokio::test]
async fn a_flood_is_taken_file_by_file() {
    let drop = Drop::made();
    for number in 0..100 {
        drop.write(&format!("{number}.csv"), format!("order\nWO-{number}\n"));
    }
    let mut gateway = Gateway::up(&drop).await;
    let mut taken = Vec::new();
    for _ in 0..100 {
        taken.extend(gateway.next_orders().await);
    }
    taken.sort();
    taken.dedup();
    assert_eq!(taken.len(), 100);
    until("the move", || drop.files("done").len() == 100).await;
    gateway.stop().await;
}
