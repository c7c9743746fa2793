//! Each fault, at the key that is wrong, with what to do.

use crate::{fault, faulty, text};

const PRINTERS: &str = "
  - { name: printer-1, kind: printer, fastest-cycle: 8s, strokes: { book: order } }
  - { name: washer-1, kind: washer, mqtt: { broker: floor } }
";

/// The only fault beside two machines, and that it says this.
fn beside(machine: &str, path: &str, says: &str) {
    let (at, wrong) = fault(&format!("{PRINTERS}{machine}"));
    assert_eq!(at, path, "{wrong}");
    assert!(wrong.contains(says), "{wrong}");
}

/// A module with these keys and points.
fn module(keys: &str, points: &str) -> String {
    format!(
        "  - {{ name: io-1, kind: other, {keys}modbus: {{ address: \"h:502\", points: [{points}] }} }}\n"
    )
}

const TOTAL: &str = "{ signal: stroke-total, table: input, at: 0, type: u16 }";
const SLOT: &str = "{ signal: slot, table: discrete, at: 0, slot: A1 }";
const CONTACT: &str = "{ signal: stroke-contact, table: discrete, at: 0 }";

#[test]
fn of_whom_is_counted_for() {
    let path = "machines[2].counts-for";
    let of = |printer: &str| module(&format!("counts-for: {printer}, "), TOTAL);
    beside(
        &of("printer-9"),
        path,
        "no printer is named \"printer-9\"; write one of the printers: printer-1",
    );
    beside(&of("washer-1"), path, "no printer is named \"washer-1\"");
    beside(&module("", TOTAL), path, "name the printer that makes them; printers: printer-1");
    beside(&module("", CONTACT), path, "missing");
    beside(&module("counts-for: printer-1, ", SLOT), path, "or leave this key out");
    let printer =
        "  - { name: p, kind: printer, counts-for: printer-1, strokes: { book: hand } }\n";
    beside(printer, path, "a printer counts for itself");
}

#[test]
fn of_a_line_with_two_printers() {
    let station = |keys: &str| {
        format!(
            "  - {{ name: p, kind: printer, line: l, strokes: {{ book: order }} }}\n  \
             - {{ name: q, kind: printer, line: l, strokes: {{ book: order }} }}\n  \
             - {{ name: end, kind: other, line: l, {keys}mqtt: {{ broker: floor, messages: \
             [{{ topic: t, signal: boards-counted, count: /n, identity: /id }}] }} }}\n"
        )
    };
    beside(&station(""), "machines[4].counts-for", "its line has several printers");
    let named = text(&format!("{PRINTERS}{}", station("counts-for: q, ")));
    assert!(stencilward_config::parse("plant.yaml", &named).is_ok());
}

#[test]
fn of_counters() {
    let path = "machines[2].counters[0]";
    let with = |counters: &str| {
        let wipes = "{ signal: wipe-total, table: input, at: 1, type: u16 }";
        let keys = format!("counts-for: printer-1, counters: [{counters}], ");
        module(&keys, &format!("{TOTAL}, {wipes}"))
    };
    let unread = with("{ counter: pulses, of: printer-1 }");
    beside(&unread, "machines[2].counters[0].counter", "counters: strokes, wipes");
    beside(&with("{ counter: strokes }"), path, "says nothing of the counter");
    let stray = with("{ counter: strokes, of: washer-1 }");
    beside(&stray, "machines[2].counters[0].of", "no printer is named \"washer-1\"");
    let wipes = with("{ counter: wipes, counts: strokes }");
    beside(&wipes, "machines[2].counters[0].counts", "read as wipe-total");
    let twice = "{ counter: strokes, counts: wipes }";
    let twice = with(&format!("{twice}, {twice}"));
    beside(&twice, "machines[2].counters[1].counter", "listed twice");
}

#[test]
fn of_names_that_become_too_long_together() {
    let name = "x".repeat(57);
    let of = |name: &str| module("counts-for: printer-1, ", TOTAL).replace("io-1", name);
    beside(&of(&name), "machines[2].name", "of 65 characters; 64 are allowed");
    let text = text(&format!("{PRINTERS}{}", of(name.trim_start_matches("xx"))));
    assert!(stencilward_config::parse("plant.yaml", &text).is_ok(), "63 are few enough");
}

#[test]
fn of_bases() {
    let of = |strokes: &str| {
        format!(
            "  - {{ name: p, kind: printer, fastest-cycle: 8s, strokes: {{ {strokes} }}, \
             modbus: {{ address: \"h:502\", points: [{TOTAL}] }} }}\n"
        )
    };
    let check = "machines[2].strokes.check[0]";
    let second = "machines[2].strokes.check[1]";
    beside(&of("book: pulses"), "machines[2].strokes.book", "counts-for; wired: counter");
    beside(&of("book: reported"), "machines[2].strokes.book", "map its strokes-done");
    beside(&of("check: [reported]"), check, "nothing is wired that gives reported");
    beside(&of("book: counter, check: [counter]"), check, "counter books these strokes");
    beside(&of("check: [counter]"), check, "counter books these strokes");
    beside(&of("check: [hand]"), check, "always booked and cannot check");
    beside(&of("book: hand, check: [counter, counter]"), second, "listed twice");
    let washer =
        "  - { name: w, kind: washer, strokes: { book: hand }, mqtt: { broker: floor } }\n";
    beside(washer, "machines[2].strokes", "belongs on a printer");
}

#[test]
fn of_printers_that_say_nothing() {
    let bench = "  - { name: bench, kind: printer }\n";
    beside(bench, "machines[2]", "counts-for: bench, or say strokes: { book: order }");
    let rack = "  - { name: rack, kind: rack }\n";
    beside(rack, "machines[2]", "it speaks no protocol");
    let counted =
        "  - { name: bench, kind: printer }\n".to_owned() + &module("counts-for: bench, ", TOTAL);
    beside(&counted, "machines[2].fastest-cycle", "missing");
}

/// A contact must be seen closed and open within the fastest cycle of its printer: 8s here.
#[test]
fn of_contacts_that_are_read_too_seldom() {
    let every = |poll: &str| {
        let points = format!("poll: {poll}, points: [{CONTACT}]");
        module("counts-for: printer-1, ", "").replace("points: []", &points)
    };
    beside(&every("4001ms"), "machines[2].modbus.poll", "fastest cycle of printer-1");
    let good = text(&format!("{PRINTERS}{}", every("4s")));
    assert!(stencilward_config::parse("plant.yaml", &good).is_ok());
}

#[test]
fn of_folders() {
    let files = |keys: &str| format!("  - {{ name: plan, {keys} }}\n");
    let rack = files("kind: rack, files: { folder: orders }");
    beside(&rack, "machines[2].kind", "is of kind other");
    let fast = files("kind: other, files: { folder: orders, poll: 1ms }");
    beside(&fast, "machines[2].files.poll", "between 10ms and 1h");
    let two = files("kind: other, files: { folder: orders }, mqtt: { broker: floor }");
    beside(&two, "machines[2].files", "one protocol");
    let one = files("kind: other, files: { folder: orders }");
    let again = one.replace("name: plan", "name: plan-2");
    beside(&(one + &again), "machines[3].files.folder", "is used before");
}

#[test]
fn of_tension_in_another_unit() {
    let gauge = "  - { name: gauge, kind: other, mqtt: { broker: floor, messages: [{ topic: t, \
                 signal: measured, quantity: tension, unit: N/m }] } }\n";
    beside(gauge, "machines[2].mqtt.messages[0].unit", "tension is judged in N/cm");
}

/// Who counts for whom is told also when another part of the file is malformed, but not when a
/// machine is: nobody knows what that one would have said.
#[test]
fn beside_malformed_parts() {
    let machines = format!("{PRINTERS}{}", module("counts-for: printer-9, ", TOTAL));
    let paths =
        |text: &str| -> Vec<String> { faulty(text).into_iter().map(|(path, _)| path).collect() };
    let stray = text(&machines).replace("site:", "colour: 1\nsite:");
    assert_eq!(paths(&stray), ["colour", "machines[2].counts-for"]);
    let odd = text(&machines.replace("kind: washer", "kind: fridge"));
    assert_eq!(paths(&odd), ["machines[1].kind"]);
}
