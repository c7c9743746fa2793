//! Chance that can be repeated: SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom
//! number generators", 2014).

/// A stream of numbers that its seed fixes.
pub(crate) struct Luck(u64);

impl Luck {
    pub(crate) fn seeded(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number from `low` to below `high`.
    pub(crate) fn between(&mut self, low: u64, high: u64) -> u64 {
        low + self.next() % (high - low)
    }

    /// A span from `low` to below `high`.
    pub(crate) fn span(&mut self, low: i64, high: i64) -> i64 {
        low + (self.next() % (high - low).cast_unsigned()).cast_signed()
    }

    /// True in so many cases of a hundred.
    pub(crate) fn percent(&mut self, share: u64) -> bool {
        self.next() % 100 < share
    }
}
