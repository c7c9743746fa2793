//! A small seeded generator, so that every simulated plant can be had again.

/// splitmix64 (S. Vigna's public-domain reference, from memory).
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Evenly in [from, to).
    pub fn between(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Evenly in from..to.
    pub fn pick(&mut self, from: usize, to: usize) -> usize {
        from + (self.next() % (to - from) as u64) as usize
    }

    pub fn chance(&mut self, probability: f64) -> bool {
        self.between(0.0, 1.0) < probability
    }

    /// Exponential.
    pub fn wait(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.between(0.0, 1.0)).ln()
    }

    /// Log-normal with mean 1.
    pub fn around_one(&mut self, sigma: f64) -> f64 {
        let angle = self.between(0.0, std::f64::consts::TAU);
        let normal = (2.0 * self.wait(1.0)).sqrt() * angle.cos();
        (sigma * normal - sigma * sigma / 2.0).exp()
    }

    /// Even on a logarithmic scale.
    pub fn magnitude(&mut self, from: f64, to: f64) -> f64 {
        self.between(from.ln(), to.ln()).exp()
    }
}
