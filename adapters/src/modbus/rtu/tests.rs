//! A master and a peer that says exactly what a test wants.

use tokio::io::{DuplexStream, duplex};
use tokio_modbus::Request;

use super::*;

const LIMIT: Duration = Duration::from_millis(60);
/// Far beyond any wait of a test.
const EVER: Duration = Duration::from_secs(20);

fn line() -> (Master, DuplexStream) {
    let (ours, theirs) = duplex(4_096);
    let pace = Pace { character: Duration::ZERO, silence: Duration::from_millis(2) };
    (Master::new(Box::new(ours), pace), theirs)
}

fn question() -> Question {
    Question::new(3, &Request::ReadHoldingRegisters(0, 1)).unwrap()
}

fn summed(bytes: &[u8]) -> Vec<u8> {
    [bytes, &sum(bytes)].concat()
}

fn answer(value: u8) -> Vec<u8> {
    summed(&[3, 3, 2, 0, value])
}

async fn heard(peer: &mut DuplexStream) {
    let mut request = [0; 8];
    tokio::time::timeout(EVER, peer.read_exact(&mut request)).await.unwrap().unwrap();
    assert_eq!(request[..], question().frame[..]);
}

/// Asks while the peer answers with these bytes.
async fn ask(master: &mut Master, peer: &mut DuplexStream, bytes: &[u8]) -> Result<Vec<u8>, Lapse> {
    let question = question();
    let answering = async {
        heard(peer).await;
        peer.write_all(bytes).await.unwrap();
    };
    tokio::join!(master.ask(&question, LIMIT), answering).0
}

fn garbled(outcome: Result<Vec<u8>, Lapse>) -> String {
    match outcome {
        Err(Lapse::Garbled(what)) => what,
        other => panic!("{other:?}"),
    }
}

#[tokio::test]
async fn an_answer_that_comes_late_is_dropped_and_not_taken_for_the_next() {
    let (mut master, mut peer) = line();
    let silent = ask(&mut master, &mut peer, &[]).await;
    assert!(matches!(silent, Err(Lapse::Silent { heard: None })), "{silent:?}");
    peer.write_all(&answer(99)).await.unwrap();
    assert_eq!(ask(&mut master, &mut peer, &answer(1)).await.unwrap(), [3, 2, 0, 1]);
}

#[tokio::test]
async fn an_answer_that_comes_in_two_parts_is_one() {
    let (mut master, mut peer) = line();
    let whole = answer(7);
    let question = question();
    let answering = async {
        heard(&mut peer).await;
        for part in whole.chunks(3) {
            peer.write_all(part).await.unwrap();
            tokio::task::yield_now().await;
        }
    };
    let (outcome, ()) = tokio::join!(master.ask(&question, LIMIT), answering);
    assert_eq!(outcome.unwrap(), [3, 2, 0, 7]);
}

#[tokio::test]
async fn what_another_unit_says_is_passed_over() {
    let (mut master, mut peer) = line();
    let stray = summed(&[4, 3, 2, 0, 99]);
    let both = [&stray[..], &answer(5)].concat();
    assert_eq!(ask(&mut master, &mut peer, &both).await.unwrap(), [3, 2, 0, 5]);
    let only = ask(&mut master, &mut peer, &stray).await;
    assert!(matches!(only, Err(Lapse::Silent { heard: Some(4) })), "{only:?}");
}

#[tokio::test]
async fn an_exception_is_an_answer() {
    let (mut master, mut peer) = line();
    let refusal = ask(&mut master, &mut peer, &summed(&[3, 0x83, 2])).await;
    assert_eq!(refusal.unwrap(), [0x83, 2]);
}

#[tokio::test]
async fn what_is_no_answer_is_waited_out() {
    let (mut master, mut peer) = line();
    let mut wrong_sum = answer(1);
    wrong_sum[5] ^= 1;
    let all = [
        (answer(1)[..4].to_vec(), "4 bytes of an answer"),
        (wrong_sum, "check sum"),
        (summed(&[3, 3, 4, 0, 1, 0, 2]), "another length"),
        (summed(&[3, 4, 2, 0, 1]), "another function"),
        (question().frame, "another length"),
        (vec![0xFF; 40], "no frame"),
    ];
    for (bytes, word) in all {
        let what = garbled(ask(&mut master, &mut peer, &bytes).await);
        assert!(what.contains(word), "{what}");
        // What is left of it does not reach the next question.
        assert_eq!(ask(&mut master, &mut peer, &answer(8)).await.unwrap(), [3, 2, 0, 8]);
    }
}

#[tokio::test]
async fn a_line_that_is_gone_or_never_silent_is_told() {
    let (mut master, peer) = line();
    drop(peer);
    let gone = master.ask(&question(), LIMIT).await;
    assert!(matches!(gone, Err(Lapse::Broken(_))), "{gone:?}");
    let (mut master, mut peer) = line();
    let chatter = async {
        loop {
            peer.write_all(&[0x55]).await.unwrap();
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    };
    let question = question();
    tokio::select! {
        outcome = master.ask(&question, LIMIT) => {
            assert_eq!(garbled(outcome), "bytes without end");
        }
        () = chatter => {}
    }
}

#[tokio::test]
async fn a_question_is_asked_into_silence() {
    let (mut master, mut peer) = line();
    // The silence begins with what ends the question, a little before that is known here.
    let began = Instant::now();
    assert!(ask(&mut master, &mut peer, &answer(1)).await.is_ok());
    assert!(ask(&mut master, &mut peer, &answer(2)).await.is_ok());
    assert!(began.elapsed() >= Duration::from_millis(2), "{:?}", began.elapsed());
    // After a question without an answer a late one has time to pass.
    let began = Instant::now();
    assert!(ask(&mut master, &mut peer, &[]).await.is_err());
    assert!(ask(&mut master, &mut peer, &answer(3)).await.is_ok());
    assert!(began.elapsed() >= TURNAROUND, "{:?}", began.elapsed());
}
