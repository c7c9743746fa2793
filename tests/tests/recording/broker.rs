//! A machine that speaks through Mosquitto, with a line controller beside it.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;

use stencilward_tests::mosquitto::{Mosquitto, Persistence};

use super::works::Works;

fn machines(port: u16) -> String {
    format!(
        "brokers: [{{ name: floor, address: \"127.0.0.1:{port}\", client: record-test }}]
machines:
  - name: printer-1
    kind: printer
    fastest-cycle: 1ms
    record: {{ to: printer-1.rec }}
    mqtt:
      broker: floor
      messages:
        - {{ topic: p/total, signal: stroke-total, width: 32, value: /total }}
        - {{ topic: p/+/done, signal: strokes-done, count: /n, identity: /id, when: {{ /kind: stroke }} }}
  - name: printer-2
    kind: printer
    fastest-cycle: 1ms
    mqtt: {{ broker: floor, messages: [{{ topic: q/total, signal: stroke-total, width: 32 }}] }}
"
    )
}

/// Sends one message over a connection of its own (MQTT 3.1.1, 3.1 and 3.3), and waits until the
/// broker has it.
fn publish(broker: &Mosquitto, topic: &str, payload: &str, retained: bool) {
    let mut stream = TcpStream::connect((broker.host(), broker.port())).expect("a broker");
    let flags = [0, 4, b'M', b'Q', b'T', b'T', 4, 2, 0, 30, 0, 1, b'p'];
    exchange(&mut stream, 0x10, &flags, [0x20, 2, 0, 0]);
    let topic_length = u16::try_from(topic.len()).expect("a short topic").to_be_bytes();
    let message = [&topic_length, topic.as_bytes(), &[0, 1], payload.as_bytes()].concat();
    exchange(&mut stream, 0x32 | u8::from(retained), &message, [0x40, 2, 0, 1]);
}

fn exchange(stream: &mut TcpStream, kind: u8, content: &[u8], expected: [u8; 4]) {
    let length = u8::try_from(content.len()).ok().filter(|length| *length < 128);
    let packet = [&[kind, length.expect("a short packet")], content].concat();
    stream.write_all(&packet).expect("sent");
    let mut answer = [0; 4];
    stream.read_exact(&mut answer).expect("an answer");
    assert_eq!(answer, expected);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn messages_give_the_same_signals_again() {
    let Some(broker) = Mosquitto::start(Persistence::Off).await else { return };
    let works = Works::new(&machines(broker.port()));
    publish(&broker, "p/total", "{\"total\":7}", true);
    let mut gateway = works.run().await;
    works.shows("printer-1", |shown| shown["counters"]["strokes"] == 7).await;
    publish(&broker, "q/total", "1", false);
    for (topic, payload) in [
        ("p/total", "{\"total\":9}"),
        ("p/a/done", "{\"n\":1,\"id\":\"s-1\",\"kind\":\"stroke\"}"),
        ("p/a/done", "{\"n\":1,\"id\":\"s-1\",\"kind\":\"wipe\"}"),
        ("p/total", "nonsense \u{7}"),
        ("p/total", "{\"total\":11}"),
    ] {
        publish(&broker, topic, payload, false);
    }
    works.recorded("printer-1.rec", "\"raw\":11,").await;
    assert!(gateway.stop().success(), "{}", gateway.transcript());

    let shown = works.replay("plant.yaml", &["printer-1.rec", "--show"]);
    shown.is(
        0,
        &[
            "p/total (QoS 1, retained): {\"total\":7}",
            "    strokes-done count=1 identity=s-1",
            "p/total (QoS 1): nonsense \\u{7}",
            "    unreadable: ",
            "7 things said, 4 signals",
            "nothing differs",
        ],
    );
    assert!(!shown.text.contains("q/total"), "only what is the machine's own:\n{}", shown.text);
    works.write("copy.yaml", "/kind: stroke", "/kind: wipe");
    works.replay("copy.yaml", &["printer-1.rec"]).is(1, &["2 differ (strokes-done 2)"]);
    works.write("other.yaml", "topic: p/total", "topic: r/total");
    works.replay("other.yaml", &["printer-1.rec"]).is(1, &["holds nothing of topic r/total"]);
}
