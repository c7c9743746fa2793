//! Wear against rated life.

use serde::{Deserialize, Serialize};

/// A share of a whole in ten-thousandths, so that comparing it is exact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Share(pub u32);

impl Share {
    /// The share that `percent` names.
    #[must_use]
    pub const fn percent(percent: u32) -> Self {
        Self(percent * 100)
    }

    /// True when `part` of `whole` has reached this share. Exact for any values.
    #[must_use]
    pub fn reached(self, part: u64, whole: u64) -> bool {
        u128::from(part) * 10_000 >= u128::from(whole) * u128::from(self.0)
    }
}

/// How worn a stencil is, in the terms a planner acts on. Common practice in the trade.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WearBand {
    /// Well within its life.
    InService,
    /// Time to order its successor.
    Reorder,
    /// At its end: only a concession lets it be used.
    Stopped,
}

impl WearBand {
    /// All bands, in order of wear.
    pub const ALL: [Self; 3] = [Self::InService, Self::Reorder, Self::Stopped];

    /// The band's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::InService => "in-service",
            Self::Reorder => "reorder",
            Self::Stopped => "stopped",
        }
    }
}

/// Where the wear bands begin. Default: reorder from 80 %, stopped from 99 % (common practice).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct WearLimits {
    /// Share of rated life from which the successor should be ordered.
    pub reorder: Share,
    /// Share of rated life from which it is stopped.
    pub stop: Share,
}

impl Default for WearLimits {
    fn default() -> Self {
        Self { reorder: Share::percent(80), stop: Share::percent(99) }
    }
}

impl WearLimits {
    /// The band of one measure of life, such as strokes, against its rating.
    #[must_use]
    pub fn band(self, used: u64, rated: u64) -> WearBand {
        if self.stop.reached(used, rated) {
            WearBand::Stopped
        } else if self.reorder.reached(used, rated) {
            WearBand::Reorder
        } else {
            WearBand::InService
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_begin_exactly_at_their_limits() {
        let limits = WearLimits::default();
        assert_eq!(limits.band(799, 1000), WearBand::InService);
        assert_eq!(limits.band(800, 1000), WearBand::Reorder);
        assert_eq!(limits.band(989, 1000), WearBand::Reorder);
        assert_eq!(limits.band(990, 1000), WearBand::Stopped);
        assert_eq!(limits.band(u64::MAX, u64::MAX), WearBand::Stopped);
        assert_eq!(limits.band(0, 0), WearBand::Stopped);
    }
}
