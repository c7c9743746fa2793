//! The tag as PDF, read back by others: PDFium (`pypdfium2`) finds its words, and ZXing
//! (`zxing-cpp`) reads the code off its picture.
#![allow(clippy::unwrap_used, reason = "a helper that cannot go on fails the test")]

use std::io::Write as _;
use std::net::SocketAddr;
use std::process::{Command, Stdio};
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::{http, missing, python, root};

const LIMIT: Duration = Duration::from_secs(30);

/// Plain, with every letter that Latin-1 has and some that it has not, and long.
const CODES: [&str; 4] = ["ST-1", "Größe/7 €", "模板-3 λ", LONG];
const LONG: &str = "STENCIL-OF-A-PRODUCT-WITH-A-NAME-THAT-NOBODY-REMEMBERS-012345678";
const WHY: &str = "a bent corner near the right rail, seen after the night shift (not \\ by us)";

fn escaped(code: &str) -> String {
    code.bytes().map(|byte| format!("%{byte:02X}")).collect()
}

/// What others read from the PDF at this address.
fn read(curl: &std::path::Path, address: SocketAddr, code: &str) -> Option<Value> {
    let url = format!("http://{address}/stencils/{}/tag.pdf", escaped(code));
    let fetched = Command::new(curl).args(["-sSf", "--noproxy", "*", &url]).output().unwrap();
    assert!(fetched.stdout.starts_with(b"%PDF-"), "{code}: {fetched:?}");
    let mut reader = Command::new(python::for_peers()?)
        .arg(root().join("tests/peers/tag_reader.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    reader.stdin.take().unwrap().write_all(&fetched.stdout).unwrap();
    let output = reader.wait_with_output().unwrap();
    assert!(output.status.success(), "{code}");
    Some(serde_json::from_slice(&output.stdout).unwrap())
}

#[tokio::test]
async fn others_read_the_code_off_the_tag() {
    let Some(curl) = missing::program("curl", "Debian package curl") else { return };
    let folder = tempfile::tempdir().unwrap();
    let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
    let listed = CODES.map(|code| json!({ "code": code, "rated-strokes": 5000 }));
    let plant = json!({
        "site": "Invented Works",
        "listen": address.to_string(),
        "ledger": "plant.db",
        "stencils": listed,
    });
    let file = folder.path().join("plant.yaml");
    std::fs::write(&file, plant.to_string()).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("run").arg(file);
    let mut gateway = Child::start(&command);
    gateway.line("that it runs", LIMIT, |line| line.contains("running").then_some(())).await;

    for code in CODES {
        let Some(tag) = read(&curl, address, code) else { return };
        let format = json!([{ "format": "Data Matrix", "text": code }]);
        assert_eq!(tag["codes"], format, "{code}");
        assert!(!tag["text"].as_str().unwrap().contains("ON HOLD"), "{tag}");
    }
    let plain = read(&curl, address, "ST-1").unwrap();
    let text = plain["text"].as_str().unwrap();
    assert!(text.contains("ST-1") && text.contains("Rated for 5,000 strokes"), "{text}");
    let latin = read(&curl, address, CODES[1]).unwrap();
    assert!(latin["text"].as_str().unwrap().contains(CODES[1]), "{latin}");

    let hold = json!({ "by": "Ann", "why": WHY });
    let answer = http::post(address, "/api/v1/stencils/ST-1/hold", &hold).await.unwrap();
    assert_eq!(answer.status, 200, "{}", answer.body);
    let held = read(&curl, address, "ST-1").unwrap();
    let text = held["text"].as_str().unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("ON HOLD") && text.contains(WHY) && text.contains("Ann, "), "{text}");
    assert_eq!(held["codes"][0]["text"], "ST-1");
    let high = |tag: &Value| tag["size"][1].as_f64().unwrap();
    assert!(high(&held) > high(&plain), "the reason has room of its own");
    assert!(gateway.stop().success());
}
