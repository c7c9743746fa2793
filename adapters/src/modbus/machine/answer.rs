//! Requests and their answers, as the protocol has them, without the transport's header.
//!
//! MODBUS Application Protocol V1.1b3: function codes 01 to 06, 0F and 10. What is asked is
//! judged in the specification's order: function, then quantity, then address.

use super::memory::Memory;
use crate::modbus::settings::{BitTable, RegisterTable};

pub(super) const ILLEGAL_FUNCTION: u8 = 0x01;
pub(super) const ILLEGAL_ADDRESS: u8 = 0x02;
pub(super) const ILLEGAL_VALUE: u8 = 0x03;
pub(super) const TARGET_SILENT: u8 = 0x0B;

/// The answer to a request, both without the transport's header.
pub(super) fn answer(memory: &mut Memory, request: &[u8]) -> Vec<u8> {
    let function = request.first().copied().unwrap_or_default();
    respond(memory, request).unwrap_or_else(|code| exception(function, code))
}

pub(super) fn exception(function: u8, code: u8) -> Vec<u8> {
    vec![function | 0x80, code]
}

fn respond(memory: &mut Memory, request: &[u8]) -> Result<Vec<u8>, u8> {
    match *request {
        [function @ 1..=4, a, b, c, d] => read(memory, function, word([a, b]), word([c, d])),
        [5, a, b, c, d] => {
            let on = match word([c, d]) {
                0xFF00 => true,
                0x0000 => false,
                _ => return Err(ILLEGAL_VALUE),
            };
            let written = memory.write_coils(word([a, b]), &[on]);
            written.map(|()| request.to_vec()).ok_or(ILLEGAL_ADDRESS)
        }
        [6, a, b, c, d] => {
            let written = memory.write_registers(word([a, b]), &[word([c, d])]);
            written.map(|()| request.to_vec()).ok_or(ILLEGAL_ADDRESS)
        }
        [function @ (0x0F | 0x10), a, b, c, d, length, ref data @ ..] => {
            if usize::from(length) != data.len() {
                return Err(ILLEGAL_VALUE);
            }
            let (at, count) = (word([a, b]), word([c, d]));
            if function == 0x0F {
                write_coils(memory, at, count, data)?;
            } else {
                write_registers(memory, at, count, data)?;
            }
            Ok(vec![function, a, b, c, d])
        }
        [1..=6 | 0x0F | 0x10, ..] => Err(ILLEGAL_VALUE),
        _ => Err(ILLEGAL_FUNCTION),
    }
}

fn word(bytes: [u8; 2]) -> u16 {
    u16::from_be_bytes(bytes)
}

fn read(memory: &Memory, function: u8, at: u16, count: u16) -> Result<Vec<u8>, u8> {
    let most = if function <= 2 { 2_000 } else { 125 };
    if !(1..=most).contains(&count) {
        return Err(ILLEGAL_VALUE);
    }
    let bits = |table| {
        let bits = memory.bank.bits(table, at, count)?;
        memory.note_read(table, at, count);
        Some(packed(&bits))
    };
    let words = |table| {
        let words = memory.bank.words(table, at, count)?;
        Some(words.into_iter().flat_map(u16::to_be_bytes).collect())
    };
    let data: Option<Vec<u8>> = match function {
        1 => bits(BitTable::Coil),
        2 => bits(BitTable::Discrete),
        3 => words(RegisterTable::Holding),
        _ => words(RegisterTable::Input),
    };
    let data = data.ok_or(ILLEGAL_ADDRESS)?;
    // At most 250 bytes: 2000 bits or 125 registers.
    let mut response = vec![function, data.len() as u8];
    response.extend(data);
    Ok(response)
}

/// Bits in bytes, the first in the lowest bit of the first byte; unused bits are 0.
fn packed(bits: &[bool]) -> Vec<u8> {
    let byte = |bits: &[bool]| {
        let bits = bits.iter().zip(0..);
        bits.fold(0, |byte, (on, place)| byte | u8::from(*on) << place)
    };
    bits.chunks(8).map(byte).collect()
}

fn write_coils(memory: &mut Memory, at: u16, count: u16, data: &[u8]) -> Result<(), u8> {
    if !(1..=1_968).contains(&count) || data.len() != usize::from(count).div_ceil(8) {
        return Err(ILLEGAL_VALUE);
    }
    let unpack = |byte: &u8| {
        let byte = *byte;
        (0..8).map(move |place| byte >> place & 1 == 1)
    };
    let bits = data.iter().flat_map(unpack).take(usize::from(count));
    let bits: Vec<bool> = bits.collect();
    memory.write_coils(at, &bits).ok_or(ILLEGAL_ADDRESS)
}

fn write_registers(memory: &mut Memory, at: u16, count: u16, data: &[u8]) -> Result<(), u8> {
    if !(1..=123).contains(&count) || data.len() != usize::from(count) * 2 {
        return Err(ILLEGAL_VALUE);
    }
    let words = data.chunks_exact(2).map(|pair| match *pair {
        [high, low] => word([high, low]),
        _ => 0,
    });
    let words: Vec<u16> = words.collect();
    memory.write_registers(at, &words).ok_or(ILLEGAL_ADDRESS)
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use proptest::prelude::*;
    use serde_json::json;

    use super::*;
    use crate::modbus::settings::Settings;
    use crate::modbus::wiring::Wiring;

    fn memory() -> Memory {
        let settings = json!({ "address": "h:1", "outputs": [
            { "name": "lock", "drive": "print-permit", "table": "coil", "at": 172,
              "on-permit": false, "read-back": { "table": "discrete", "at": 9 } },
            { "name": "alive", "drive": "heartbeat", "table": "holding", "at": 1 },
        ]});
        let settings: Settings = serde_json::from_value(settings).unwrap();
        Memory::new(Arc::new(Wiring::of(&settings)))
    }

    #[test]
    fn quantity_is_judged_before_address() {
        let mut memory = memory();
        let mut ask = |request: &[u8]| answer(&mut memory, request);
        for function in 1..=4 {
            assert_eq!(ask(&[function, 0xFF, 0, 0, 0]), [function | 0x80, 3]);
            assert_eq!(ask(&[function, 0xFF, 0, 0xFF, 0xFF]), [function | 0x80, 3]);
            assert_eq!(ask(&[function, 0xFF, 0, 0, 1]), [function | 0x80, 2]);
            assert_eq!(ask(&[function, 0xFF, 0]), [function | 0x80, 3]);
        }
        assert_eq!(ask(&[5, 0, 172, 0xFF, 1]), [0x85, 3]);
        assert_eq!(ask(&[5, 0, 173, 0xFF, 0]), [0x85, 2]);
        assert_eq!(ask(&[6, 0, 2, 0, 0]), [0x86, 2]);
        assert_eq!(ask(&[0x0F, 0, 172, 0, 2, 2, 1, 0]), [0x8F, 3]);
        assert_eq!(ask(&[0x0F, 0, 172, 0, 2, 1, 1]), [0x8F, 2]);
        assert_eq!(ask(&[0x10, 0, 1, 0, 2, 2, 0, 0]), [0x90, 3]);
        assert_eq!(ask(&[0x10, 0, 1, 0, 2, 4, 0, 0, 0, 0]), [0x90, 2]);
        assert_eq!(ask(&[0x14, 0]), [0x94, 1]);
        assert_eq!(ask(&[]), [0x80, 1]);
    }

    #[test]
    fn an_output_refuses_at_first_and_shows_what_is_written() {
        let mut memory = memory();
        assert_eq!(memory.outputs(), [false, false]);
        assert_eq!(memory.bank.bit(BitTable::Discrete, 9), Some(true));
        answer(&mut memory, &[5, 0, 172, 0, 0]);
        assert_eq!(memory.bank.bit(BitTable::Discrete, 9), Some(false));
        answer(&mut memory, &[6, 0, 1, 0, 3]);
        assert_eq!(memory.outputs(), [true, true]);
        memory.disobeys = true;
        assert_eq!(answer(&mut memory, &[5, 0, 172, 0xFF, 0]), [5, 0, 172, 0xFF, 0]);
        assert_eq!(memory.outputs(), [true, true]);
    }

    proptest! {
        #[test]
        fn any_request_has_an_answer(request in prop::collection::vec(any::<u8>(), 0..260)) {
            let answer = answer(&mut memory(), &request);
            prop_assert!((2..=252).contains(&answer.len()));
        }
    }
}
