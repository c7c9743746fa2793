//! Why strokes are nobody's, and why two bases of a run disagree.

use serde::{Deserialize, Serialize};

/// Why nobody can say which stencil made some strokes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WhyUnattributed {
    /// No stencil was known in the printer.
    NothingSeated,
    /// The stencil was changed between two reads.
    ChangedMeanwhile,
    /// The link was broken, and nobody confirmed the stencil since.
    SeatUnconfirmed,
    /// The code in the printer is not in the stencil list.
    UnknownStencil,
    /// More strokes at once than the machine could have done.
    Implausible,
    /// Told so late that nobody remembers what was in the printer then.
    TooLate,
    /// The counter went past zero unheard: it wrapped, or it restarted and these were never made.
    WrapOrRestart,
}

impl WhyUnattributed {
    /// The reason in words, with what to do.
    #[must_use]
    pub fn in_words(self) -> &'static str {
        match self {
            Self::NothingSeated => {
                "no stencil was known in the printer: ask the line which one was in it"
            }
            Self::ChangedMeanwhile => "the stencil was changed between two reads: split them",
            Self::SeatUnconfirmed => {
                "the link was broken, and nobody confirmed the stencil since: ask the line"
            }
            Self::UnknownStencil => {
                "the code in the printer is not in the list: enter the stencil, then assign them"
            }
            Self::Implausible => {
                "more at once than the printer can do: compare with the line's own record, and \
                 write off what was never made"
            }
            Self::TooLate => {
                "told so late that nobody remembers what was in the printer then: ask the line"
            }
            Self::WrapOrRestart => {
                "the counter went past zero unheard: it wrapped, or it restarted and these were \
                 never made; compare with the line's own record"
            }
        }
    }
}

/// What most likely made two bases of one run disagree.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LikelyCause {
    /// A counter started again at zero, or jumped, during the run.
    CounterRestarted,
    /// A link or the gateway was down during the run.
    NotHeard,
    /// Each panel was printed several times.
    DoublePrint,
    /// The order's boards for each print are wrong.
    WrongPanelFactor,
    /// The order was scrapped or ended early.
    OrderScrapped,
    /// One of the two did not count at all.
    Silent,
    /// None of these.
    Unknown,
}

impl LikelyCause {
    /// All causes.
    pub const ALL: [Self; 7] = [
        Self::CounterRestarted,
        Self::NotHeard,
        Self::DoublePrint,
        Self::WrongPanelFactor,
        Self::OrderScrapped,
        Self::Silent,
        Self::Unknown,
    ];

    /// The cause's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::CounterRestarted => "counter-restarted",
            Self::NotHeard => "not-heard",
            Self::DoublePrint => "double-print",
            Self::WrongPanelFactor => "wrong-panel-factor",
            Self::OrderScrapped => "order-scrapped",
            Self::Silent => "silent",
            Self::Unknown => "unknown",
        }
    }

    /// The cause in words, with what to look at.
    #[must_use]
    pub fn in_words(self) -> &'static str {
        match self {
            Self::CounterRestarted => {
                "a counter restarted or jumped during the run: see its findings"
            }
            Self::NotHeard => "a link or the gateway was down during the run: see the machine",
            Self::DoublePrint => {
                "each panel seems to be printed several times: set the order's strokes per panel"
            }
            Self::WrongPanelFactor => {
                "the order's boards per print seem wrong: compare them with the panel"
            }
            Self::OrderScrapped => "the order seems to have been scrapped or ended early",
            Self::Silent => "one of the two did not count at all: check its wiring",
            Self::Unknown => "no likely cause: compare the two with the line's own record",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn causes_have_the_ledgers_words() {
        for cause in LikelyCause::ALL {
            let written = serde_json::to_value(cause).unwrap();
            assert_eq!(written.as_str(), Some(cause.as_str()));
        }
    }
}
