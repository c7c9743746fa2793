//! Messages give the signals that their fields mean.

use serde_json::{Value, json};
use stencilward_adapters::cfx::Decoder;
use stencilward_adapters::link::Trouble;
use stencilward_domain::time::Timestamp;

use crate::fixtures::{Heard, LARGEST, PRINTER, at, fixtures, gzip, machines, message, told};

#[test]
fn every_message_gives_its_signals_raw_and_compressed() {
    for compressed in [false, true] {
        let mut decoder = Decoder::new(&machines(), LARGEST);
        let messages = fixtures();
        assert!(messages.len() > 25);
        for fixture in messages {
            let bytes = fixture["envelope"].to_string().into_bytes();
            let body = if compressed { gzip(&bytes) } else { bytes };
            let decoded = at(&mut decoder, &body, 0);
            let (said, troubles) = told(&decoded);
            let source = &fixture["source"];
            assert_eq!(said, fixture["gives"], "{source}: {:?}", decoded.troubles);
            assert_eq!(troubles, fixture["troubles"], "{source}");
        }
    }
}

#[test]
fn a_list_of_envelopes_gives_all_of_them_and_each_its_identity() {
    let envelopes: Vec<Value> =
        fixtures().iter().map(|fixture| fixture["envelope"].clone()).collect();
    let decoded = at(
        &mut Decoder::new(&machines(), LARGEST),
        &gzip(json!(envelopes).to_string().as_bytes()),
        0,
    );
    let gives: Vec<Value> =
        fixtures().iter().flat_map(|one| one["gives"].as_array().unwrap().clone()).collect();
    assert_eq!(told(&decoded).0, json!(gives));
    let strokes = decoded.signals.iter().find(|signal| signal.said.kind() == "strokes-done");
    let strokes = strokes.unwrap();
    assert_eq!(strokes.identity.as_deref(), Some("9f0a1c2d-0000-4000-8000-000000000015"));
    assert_eq!(strokes.machine_time, Some(Timestamp(1_772_432_040_000)), "07:14 at UTC+1");
}

#[test]
fn two_signals_of_one_kind_in_one_message_have_two_identities() {
    let mut washer = Heard::new(json!({ "signals": ["washes"] }));
    let tool = |code| json!({ "$type": "CFX.Structures.SolderPastePrinting.SMTStencil, CFX", "UniqueIdentifier": code });
    let body = json!({ "TransactionID": "T", "Tools": [tool("ST-1"), tool("ST-2")] });
    let decoded = washer.says("CFX.Production.ToolsLoaded", &body);
    let identities: Vec<&str> =
        decoded.signals.iter().filter_map(|signal| signal.identity.as_deref()).collect();
    let id = "00000000-0000-4000-8000-000000000001";
    assert_eq!(identities, [id, &format!("{id}#2")]);
}

#[test]
fn names_come_in_any_letter_case_and_types_anywhere() {
    let mut printer = Heard::new(json!({ "signals": ["strokes-done", "stencil-seated"] }));
    let body = r#"{"messagename":"cfx.production.processing.UNITSPROCESSED","source":"Invented.Printer.SN1",
        "timestamp":"2026-03-02T07:00:00Z","messagebody":{"commonprocessdata":{"strokes":[{},{},{}],
        "$type":"CFX.Structures.SolderPastePrinting.SolderPastePrintingPCBProcessData, CFX"}}}"#;
    let decoded = printer.bytes(body.as_bytes());
    assert_eq!(told(&decoded), (json!([{ "signal": "strokes-done", "count": 3 }]), json!([])));
    assert_eq!(decoded.signals[0].identity, None);
}

#[test]
fn tools_without_a_type_are_stencils_where_their_codes_say_so() {
    let change = json!({ "NewTool": { "UniqueIdentifier": "ST-1", "Name": "SQ" } });
    let mut printer = Heard::new(json!({ "signals": ["stencil-seated"] }));
    let name = "CFX.ResourcePerformance.ToolChanged";
    assert_eq!(told(&printer.says(name, &change)), (json!([]), json!(["missing"])));
    let more = json!({ "signals": ["stencil-seated"], "stencil-prefix": "ST-" });
    let seated = json!([{ "signal": "stencil-seated", "stencil": "ST-1" }]);
    assert_eq!(told(&Heard::new(more).says(name, &change)), (seated, json!([])));
    let more = json!({
        "signals": ["stencil-seated"], "stencil-prefix": "ST-", "stencil-code": "name",
    });
    assert_eq!(told(&Heard::new(more).says(name, &change)), (json!([]), json!(["missing"])));
}

#[test]
fn work_counts_by_panel_where_strokes_are_never_listed() {
    let mut printer = Heard::new(json!({
        "signals": ["strokes-done"], "strokes-from": "work-completed", "strokes-per-panel": 2,
    }));
    let completed = |result: &str, id: &str| json!({ "TransactionID": id, "Result": result });
    let two = json!([{ "signal": "strokes-done", "count": 2 }]);
    for (result, id, said, troubles) in [
        ("Completed", "A", two.clone(), json!([])),
        ("Failed", "B", two.clone(), json!([])),
        ("Aborted", "C", two.clone(), json!([])),
        ("Skipped", "D", json!([]), json!([])),
        // Another message about the same work: told, and booked.
        ("Completed", "A", two, json!(["senseless"])),
    ] {
        let decoded = printer.says("CFX.Production.WorkCompleted", &completed(result, id));
        assert_eq!(told(&decoded), (said, troubles), "{result}");
    }
    let listed = json!({ "CommonProcessData": { "Strokes": [{}, {}] } });
    let decoded = printer.says("CFX.Production.Processing.UnitsProcessed", &listed);
    assert_eq!(told(&decoded), (json!([]), json!([])), "one basis counts, never both");
}

#[test]
fn a_printer_that_lists_no_strokes_is_told_of() {
    let mut printer = Heard::new(json!({ "signals": ["strokes-done"] }));
    for body in [
        json!({}),
        json!({ "CommonProcessData": { "Strokes": null } }),
        json!({ "CommonProcessData": { "Strokes": [] } }),
    ] {
        let decoded = printer.says("CFX.Production.Processing.UnitsProcessed", &body);
        assert_eq!(told(&decoded), (json!([]), json!(["missing"])), "{body}");
        assert!(decoded.troubles[0].1.contains("strokes-per-panel"));
    }
    let skipped = json!({ "OverallResult": "Skipped", "CommonProcessData": { "Strokes": [{}] } });
    let decoded = printer.says("CFX.Production.Processing.UnitsProcessed", &skipped);
    assert_eq!(told(&decoded), (json!([]), json!([])));
}

#[test]
fn only_a_tool_that_is_told_as_cleaned_was_washed() {
    let tools = |state: Value| {
        json!({ "TransactionID": "T", "Tools": [{
            "$type": "CFX.Structures.SolderPastePrinting.SMTStencil, CFX",
            "UniqueIdentifier": "ST-1", "CleaningState": state,
        }] })
    };
    let (cleaned, unloaded) = ("CFX.Production.ToolsCleaned", "CFX.Production.ToolsUnloaded");
    let outcomes = |says: &[(&str, Value)]| -> Vec<String> {
        let mut washer = Heard::new(json!({ "signals": ["washes"] }));
        let all = says.iter().flat_map(|(name, state)| {
            let decoded = washer.says(name, &tools(state.clone()));
            told(&decoded).0.as_array().unwrap().clone()
        });
        all.map(|said| said["outcome"].as_str().unwrap().to_owned()).collect()
    };
    let (yes, no, unknown) = (json!("Cleaned"), json!("NotCleaned"), json!("Unknown"));
    assert_eq!(outcomes(&[(cleaned, yes.clone()), (unloaded, yes.clone())]), ["passed"]);
    assert_eq!(outcomes(&[(cleaned, yes.clone()), (unloaded, unknown.clone())]), ["passed"]);
    assert_eq!(outcomes(&[(cleaned, yes), (unloaded, no.clone())]), ["passed", "failed"]);
    assert_eq!(outcomes(&[(cleaned, no.clone()), (unloaded, no)]), ["failed"]);
    assert_eq!(outcomes(&[(cleaned, unknown.clone()), (unloaded, unknown)]), ["aborted"]);
    assert_eq!(outcomes(&[(unloaded, Value::Null)]), ["aborted"], "before 1.5 there is no state");
    assert_eq!(outcomes(&[(unloaded, json!(1))]), ["passed"], "a number is a value, too");
}

#[test]
fn states_mean_what_their_thousands_mean() {
    let mut printer = Heard::new(json!({ "signals": ["machine-state"] }));
    for (state, meant, word) in [
        (json!("1300"), "running", "1300"),
        (json!("22B0"), "idle", "2202"),
        (json!(4500), "set-up", "4500"),
        (json!(3312), "set-up", "3312"),
        (json!("5300"), "down", "5300"),
        (json!(9000), "unknown", "9000"),
    ] {
        let decoded = printer
            .says("CFX.ResourcePerformance.StationStateChanged", &json!({ "NewState": state }));
        let said = json!([{ "signal": "machine-state", "state": meant, "word": word }]);
        assert_eq!(told(&decoded), (said, json!([])));
    }
    let odd = json!({ "NewState": "SBY_NoProduct" });
    let decoded = printer.says("CFX.ResourcePerformance.StationStateChanged", &odd);
    assert_eq!(decoded.troubles[0].0, Trouble::Senseless);
}

#[test]
fn what_is_no_envelope_is_told_of_and_changes_nothing() {
    let mut printer = Heard::new(json!({}));
    let zeros = gzip(&vec![b' '; LARGEST + 1]);
    assert!(zeros.len() < 1_000, "a small body that becomes a large one");
    let mut cut = gzip(br#"{"MessageName":"CFX.Heartbeat","Source":"Invented.Printer.SN1"}"#);
    cut.truncate(30);
    let latin_1 = b"{\"MessageName\":\"CFX.Heartbeat\",\"Source\":\"Invented.W\xe4scher.SN1\"}";
    let wide = r#"{"MessageName":"CFX.Heartbeat","Source":"Invented.Printer.SN1"}"#.encode_utf16();
    let wide: Vec<u8> = wide.flat_map(u16::to_le_bytes).collect();
    let many = format!("[{}{{}}]", "{},".repeat(1_000));
    for (body, kind, word) in [
        (b"".as_slice(), Trouble::Unreadable, "no JSON"),
        (b"\xff\xfe", Trouble::Unreadable, "UTF-8"),
        (latin_1.as_slice(), Trouble::Unreadable, "UTF-8"),
        (&wide, Trouble::Unreadable, "UTF-8"),
        (b"7", Trouble::Unreadable, "object"),
        (b"{}", Trouble::Missing, "MessageName"),
        (br#"{"MessageName":"CFX.Heartbeat"}"#, Trouble::Missing, "Source"),
        (&zeros, Trouble::TooLarge, "largest-text"),
        (&[b' '; LARGEST + 1], Trouble::TooLarge, "largest-text"),
        (&cut, Trouble::Unreadable, "gzip"),
        (many.as_bytes(), Trouble::TooLarge, "1001 envelopes"),
    ] {
        let decoded = printer.bytes(body);
        assert_eq!(decoded.signals, Vec::new(), "{word}");
        let (told, why) = &decoded.troubles[0];
        assert_eq!(*told, kind, "{why}");
        assert!(why.contains(word), "{why}");
    }
    let stranger = message("Somebody.Else.1", "CFX.Heartbeat", &json!({}));
    let decoded = printer.bytes(stranger.to_string().as_bytes());
    assert_eq!(told(&decoded), (json!([]), json!(["unmapped"])));
    assert!(decoded.troubles[0].1.contains("Somebody.Else.1"));
    let local = message(PRINTER, "CFX.Heartbeat", &json!({})).to_string();
    let local = local.replace("07:00:00Z", "07:00:00");
    assert_eq!(told(&printer.bytes(local.as_bytes())), (json!([]), json!(["senseless"])));
}

#[test]
fn a_wipe_that_comes_again_does_not_put_its_stencil_back() {
    let mut printer = Heard::new(json!({ "signals": ["wipes-done", "stencil-seated"] }));
    let name = "CFX.ResourcePerformance.SolderPastePrinting.StencilCleaned";
    let body = json!({ "Stencil": { "UniqueIdentifier": "ST-1" } });
    let mut wiped = message(PRINTER, name, &body);
    wiped["UniqueID"] = json!("9f0a1c2d-0000-4000-8000-0000000000aa");
    let wiped = wiped.to_string();
    let wipe = json!({ "signal": "wipes-done", "count": 1 });
    let seated = json!({ "signal": "stencil-seated", "stencil": "ST-1" });
    assert_eq!(told(&printer.bytes(wiped.as_bytes())).0, json!([seated, wipe]));
    // The ledger knows the wipe again; which stencil is in there now it does not say.
    let again = printer.bytes(wiped.as_bytes());
    assert_eq!(told(&again), (json!([wipe]), json!([])));
}
