//! AMQP values as they come, byte by byte: how deeply they are nested, and whether their counts and
//! sizes agree. Pure.
//!
//! Source: AMQP 1.0 (ISO/IEC 19464), part 1, 1.6 and the table of primitive type definitions.

/// Deepest nesting let through. What machines and brokers send has some six levels.
const DEEPEST: usize = 32;

/// Why a value is not let through.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("AMQP values that {0}")]
pub(super) struct Wrong(pub(super) &'static str);

/// What comes next.
#[derive(Debug, Clone, Copy)]
enum Next {
    /// The code of a value.
    Code,
    /// Bytes of a value that are not looked at.
    Skip(u64),
    /// A number of some bytes, and what it is.
    Number { left: u8, so_far: u32, of: Of },
    /// The code of an array's elements, after which so many bytes follow.
    ElementCode(u64),
}

#[derive(Debug, Clone, Copy)]
enum Of {
    /// A length of bytes.
    Length,
    /// The size of a list or map; its count follows, as wide.
    Size(u8),
    /// The count of a list or map that ends there.
    Count { end: u64 },
    /// The size of an array; its count follows, as wide.
    ArraySize(u8),
    /// The count of an array that ends there.
    ArrayCount { end: u64 },
}

/// A list, a map, or a described value.
#[derive(Debug, Clone, Copy)]
struct Open {
    /// Values that are still to come.
    left: u32,
    /// Where it ends; none for a described value.
    end: Option<u64>,
}

/// Values one after the other.
#[derive(Debug, Clone)]
pub(super) struct Values {
    at: u64,
    next: Next,
    open: Vec<Open>,
}

impl Default for Values {
    fn default() -> Self {
        Self { at: 0, next: Next::Code, open: Vec::new() }
    }
}

impl Values {
    /// Looks at more bytes. Gives how many it took: all, or with `one` those of the first value.
    pub(super) fn feed(&mut self, bytes: &[u8], one: bool) -> Result<usize, Wrong> {
        let mut taken = 0;
        while let Some(byte) = bytes.get(taken) {
            if let Next::Skip(left) = self.next {
                let rest = u64::try_from(bytes.len() - taken).unwrap_or(u64::MAX);
                let now = left.min(rest);
                // Not more than the bytes there are.
                taken += usize::try_from(now).unwrap_or(0);
                self.at += now;
                self.next = Next::Skip(left - now);
                if left > now {
                    break;
                }
                self.done()?;
            } else {
                taken += 1;
                self.at += 1;
                self.byte(*byte)?;
            }
            if one && self.is_between() {
                break;
            }
        }
        Ok(taken)
    }

    /// True when no value is under way.
    pub(super) fn is_between(&self) -> bool {
        self.open.is_empty() && matches!(self.next, Next::Code)
    }

    fn byte(&mut self, byte: u8) -> Result<(), Wrong> {
        match self.next {
            Next::Code => self.code(byte),
            Next::Number { left, so_far, of } => {
                let number = so_far << 8 | u32::from(byte);
                if left > 1 {
                    self.next = Next::Number { left: left - 1, so_far: number, of };
                    return Ok(());
                }
                self.number(number, of)
            }
            Next::ElementCode(left) => {
                // Elements that are lists or described would be nested.
                if !(0x40..0xc0).contains(&byte) {
                    return Err(Wrong("are arrays of lists"));
                }
                self.skip(left)
            }
            Next::Skip(_) => Ok(()),
        }
    }

    fn code(&mut self, code: u8) -> Result<(), Wrong> {
        let wide = |width: u8, of| Next::Number { left: width, so_far: 0, of };
        self.next = match code >> 4 {
            0x0 if code == 0 => return self.begin(Open { left: 2, end: None }),
            0x4 => return self.done(),
            0x5 => Next::Skip(1),
            0x6 => Next::Skip(2),
            0x7 => Next::Skip(4),
            0x8 => Next::Skip(8),
            0x9 => Next::Skip(16),
            0xa => wide(1, Of::Length),
            0xb => wide(4, Of::Length),
            0xc => wide(1, Of::Size(1)),
            0xd => wide(4, Of::Size(4)),
            0xe => wide(1, Of::ArraySize(1)),
            0xf => wide(4, Of::ArraySize(4)),
            _ => return Err(Wrong("have an unknown code")),
        };
        Ok(())
    }

    fn number(&mut self, number: u32, of: Of) -> Result<(), Wrong> {
        let end = self.at + u64::from(number);
        let wide = |width: u8, of| Next::Number { left: width, so_far: 0, of };
        match of {
            Of::Length => return self.skip(u64::from(number)),
            Of::Size(width) => self.next = wide(width, Of::Count { end }),
            Of::Count { end } => return self.begin(Open { left: number, end: Some(end) }),
            Of::ArraySize(width) => self.next = wide(width, Of::ArrayCount { end }),
            Of::ArrayCount { end } => {
                let left = end.checked_sub(self.at + 1).ok_or(DISAGREE)?;
                self.next = Next::ElementCode(left);
            }
        }
        Ok(())
    }

    fn skip(&mut self, bytes: u64) -> Result<(), Wrong> {
        self.next = Next::Skip(bytes);
        if bytes == 0 { self.done() } else { Ok(()) }
    }

    fn begin(&mut self, open: Open) -> Result<(), Wrong> {
        if self.open.len() == DEEPEST {
            return Err(Wrong("are nested too deeply"));
        }
        self.next = Next::Code;
        self.open.push(open);
        self.close()
    }

    /// A value is complete, and with it those that it was the last of.
    fn done(&mut self) -> Result<(), Wrong> {
        self.next = Next::Code;
        if let Some(around) = self.open.last_mut() {
            around.left = around.left.saturating_sub(1);
        }
        self.close()
    }

    fn close(&mut self) -> Result<(), Wrong> {
        while let Some(around) = self.open.last().copied() {
            let beyond = around.end.is_some_and(|end| self.at > end);
            let early = around.end.is_some_and(|end| around.left > 0 && self.at == end);
            if beyond || early || (around.left == 0 && around.end.is_some_and(|end| self.at < end))
            {
                return Err(DISAGREE);
            }
            if around.left > 0 {
                return Ok(());
            }
            self.open.pop();
            if let Some(outer) = self.open.last_mut() {
                outer.left = outer.left.saturating_sub(1);
            }
        }
        Ok(())
    }
}

const DISAGREE: Wrong = Wrong("have a size that is not that of what they hold");

#[cfg(test)]
mod tests {
    use super::*;

    fn look(bytes: &[u8]) -> Result<bool, Wrong> {
        // In one piece, and byte by byte.
        let mut whole = Values::default();
        let outcome = whole.feed(bytes, false).map(|_| whole.is_between());
        let mut single = Values::default();
        let fed = bytes.iter().try_for_each(|byte| single.feed(&[*byte], false).map(drop));
        assert_eq!(fed.map(|()| single.is_between()), outcome);
        outcome
    }

    fn nested(depth: usize) -> Vec<u8> {
        (0..depth).fold(vec![0x40], |inner, _| {
            let size = u32::try_from(inner.len() + 4).unwrap();
            [&[0xd0], size.to_be_bytes().as_slice(), &1_u32.to_be_bytes(), &inner].concat()
        })
    }

    #[test]
    fn values_of_every_shape_are_followed_to_their_end() {
        for whole in [
            b"\x40".as_slice(),
            b"\x45",
            b"\x52\x07",
            b"\x60\x00\x07",
            b"\x70\x00\x00\x00\x07",
            b"\x80\x00\x00\x00\x00\x00\x00\x00\x07",
            b"\xa1\x03abc",
            b"\xa1\x00",
            b"\xb3\x00\x00\x00\x01a",
            b"\xc0\x04\x02\xa1\x01x",
            b"\xc0\x01\x00",
            b"\x00\x53\x70\xc0\x02\x01\x41",
            b"\xe0\x05\x02\xa3\x00\x00\x00",
            b"\xe0\x0f\x01\xb3\x00\x00\x00\x09ANONYMOUS",
            b"\xf0\x00\x00\x00\x06\x00\x00\x00\x01\x56\x01",
        ] {
            // The count of the tenth is one too many.
            let right = whole != b"\xc0\x04\x02\xa1\x01x";
            assert_eq!(look(whole), if right { Ok(true) } else { Err(DISAGREE) }, "{whole:x?}");
        }
        assert_eq!(look(b"\xa1\x03ab"), Ok(false), "cut off");
    }

    #[test]
    fn what_is_nested_too_deeply_is_not_let_through() {
        assert_eq!(look(&nested(DEEPEST)), Ok(true));
        assert_eq!(look(&nested(DEEPEST + 1)), Err(Wrong("are nested too deeply")));
        assert_eq!(look(&[0; DEEPEST]), Ok(false));
        assert_eq!(look(&[0; DEEPEST + 1]), Err(Wrong("are nested too deeply")));
    }

    #[test]
    fn what_hides_its_nesting_is_not_let_through() {
        for wrong in [
            // A list of none that holds something; one that ends early; one within a smaller one.
            b"\xc0\x02\x00\x40".as_slice(),
            b"\xc0\x02\x02\x40\x40",
            b"\xc0\x04\x01\xc0\x05\x01\xa1\x02ab",
            b"\xe0\x08\x01\xc0\x02\x01\x40\x00\x00\x00",
            b"\xe0\x03\x01\x00\x40",
            b"\xe0\x01\x00",
            b"\x17",
        ] {
            assert!(look(wrong).is_err(), "{wrong:x?}");
        }
    }
}
