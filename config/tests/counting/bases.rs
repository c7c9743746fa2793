//! Which basis books and which check, from the wiring or as chosen.

use std::collections::BTreeSet;

use stencilward_domain::event::BasisKind::{self, Counter, Hand, Order, Pulses, Reported};
use stencilward_domain::names::{CounterName, MachineName};
use stencilward_domain::plant::{Counted, Plant};

use crate::good;

const TOTAL: &str = "{ topic: p/total, signal: stroke-total, width: 32 }";
const DONE: &str = "{ topic: p/done, signal: strokes-done, count: /n, identity: /id }";
const STARTED: &str = "{ topic: p/order, signal: order-started, order: /order }";
const SEAT: &str = "{ topic: p/seat, signal: stencil-seated, stencil: /code }";

/// A printer on line 1 that says these messages, and a few more keys.
fn printer(messages: &[&str], more: &str) -> String {
    let messages = messages.join(", ");
    format!(
        "  - {{ name: printer-1, kind: printer, line: line-1, fastest-cycle: 8s{more},\n      \
         mqtt: {{ broker: floor, messages: [{messages}] }} }}\n"
    )
}

fn other(name: &str, more: &str, message: &str) -> String {
    format!(
        "  - {{ name: {name}, kind: other{more}, mqtt: {{ broker: floor, messages: [{message}] }} }}\n"
    )
}

const BENCH: &str = "  - { name: printer-1, kind: printer, line: line-1, fastest-cycle: 8s }\n";

fn machine(name: &str) -> MachineName {
    MachineName::new(name).unwrap()
}

/// What books and what checks the strokes of printer-1.
fn bases(machines: &str) -> (BasisKind, Vec<BasisKind>) {
    let plant = good(machines).plant();
    let bases = &plant.machines[&machine("printer-1")].bases;
    let book: Vec<BasisKind> = bases.book.iter().copied().collect();
    let [book] = book.as_slice() else { panic!("{book:?}") };
    (*book, bases.check.iter().copied().collect())
}

#[test]
fn the_first_that_is_wired_books_and_the_others_check() {
    let pulses = other("io-1", ", counts-for: printer-1", TOTAL);
    let boards = "{ topic: b, signal: boards-counted, count: /n, identity: /id }";
    let station = other("end-of-line", ", line: line-1", boards);
    let cases = [
        (printer(&[TOTAL], ""), Counter, vec![]),
        (printer(&[DONE], ""), Reported, vec![]),
        (printer(&[TOTAL, DONE, STARTED], ""), Counter, vec![Reported, Order]),
        (printer(&[SEAT], ""), Hand, vec![]),
        (printer(&[SEAT, STARTED], ""), Order, vec![]),
        (printer(&[SEAT], "") + &pulses, Pulses, vec![]),
        (printer(&[DONE], "") + &pulses + &station, Reported, vec![Pulses, Order]),
        (BENCH.to_owned() + &pulses + &station, Pulses, vec![Order]),
        (BENCH.to_owned() + &station, Order, vec![]),
    ];
    for (machines, book, check) in cases {
        assert_eq!(bases(&machines), (book, check), "{machines}");
    }
}

#[test]
fn whoever_sets_it_up_chooses() {
    let choose = |strokes: &str| {
        let more = format!(", strokes: {{ {strokes} }}");
        bases(&printer(&[TOTAL, DONE, STARTED], &more))
    };
    assert_eq!(choose("book: reported"), (Reported, vec![Counter, Order]));
    assert_eq!(choose("book: hand"), (Hand, vec![Counter, Reported, Order]));
    assert_eq!(choose("check: []"), (Counter, vec![]));
    assert_eq!(choose("book: order, check: [counter]"), (Order, vec![Counter]));
    // Orders need no wire: people and programs start and end them, too.
    let bare = |strokes: &str| bases(&printer(&[TOTAL], &format!(", strokes: {{ {strokes} }}")));
    assert_eq!(bare("check: [order]"), (Counter, vec![Order]));
    let bench = |strokes: &str| {
        bases(&format!("  - {{ name: printer-1, kind: printer, strokes: {{ {strokes} }} }}\n"))
    };
    assert_eq!(bench("book: order"), (Order, vec![]));
    assert_eq!(bench("book: hand"), (Hand, vec![]));
}

/// A program that names the printer in each message may speak of any, or of none.
#[test]
fn messages_that_name_their_printer_book_where_nothing_else_is_wired() {
    let named = |message: &str| message.replace(" }", ", machine: /printer }");
    let program = other("line-control", "", &named(DONE)) + &other("mes", "", &named(STARTED));
    assert_eq!(bases(&(printer(&[SEAT], "") + &program)), (Reported, vec![]));
    assert_eq!(bases(&(printer(&[TOTAL], "") + &program)), (Counter, vec![]));
    assert_eq!(bases(&(BENCH.to_owned() + &program)), (Reported, vec![]));
    let chosen = printer(&[TOTAL], ", strokes: { book: reported, check: [counter, order] }");
    assert_eq!(bases(&(chosen + &program)), (Reported, vec![Counter, Order]));
}

fn counted(plant: &Plant, of: &str, counter: &str) -> (String, Counted) {
    let (printer, counted) = plant.counted(&machine(of), &CounterName::new(counter).unwrap());
    (printer.as_str().to_owned(), counted)
}

#[test]
fn a_module_counts_for_several_printers() {
    let machines = "
  - { name: printer-1, kind: printer, fastest-cycle: 8s }
  - { name: printer-2, kind: printer, fastest-cycle: 8s }
  - name: io-1
    kind: other
    counts-for: printer-1
    counters: [{ counter: pulses-2, of: printer-2 }, { counter: wipes-2, of: printer-2, counts: wipes }]
    modbus:
      address: 127.0.0.1:1502
      points:
        - { signal: stroke-total, table: input, at: 0, type: u16 }
        - { signal: stroke-total, table: input, at: 1, type: u16, counter: pulses-2 }
        - { signal: wipe-total, table: input, at: 2, type: u16 }
        - { signal: stroke-total, table: input, at: 3, type: u16, counter: wipes-2 }
";
    let plant = good(machines).plant();
    for (counter, printer, counts) in [
        ("strokes", "printer-1", Counted::Strokes),
        ("pulses-2", "printer-2", Counted::Strokes),
        ("wipes", "printer-1", Counted::Wipes),
        ("wipes-2", "printer-2", Counted::Wipes),
    ] {
        assert_eq!(counted(&plant, "io-1", counter), (printer.to_owned(), counts), "{counter}");
    }
    for printer in ["printer-1", "printer-2"] {
        let book = &plant.machines[&machine(printer)].bases.book;
        assert_eq!(*book, BTreeSet::from([Pulses]), "{printer}");
    }
}

/// Wipes are never taken for strokes, whoever tells of them.
#[test]
fn wipes_are_counted_apart() {
    let wipes = "{ topic: w, signal: wipe-total, width: 32 }";
    let plant = good(&printer(&[TOTAL, wipes], "")).plant();
    assert_eq!(counted(&plant, "printer-1", "wipes"), ("printer-1".to_owned(), Counted::Wipes));
    assert_eq!(counted(&plant, "printer-1", "strokes").1, Counted::Strokes);
    assert_eq!(bases(&printer(&[TOTAL, wipes], "")), (Counter, vec![]));
    assert_eq!(bases(&printer(&[wipes], "")), (Hand, vec![]));

    let named = "{ topic: w, signal: wipe-total, width: 32, counter: wiper, machine: /printer }";
    let machines = printer(&[TOTAL], "") + &other("line-control", "", named);
    let plant = good(&machines).plant();
    assert_eq!(counted(&plant, "printer-1", "wiper").1, Counted::Wipes);
    assert_eq!(bases(&machines), (Counter, vec![]));
}
