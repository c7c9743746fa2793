//! Our link as client of servers that are not ours.

use std::time::Duration;

use serde_json::{Value, json};
use stencilward_domain::outputs::Wanted;
use stencilward_domain::signal::Said;
use stencilward_tests::missing;
use stencilward_tests::peer::Peer;

use crate::hearing::{Hearing, permitting};

const LIMIT: Duration = Duration::from_secs(10);

/// Our name of each type, the peer's, and a number that no other type would show.
fn types() -> [(&'static str, &'static str, Value); 10] {
    [
        ("u16", "UINT16", json!(54_321)),
        ("i16", "INT16", json!(-12_345)),
        ("u32", "UINT32", json!(3_000_000_123_u32)),
        ("i32", "INT32", json!(-2_000_000_123)),
        ("u64", "UINT64", json!(9_007_199_254_740_991_u64)),
        ("i64", "INT64", json!(-9_007_199_254_740_991_i64)),
        ("f32", "FLOAT32", json!(-0.156_25)),
        ("f64", "FLOAT64", json!(-2.718_750_000_000_125)),
        ("bcd16", "BCD16", json!(9_876)),
        ("bcd32", "BCD32", json!(98_765_432)),
    ]
}

/// Each type in each of the four orders, one value behind the other: point, command, value.
pub(crate) fn values(table: &str) -> Vec<(Value, Value, f64)> {
    let (mut all, mut at) = (Vec::new(), 0);
    for (kind, theirs, value) in types() {
        for (words, bytes) in [("high", "high"), ("high", "low"), ("low", "high"), ("low", "low")] {
            let order = |word: &str| if word == "high" { "big" } else { "little" };
            let set = (!kind.ends_with("16")).then(|| format!("{words}-first"));
            let point = json!({ "signal": "measured", "table": table, "at": at, "type": kind,
                "words": set, "bytes": format!("{bytes}-first"),
                "quantity": format!("{table} {kind} {words} {bytes}"), "unit": "1" });
            let command = json!({ "do": "value", "table": table, "at": at, "type": theirs,
                "words": order(words), "bytes": order(bytes), "value": value });
            all.push((point, command, value.as_f64().unwrap()));
            at += 4;
        }
    }
    all
}

#[tokio::test]
async fn every_type_in_every_order_is_read_from_pymodbus() {
    let Some(mut peer) = Peer::start("modbus_values.py", &[]).await else {
        return;
    };
    let mut all = values("holding");
    all.extend(values("input"));
    for (_, command, _) in &all {
        peer.ask(command.clone(), "laid out", LIMIT).await;
    }
    let points: Vec<&Value> = all.iter().map(|(point, _, _)| point).collect();
    let port = peer.ready()["port"].as_u64().unwrap();
    let settings = json!({ "points": points, "gap": 3 });
    let mut hearing = Hearing::start(port, settings, Wanted::default());
    let said = hearing.first().await;
    assert_eq!(said.len(), all.len() + 1);
    for ((point, _, value), said) in all.iter().zip(&said[1..]) {
        let Said::Measured { measurement, .. } = said else { panic!("{said:?}") };
        assert_eq!(json!(measurement.quantity), point["quantity"]);
        assert_eq!(measurement.value.to_bits(), value.to_bits(), "{said:?}, not {value}");
    }
    hearing.stop().await;
}

#[tokio::test]
async fn text_bits_and_parts_of_registers_are_read_from_pymodbus() {
    let Some(mut peer) = Peer::start("modbus_values.py", &[]).await else {
        return;
    };
    let text = |at: u16, bytes: &str| {
        json!({ "do": "value", "table": "input", "at": at, "type": "STRING", "value": "ST-17",
            "bytes": bytes })
    };
    peer.ask(text(20, "big"), "laid out", LIMIT).await;
    peer.ask(text(30, "little"), "laid out", LIMIT).await;
    let word = json!({ "do": "value", "table": "input", "at": 40, "type": "UINT16",
        "value": 0b0000_0010_1011_0100 });
    peer.ask(word, "laid out", LIMIT).await;
    for (table, values) in [("coil", [true, false]), ("discrete", [false, true])] {
        let bits = json!({ "do": "bits", "table": table, "at": 7, "values": values });
        peer.ask(bits, "set", LIMIT).await;
    }
    let fault = |code: &str, table: &str, at: u16| json!({ "signal": "fault", "code": code, "text": "x", "table": table, "at": at });
    let mut within = fault("within", "input", 40);
    within["bit"] = json!(9);
    let mut unset = fault("unset", "input", 40);
    unset["bit"] = json!(8);
    let points = json!([
        { "signal": "slot-code", "slot": "A1", "table": "input", "at": 20, "type": "text",
          "registers": 3 },
        { "signal": "slot-code", "slot": "A2", "table": "input", "at": 30, "type": "text",
          "registers": 3, "bytes": "low-first" },
        { "signal": "machine-state", "table": "input", "at": 40, "type": "u16", "bits": [4, 7],
          "values": { "11": "running" } },
        fault("coil on", "coil", 7), fault("coil off", "coil", 8),
        fault("input off", "discrete", 7), fault("input on", "discrete", 8), within, unset,
    ]);
    let port = peer.ready()["port"].as_u64().unwrap();
    let mut hearing = Hearing::start(port, json!({ "points": points }), Wanted::default());
    let heard = hearing.first().await;
    let codes = heard.iter().filter_map(|said| match said {
        Said::SlotOccupied { code, .. } => code.as_ref(),
        _ => None,
    });
    assert_eq!(codes.map(|code| code.as_str()).collect::<Vec<_>>(), ["ST-17", "ST-17"]);
    let raised = heard.iter().filter_map(|said| match said {
        Said::FaultRaised { code, .. } => Some(code.as_str()),
        _ => None,
    });
    assert_eq!(raised.collect::<Vec<_>>(), ["coil on", "input on", "within"]);
    assert!(heard.iter().any(|said| matches!(said, Said::State { word, .. } if word == "11")));
    hearing.stop().await;
}

#[tokio::test]
async fn libmodbus_is_read_and_its_coil_is_written() {
    let Some(mut peer) = Peer::start("libmodbus_server.py", &["--float", "-20.5"]).await else {
        return;
    };
    if let Some(why) = peer.ready()["missing"].as_str() {
        return missing::skip(&format!(
            "libmodbus is not installed (Debian package mbpoll): {why}"
        ));
    }
    let orders = [("high", "high"), ("low", "high"), ("high", "low"), ("low", "low")];
    let float = |(at, (words, bytes)): (usize, (&str, &str))| {
        json!({ "signal": "measured", "table": "holding", "at": 2 * at, "type": "f32",
            "words": format!("{words}-first"), "bytes": format!("{bytes}-first"),
            "quantity": "float", "unit": "1" })
    };
    let mut points: Vec<Value> = orders.into_iter().enumerate().map(float).collect();
    for at in 0..10 {
        points.push(json!({ "signal": "measured", "table": "input", "at": at, "type": "u16",
            "quantity": "square", "unit": "1" }));
        for table in ["coil", "discrete"] {
            points.push(json!({ "signal": "fault", "table": table, "at": at,
                "code": format!("{table} {at}"), "text": "x" }));
        }
    }
    let outputs = json!([{ "name": "lock", "drive": "print-permit", "table": "coil", "at": 12 }]);
    let port = peer.ready()["port"].as_u64().unwrap();
    let settings = json!({ "points": points, "outputs": outputs });
    let mut hearing = Hearing::start(port, settings, permitting("lock"));
    let heard = hearing.first().await;
    let measured = |quantity: &str| {
        let value = |said: &Said| match said {
            Said::Measured { measurement, .. } if measurement.quantity == quantity => {
                Some(measurement.value)
            }
            _ => None,
        };
        heard.iter().filter_map(value).collect::<Vec<f64>>()
    };
    assert_eq!(measured("float"), [-20.5; 4]);
    assert_eq!(measured("square"), [0., 1., 4., 9., 16., 25., 36., 49., 64., 81.]);
    for at in 0..10 {
        for (table, on) in [("coil", at % 2 == 1), ("discrete", at % 3 == 0)] {
            let wanted = format!("{table} {at}");
            let raised =
                |said: &Said| matches!(said, Said::FaultRaised { code, .. } if *code == wanted);
            assert_eq!(heard.iter().any(raised), on, "{wanted}");
        }
    }
    assert_eq!(peer.hear("written", LIMIT).await["coils"], json!([12]));
    hearing.stop().await;
    assert_eq!(peer.hear("written", LIMIT).await["coils"], json!([]), "refused at the end");
}
