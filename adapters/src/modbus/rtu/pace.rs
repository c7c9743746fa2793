//! How long characters and silences last on a serial line.

use std::time::{Duration, Instant};

use crate::modbus::settings::Serial;

/// Above this speed the silences no longer shrink (MODBUS over Serial Line V1.02, 2.5.1.1).
const FASTEST_SCALED: u32 = 19_200;
const FIXED_SILENCE: Duration = Duration::from_micros(1_750);
/// Between two requests through a converter, whose line speed is not known here: enough for 3.5
/// characters at 4800 baud and up.
const BEHIND_CONVERTER: Duration = Duration::from_millis(10);
/// The end of a wait, which is measured more finely than the runtime's timers do.
const FINE: Duration = Duration::from_millis(3);

/// The times of one line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Pace {
    /// One character; nothing where the line's speed is not known.
    pub(crate) character: Duration,
    /// The silence that ends a frame and must precede the next one: 3.5 characters or longer.
    pub(crate) silence: Duration,
}

impl Pace {
    /// The times of a serial port, with the longer of the protocol's silence and `quiet`.
    pub(crate) fn of(serial: &Serial, quiet: Duration) -> Self {
        let second = u64::from(serial.frame.bits()) * 1_000_000_000;
        let baud = u64::from(serial.baud.max(1));
        let silence = if serial.baud > FASTEST_SCALED {
            FIXED_SILENCE
        } else {
            Duration::from_nanos(second * 7 / (2 * baud))
        };
        Self { character: Duration::from_nanos(second / baud), silence: silence.max(quiet) }
    }

    /// The times behind a converter.
    pub(crate) fn behind_converter(quiet: Option<Duration>) -> Self {
        Self { character: Duration::ZERO, silence: quiet.unwrap_or(BEHIND_CONVERTER) }
    }

    /// The time so many characters take.
    pub(crate) fn characters(&self, count: usize) -> Duration {
        self.character * u32::try_from(count).unwrap_or(u32::MAX)
    }
}

/// Waits, to a tenth of a millisecond.
///
/// The runtime's timers count whole milliseconds, which at 19,200 baud would cost one frame in
/// twenty.
pub(crate) async fn pause(wait: Duration) {
    let until = Instant::now() + wait;
    if let Some(coarse) = wait.checked_sub(FINE) {
        tokio::time::sleep(coarse).await;
    }
    let rest = until.duration_since(Instant::now());
    if !rest.is_zero() {
        // It cannot fail: sleeping does not panic, and nobody aborts it.
        let _ = tokio::task::spawn_blocking(move || std::thread::sleep(rest)).await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::modbus::settings::Frame;

    fn pace(baud: u32, frame: Frame) -> Pace {
        Pace::of(&Serial { port: "/dev/a".into(), baud, frame }, Duration::ZERO)
    }

    /// Computed from 11 bits a character and MODBUS over Serial Line V1.02, 2.5.1.1: microseconds
    /// of one character and of 3.5.
    #[test]
    fn characters_and_silences_last_as_the_specification_has_them() {
        let published = [
            (1_200, 9_167, 32_083),
            (2_400, 4_583, 16_042),
            (4_800, 2_292, 8_021),
            (9_600, 1_146, 4_010),
            (19_200, 573, 2_005),
            (38_400, 286, 1_750),
            (57_600, 191, 1_750),
            (115_200, 95, 1_750),
        ];
        for (baud, character, silence) in published {
            for frame in [Frame::Even, Frame::Odd, Frame::TwoStops] {
                let pace = pace(baud, frame);
                let rounded = |span: Duration| (span.as_nanos() + 500) / 1_000;
                assert_eq!(rounded(pace.character), character, "{baud}");
                assert_eq!(rounded(pace.silence), silence, "{baud}");
            }
        }
        assert_eq!(pace(9_600, Frame::OneStop).characters(96), Duration::from_nanos(99_999_936));
    }

    #[test]
    fn a_longer_quiet_counts_and_a_shorter_one_does_not() {
        let serial = Serial { port: "/dev/a".into(), baud: 19_200, frame: Frame::Even };
        let silence = |quiet| Pace::of(&serial, Duration::from_micros(quiet)).silence;
        assert_eq!(silence(9_000), Duration::from_micros(9_000));
        assert_eq!(silence(1_000), pace(19_200, Frame::Even).silence);
    }
}
