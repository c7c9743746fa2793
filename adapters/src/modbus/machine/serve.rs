//! Requests taken from a connection or a line, and the answers given.

use std::io;
use std::time::{Duration, Instant};

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::timeout;

use super::unit::Units;
use crate::modbus::rtu::{Pace, Stream, is_whole, pause, sum};

/// Bytes of the transport's header: transaction, protocol, length, unit.
const HEADER: usize = 7;
/// Longest request without that header.
const LONGEST_REQUEST: usize = 253;
/// Longest frame on a serial line, and as much again.
const LONGEST_FRAMES: usize = 512;
/// What ends a frame that makes no sense, where no pace is kept.
const GAP: Duration = Duration::from_millis(20);

/// Answers requests that bear a number, until the peer leaves or sends what is no request.
pub(super) async fn numbered(
    mut stream: impl Stream,
    units: &Units,
    role: Option<&str>,
) -> io::Result<()> {
    loop {
        let mut header = [0; HEADER];
        stream.read_exact(&mut header).await?;
        let [transaction, number, 0, 0, high, low, unit] = header else {
            return Ok(());
        };
        // The length counts the unit, which is part of the header here.
        let length = usize::from(u16::from_be_bytes([high, low])).saturating_sub(1);
        if !(1..=LONGEST_REQUEST).contains(&length) {
            return Ok(());
        }
        let mut request = vec![0; length];
        stream.read_exact(&mut request).await?;
        let manner = units.manner(unit);
        if manner.keeps_still() {
            continue;
        }
        tokio::time::sleep(manner.late).await;
        let response =
            units.respond(unit, &request, role).unwrap_or_else(|| units.unknown(&request));
        let [high, low] = (response.len() as u16 + 1).to_be_bytes();
        let mut frame = vec![transaction, number, 0, 0, high, low, unit];
        frame.extend(response);
        stream.write_all(&frame).await?;
        stream.flush().await?;
    }
}

/// Answers frames of a serial line, until the line is gone. Who has no such unit keeps still.
///
/// With a pace, characters take the time they take on a wire, and a request that comes before the
/// line was silent for long enough is not heard.
pub(super) async fn rtu(
    stream: &mut dyn Stream,
    units: &Units,
    pace: Option<Pace>,
) -> io::Result<()> {
    let mut silent_from = Instant::now();
    loop {
        let mut bytes = Vec::with_capacity(LONGEST_FRAMES);
        take(stream, &mut bytes).await?;
        let came = Instant::now();
        while !is_request(&bytes) && bytes.len() < LONGEST_FRAMES {
            let gap = pace.map_or(GAP, |pace| pace.silence.max(GAP));
            if timeout(gap, take(stream, &mut bytes)).await.is_err() {
                break;
            }
        }
        if pace.is_some() && came < silent_from {
            units.note_hasty();
            continue;
        }
        let [unit, ref request @ .., _, _] = bytes[..] else { continue };
        let manner = units.manner(unit);
        if manner.keeps_still() || !is_whole(&bytes) {
            continue;
        }
        let Some(answer) = units.respond(unit, request, None) else { continue };
        let mut frame = [&[unit], &answer[..]].concat();
        frame.extend(sum(&frame));
        let pace = pace.unwrap_or(Pace { character: Duration::ZERO, silence: Duration::ZERO });
        let begins = came + pace.characters(bytes.len()) + pace.silence + manner.late;
        let (front, back) = frame.split_at(frame.len() / 2);
        for (part, until) in [(front, front.len()), (back, frame.len())] {
            pause((begins + pace.characters(until)).duration_since(Instant::now())).await;
            stream.write_all(part).await?;
            stream.flush().await?;
        }
        silent_from = begins + pace.characters(frame.len()) + pace.silence;
    }
}

async fn take(stream: &mut dyn Stream, bytes: &mut Vec<u8>) -> io::Result<()> {
    match stream.read_buf(bytes).await? {
        0 => Err(io::ErrorKind::UnexpectedEof.into()),
        _ => Ok(()),
    }
}

/// True for a whole request of a length that its function tells.
fn is_request(bytes: &[u8]) -> bool {
    let length = match *bytes {
        [_, 1..=6, ..] => 8,
        [_, 0x0F | 0x10, _, _, _, _, count, ..] => 9 + usize::from(count),
        [_, 0x2B, ..] => 7,
        _ => return false,
    };
    bytes.len() == length && is_whole(bytes)
}
