//! The link keeps its contract, whatever its machines and the gateway do.

use std::io::{Read as _, Write as _};
use std::net::{TcpListener, TcpStream};
use std::time::Duration;

use serde_json::json;
use stencilward_adapters::cfx::Machine;
use stencilward_adapters::link::Trouble;
use stencilward_adapters::simulated::{Fault, Simulated as _};
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::Said;

use crate::fixtures::gzip;
use crate::gateway::{
    GATEWAY, Gateway, endpoint, free_address, name, printer, say_strokes, strokes, until, within,
};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_a_machine_says_arrives_in_its_order_with_its_identity() {
    let mut gateway = Gateway::start();
    let machine = gateway.printer();
    gateway.until_up().await;
    let code = StencilCode::new("ST-1").unwrap();
    machine.say(&Said::Seated { code: code.clone() }, Some("id-seat")).await.unwrap();
    say_strokes(&machine, 0, 50).await;
    let signal = gateway.next().await;
    assert_eq!(
        (&signal.said, signal.identity.as_deref()),
        (&Said::Seated { code }, Some("id-seat"))
    );
    assert!(signal.machine_time.is_some());
    for at in 0..50 {
        let signal = gateway.next().await;
        assert_eq!(signal.said, strokes(1));
        assert_eq!(signal.identity, Some(format!("id-{at}")));
    }
    assert_eq!(gateway.notes.troubles(), Vec::new());
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_not_durable_is_not_accepted_and_comes_again() {
    let mut gateway = Gateway::start();
    let machine = gateway.printer();
    gateway.until_up().await;
    machine.say(&strokes(3), Some("id-1")).await.unwrap();
    let said = loop {
        let delivery = gateway.take().await;
        if delivery.signals.iter().any(|signal| signal.said == strokes(3)) {
            break delivery;
        }
        let _ = delivery.receipt.send(Vec::new());
    };
    // Never answered: the gateway ends before it is durable.
    let address = gateway.address;
    gateway.stop_deaf().await;
    drop(said);
    let machines = vec![(name("printer-1"), printer())];
    let mut again = Gateway::of(endpoint(address, &json!({})), machines, 8);
    let signal = loop {
        let signal = again.next().await;
        if signal.said == strokes(3) {
            break signal;
        }
    };
    assert_eq!(signal.identity.as_deref(), Some("id-1"), "a repeat is known by its identity");
    again.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_slow_ledger_slows_the_machine_down_and_loses_nothing() {
    let machines = vec![(name("printer-1"), printer())];
    let mut gateway = Gateway::of(endpoint(free_address(), &json!({})), machines, 1);
    let machine = gateway.printer();
    gateway.until_up().await;
    let saying = tokio::spawn(async move {
        say_strokes(&machine, 0, 300).await;
        machine
    });
    // Nothing is taken until the link has all that it can hold.
    until("a full intake", || gateway.deliveries.len() == 1).await;
    for at in 0..300 {
        let signal = loop {
            let signal = gateway.next().await;
            if !matches!(signal.said, Said::LinkUp { .. } | Said::LinkLost { .. }) {
                break signal;
            }
        };
        assert_eq!(signal.identity, Some(format!("id-{at}")));
    }
    drop(within("the machine", saying).await.unwrap());
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_machine_that_is_cut_or_off_is_lost_and_back() {
    let mut gateway = Gateway::start();
    let machine = gateway.printer();
    gateway.until_up().await;
    machine.suffer(Fault::Cut).await.unwrap();
    gateway.until_lost("connection ended").await;
    gateway.until_up().await;
    machine.suffer(Fault::Off(true)).await.unwrap();
    gateway.until_lost("").await;
    machine.say(&strokes(2), None).await.unwrap();
    machine.suffer(Fault::Off(false)).await.unwrap();
    gateway.until_up().await;
    assert_eq!(gateway.next_but_link().await, strokes(2), "said while it was off");
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_silent_machine_is_lost_by_its_heartbeats() {
    let mut gateway = Gateway::start();
    let machine = gateway.printer();
    gateway.until_up().await;
    machine.say(&strokes(1), None).await.unwrap();
    assert_eq!(gateway.next_but_link().await, strokes(1));
    machine.suffer(Fault::Silent(true)).await.unwrap();
    gateway.until_lost("heartbeats").await;
    machine.suffer(Fault::Silent(false)).await.unwrap();
    gateway.until_up().await;
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nonsense_is_rejected_counted_and_does_not_stop_the_rest() {
    let mut gateway = Gateway::start();
    let machine = gateway.printer();
    gateway.until_up().await;
    machine.suffer(Fault::Flooding(500)).await.unwrap();
    machine.say(&strokes(7), None).await.unwrap();
    assert_eq!(gateway.next_but_link().await, strokes(7));
    let rejected = gateway.notes.troubles();
    let rejected = rejected
        .iter()
        .filter(|(kind, why)| *kind == Trouble::Unreadable && why.contains("was rejected"));
    assert_eq!(rejected.count(), 500);
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_small_message_that_becomes_a_large_one_is_rejected() {
    let mut gateway = Gateway::start();
    let machine = gateway.printer();
    gateway.until_up().await;
    machine.send_raw(gzip(&vec![b' '; 100_000])).await;
    machine.say(&strokes(1), None).await.unwrap();
    assert_eq!(gateway.next_but_link().await, strokes(1));
    assert!(gateway.notes.has(Trouble::TooLarge, "largest-text"));
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_repeat_has_its_first_identity() {
    let mut gateway = Gateway::start();
    let machine = gateway.printer();
    gateway.until_up().await;
    machine.say(&strokes(1), Some("id-1")).await.unwrap();
    machine.suffer(Fault::Repeating(2)).await.unwrap();
    for _ in 0..3 {
        assert_eq!(gateway.next().await.identity.as_deref(), Some("id-1"));
    }
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_link_to_another_address_is_refused_and_told() {
    let mut gateway = Gateway::start();
    let lost = Machine::start(gateway.address, "Somebody.Else", &name("printer-1"), printer());
    until("the refusal", || gateway.notes.has(Trouble::Unmapped, "Somebody.Else")).await;
    drop(lost);
    let other = Machine::start(gateway.address, "/exchange/works", &name("printer-1"), printer());
    gateway.until_up().await;
    drop(other);
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn others_on_the_port_do_no_harm() {
    let mut gateway = Gateway::start();
    let address = gateway.address;
    let machine = gateway.printer();
    gateway.until_up().await;
    let strangers = tokio::task::spawn_blocking(move || {
        for opening in [
            b"GET / HTTP/1.1\r\n\r\n".as_slice(),
            b"AMQP\x03\x01\x00\x00\x00\x00\x00\x02",
            b"AMQP\x00\x01\x00\x00",
            b"AMQP\x03\x01\x00\x00\xff\xff\xff\xff\x02\x01\x00\x00",
            b"\x00\x00\x00\x00",
            b"",
        ] {
            let mut stream = TcpStream::connect(address).unwrap();
            stream.set_read_timeout(Some(Duration::from_millis(300))).unwrap();
            let _ = stream.write_all(opening);
            let _ = stream.read(&mut [0; 64]);
        }
    });
    within("the strangers", strangers).await.unwrap();
    machine.say(&strokes(1), None).await.unwrap();
    assert_eq!(gateway.next_but_link().await, strokes(1));
    gateway.stop().await;
}

/// The library reads values by recursion: two thousand levels exhaust a thread's stack.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn values_nested_without_end_do_no_harm() {
    let mut gateway = Gateway::start();
    let address = gateway.address;
    let machine = gateway.printer();
    gateway.until_up().await;
    let stranger = tokio::task::spawn_blocking(move || {
        let frame = |kind: u8, body: &[u8]| {
            let size = u32::try_from(8 + body.len()).unwrap();
            [size.to_be_bytes().as_slice(), &[2, kind, 0, 0], body].concat()
        };
        let list = |items: u32, body: &[u8]| {
            let size = u32::try_from(4 + body.len()).unwrap();
            [&[0xd0], size.to_be_bytes().as_slice(), &items.to_be_bytes(), body].concat()
        };
        let nested = (0..5_000).fold(vec![0x40], |inner, _| list(1, &inner));
        let described = |code: u8, list: &[u8]| [&[0x00, 0x53, code], list].concat();
        let init = described(0x41, &list(1, b"\xa3\x09ANONYMOUS"));
        let open = described(0x10, &list(1, b"\xa1\x01x"));
        let properties = [b"\xa3\x01a".as_slice(), &nested].concat();
        let size = u32::try_from(4 + properties.len()).unwrap();
        let map = [b"\xd1".as_slice(), &size.to_be_bytes(), &2_u32.to_be_bytes(), &properties];
        let begin = [b"\x40\x43\x52\x10\x52\x10\x40\x40\x40".as_slice(), &map.concat()].concat();
        let mut stream = TcpStream::connect(address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        let hear = |stream: &mut TcpStream, header: bool| {
            let mut begun = [0; 8];
            stream.read_exact(&mut begun).unwrap();
            let size = if header { 8 } else { u32::from_be_bytes(begun[..4].try_into().unwrap()) };
            stream.read_exact(&mut vec![0; size as usize - 8]).unwrap();
        };
        stream.write_all(b"AMQP\x03\x01\x00\x00").unwrap();
        hear(&mut stream, true);
        hear(&mut stream, false);
        for (part, header) in [
            (frame(1, &init), false),
            (b"AMQP\x00\x01\x00\x00".to_vec(), true),
            (frame(0, &open), false),
        ] {
            stream.write_all(&part).unwrap();
            hear(&mut stream, header);
        }
        stream.write_all(&frame(0, &described(0x11, &list(8, &begin)))).unwrap();
        let mut rest = Vec::new();
        let _ = stream.read_to_end(&mut rest);
    });
    within("the end of the stranger's connection", stranger).await.unwrap();
    machine.say(&strokes(1), None).await.unwrap();
    assert_eq!(gateway.next_but_link().await, strokes(1));
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_port_that_is_taken_is_told_and_tried_again() {
    let taken = TcpListener::bind(("127.0.0.1", 0)).unwrap();
    let address = taken.local_addr().unwrap();
    let machines = vec![(name("printer-1"), printer())];
    let mut gateway = Gateway::of(endpoint(address, &json!({})), machines, 8);
    gateway.until_lost("cannot listen").await;
    drop(taken);
    let _machine = Machine::start(address, GATEWAY, &name("printer-1"), printer());
    gateway.until_up().await;
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_an_intake_the_link_ends() {
    let mut gateway = Gateway::start();
    let machine = gateway.printer();
    gateway.until_up().await;
    gateway.ended().await;
    drop(machine);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_link_that_is_told_to_stop_ends_although_nothing_is_answered() {
    let mut gateway = Gateway::start();
    let machine = gateway.printer();
    gateway.until_up().await;
    say_strokes(&machine, 0, 20).await;
    let _unanswered = gateway.take().await;
    gateway.stop_deaf().await;
}
