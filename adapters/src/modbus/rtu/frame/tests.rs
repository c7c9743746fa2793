//! Published check sums, and answers that are none.

use proptest::prelude::*;
use tokio_modbus::prelude::ReadCode;

use super::*;

fn summed(bytes: &[u8]) -> Vec<u8> {
    [bytes, &sum(bytes)].concat()
}

fn question(request: &Request<'_>) -> Question {
    Question::new(0x11, request).unwrap()
}

/// The check value of CRC-16/MODBUS is that of the catalogue of parametrised CRC algorithms; the
/// first frame is the example of MODBUS over Serial Line V1.02, 6.2.2. The others were computed
/// with another program.
#[test]
fn check_sums_are_the_published_ones() {
    assert_eq!(sum(b"123456789"), 0x4B37_u16.to_le_bytes());
    let published: [(&[u8], [u8; 2]); 5] = [
        (&[0x02, 0x07], [0x41, 0x12]),
        (&[0x11, 0x01, 0x00, 0x13, 0x00, 0x13], [0x8E, 0x92]),
        (&[0x11, 0x03, 0x00, 0x6B, 0x00, 0x03], [0x76, 0x87]),
        (&[0x01, 0x16, 0x00, 0x04, 0x00, 0xF2, 0x00, 0x25], [0x67, 0xEE]),
        (&[0x01, 0x03, 0x00, 0x00, 0x00, 0x0A], [0xC5, 0xCD]),
    ];
    for (bytes, expected) in published {
        assert_eq!(sum(bytes), expected, "{bytes:02X?}");
        assert_eq!(SUM.checksum(&summed(bytes)), 0, "the residue");
    }
}

/// Requests of the MODBUS Application Protocol V1.1b3, 6.1 and 6.3 to 6.6 and 6.21, framed.
#[test]
fn requests_are_framed() {
    let framed = [
        (Request::ReadCoils(0x13, 0x13), vec![0x11, 1, 0, 0x13, 0, 0x13]),
        (Request::ReadDiscreteInputs(0xC4, 0x16), vec![0x11, 2, 0, 0xC4, 0, 0x16]),
        (Request::ReadHoldingRegisters(0x6B, 3), vec![0x11, 3, 0, 0x6B, 0, 3]),
        (Request::ReadInputRegisters(8, 1), vec![0x11, 4, 0, 8, 0, 1]),
        (Request::WriteSingleCoil(0xAC, true), vec![0x11, 5, 0, 0xAC, 0xFF, 0]),
        (Request::WriteSingleCoil(0xAC, false), vec![0x11, 5, 0, 0xAC, 0, 0]),
        (Request::WriteSingleRegister(1, 3), vec![0x11, 6, 0, 1, 0, 3]),
        (Request::ReadDeviceIdentification(ReadCode::Basic, 0), vec![0x11, 0x2B, 0x0E, 1, 0]),
    ];
    for (request, bytes) in framed {
        assert_eq!(question(&request).frame, summed(&bytes), "{request:?}");
    }
    assert_eq!(Question::new(1, &Request::ReportServerId), None);
}

#[test]
fn a_proper_answer_is_taken_when_it_is_whole() {
    let identification = [&[0x11, 0x2B, 0x0E, 1, 1, 0, 0, 2, 0, 1, b'A', 1, 2, b'B'], &b"C"[..]];
    let answers = [
        (Request::ReadHoldingRegisters(0x6B, 3), vec![0x11, 3, 6, 2, 0x2B, 0, 0, 0, 0x64]),
        (Request::ReadCoils(0x13, 0x13), vec![0x11, 1, 3, 0xCD, 0x6B, 5]),
        (Request::WriteSingleRegister(1, 3), vec![0x11, 6, 0, 1, 0, 3]),
        (Request::ReadInputRegisters(8, 1), vec![0x11, 0x84, 2]),
        (Request::ReadDeviceIdentification(ReadCode::Basic, 0), identification.concat()),
    ];
    for (request, answer) in answers {
        let question = question(&request);
        let frame = summed(&answer);
        for cut in 0..frame.len() {
            assert_eq!(question.see(&frame[..cut]), Seen::Part, "{request:?} after {cut}");
        }
        assert_eq!(question.see(&frame), Seen::Answer(answer[1..].to_vec()));
        for at in 0..frame.len() {
            let mut wrong = frame.clone();
            wrong[at] ^= 4;
            assert!(!matches!(question.see(&wrong), Seen::Answer(_)), "{wrong:02X?}");
        }
    }
}

#[test]
fn what_is_no_answer_is_told_as_what_it_is() {
    let question = question(&Request::ReadInputRegisters(8, 1));
    let told = |bytes: &[u8]| question.see(&summed(bytes));
    assert_eq!(told(&[0x12, 4, 2, 0, 10]), Seen::Stray { unit: 0x12, length: 7 });
    assert_eq!(told(&[0x11, 3, 2, 0, 10]), Seen::Nonsense("an answer to another function"));
    assert_eq!(told(&[0x11, 4, 4, 0, 10, 0, 11]), Seen::Nonsense("an answer of another length"));
    assert_eq!(told(&[0x11, 4, 2, 0, 10, 0]), {
        Seen::Nonsense("an answer whose check sum is wrong")
    });
    let more = [summed(&[0x11, 4, 2, 0, 10]), vec![0]].concat();
    assert_eq!(question.see(&more), Seen::Answer(vec![4, 2, 0, 10]));
    // An adapter that hears itself: the request comes back.
    assert!(matches!(question.see(&question.frame), Seen::Nonsense(_)));
}

#[test]
fn answers_that_could_be_mistaken_are_known() {
    let alike =
        |one: &Request<'_>, other: &Request<'_>| question(one).is_answered_like(&question(other));
    let read = Request::ReadHoldingRegisters;
    assert!(alike(&read(0, 4), &read(9, 4)));
    assert!(!alike(&read(0, 4), &read(0, 3)));
    assert!(!alike(&read(0, 4), &Request::ReadInputRegisters(0, 4)));
    assert!(alike(&Request::ReadCoils(0, 3), &Request::ReadCoils(9, 8)));
    assert!(!alike(&Request::ReadCoils(0, 8), &Request::ReadCoils(0, 9)));
    let write = Request::WriteSingleRegister;
    assert!(!alike(&write(1, 3), &write(1, 4)), "an answer repeats what was written");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(10_000))]

    #[test]
    fn no_bytes_are_taken_for_an_answer_by_chance(
        mut bytes in prop::collection::vec(any::<u8>(), 0..300),
        begins_well in any::<bool>(),
        function in prop::sample::select(vec![1_u8, 2, 3, 4, 5, 6, 0x2B]),
    ) {
        let request = match function {
            1 => Request::ReadCoils(0, 9),
            2 => Request::ReadDiscreteInputs(0, 9),
            3 => Request::ReadHoldingRegisters(0, 9),
            4 => Request::ReadInputRegisters(0, 9),
            5 => Request::WriteSingleCoil(0, true),
            6 => Request::WriteSingleRegister(0, 9),
            _ => Request::ReadDeviceIdentification(ReadCode::Basic, 0),
        };
        let question = question(&request);
        if begins_well && bytes.len() > 2 {
            (bytes[0], bytes[1]) = (0x11, function);
        }
        if let Seen::Answer(answer) = question.see(&bytes) {
            // One in 65,536 has the right check sum; then it is a whole frame of this unit.
            let end = answer.len() + 1;
            prop_assert!(is_whole(&bytes[..end + 2]));
            prop_assert_eq!(&bytes[1..end], &answer[..]);
            prop_assert_eq!(bytes[0], 0x11);
        }
    }
}
