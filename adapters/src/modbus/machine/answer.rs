//! Requests and their answers, as the protocol has them, without the transport's header.
//!
//! MODBUS Application Protocol V1.1b3: function codes 01 to 06, 0F, 10, 16, 17 and 2B/0E. What is
//! asked is judged in the specification's order: function, then quantity, then address.

mod identity;

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
        [0x16, a, b, and_high, and_low, or_high, or_low] => {
            let masks = (word([and_high, and_low]), word([or_high, or_low]));
            let written = memory.mask_register(word([a, b]), masks.0, masks.1);
            written.map(|()| request.to_vec()).ok_or(ILLEGAL_ADDRESS)
        }
        [0x17, a, b, c, d, e, f, g, h, length, ref data @ ..] => {
            let (reads, writes) = ((word([a, b]), word([c, d])), (word([e, f]), word([g, h])));
            if usize::from(length) != data.len() {
                return Err(ILLEGAL_VALUE);
            }
            write_and_read(memory, reads, writes, data)
        }
        [0x2B, 0x0E, code, object] if !memory.identity.is_empty() => {
            identity::answer(&memory.identity, code, object)
        }
        [0x2B, 0x0E, ..] if !memory.identity.is_empty() => Err(ILLEGAL_VALUE),
        [1..=6 | 0x0F | 0x10 | 0x16 | 0x17, ..] => Err(ILLEGAL_VALUE),
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
    let bits = |table: BitTable| {
        let bits = memory.bank.bits(table, at, count)?;
        memory.note_read(table.into(), at, count);
        Some(packed(bits))
    };
    let words = |table: RegisterTable| {
        let words = memory.bank.words(table, at, count)?;
        memory.note_read(table.into(), at, count);
        Some(words.iter().copied().flat_map(u16::to_be_bytes).collect())
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
    memory.write_registers(at, &unpacked(data)).ok_or(ILLEGAL_ADDRESS)
}

/// Writes and then reads; what is refused writes nothing.
fn write_and_read(
    memory: &mut Memory,
    (from, wanted): (u16, u16),
    (at, count): (u16, u16),
    data: &[u8],
) -> Result<Vec<u8>, u8> {
    let fits = (1..=125).contains(&wanted) && (1..=121).contains(&count);
    if !fits || data.len() != usize::from(count) * 2 {
        return Err(ILLEGAL_VALUE);
    }
    memory.bank.words(RegisterTable::Holding, from, wanted).ok_or(ILLEGAL_ADDRESS)?;
    memory.write_registers(at, &unpacked(data)).ok_or(ILLEGAL_ADDRESS)?;
    let mut response = read(memory, 3, from, wanted)?;
    if let Some(function) = response.first_mut() {
        *function = 0x17;
    }
    Ok(response)
}

fn unpacked(data: &[u8]) -> Vec<u16> {
    let words = data.chunks_exact(2).map(|pair| match *pair {
        [high, low] => word([high, low]),
        _ => 0,
    });
    words.collect()
}

#[cfg(test)]
mod tests;
