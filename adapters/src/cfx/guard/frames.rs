//! AMQP frames as they come: their performatives, and messages that go through several of them.
//! Pure.
//!
//! Source: AMQP 1.0 (ISO/IEC 19464), part 2, 2.2 (protocol header), 2.3 (frames), 2.7.5 (transfer).

use std::collections::BTreeMap;

use super::values::{Values, Wrong};
use crate::cfx::access::FRAME;

/// Messages of one connection that may be under way at once.
const MOST_MESSAGES: usize = 256;
/// What a transfer begins with: its descriptor, written short or long. As a symbol nobody sends it.
const TRANSFER: [&[u8]; 2] = [b"\x00\x53\x14", b"\x00\x80\x00\x00\x00\x00\x00\x00\x00\x14"];

/// The frames of one direction of a connection.
#[derive(Debug, Default)]
pub(super) struct Frames {
    /// Messages of which more is to come, by channel and link.
    messages: BTreeMap<([u8; 2], u32), Values>,
    /// True once a frame came that is no longer about who is let in.
    pub(super) opened: bool,
}

impl Frames {
    /// Looks at what came, and gives how many bytes of it are whole frames.
    pub(super) fn look(&mut self, bytes: &[u8]) -> Result<usize, Wrong> {
        let mut whole = 0;
        while let Some(rest) = bytes.get(whole..).filter(|rest| rest.len() >= 8) {
            let length = if rest.starts_with(b"AMQP") { 8 } else { length(rest)? };
            let Some(frame) = rest.get(..length) else { break };
            if !frame.starts_with(b"AMQP") {
                self.frame(frame)?;
            }
            whole += length;
        }
        Ok(whole)
    }

    fn frame(&mut self, frame: &[u8]) -> Result<(), Wrong> {
        let head = usize::from(frame[4]) * 4;
        self.opened |= frame[5] == 0;
        if head < 8 {
            return Err(Wrong("are in no frame"));
        }
        let body = frame.get(head..).ok_or(Wrong("are in no frame"))?;
        if body.is_empty() {
            return Ok(());
        }
        let mut performative = Values::default();
        let taken = performative.feed(body, true)?;
        if !performative.is_between() {
            return Err(Wrong("are cut off"));
        }
        let (performative, payload) = body.split_at(taken);
        if payload.is_empty() && fields(performative).is_none() {
            return Ok(());
        }
        let (link, more) = transfer(performative).ok_or(Wrong("follow no transfer"))?;
        let key = ([frame[6], frame[7]], link);
        let mut message = self.messages.remove(&key).unwrap_or_default();
        message.feed(payload, false)?;
        if more {
            if self.messages.len() == MOST_MESSAGES {
                return Err(Wrong("belong to too many messages at once"));
            }
            self.messages.insert(key, message);
        }
        Ok(())
    }
}

fn length(rest: &[u8]) -> Result<usize, Wrong> {
    let size = u32::from_be_bytes([rest[0], rest[1], rest[2], rest[3]]);
    if (8..=FRAME).contains(&size) {
        Ok(usize::try_from(size).unwrap_or(usize::MAX))
    } else {
        Err(Wrong("are in no frame, or in one that is too large"))
    }
}

/// The fields of a transfer; none of any other performative.
fn fields(performative: &[u8]) -> Option<&[u8]> {
    let list = TRANSFER.iter().find_map(|opening| performative.strip_prefix(*opening))?;
    match list {
        [0xc0, _, _, fields @ ..] | [0xd0, _, _, _, _, _, _, _, _, fields @ ..] => Some(fields),
        _ => None,
    }
}

/// The link of a transfer, and whether more of its message comes.
fn transfer(performative: &[u8]) -> Option<(u32, bool)> {
    let (link, mut rest) = match fields(performative)? {
        [0x43, rest @ ..] => (0, rest),
        [0x52, link, rest @ ..] => (u32::from(*link), rest),
        [0x70, a, b, c, d, rest @ ..] => (u32::from_be_bytes([*a, *b, *c, *d]), rest),
        _ => return None,
    };
    // Delivery id, delivery tag, message format, settled: then comes `more`.
    for _ in 0..4 {
        if rest.is_empty() {
            return Some((link, false));
        }
        let taken = Values::default().feed(rest, true).ok()?;
        rest = rest.get(taken..)?;
    }
    Some((link, matches!(rest, [0x41, ..] | [0x56, 0x01, ..])))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(body: &[u8]) -> Vec<u8> {
        let size = u32::try_from(8 + body.len()).unwrap();
        [size.to_be_bytes().as_slice(), b"\x02\x00\x00\x00", body].concat()
    }

    /// A transfer on this link, of which more comes or not.
    fn transfer_of(link: u8, more: u8, payload: &[u8]) -> Vec<u8> {
        let fields = [0x52, link, 0x43, 0xa0, 0x01, 0x07, 0x43, 0x42, more];
        let size = u8::try_from(fields.len() + 1).unwrap();
        frame(&[TRANSFER[usize::from(link)], [0xc0, size, 6].as_slice(), &fields, payload].concat())
    }

    #[test]
    fn only_whole_frames_are_let_through() {
        let mut frames = Frames::default();
        let both =
            [b"AMQP\x00\x01\x00\x00".as_slice(), &frame(b"\x00\x53\x10\xc0\x04\x01\xa1\x01x")];
        let bytes = both.concat();
        for cut in 0..bytes.len() {
            let whole = if cut < 8 { 0 } else { 8 };
            assert_eq!(frames.look(&bytes[..cut]), Ok(whole), "{cut}");
        }
        assert_eq!(frames.look(&bytes), Ok(bytes.len()));
        assert_eq!(frames.look(&frame(b"")), Ok(8), "a sign of life");
    }

    #[test]
    fn messages_of_two_links_may_come_in_turns() {
        let mut frames = Frames::default();
        let message = [b"\x00\x53\x75\xa0\x06".as_slice(), b"\x00\x00\x00\x00\x00\x00"].concat();
        let (one, other) = message.split_at(4);
        for (link, more, part) in
            [(0, 0x41, one), (1, 0x41, one), (0, 0x42, other), (1, 0x42, other)]
        {
            let frame = transfer_of(link, more, part);
            assert_eq!(frames.look(&frame), Ok(frame.len()));
        }
        assert!(frames.messages.is_empty());
    }

    #[test]
    fn nesting_that_goes_through_several_frames_is_found() {
        let mut frames = Frames::default();
        let part = transfer_of(0, 0x41, &[0; 20]);
        assert_eq!(frames.look(&part), Ok(part.len()));
        assert!(frames.look(&part).is_err());
    }

    #[test]
    fn what_is_no_frame_is_not_let_through() {
        for wrong in [
            b"GET / HT".to_vec(),
            b"\x00\x00\x00\x07\x02\x00\x00\x00".to_vec(),
            b"\x7f\xff\xff\xff\x02\x00\x00\x00".to_vec(),
            b"\x00\x00\x00\x08\x01\x00\x00\x00".to_vec(),
            frame(b"\x00\x53\x10\xc0\x01\x00\x40"),
            frame(b"\x00\x53\x10\xc0\x05\x01"),
        ] {
            assert!(Frames::default().look(&wrong).is_err(), "{wrong:x?}");
        }
    }
}
