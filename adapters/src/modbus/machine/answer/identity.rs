//! Read device identification: function 2B/0E (MODBUS Application Protocol V1.1b3, 6.21).

use std::collections::BTreeMap;

use super::ILLEGAL_VALUE;

/// Objects 0 to 2 are basic, those below 0x80 regular, the rest extended.
const LAST_BASIC: u8 = 0x02;
const LAST_REGULAR: u8 = 0x7F;
/// Longest answer: 253 bytes without the transport's header.
const ROOM: usize = 253;
/// What is left of it for one object.
const LONGEST_OBJECT: usize = ROOM - 9;
const MORE_FOLLOWS: u8 = 0xFF;

pub(super) fn answer(identity: &BTreeMap<u8, String>, code: u8, object: u8) -> Result<Vec<u8>, u8> {
    let last = match code {
        1 => LAST_BASIC,
        2 => LAST_REGULAR,
        3 => u8::MAX,
        // No object can be asked for by itself, and the conformity says so.
        _ => return Err(ILLEGAL_VALUE),
    };
    // An object that is not there means the first one.
    let first = if identity.contains_key(&object) { object } else { 0 };
    let conformity = match identity.keys().next_back() {
        Some(0..=LAST_BASIC) | None => 1,
        Some(..=LAST_REGULAR) => 2,
        Some(_) => 3,
    };
    let mut objects = Vec::new();
    let (mut count, mut next) = (0, None);
    for (number, text) in identity.range(first..=last.max(first)) {
        let text = text.as_bytes().get(..LONGEST_OBJECT).unwrap_or(text.as_bytes());
        // Seven bytes stand before the objects, and two before each.
        if 7 + objects.len() + 2 + text.len() > ROOM {
            next = Some(*number);
            break;
        }
        objects.extend([*number, text.len() as u8]);
        objects.extend(text);
        count += 1;
    }
    let more = if next.is_some() { MORE_FOLLOWS } else { 0 };
    let mut response = vec![0x2B, 0x0E, code, conformity, more, next.unwrap_or(0), count];
    response.extend(objects);
    Ok(response)
}
