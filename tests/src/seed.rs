//! Chance that can be repeated.

/// A small generator of pseudo-random numbers (`SplitMix64`, Steele, Lea and Flood 2014).
#[derive(Debug, Clone)]
pub struct Chance(u64);

impl Chance {
    /// From the variable `STENCILWARD_SEED`, else from the clock. Prints the seed, so that a
    /// failure can be repeated.
    #[must_use]
    pub fn seeded() -> Self {
        let given = std::env::var("STENCILWARD_SEED").ok().and_then(|seed| seed.parse().ok());
        let seed = given.unwrap_or_else(|| {
            let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
            u64::try_from(since.unwrap_or_default().as_nanos() % 1_000_000).unwrap_or_default()
        });
        println!("STENCILWARD_SEED={seed}");
        Self(seed)
    }

    /// From this seed.
    #[must_use]
    pub fn from(seed: u64) -> Self {
        Self(seed)
    }

    /// The next number below `end`, which must not be 0.
    pub fn below(&mut self, end: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % end
    }
}
